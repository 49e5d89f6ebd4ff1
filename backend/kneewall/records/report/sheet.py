"""A sheet of paper in the look of the field book: a sign in the gutter, what it is, the figure at the right."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence

from fpdf import FPDF
from fpdf.enums import Align, MethodReturnValue, XPos, YPos
from fpdf.svg import SVGObject
from PIL import Image, ImageOps, UnidentifiedImageError

from kneewall.records.drawing import Box, Text, lay_out
from kneewall.records.plots import Plot
from kneewall.records.report.fonts import FACE, Letters

INK, SOFT, RULE = (28, 26, 23), (80, 74, 65), (217, 210, 197)
COPPER, CAUTION = (132, 64, 15), (115, 72, 0)
SIGN_INK = {"pass": (7, 95, 72), "fail": (158, 27, 21), "caution": CAUTION, "unknown": SOFT}

MARGIN, GUTTER, FIGURE = 18.0, 9.0, 52.0
"""mm."""
MOST_PIXELS = 60_000_000
MOST_SIDE = 1600
"""px of a photo's longer side on paper: more than a printer shows at that size."""

CHART = Box(width=150, height=58, letter=1.62, line=3.9)
"""mm, at 8 pt."""


class Sheet(FPDF):
    """Letter paper. `note` stands at the foot of every page."""

    def __init__(self, letters: Letters, note: str) -> None:
        super().__init__(format="letter")
        self.letters = letters
        self.note = note
        for style, file in letters.face.items():
            self.add_font(FACE, style, file)
        for name, file in letters.more:
            self.add_font(name, "", file)
        self.set_fallback_fonts([name for name, _ in letters.more], exact_match=False)
        self.set_text_shaping(True)
        self.set_lang("en")
        self.set_margins(MARGIN, MARGIN)
        self.set_auto_page_break(auto=True, margin=MARGIN + 4)
        self.c_margin = 0
        self.add_page()

    def footer(self) -> None:
        self.set_y(-MARGIN + 2)
        self._pen(8, SOFT)
        note = self.letters.readable(self.note)
        # What does not fit beside the page's number is named at the head of the report.
        while self.get_string_width(note) > self.epw - 24:
            note = note[:-2].rstrip() + "…"
        self.cell(self.epw - 20, 4, note)
        self.cell(20, 4, f"page {self.page_no()} of {{nb}}")

    # --- text ------------------------------------------------------------------------------------

    def heading(self, text: str, below: float = 24) -> None:
        """A section's name, with so many mm of what follows on the same page."""
        self._room(below)
        self.ln(6)
        self.start_section(text)
        self._text(text, 13, bold=True)
        self.ln(1)

    def subheading(self, text: str) -> None:
        self._room(18)
        self.ln(2.5)
        self._text(text, 10.5, SOFT, bold=True)

    def paragraph(self, text: str, size: float = 10, ink: tuple[int, int, int] = INK) -> None:
        self._text(text, size, ink)

    def opening(self, text: str, under: str) -> None:
        self._text(text, 19, bold=True)
        self._text(under, 11, SOFT)
        self.ln(2)

    def facts(self, facts: Sequence[tuple[str, str]]) -> None:
        """Label left, text right of it, a line each."""
        for label, text in facts:
            height = max(self._height(label, 50, 10), self._height(text, self.epw - 52, 10))
            self._room(height)
            top = self.get_y()
            self._text(label, 10, SOFT, width=50)
            self.set_y(top)
            self._text(text, 10, left=52)
            self.set_y(max(self.get_y(), top + height) + 0.6)

    def row(
        self,
        sign: str,
        label: str,
        lines: Sequence[tuple[str, tuple[int, int, int]]] = (),
        figure: str = "",
        below: float = 0,
    ) -> None:
        """One ruled line: the sign of a verdict, or none; a label with lines under it; a figure.

        Args:
            below: mm that what follows it needs on the same page.
        """
        width = self.epw - GUTTER - (FIGURE + 4 if figure else 0)
        height = self._height(label, width, 10.5, bold=True)
        height += sum(self._height(text, width, 9) for text, _ in lines)
        self._room(min(height + 4 + below, self.eph / 2))
        top = self.get_y()
        self.set_draw_color(RULE)
        self.set_line_width(0.2)
        self.line(MARGIN, top, self.w - MARGIN, top)
        if sign in SIGNS:
            SIGNS[sign](self, MARGIN + 2.6, top + 4.2)
        page, end = self.page, top + 1.4
        if figure:
            self.set_xy(self.w - MARGIN - FIGURE, top + 1.4)
            self._pen(11.5, INK, bold=True)
            self.multi_cell(
                FIGURE, 5, self.letters.readable(figure), align=Align.R, new_y=YPos.NEXT
            )
            end = self.get_y() if self.page == page else end
        self.set_y(top + 1.4)
        self._text(label, 10.5, bold=True, left=GUTTER, width=width)
        for text, ink in lines:
            self._text(text, 9, ink, left=GUTTER, width=width)
        if self.page == page:
            self.set_y(max(self.get_y(), end))
        self.ln(1.2)

    def hatched(self, text: str, under: str) -> None:
        """A caution on its hatched ground."""
        height = self._height(text, self.epw - 12, 10) + self._height(under, self.epw - 12, 8.5) + 5
        self._room(min(height, self.eph / 2))
        top, page = self.get_y() + 1, self.page
        with self.rect_clip(MARGIN, top, self.epw, height):
            self.set_draw_color(235, 222, 196)
            self.set_line_width(1.1)
            for step in range(int((self.epw + height) / 4) + 1):
                x = MARGIN - height + step * 4
                self.line(x, top + height, x + height, top)
        self.set_y(top + 2.5)
        self._text(text, 10, left=6, width=self.epw - 12)
        self._text(under, 8.5, SOFT, left=6, width=self.epw - 12)
        if self.page == page:
            self.set_y(top + height)
        self.ln(1.5)

    # --- pictures --------------------------------------------------------------------------------

    def photo(self, content: bytes, caption: str) -> bool:
        """Draw a photo; False, and nothing drawn, when its bytes cannot be read as a picture."""
        try:
            with Image.open(io.BytesIO(content)) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    return False
                picture = ImageOps.exif_transpose(opened).convert("RGB")
        except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError):
            return False
        picture.thumbnail((MOST_SIDE, MOST_SIDE))
        scale = min(self.epw / picture.width, 95 / picture.height)
        width, height = picture.width * scale, picture.height * scale
        self._room(height + 16)
        self.image(picture, w=width, h=height, alt_text=caption or "Photo without words")
        self.ln(1)
        return True

    def strokes(self, path: str, name: str) -> bool:
        """Draw a signature; False when its path cannot be drawn."""
        box = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 200">'
        ink = f'<path d="{path}" fill="none" stroke="#1c1a17" stroke-width="3"/></svg>'
        try:
            SVGObject(box + ink)
        except (ValueError, IndexError, NotImplementedError):
            return False
        self._room(34)
        top = self.get_y() + 2
        self.image(
            io.BytesIO((box + ink).encode()),
            x=MARGIN + GUTTER,
            y=top,
            w=84,
            h=28,
            alt_text=f"Signature of {name}",
        )
        self.set_draw_color(INK)
        self.line(MARGIN + GUTTER, top + 28, MARGIN + GUTTER + 84, top + 28)
        self.set_y(top + 31)
        return True

    def chart(self, plot: Plot) -> None:
        """Thin ink lines, present values as dots with their figures; limits are dashed."""
        drawn = lay_out(plot, CHART)
        self._room(CHART.height + 6)
        self.ln(2)
        left, top = MARGIN + GUTTER, self.get_y()
        for stroke in drawn.strokes:
            self.set_draw_color(INK if stroke.kind == "ink" else SOFT)
            self.set_line_width(0.35 if stroke.kind == "ink" else 0.2)
            self.set_dash_pattern(*((1.2, 1.2) if stroke.kind == "limit" else ()))
            self.polyline([(left + x, top + y) for x, y in stroke.points])
        self.set_dash_pattern()
        self.set_draw_color(INK)
        self.set_fill_color(INK)
        for dot in drawn.dots:
            x, y = left + dot.at[0], top + dot.at[1]
            self.circle(x, y, 0.9, style="F")
            if dot.ring:
                self.circle(x, y, 1.7)
        for text in drawn.texts:
            self._label(text, left, top)
        self.set_y(top + CHART.height + 2)

    # --- inside ----------------------------------------------------------------------------------

    def _label(self, text: Text, left: float, top: float) -> None:
        self._pen(8, SOFT if text.kind == "axis" else INK, bold=text.kind == "value")
        said = self.letters.readable(text.text)
        width = self.get_string_width(said)
        before = {"start": 0.0, "middle": width / 2, "end": width}[text.anchor]
        self.set_xy(left + text.at[0] - before, top + text.at[1] - 3.2)
        self.cell(width, 4, said)

    def _pen(self, size: float, ink: tuple[int, int, int], *, bold: bool = False) -> None:
        self.set_font(FACE, "B" if bold else "", size)
        self.set_text_color(ink)

    def _text(
        self,
        text: str,
        size: float,
        ink: tuple[int, int, int] = INK,
        *,
        bold: bool = False,
        left: float = 0,
        width: float | None = None,
    ) -> None:
        if not text:
            return
        self._pen(size, ink, bold=bold)
        self.set_x(MARGIN + left)
        self.multi_cell(
            self.epw - left if width is None else width,
            size * 0.47,
            self.letters.readable(text),
            align=Align.L,
            new_x=XPos.LMARGIN,
            new_y=YPos.NEXT,
        )

    def _height(self, text: str, width: float, size: float, *, bold: bool = False) -> float:
        if not text:
            return 0
        self._pen(size, INK, bold=bold)
        found = self.multi_cell(
            width,
            size * 0.47,
            self.letters.readable(text),
            align=Align.L,
            dry_run=True,
            output=MethodReturnValue.HEIGHT,
        )
        assert isinstance(found, float | int)
        return float(found)

    def _room(self, height: float) -> None:
        if self.will_page_break(height):
            self.add_page()


