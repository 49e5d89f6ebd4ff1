"""Trees read as they could have been written, with amounts in the units of what they stand beside."""

from __future__ import annotations

import pytest

from kneewall.bundle import Quantity
from kneewall.tools.trees import exactly, written
from kneewall.tools.words import Words
from tests.tools.packs import RULES, changed, compiled

FORMULAS = {
    "box.length - (box.width - box.length)": "",
    "(box.length + box.width) * 2": "",
    "-box.length + 3 * box.width": "−box.length + 3 * box.width",
    'max(box.length, quantity(18, "in"))': "max(box.length, 1.5 ft)",
    'box.length if box.length > quantity(18, "in") else box.width': "box.length if box.length > 1.5 ft else box.width",
    'box.length if box.size == "large" or not known(box.heat) else box.width': "",
    'box.length if box.size in ("small", "large") else box.width':
        'box.length if box.size == "small" or box.size == "large" else box.width',
    'box.length if visit.day >= date("2026-02-03") else box.width':
        "box.length if visit.day >= 2026-02-03 else box.width",
    "last(strengths, length <= box.length and strength > quantity(12, \"psi\")).length":
        "last(strengths, length <= box.length and strength > 12 psi).length",
    "sum(each(room, room.height * position))": "",
    "max(each(rows(strengths, length <= box.length).length, item / 2))": "",
    "root(x, box.width, box.length, x - box.width)": "",
    "quantity(row(prices, size=\"small\").price, \"ft\")": 'row(prices, size="small").price * 0.3048',
    'not_applicable("not here") if box.legs == 3 else box.length': "",
    "box.length * count(room) / count(box.curve)": "",
    'quantity(first(box.curve, reading < quantity(500, "micron")).time / quantity(1, "min"), "ft")':
        "first(box.curve, reading < 500 micron).time / 60 * 0.3048",
}  # fmt: skip
"""What is written, and how it reads; nothing where it reads as written."""


@pytest.fixture(scope="module")
def boxes(tmp_path_factory: pytest.TempPathFactory) -> tuple[Words, dict[str, Quantity]]:
    added = [
        f"  tried.a{place}:\n    label: A\n    unit: ft\n    limits: 0 ft to 9 ft\n    source: demo\n"
        f"    formula: >-\n      {formula}\n"
        for place, formula in enumerate(FORMULAS)
    ]
    shown = ", ".join(f"tried.a{place}" for place in range(len(FORMULAS)))
    steps = f"      - {{id: all, act: read, title: All, show: [{shown}]}}\nexamples:\n"
    rules = changed(
        RULES, ("  box.area: {", "".join(added) + "  box.area: {"), ("examples:\n", steps)
    )
    bundle = compiled(tmp_path_factory.mktemp("packs") / "boxes", rules).bundle
    return Words(bundle), {quantity.formula: quantity for quantity in bundle.quantities}


@pytest.mark.parametrize(("formula", "text"), FORMULAS.items())
def test_reads_as_written(
    boxes: tuple[Words, dict[str, Quantity]], formula: str, text: str
) -> None:
    words, quantities = boxes
    quantity = quantities[formula]
    assert written(words, quantity.tree) == (text or formula)


def test_numbers_are_exact_where_that_is_asked(boxes: tuple[Words, dict[str, Quantity]]) -> None:
    words, quantities = boxes
    formula = 'box.length if box.length > quantity(18, "in") else box.width'
    assert (
        exactly(words, quantities[formula].tree)
        == "box.length if box.length > 0.4572 else box.width"
    )
    assert exactly(words, None) == ""
