"""The way to a unit in the attic, and the traps of it: what carries, what passes, what is missing."""

from __future__ import annotations

from itertools import permutations, product

import pytest

from tests.trade.asking import Trade

WAY = {
    "indoor.location": "attic",
    "access.opening_short": "22 in",
    "access.opening_long": "54 in",
    "access.passage_length": "12 ft",
    "access.floor_width": "24 in",
    "access.service_space": "30 in",
    "access.light_and_outlet": "yes",
}


def test_joists_are_no_floor(trade: Trade) -> None:
    """IRC M1305.1.3 asks for 24 in of solid floor along the way; ceiling joists are none."""
    assert trade.ask(WAY).verdict("access.way_in") == "pass"
    joists = trade.ask(WAY | {"access.floor_width": "0 in"})
    assert joists.verdict("access.way_in") == "fail"
    (floor,) = [q for q in trade.bundle.quantities if q.id == "access.floor_width"]
    assert "joists" in floor.note


@pytest.mark.parametrize(
    ("sides", "passes"),
    # The opening is 22 by 54 in, whichever way the unit is held: its two smaller sides must go through.
    [((20, 21, 58), True), ((21, 22, 48), True), ((22, 24, 48), False), ((24.5, 25, 40), False),
     ((20, 54, 60), False), ((20, 53, 60), True)],
)  # fmt: skip
def test_a_ladder_opening_narrower_than_the_unit_is_found(
    trade: Trade, sides: tuple[float, ...], passes: bool
) -> None:
    for width, length, height in permutations(sides):
        given = {
            "cabinet.width": f"{width} in",
            "cabinet.length": f"{length} in",
            "cabinet.height": f"{height} in",
        }
        found = trade.ask(WAY | given).verdict("access.unit_passes")
        assert found == ("pass" if passes else "fail")


def test_an_opening_that_meets_the_code_may_still_be_too_small_for_the_unit(trade: Trade) -> None:
    """30 by 20 in is what the code asks for at least; the largest unit must pass as well."""
    least = WAY | {"access.opening_short": "20 in", "access.opening_long": "30 in"}
    unit = {"cabinet.width": "24 in", "cabinet.length": "50 in", "cabinet.height": "21 in"}
    asked = trade.ask(least | unit)
    assert asked.verdict("access.way_in") == "pass"
    assert asked.verdict("access.unit_passes") == "fail"


def test_a_missing_outlet_is_said_however_old_the_unit_was(trade: Trade) -> None:
    for there, verdict in (("yes", "pass"), ("no", "caution")):
        asked = trade.ask(WAY | {"access.light_and_outlet": there})
        assert asked.verdict("access.lit") == verdict
    elsewhere = trade.ask(WAY | {"indoor.location": "closet", "access.light_and_outlet": "no"})
    assert elsewhere.verdict("access.lit") == "not-applicable"


def test_what_was_not_measured_is_not_judged(trade: Trade) -> None:
    for name, worst in product(
        ("access.opening_short", "access.floor_width", "access.service_space"), (False, True)
    ):
        given = {key: text for key, text in WAY.items() if key != name}
        if worst:
            given["access.passage_length"] = "40 ft"
        expected = "fail" if worst else "unknown"
        assert trade.ask(given).verdict("access.way_in") == expected