def _pen(sheet: Sheet, sign: str) -> None:
    sheet.set_draw_color(SIGN_INK[sign])
    sheet.set_fill_color(SIGN_INK[sign])
    sheet.set_line_width(0.7)


def _tick(sheet: Sheet, x: float, y: float) -> None:
    _pen(sheet, "pass")
    sheet.polyline([(x - 2, y), (x - 0.6, y + 1.5), (x + 2.1, y - 1.6)])


def _cross(sheet: Sheet, x: float, y: float) -> None:
    _pen(sheet, "fail")
    sheet.line(x - 1.7, y - 1.7, x + 1.7, y + 1.7)
    sheet.line(x + 1.7, y - 1.7, x - 1.7, y + 1.7)


def _bar(sheet: Sheet, x: float, y: float) -> None:
    _pen(sheet, "caution")
    sheet.line(x, y - 2, x, y + 0.4)
    sheet.circle(x, y + 1.9, 0.35, style="F")


def _ring(sheet: Sheet, x: float, y: float) -> None:
    _pen(sheet, "unknown")
    sheet.set_line_width(0.5)
    sheet.set_dash_pattern(0.8, 0.8)
    sheet.circle(x, y, 1.8)
    sheet.set_dash_pattern()


SIGNS: dict[str, Callable[[Sheet, float, float], None]] = {
    "pass": _tick,
    "fail": _cross,
    "caution": _bar,
    "unknown": _ring,
}
