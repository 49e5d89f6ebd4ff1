"""The letters of a report: open fonts from packages, as many as its text needs.

Noto Sans carries Latin, Greek and Cyrillic. For what it lacks the next fonts are asked in turn: mathematics
and symbols, the living scripts that Noto Sans is published for, emoji (in one colour), Chinese, Japanese and
Korean. A character that none of them has is written as its code point, `[U+16A0]`: historic scripts, some
minority scripts (among them Cherokee, Canadian syllabics, Tibetan, Mongolian), private use and what Unicode
added after the fonts were made.
"""

from __future__ import annotations

import logging
import unicodedata
from collections.abc import Iterable, Iterator
from importlib.resources import files
from pathlib import Path

import pymupdf_fonts
from fontTools.ttLib import TTFont

FACE = "face"
_STYLES = {"": "notos", "B": "notosbo"}
_SIGNS = ("math", "symbol2", "music")
_UNSEEN = frozenset({"Cf", "Mn", "Zl", "Zp"})
"""Marks without a shape of their own: dropped where no font places them."""

# It says at every turn which tables of a font it leaves out.
logging.getLogger("fontTools.subset").setLevel(logging.ERROR)


class Letters:
    """Fonts for one report, and its text in characters that they have.

    Args:
        folder: where font files may be written that packages do not keep as files; needed until
            the report is made.
        texts: all that will be written.
    """

    def __init__(self, folder: Path, texts: Iterable[str]) -> None:
        self.face = {style: _unpack(name, folder) for style, name in _STYLES.items()}
        self.more: list[tuple[str, Path]] = []
        self._known = _characters(self.face[""]) & _characters(self.face["B"])
        wanted = {ord(sign) for text in texts for sign in text if not sign.isspace()}
        for name, file in _others(folder):
            missing = wanted - self._known
            if not missing:
                break
            found = _characters(file)
            if missing & found:
                self.more.append((name, file))
                self._known |= found

    def readable(self, text: str) -> str:
        """The text with whatever no font has written as its code point."""
        return "".join(self._shown(sign) for sign in text)

    def _shown(self, sign: str) -> str:
        if ord(sign) in self._known or sign == "\n":
            return sign
        if sign.isspace():
            return " "
        if unicodedata.category(sign) in _UNSEEN:
            return ""
        return f"[U+{ord(sign):04X}]"


def _others(folder: Path) -> Iterator[tuple[str, Path]]:
    for name in _SIGNS:
        yield name, _unpack(name, folder)
    scripts = Path(str(files("manimgx_fonts")))
    for file in sorted(scripts.glob("*.ttf"), key=lambda one: ("Emoji" in one.name, one.name)):
        if not file.name.startswith(("NotoSans[", "NotoSans-")):
            yield file.name.partition("[")[0], file
    for file in sorted(Path(str(files("manimgx_fonts_cjk"))).glob("*.ttc")):
        yield "cjk", file


def _unpack(name: str, folder: Path) -> Path:
    file = folder / f"{name}.ttf"
    if not file.exists():
        file.write_bytes(pymupdf_fonts.myfont(name))
    return file


def _characters(file: Path) -> set[int]:
    with TTFont(file, fontNumber=0, lazy=True) as font:
        return {code for code in font.getBestCmap() if unicodedata.category(chr(code)) != "Cc"}
