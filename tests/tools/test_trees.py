"""Trees read as they were written, are said with plain amounts, and are filled in."""

from __future__ import annotations

import json
from typing import Any

import pytest

from kneewall.bundle import Quantity
from kneewall.engine.written import figure, filled
from kneewall.tools.trees import exactly, ruled, written
from kneewall.tools.words import Words
from tests.tools.packs import RULES, changed, compiled

FORMULAS = {
    "box.length - (box.width - box.length)": "",
    "box.length + (box.width - box.length) - box.width": "",
    "(box.length + box.width) * 2": "",
    "-box.length + 3 * box.width": "",
    "box.length * (-box.width / box.length) ** 2 ** 2 / -2": "",
    "box.length * box.width / (box.length * 2)": "",
    'max(box.length, quantity(18, "in"))': "",
    'box.length + quantity(-1.25, "in")': "",
    'box.length if box.length > quantity(18, "in") else box.width': "",
    'box.length if box.size == "large" or not known(box.heat) else box.width': "",
    'box.length if box.size in ("small", "large") else box.width':
        'box.length if box.size == "small" or box.size == "large" else box.width',
    'box.length if (box.length > box.width) == (box.legs == 3) else box.width': "",
    '(box.length if box.legs == 3 else box.width) / 2 if box.legs < 5 else box.width': "",
    'box.length if visit.day >= date("2026-02-03") else box.width': "",
    "last(strengths, length <= box.length and strength > quantity(12, \"psi\")).length": "",
    "sum(each(room, room.height * position))": "",
    "sum(each(room, room.height if known(room.height) else box.length * position))": "",
    "max(each(rows(strengths, length <= box.length).length, item / 2))": "",
    "root(side, box.width, box.length, side - box.width)": "",
    "quantity(row(prices, size=\"small\").price, \"ft\")": "",
    'quantity(number(box.length, "in") / 12, "ft")': "",
    "round(box.legs / 2) * box.length": "",
    'round(box.length, quantity(0.5, "in"))': "",
    "box.length * 0.0000181 + box.width * 1e-7": "",
    "box.length * 3.14159265358979": "box.length * 3.14159265359",
    'not_applicable("not here") if box.legs == 3 else box.length': "",
    "box.length * count(room) / count(box.curve)": "",
    'quantity(first(box.curve, reading < quantity(500, "micron")).time / quantity(1, "min"), "ft")': "",
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
    known = {quantity.id: quantity for quantity in bundle.quantities}
    return Words(bundle), {
        formula: known[f"tried.a{place}"] for place, formula in enumerate(FORMULAS)
    }


@pytest.mark.parametrize(("formula", "text"), FORMULAS.items())
def test_reads_as_written(
    boxes: tuple[Words, dict[str, Quantity]], formula: str, text: str
) -> None:
    words, quantities = boxes
    assert ruled(words, quantities[formula].tree) == (text or formula)


@pytest.mark.parametrize(
    ("formula", "text"),
    [
        (
            'box.length if box.length > quantity(18, "in") else box.width',
            "box.length if box.length > 18 in else box.width",
        ),
        (
            'box.length if visit.day >= date("2026-02-03") else box.width',
            "box.length if visit.day >= 2026-02-03 else box.width",
        ),
    ],
)
def test_a_condition_is_said_with_its_amounts(
    boxes: tuple[Words, dict[str, Quantity]], formula: str, text: str
) -> None:
    words, quantities = boxes
    assert written(words, quantities[formula].tree) == text


FILLED = {
    "box.length * (-box.width / box.length) ** 2 ** 2 / -2":
        [["q", "box.length"], " × (−", ["q", "box.width"], " / ", ["q", "box.length"], ")^2^2 / −2"],
    'max(box.length, quantity(18, "in"))': ["max(", ["q", "box.length"], ", 18 in)"],
    'box.length if box.length > quantity(18, "in") else box.width':
        [["if", 0, [["q", "box.length"]], [["q", "box.width"]]]],
    "last(strengths, length <= box.length and strength > quantity(12, \"psi\")).length": [["t", 0, "ft"]],
    "root(side, box.width, box.length, side - box.width)":
        ["the side at which side − ", ["q", "box.width"], " = 0"],
    'quantity(number(box.length, "in") / 12, "ft")': ["(", ["q", "box.length", "in"], " / 12) ft"],
    'not_applicable("not here") if box.legs == 3 else box.length':
        [["if", 0, ["not here"], [["q", "box.length"]]]],
    "sum(each(room, room.height if known(room.height) else box.length * position))":
        ["sum(Height if Height is known else ", ["q", "box.length"], " × position)"],
}  # fmt: skip
"""Formulas as pieces; quantities by name."""


@pytest.mark.parametrize(("formula", "pieces"), FILLED.items())
def test_is_filled_in(
    boxes: tuple[Words, dict[str, Quantity]], formula: str, pieces: list[Any]
) -> None:
    words, quantities = boxes

    def named(piece: Any) -> Any:
        if not isinstance(piece, list):
            return piece
        if piece[0] == "q":
            return ["q", words.name(piece[1]), *piece[2:]]
        return [named(part) if isinstance(part, list) else part for part in piece]

    found = filled(words.bundle, quantities[formula].tree)
    assert json.loads(json.dumps([named(piece) for piece in found])) == pieces


@pytest.mark.parametrize(
    ("x", "text"),
    [(0, "0"), (3, "3"), (-2.5, "-2.5"), (1e20, "100000000000000000000"), (1e21, "1e+21"), (1e-6, "0.000001"),
     (2.5e-7, "2.5e-7"), (123456789012345.0, "123456789012000"), (0.1 + 0.2, "0.3")],
)  # fmt: skip
def test_figures_are_decimals_where_people_write_them(x: float, text: str) -> None:
    assert figure(x) == text


def test_numbers_are_exact_where_that_is_asked(boxes: tuple[Words, dict[str, Quantity]]) -> None:
    words, quantities = boxes
    formula = 'box.length if box.length > quantity(18, "in") else box.width'
    assert (
        exactly(words, quantities[formula].tree)
        == "box.length if box.length > 0.4572 else box.width"
    )
    assert exactly(words, None) == ""
