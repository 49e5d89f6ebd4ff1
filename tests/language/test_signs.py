"""What is not printable in a rule file is escaped in every message that repeats it."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest

from kneewall.compiler import CompileError
from kneewall.compiler.context import context
from kneewall.compiler.errors import Fault, Place, printable
from kneewall.compiler.link import compile_items
from kneewall.compiler.warnings import warnings_of
from tests.language.test_faults import lay_out

SIGNS: Final = {
    "a bell": "\x07",
    "an escape": "\x1b",
    "delete": "\x7f",
    "next line": "\x85",
    "no-break space": "\xa0",
    "soft hyphen": "\xad",
    "zero width space": "\u200b",
    "right-to-left mark": "\u200f",
    "line separator": "\u2028",
    "paragraph separator": "\u2029",
    "right-to-left override": "\u202e",
    "right-to-left isolate": "\u2067",
    "half of a pair": "\ud800",
    "private use": "\ue000",
    "byte order mark": "\ufeff",
    "no character": "\U0001ffff",
    "a tag": "\U000e0041",
    "private plane": "\U00100000",
}
QUANTITY: Final = "quantities:\n  x.y: {label: Y, limits: 0 to 1, formula: "
PLACES: Final = {
    "a section": '"SIGN": {}\n',
    "an id": 'quantities: {"x.SIGN": {label: Y, limits: 0 to 1}}\n',
    "a key": 'quantities: {x.y: {label: Y, limits: 0 to 1, "SIGN": 1}}\n',
    "a key twice": 'quantities: {x.y: {"SIGN": 1, "SIGN": 2}}\n',
    "a type": 'quantities: {x.y: {label: Y, type: "SIGN"}}\n',
    "a unit": 'quantities: {x.y: {label: Y, unit: "SIGN", limits: 0 to 1}}\n',
    "a kind": 'quantities: {x.y: {label: Y, kind: "SIGN", limits: 0 to 1}}\n',
    "a limit": 'quantities: {x.y: {label: Y, limits: "0 to SIGN"}}\n',
    "a default": 'quantities: {x.y: {label: Y, limits: 0 to 1, default: "SIGN"}}\n',
    "a flag": 'quantities: {x.y: {label: Y, limits: 0 to 1, each_visit: "SIGN"}}\n',
    "a source": QUANTITY + 'box.length, source: "SIGN"}\n',
    "a source beside another fault": QUANTITY + '1 + , source: "SIGN"}\n',
    "a name in a formula": QUANTITY + '"box.SIGN", source: demo}\n',
    "a sign of a formula": QUANTITY + '"1 SIGN 2", source: demo}\n',
    "a text of a formula": QUANTITY + "\"box.length + 'SIGN'\", source: demo}\n",
    "a unit of a formula": QUANTITY + "\"quantity(1, 'SIGN')\", source: demo}\n",
    "a date of a formula": QUANTITY + "\"date('SIGN')\", source: demo}\n",
    "a choice": 'choices: {c: {values: [a, "SIGN", "SIGN"], source: demo}}\n',
    "the name of a list": 'choices: {"SIGN": {values: [a], source: demo}}\n',
    "a header": 'tables: {t: {source: demo, rows: "SIGN [number]\\n1\\n"}}\n',
    "a unit of a header": 'tables: {t: {source: demo, rows: "a [SIGN]\\n1\\n"}}\n',
    "a cell": 'tables: {t: {source: demo, rows: "a [number]\\nSIGN\\n"}}\n',
    "a file": 'tables: {t: {source: demo, file: "SIGN.csv"}}\n',
    "a name in a message": (
        "checks: {x.y: {label: Y, fail: box.on, source: demo, says: {pass: p, fail: '{'}}}\n"
    ).replace("'{'", '"{box.SIGN}"'),
    "a shown quantity": 'calculators: {c: {title: T, topic: t, enter: [], show: ["SIGN"]}}\n',
    "a step": 'checklists: {c: {title: T, steps: [{id: "SIGN", act: do, title: T}]}}\n',
    "an act": 'checklists: {c: {title: T, steps: [{id: s, act: "SIGN", title: T}]}}\n',
    "an example": 'examples: [{name: "SIGN", calculator: nothing, given: {}, source: demo}]\n',
    "a value of an example": (
        'examples: [{name: E, calculator: box, given: {box.length: "SIGN"}, source: demo}]\n'
    ),
    "no YAML": '"SIGN": "SIGN"x\n',
    "an anchor": "a: &SIGN 1\n",
    "a tag": "a: !SIGN 1\n",
}
RAW: Final = ("an anchor", "a tag")
"""There a sign cannot be written by its number."""
UNSAID: Final = {
    *RAW,
    "a flag",
    "a choice",
    "no YAML",
    "a name in a formula",
    "a sign of a formula",
    "a text of a formula",
    "a unit of a formula",
    "a date of a formula",
}
"""There the message says what may stand there instead, or only what sort of sign it is."""


def shown(folder: Path) -> list[str]:
    """All that is said of these packs, with and without the lines themselves."""
    try:
        faults = warnings_of(compile_items([folder / "trade"]))
    except CompileError as error:
        faults = error.faults
    assert faults
    plain = [text for fault in faults for text in (str(fault), fault.what, fault.mend)]
    return [*plain, *(line for fault in faults for line in context(fault))]


def said(folder: Path, rules: str) -> list[str]:
    _, packs = lay_out(folder, f"expect\n== rules.yaml\n{rules}")
    lines = shown(packs)
    for line in lines:
        assert line.replace("\t", " ").isprintable(), ascii(line)
    return lines


def by_number(signs: str) -> str:
    return "".join(f"\\U{ord(sign):08x}" for sign in signs)


@pytest.mark.parametrize("place", PLACES)
def test_no_message_prints_any_of_them(place: str, tmp_path: Path) -> None:
    said(tmp_path, PLACES[place].replace("SIGN", by_number("".join(SIGNS.values()))))


@pytest.mark.parametrize("place", ["an id", "a source", *RAW])
@pytest.mark.parametrize("sign", SIGNS.values(), ids=list(SIGNS))
def test_no_message_prints_it(sign: str, place: str, tmp_path: Path) -> None:
    written = sign if place in RAW and sign != "\ud800" else by_number(sign)
    said(tmp_path, PLACES[place].replace("SIGN", written))


@pytest.mark.parametrize("place", [place for place in PLACES if place not in UNSAID])
def test_it_is_said_by_its_number(place: str, tmp_path: Path) -> None:
    """Or nobody would find it."""
    lines = said(tmp_path, PLACES[place].replace("SIGN", by_number("\u202e")))
    assert any("\\u202e" in line for line in lines)


def test_a_fault_escapes_whatever_it_is_made_of() -> None:
    place = Place("pa\u202eck.yaml", 1, 2)
    fault = Fault(place, "E101", "a\u2028b\n  c\x1b", "\tsee\ud800")
    assert str(fault) == "pa\\u202eck.yaml:1:2: E101 a\\u2028b c\\x1b; see\\ud800"
    assert (fault.what, fault.mend) == ("a\\u2028b c\\x1b", "see\\ud800")


def test_what_is_printable_stays() -> None:
    assert printable("12 °F ≤ é 管\u0301 \\n") == "12 °F ≤ é 管\u0301 \\n"
    assert printable("\ta\n", keep="\t") == "\ta\\n"
