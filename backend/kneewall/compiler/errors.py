"""What can be wrong with rules: numbered, with its place, in one line each.

CompileError            all faults of one run
Fault                   one of them
RuleFault               raised where a fault is found, caught by whoever can go on with the next item
"""

from __future__ import annotations

import difflib
import keyword
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

NUMBERS: Final = {
    "E101": "the file is not YAML",
    "E102": "anchors, aliases, tags and merge keys are refused",
    "E103": "a key stands twice",
    "E104": "this key or section is not known",
    "E105": "a key is missing",
    "E106": "the value has the wrong form",
    "E107": "the file is too large or too deep",
    "E108": "a file or folder cannot be read",
    "E110": "the CSV is malformed",
    "E111": "a CSV header is wrong",
    "E112": "a CSV cell is wrong",
    "E113": "two rows have the same keys",
    "E114": "the table cannot be interpolated",
    "E115": "the table has gaps or overlaps",
    "E201": "nothing has this name",
    "E202": "the name is taken",
    "E203": "the name has the wrong form",
    "E204": "nothing uses it",
    "E205": "the formulas form a loop",
    "E206": "the chart does not show what it is drawn over",
    "E301": "the unit is not in the list",
    "E302": "the dimensions do not agree",
    "E303": "the kinds do not agree",
    "E304": "a point on a scale is used as an amount",
    "E305": "a line of units.csv is wrong",
    "E306": "the value is impossible",
    "E307": "a limit or default has no unit",
    "E401": "the formula cannot be read",
    "E402": "this is not part of the language",
    "E403": "the number of arguments is wrong",
    "E404": "a number, flag, choice or list stands where another is meant",
    "E405": "the choice is not in its list",
    "E501": "a source is missing",
    "E502": "the source is not known",
    "E601": "a worked example fails",
    "E602": "a worked example cannot be run",
    "E701": "the pack is wrong",
    "E702": "an item of an earlier pack is replaced without saying so",
    "E703": "what is replaced has changed",
    "E704": "there is nothing to replace",
    "E801": "the words of another language say something else",
}
"""Every number with its meaning; a broken fixture for each is in the tests."""
_BREAKS: Final = re.compile(r"[ \t\r\n]+")


@dataclass(frozen=True, order=True)
class Place:
    """`folds`, of a text over several lines: (offset in the text, line, column) where each line of it begins."""

    file: str
    line: int
    column: int
    folds: tuple[tuple[int, int, int], ...] = field(default=(), compare=False, repr=False)

    def inside(self, offset: int) -> Place:
        """The place of a character of the text that stands here."""
        start, line, column = max(
            (fold for fold in self.folds if fold[0] <= offset),
            default=(0, self.line, self.column),
        )
        return Place(self.file, line, column + offset - start)


def printable(text: str, keep: str = "") -> str:
    """A text of a rule file as it goes into a message: control, format and private signs, halves of pairs and
    separators other than a blank are escaped, so that none of them turns, breaks or hides what stands around it.

    Signs in `keep` stay.
    """
    return "".join(
        sign if sign.isprintable() or sign in keep else ascii(sign)[1:-1] for sign in text
    )


@dataclass(frozen=True, order=True)
class Fault:
    """One fault: where, its number, what is wrong, how to mend it, all of it `printable` and in one line."""

    place: Place
    number: str
    what: str
    mend: str = ""

    def __post_init__(self) -> None:
        for name in ("what", "mend"):
            line = _BREAKS.sub(" ", getattr(self, name)).strip(" ")
            object.__setattr__(self, name, printable(line))

    def __str__(self) -> str:
        text = f"{self.what}; {self.mend}" if self.mend else self.what
        file = printable(self.place.file)
        return f"{file}:{self.place.line}:{self.place.column}: {self.number} {text}"


class RuleFault(Exception):
    def __init__(self, place: Place, number: str, what: str, mend: str = "") -> None:
        assert number in NUMBERS, number
        super().__init__(what)
        self.fault = Fault(place, number, what, mend)


class CompileError(Exception):
    """The rules do not compile; `faults` are in the order of their places."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = sorted(set(faults))
        super().__init__("\n".join(str(fault) for fault in self.faults))


def refuse_keyword(name: str, place: Place) -> None:
    """Refuse a word that formulas give a meaning of their own. Raises `RuleFault`."""
    if keyword.iskeyword(name):
        what = f"{name!r} means something else in formulas"
        raise RuleFault(place, "E203", what, "use another word, or two")


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint naming the nearest known name, or nothing."""
    near = difflib.get_close_matches(name, list(known), 1, 0.6)
    return f"the nearest is {near[0]}" if near else ""
