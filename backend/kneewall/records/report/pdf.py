"""A report laid out as PDF: text as text, charts and signatures as lines, photos as pictures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from kneewall.records.plots import Plot
from kneewall.records.report.content import VERDICT_WORDS
from kneewall.records.report.fonts import Letters
from kneewall.records.report.parts import Report, Row
from kneewall.records.report.sheet import COPPER, INK, SOFT, Sheet

FIXED = "".join(map(chr, range(32, 127))) + "·…–−"
LIMITS = (
    "It informs a licensed person. The maker's instructions, the local code and the authority having "
    "jurisdiction come first."
)
NO_PICTURE = "This picture cannot be drawn here; it is kept with the visit."


def as_pdf(report: Report) -> bytes:
    """The report as a PDF of letter pages."""
    with TemporaryDirectory() as folder:
        letters = Letters(Path(folder), [FIXED, *_texts(report)])
        sheet = Sheet(letters, f"visit {report.visit} · {report.office} · {report.place}")
        sheet.set_title(letters.readable(f"{report.title}, {report.place}"))
        sheet.set_author(letters.readable(report.office))
        sheet.set_creator("Kneewall")
        _write(sheet, report)
        return bytes(sheet.output())


def _texts(part: object) -> Iterator[str]:
    """Every text anywhere in a report."""
    if isinstance(part, str):
        yield part
    elif is_dataclass(part):
        for one in fields(part):
            yield from _texts(getattr(part, one.name))
    elif isinstance(part, list | tuple):
        for each in part:
            yield from _texts(each)


def _write(sheet: Sheet, report: Report) -> None:
    sheet.opening(report.title, f"{report.place}\n{report.office}")
    _system(sheet, report)
    _findings(sheet, report)
    sheet.heading("Readings")
    if report.findings and report.readings:
        sheet.paragraph("The sign of a reading is the worst finding that rests on it.", 9, SOFT)
    for topic in report.readings:
        sheet.subheading(topic.title)
        _rows(sheet, topic.rows)
        for plot in topic.charts:
            _chart(sheet, plot)
    _none(sheet, report.readings)
    sheet.heading("Settings")
    _rows(sheet, report.settings)
    _none(sheet, report.settings)
    _photos(sheet, report)
    sheet.heading("Cautions for the owner")
    for text, source in report.cautions:
        sheet.hatched(text, source)
    _none(sheet, report.cautions)
    sheet.heading("Notes")
    for text, who in report.notes:
        sheet.row("", who, [(text, INK)])
    _none(sheet, report.notes)
    _signature(sheet, report)
    sheet.heading("Rules")
    sheet.facts(report.rules)
    sheet.paragraph(LIMITS, 9, SOFT)


def _system(sheet: Sheet, report: Report) -> None:
    sheet.heading("System")
    sheet.facts(report.facts)
    for plate in report.plates:
        sheet.subheading(plate.title)
        sheet.facts(plate.facts)


def _findings(sheet: Sheet, report: Report) -> None:
    sheet.heading("Findings")
    if report.trouble:
        sheet.paragraph(f"Not evaluated. {report.trouble} The readings are as recorded.")
    for line in report.findings:
        label = f"{line.label} · {line.member}" if line.member else line.label
        edge = " · right at the limit" if line.borderline else ""
        edge += f" · the rule holds to {line.until}" if line.until else ""
        lines = [(line.message, INK)]
        if line.verdict != "pass" or edge:
            lines.append((f"{line.source}{edge}", SOFT))
        if line.disputed:
            lines.append((f"Rests on a figure in dispute: {line.disputed}", COPPER))
        if line.phone:
            lines.append((f"The phone found: {VERDICT_WORDS.get(line.phone, line.phone)}", COPPER))
        sheet.row(line.verdict, label, lines, VERDICT_WORDS[line.verdict])
    if not report.findings and not report.trouble:
        sheet.paragraph("No check rests on what was recorded.", ink=SOFT)
    if report.agrees:
        sheet.paragraph(report.agrees, 9, SOFT)


def _rows(sheet: Sheet, rows: list[Row]) -> None:
    for row in rows:
        words = [VERDICT_WORDS[row.verdict]] if row.verdict else []
        lines = [(" · ".join([*words, row.under]), SOFT)]
        figure, below = ("", 68) if row.chart else (row.figure, 0)
        sheet.row(row.verdict, row.label, lines, figure, below)
        if row.chart:
            sheet.chart(row.chart)
            sheet.paragraph(row.figure, 9, SOFT)


def _chart(sheet: Sheet, plot: Plot) -> None:
    """With the figures of each visit below, where it goes from visit to visit."""
    sheet.row("", plot.title, below=68)
    sheet.chart(plot)
    for visit in plot.visits:
        under = ["put into service"] if visit.baseline else []
        under += ["by the rules of then"] if visit.other_rules else []
        known = [
            (curve.label, *figure)
            for curve, figure in zip(plot.curves, visit.figures, strict=True)
            if figure
        ]
        words = [VERDICT_WORDS[verdict] for _, _, verdict in known if verdict]
        if len(plot.curves) == 1:
            under = words + under
            figure = known[0][1] if known else "not read"
        else:
            figure = "" if known else "not read"
            for label, said, verdict in known:
                word = VERDICT_WORDS.get(verdict, "")
                under.append(", ".join(part for part in (f"{label} {said}", word) if part))
        sign = next((v for v in VERDICT_WORDS if any(v == k[2] for k in known)), "")
        sheet.row(sign, visit.day, [(" · ".join(under), SOFT)], figure)


def _photos(sheet: Sheet, report: Report) -> None:
    sheet.heading("Photos", 130 if any(photo.content for photo in report.photos) else 24)
    for photo in report.photos:
        lines = [(photo.who, SOFT)]
        if photo.content is None:
            lines.append(("Not here yet; the phone still has it.", SOFT))
        elif not sheet.photo(photo.content, photo.caption):
            lines.append((NO_PICTURE, SOFT))
        sheet.row("", photo.caption or "Photo without words", lines)
    _none(sheet, report.photos)


def _signature(sheet: Sheet, report: Report) -> None:
    sheet.heading("Signature")
    for one in report.signatures:
        below = 34 if one.strokes else 0
        sheet.row("", one.name, [(one.statement, INK), (one.who, SOFT)], below=below)
        if one.strokes and not sheet.strokes(one.strokes, one.name):
            sheet.paragraph("What was drawn cannot be shown.", 9, SOFT)
    if not report.signatures:
        sheet.paragraph("Not signed.", ink=SOFT)


def _none(sheet: Sheet, of_section: list[object] | object) -> None:
    if not of_section:
        sheet.paragraph("Nothing.", ink=SOFT)
