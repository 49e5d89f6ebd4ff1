"""Hostile tables, lists of units, and paths that lead nowhere good."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.property.hostile import UNITS, formula, lay_out, lines_of

TABLE = "tables:\n  t: {source: demo, keys: [a], file: rows.csv}\n" + formula("row(t, a=1).b")
SHEETS: dict[str, str | bytes] = {
    "empty": "",
    "blank lines": "\n\n \n",
    "header only": "a [number],b [number]\n",
    "quotes": 'a [number],b [number]\n"1","2"\n',
    "open quote": 'a [number],b [number]\n"1,2\n',
    "quote in the middle": 'a [number],b [number]\n1"2,3\n',
    "line break in quotes": 'a [number],b [number]\n"1\n",2\n',
    "NUL": b"a [number],b [number]\n1\0,2\n",
    "only NULs": b"\0" * 1000,
    "CR only": "a [number],b [number]\r1,2\r",
    "form feeds": "a [number],b [number]\n1\f,2\n",
    "line separators": "a [number],b [number]\n1\u2028,2\n",
    "byte order mark": "\ufeffa [number],b [number]\n1,2\n",
    "Latin-1": "a [number],b [number]\né,2\n".encode("latin-1"),
    "UTF-16": "a [number],b [number]\n1,2\n".encode("utf-16"),
    "too few": "a [number],b [number]\n1\n",
    "too many": "a [number],b [number]\n1,2,3\n",
    "thousands of columns": ",".join(f"c{n} [number]" for n in range(5000)) + "\n",
    "a column twice": "a [number],a [number]\n1,2\n",
    "no unit": "a,b\n1,2\n",
    "a long cell": "a [number],b [number]\n" + "1" * 200_000 + ",2\n",
    "a huge number": "a [number],b [number]\n1e99,1" + "0" * 400 + "\n",
    "a huge fraction": "a [number],b [number]\n1/0,1/" + "9" * 5000 + "\n",
    "hexadecimal": "a [number],b [number]\n0x10,1_000\n",
    "infinity": "a [number],b [number]\ninf,nan\n",
    "spreadsheet formula": "a [number],b [number]\n=1+1,@SUM(1)\n",
    "arabic digits": "a [number],b [number]\n\u0661,\u0662\n",
    "right to left": "a [number],b [\u202enumber]\n1,2\n",
    "escape": "a [number],b [number]\n\x1b[31m,2\n",
    "notes": "a [number],b [number],source,because,replaces\n1,2,nothing,x,y\n",
    "keys that are close": "a [number],b [number]\n1,2\n1.00000000001,3\n",
    "a hundred thousand rows": "a [number],b [number]\n"
    + "".join(f"{n},1\n" for n in range(100_000)),
    "a hundred thousand like rows": "a [number],b [number]\n" + "1,1\n" * 100_000,
    "fifty thousand bad cells": "a [number],b [number]\n" + "x,y\n" * 50_000,
    "more than it may be": "a [number],b [number]\n" + "1,1\n" * 600_000,
    "dated rows that meet": "a [number],b [number],holds_from [date],holds_to [date]\n"
    + "1,1,2026-01-01,\n" * 20_000,
}


@pytest.mark.parametrize("text", SHEETS.values(), ids=SHEETS)
def test_tables(text: str | bytes, tmp_path: Path) -> None:
    lines_of(lay_out(tmp_path, {"rules.yaml": TABLE, "rows.csv": text}))


@pytest.mark.parametrize("text", SHEETS.values(), ids=SHEETS)
def test_units(text: str | bytes, tmp_path: Path) -> None:
    assert lines_of(lay_out(tmp_path, {"units.csv": text}))


UNIT_LINES = {
    "a loop": "x,2 x,,,si,,x,",
    "a later one": "x,2 y,,,si,,x,\ny,2 x,,,si,,y,",
    "nothing": "x,,,,si,,x,",
    "zero": "x,0 m,,,si,,x,",
    "negative": "x,-1 m,,,si,,x,",
    "infinite": "x,1e999 m,,,si,,x,",
    "a tower": "x,9**9**9**9 m,,,si,,x,",
    "a power tower": "x,m**9**9**9,,,si,,x,",
    "a huge power": "x,m**99999999999,,,si,,x,",
    "a huge power of a number": "x,(7 m)**99999999,,,si,,x,",
    "division by zero": "x,m / 0,,,si,,x,",
    "a sum": "x,m + s,,,si,,x,",
    "a call": "x,exit(),,,si,,x,",
    "an offset of nothing": "x,K; offset 1/0,temperature,yes,si,,x,",
    "an offset of words": "x,K; offset __import__,temperature,yes,si,,x,",
    "brackets": "x," + "(" * 3000 + "m" + ")" * 3000 + ",,,si,,x,",
    "a long sum": "x," + " * ".join(["m"] * 3000) + ",,,si,,x,",
    "a partner that is none": "x,2 m,,,si,nothing,x,",
    "pint's own words": "x,2 m = y = z,,,si,,x,",
    "a context": "x,@context,,,si,,x,",
    "a prefix": "x,kilom,,,si,,x,",
    "a spelling twice": "x,2 m,,,si,,x,ft|m",
    "a kind that is none": "x,2 m,warmth,,si,,x,",
}


@pytest.mark.parametrize("lines", UNIT_LINES.values(), ids=UNIT_LINES)
def test_lines_of_units(lines: str, tmp_path: Path) -> None:
    lines_of(lay_out(tmp_path, {"units.csv": UNITS.rstrip("\n") + f"\n{lines}\n"}))


PATHS: dict[str, Callable[[Path], str]] = {
    "parent": lambda pack: "../outside.csv",
    "parent within": lambda pack: "sub/../../outside.csv",
    "absolute": lambda pack: str(pack.parent / "outside.csv"),
    "link to itself": lambda pack: _link(pack, pack / "link"),
    "device": lambda pack: _link(pack, Path("/dev/zero")),
    "folder": lambda pack: ".",
    "nothing there": lambda pack: "nothing.csv",
    "NUL": lambda pack: '"a\\0b.csv"',
    "too long a name": lambda pack: "n" * 4000,
    "pipe": lambda pack: _pipe(pack),
    "home": lambda pack: "~/outside.csv",
    "url": lambda pack: "https://localhost/outside.csv",
}


def _link(pack: Path, target: Path) -> str:
    (pack / "link").symlink_to(target)
    return "link"


def _pipe(pack: Path) -> str:
    os.mkfifo(pack / "pipe")
    return "pipe"


@pytest.mark.parametrize("place", PATHS.values(), ids=PATHS)
def test_paths_of_tables(place: Callable[[Path], str], tmp_path: Path) -> None:
    """Only a plain file of the pack is read."""
    (tmp_path / "outside.csv").write_text("a [number],b [number]\n1,1\n")
    pack = lay_out(tmp_path, {})
    (pack / "sub").mkdir()
    rules = TABLE.replace("rows.csv", place(pack))
    (line,) = lines_of(lay_out(tmp_path, {"rules.yaml": rules}))
    assert " E108 " in line


@pytest.mark.parametrize("target", ["pipe", "loop", "folder", "device", "nothing"])
def test_rule_files_that_are_no_files(target: str, tmp_path: Path) -> None:
    pack = lay_out(tmp_path, {})
    path = pack / "odd.yaml"
    if target == "pipe":
        os.mkfifo(path)
    elif target == "folder":
        path.mkdir()
    else:
        path.symlink_to(
            {"loop": path, "device": Path("/dev/zero"), "nothing": pack / "gone"}[target]
        )
    lines = lines_of(pack)
    assert not lines or " E108 " in lines[0]
