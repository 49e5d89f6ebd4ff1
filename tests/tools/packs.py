"""A pack with one of everything, compiled with changes."""

from __future__ import annotations

import re
from pathlib import Path

from kneewall.bundle import Bundle
from kneewall.compiler.link import Compiled, compile_items

HERE = Path(__file__).parent
RULES = (HERE / "pack.yaml").read_text(encoding="utf-8")
UNITS = (HERE.parents[1] / "rules" / "units.csv").read_text(encoding="utf-8")
CALENDAR = "date_quantity: visit.day\nedition_quantity: site.edition\n"
PACK = f"id: trade\nrank: trade\ntitle: Boxes\nformat: 1\n{CALENDAR}"


WORDS = "cautions: {mind-the-legs: {text: Cuidado con las patas.}}\n"


def changed(text: str, *changes: tuple[str, str]) -> str:
    """The text with each first of a pair replaced by its second; each must be there."""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text


def renamed(text: str, old: str, new: str) -> str:
    """The text with a name replaced wherever it stands alone."""
    return re.sub(rf"(?<![\w.]){re.escape(old)}(?![\w.])", new, text)


def compiled(folder: Path, rules: str = RULES, units: str = UNITS) -> Compiled:
    folder.mkdir(exist_ok=True)
    files = {"pack.yaml": PACK, "rules.yaml": rules, "units.csv": units, "es.yaml": WORDS}
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return compile_items([folder])


def bundle_of(folder: Path, *changes: tuple[str, str]) -> Bundle:
    """The pack with these changes in its text."""
    return compiled(folder, changed(RULES, *changes)).bundle
