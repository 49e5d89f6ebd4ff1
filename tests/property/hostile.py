"""A small pack with hostile files in it, and what the compiler says of it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import pytest

from kneewall.compiler import CompileError, compile_packs

TESTS: Final = Path(__file__).parents[1]
UNITS: Final = (TESTS.parent / "rules" / "units.csv").read_text(encoding="utf-8")
BASE: Final = (TESTS / "language" / "base.yaml").read_text(encoding="utf-8")
PACK: Final = "id: trade\nrank: trade\ntitle: A pack\nformat: 1\n"
LINE: Final = re.compile(r".+:[1-9]\d*:[1-9]\d*: E\d{3} .+")


def lay_out(folder: Path, files: dict[str, str | bytes]) -> Path:
    pack = folder / "pack"
    pack.mkdir(exist_ok=True)
    base: dict[str, str | bytes] = {"pack.yaml": PACK, "units.csv": UNITS, "base.yaml": BASE}
    for name, content in (base | files).items():
        data = content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass")
        (pack / name).write_bytes(data)
    return pack


def lines_of(pack: Path) -> list[str]:
    """The lines of a refusal, none when it compiles; any other exception is for the caller to fail on."""
    try:
        compile_packs([pack])
    except CompileError as error:
        lines = [str(fault) for fault in error.faults]
        if not lines or not all(LINE.fullmatch(line) and line.isprintable() for line in lines):
            pytest.fail(f"not a place, a number and what is wrong: {lines[:3]}")
        return lines
    return []


def formula(text: str, unit: str = "", limits: str = "0 to 1") -> str:
    """A rule file with one formula."""
    quoted = "'" + text.replace("'", "''") + "'"
    where = f"unit: {unit}, " if unit else ""
    return (
        f"quantities:\n  x.y: {{label: Y, {where}limits: {limits}, source: demo, formula: {quoted}}}\n"
        "calculators:\n"
        "  other: {title: T, topic: demo, enter: [box.length, box.width, box.size], show: [x.y]}\n"
    )
