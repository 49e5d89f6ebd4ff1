"""What was probably meant by a formula that is none: other signs, other words, habits of spreadsheets."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection
from typing import Final

Slip = tuple[int, str, str]
"""Offset in the formula, what is wrong, how to mend it."""

_TEXT: Final = re.compile(r""""[^"]*"?|'[^']*'?""")
_SIGNS: Final = {
    "−": "-", "–": "-", "—": "-", "×": "*", "·": "*", "⋅": "*", "÷": "/", "∕": "/", "≤": "<=", "≥": ">=", "≠": "!=",
    "²": "**2", "³": "**3", "√": "sqrt(x)", "π": "3.14159265359",
    "“": '"', "”": '"', "„": '"', "‘": "'", "’": "'",
}  # fmt: skip
_CONDITIONAL: Final = "write A if condition else B"
_ROW: Final = "write row(table, key=…).column"
_HABITS: Final = {
    "if": _CONDITIONAL, "iif": _CONDITIONAL, "and": "write a and b", "or": "write a or b", "not": "write not a",
    "vlookup": _ROW, "hlookup": _ROW, "xlookup": _ROW, "lookup": _ROW, "index": _ROW, "match": _ROW,
    "sumif": "write sum(rows(table, condition).column)", "countif": "write count(rows(table, condition).column)",
    "average": "write sum(x) / count(x)", "avg": "write sum(x) / count(x)", "mean": "write sum(x) / count(x)",
    "pow": "write x ** y", "power": "write x ** y", "log": "write ln(x) or log10(x)", "pi": "write 3.14159265359",
    "int": "write floor(x)", "trunc": "write floor(x)", "roundup": "write ceil(x, step)",
    "rounddown": "write floor(x, step)", "ceiling": "write ceil(x, step)", "mod": "write a % b",
    "isblank": "write not known(x)", "isnumber": "write known(x)", "today": "compare with the quantity of the day",
    "now": "compare with the quantity of the day",
}  # fmt: skip
_WORDS: Final = "and|or|not|if|else|in"
_SLIPS: Final[list[tuple[str, str, str]]] = [
    (r"^\s*(=)(?!=)", "a formula begins without =", "leave it out"),
    (r"(=>)", "{} is no comparison", "write >="),
    (r"(=<)", "{} is no comparison", "write <="),
    (r"(<>)", "{} is no comparison", "write !="),
    (r"(&&)", "{} is not part of the language", "write and"),
    (r"(\|\|)", "{} is not part of the language", "write or"),
    (r"(!)(?!=)", "{} is not part of the language", "write not"),
    (r"\b(AND|OR|NOT|ELSE|IN|IF(?!\s*\())\b", "{} is not part of the language", "write it in small letters"),
    (r"(?:^|[(,])\s*(if)\s*\(", "if stands between what it chooses from", _CONDITIONAL),
    (rf"[\d)]\s*(%)\s*(?=$|[-+*/)<>=,]|(?:{_WORDS})\b)", "{} divides and takes the rest",
     'write quantity(3, "percent") for 3 %'),
    (r"\w\.\w+\s*(=)(?!=)", "one = compares nothing", "write =="),
    (rf"(?:\)\s*|(?<![\w.])\d+(?:\.\d+)?\s*|\w\.\w+\s+)(\((?<!\d\()|(?!(?:{_WORDS})\b|e\d)[a-z]\w*)",
     "a sign is missing before this", "write * or another"),
]  # fmt: skip
_MEASURED: Final = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)\s*([A-Za-z][\w/]*(?: [A-Za-z./]+)?)")


def foreign(formula: str) -> Slip | None:
    """The first sign outside quotes that no formula holds."""
    if formula.isascii() and formula.isprintable():
        return None
    bare = _TEXT.sub(lambda found: "_" * len(found[0]), formula)
    for offset, sign in enumerate(bare):
        if sign.isascii() and sign.isprintable():
            continue
        name = f"{unicodedata.name(sign, 'a control sign').lower()} (U+{ord(sign):04X})"
        shown = f"{sign!r} is" if sign.isprintable() else "here stands"
        if sign in _SIGNS:
            mend = f"write {_SIGNS[sign]}"
        elif unicodedata.category(sign) == "Zs" or sign in "\t\n":
            mend = "write a plain space"
        else:
            mend = "formulas hold plain letters and signs; leave it out or write the plain one"
        return offset, f"{shown} {name}", mend
    return None


def habit(name: str) -> str:
    """What is written here instead of a function of spreadsheets; nothing where there is nothing."""
    return _HABITS.get(name.casefold(), "")


def slip(formula: str, units: Callable[[str], bool], options: Collection[str]) -> Slip | None:
    """The likeliest slip in a formula that cannot be parsed; `units` tells whether a spelling is one."""
    bare = _TEXT.sub(lambda found: '"' + "_" * (len(found[0]) - 2) + '"', formula)
    for found in _MEASURED.finditer(bare):
        for words in (found[2], found[2].partition(" ")[0]):
            if f"{found[1]} {words}" in options:
                return (
                    found.start(),
                    "a choice stands here without quotes",
                    f'write "{found[1]} {words}"',
                )
            if units(words):
                mend = f'write quantity({found[1]}, "{words}")'
                return found.start(), "a number with its unit is written as a quantity", mend
    first: Slip | None = None
    for pattern, what, mend in _SLIPS:
        found_ = re.search(pattern, bare)
        if found_ and (first is None or found_.start(1) < first[0]):
            first = found_.start(1), what.format(found_[1]), mend
    return first
