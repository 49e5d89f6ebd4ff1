"""Room screening against Annex GG written out apart from the rules, printed values, and the known traps."""

from __future__ import annotations

from itertools import product
from math import sqrt

import pytest

from kneewall.bundle import Value
from kneewall.explain import Explainer
from tests.trade.asking import Trade

LIMIT = {"R-32": 0.307, "R-454B": 0.297}
"""kg/m³"""
HEIGHT = {"floor": 0.6, "window": 1.0, "wall": 1.8, "ceiling": 2.2}
"""m"""
LB = 0.45359237
FT2 = 0.3048**2


def room(**more: str) -> dict[str, str]:
    given = {
        "system.refrigerant": "R-32", "charge.total_in_system": "3 kg", "room.route": "still-room",
        "indoor.placement": "wall", "room.area": "20 m2",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


def most(refrigerant: str, height: float, area: float) -> float:
    """kg, still room of `area` m²."""
    limit = LIMIT[refrigerant]
    return float(min(2.5 * limit**1.25 * height * sqrt(area), 0.75 * limit * height * area))


@pytest.mark.parametrize("refrigerant", LIMIT)
@pytest.mark.parametrize("placement", HEIGHT)
def test_still_room(trade: Trade, refrigerant: str, placement: str) -> None:
    limit, height = LIMIT[refrigerant], HEIGHT[placement]
    for area, charge in product((3, 5, 6.1, 8, 12, 20, 50), (1.9, 3.2, 6, 12)):
        asked = trade.ask(
            room(
                system__refrigerant=refrigerant,
                indoor__placement=placement,
                room__area=f"{area} m2",
                charge__total_in_system=f"{charge} kg",
            )
        )
        assert asked.number("room.most_charge", "kg") == pytest.approx(
            most(refrigerant, height, area), rel=1e-9
        )
        least = max((charge / (2.5 * limit**1.25 * height)) ** 2, charge / (0.75 * limit * height))
        assert asked.number("room.least_area", "m2") == pytest.approx(least, rel=1e-9)
        # Both say the same of one room.
        verdict = asked.verdict("room.large_enough")
        assert verdict == ("pass" if charge <= most(refrigerant, height, area) else "fail")


@pytest.mark.parametrize(
    ("refrigerant", "height", "row"),
    # Most charge in kg for 5, 10, 15, 20, 30 and 50 m², printed.
    [
        ("R-32", "floor", (0.69, 1.08, 1.33, 1.53, 1.88, 2.42)),
        ("R-32", "window", (1.15, 1.81, 2.21, 2.55, 3.13, 4.04)),
        ("R-32", "wall", (2.07, 3.25, 3.98, 4.60, 5.63, 7.27)),
        ("R-32", "ceiling", (2.53, 3.97, 4.87, 5.62, 6.88, 8.89)),
        ("R-454B", "floor", (0.67, 1.04, 1.27, 1.47, 1.80, 2.33)),
        ("R-454B", "window", (1.11, 1.73, 2.12, 2.45, 3.00, 3.88)),
        ("R-454B", "wall", (2.00, 3.12, 3.82, 4.41, 5.40, 6.98)),
        ("R-454B", "ceiling", (2.45, 3.81, 4.67, 5.39, 6.60, 8.53)),
    ],
)
def test_printed_charges(
    trade: Trade, refrigerant: str, height: str, row: tuple[float, ...]
) -> None:
    for area, printed in zip((5, 10, 15, 20, 30, 50), row, strict=True):
        asked = trade.ask(
            room(
                system__refrigerant=refrigerant,
                indoor__placement=height,
                room__area=f"{area} m2",
            )
        )
        assert asked.number("room.most_charge", "kg") == pytest.approx(printed, abs=0.0055)


@pytest.mark.parametrize("refrigerant", LIMIT)
def test_the_small_room_cap_governs_below_its_edge(trade: Trade, refrigerant: str) -> None:
    """Below 11.11 √LFL m² the cap, above it the root."""
    limit = LIMIT[refrigerant]
    edge = (2.5 * limit**1.25 / (0.75 * limit)) ** 2
    assert edge == pytest.approx(11.11 * sqrt(limit), abs=0.01)
    for area, linear in ((edge * 0.9, True), (edge * 1.1, False)):
        halves = [
            trade.ask(
                room(
                    system__refrigerant=refrigerant,
                    indoor__placement="floor",
                    room__area=f"{share * area:.6f} m2",
                )
            ).number("room.most_charge", "kg")
            for share in (1, 0.999)
        ]
        slope = (halves[0] - halves[1]) / halves[0] / 0.001
        assert slope == pytest.approx(1 if linear else 0.5, abs=0.01)


@pytest.mark.parametrize("refrigerant", LIMIT)
@pytest.mark.parametrize("placement", ["", *HEIGHT])
def test_ducted_counts_the_served_area_and_no_placement(
    trade: Trade, refrigerant: str, placement: str
) -> None:
    given = room(
        system__refrigerant=refrigerant,
        room__route="ducted",
        charge__total_in_system="3.20 kg",
        room__area="9.9 m2",
    )
    del given["indoor.placement"]
    if placement:
        given["indoor.placement"] = placement
    asked = trade.ask(given)
    limit = LIMIT[refrigerant]
    assert asked.number("room.least_area", "m2") == pytest.approx(3.2 / (0.5 * limit * 2.2))
    assert asked.number("room.most_charge", "kg") == pytest.approx(0.5 * limit * 2.2 * 9.9)
    # 14.9 and 14.5 ft² for each pound.
    per_pound = asked.number("room.least_area", "m2") / FT2 / (3.2 / LB)
    assert per_pound == pytest.approx({"R-454B": 14.9, "R-32": 14.5}[refrigerant], abs=0.06)


@pytest.mark.parametrize(("refrigerant", "pounds"), [("R-32", 4.06), ("R-454B", 3.93)])
def test_a_small_charge_needs_no_room(trade: Trade, refrigerant: str, pounds: float) -> None:
    free = 6 * LIMIT[refrigerant]
    assert free / LB == pytest.approx(pounds, abs=0.005)
    small = {
        "system.refrigerant": refrigerant,
        "charge.total_in_system": f"{free:.9f} kg",
        "room.route": "still-room",
        "indoor.placement": "floor",
    }
    asked = trade.ask(small)
    assert asked.number("room.charge_without_check", "kg") == pytest.approx(free)
    assert asked.why("room.least_area")[0] == "not-applicable"
    assert asked.verdict("room.large_enough") == "pass"
    more = trade.ask(
        small | {"charge.total_in_system": f"{free * 1.001:.9f} kg", "room.area": "4 m2"}
    )
    assert more.number("room.least_area", "m2") > 10
    assert more.verdict("room.large_enough") == "fail"


def test_the_factor_is_6_and_not_4(trade: Trade) -> None:
    """1.5 kg of R-32 is free by the newer text, and was not by the older (1.228 kg)."""
    asked = trade.ask(room(charge__total_in_system="1.5 kg", room__area="1 m2"))
    assert asked.verdict("room.large_enough") == "pass"


def test_beyond_the_rule_no_room_is_large_enough(trade: Trade) -> None:
    for charge, verdict in (("15.9 kg", "pass"), ("16.0 kg", "fail")):
        asked = trade.ask(room(charge__total_in_system=charge, room__area="1000 m2"))
        assert asked.verdict("room.charge_within_rule") == verdict
        assert asked.verdict("room.large_enough") == verdict
        assert asked.number("room.charge_ceiling", "kg") == pytest.approx(15.96, abs=0.01)


@pytest.mark.parametrize("refrigerant", ["R-410A", "R-22"])
def test_does_not_apply_to_what_does_not_burn(trade: Trade, refrigerant: str) -> None:
    asked = trade.ask(room(system__refrigerant=refrigerant))
    assert asked["system.safety_class"] == "A1"
    for name in ("charge_without_check", "least_area", "most_charge"):
        assert asked.why(f"room.{name}")[0] == "not-applicable"
    assert asked.verdict("room.large_enough") == "not-applicable"
    assert asked.verdict("room.charge_within_rule") == "not-applicable"


def test_each_room_is_checked_with_the_whole_charge(trade: Trade) -> None:
    values: dict[str, Value | dict[str, Value]] = {
        "system.refrigerant": "R-32",
        "charge.total_in_system": 3.0,
        "room.route": {"a": "still-room", "b": "still-room"},
        "indoor.placement": {"a": "wall", "b": "wall"},
        "room.area": {"a": 9.0, "b": 8.0},
    }
    answer = trade.engine.evaluate(values, {"indoor": ["a", "b"], "circuit": []})
    least = {m: answer.value("room.least_area", m) for m in ("a", "b")}
    assert least["a"] == least["b"] == pytest.approx((3 / (2.5 * 0.307**1.25 * 1.8)) ** 2)
    verdicts = {r.member: r.verdict for r in answer.checks(["room.large_enough"])}
    assert verdicts == {"a": "pass", "b": "fail"}


def test_what_was_added_is_offered_to_the_room_check(trade: Trade) -> None:
    offered = [q for q in trade.bundle.quantities if q.id == "charge.total"]
    assert [q.offers for q in offered] == ["charge.total_in_system"]


def test_it_says_screening_only_and_what_is_disputed(trade: Trade) -> None:
    asked = trade.ask(room(system__refrigerant="R-454B"))
    explainer = Explainer(asked.answer)
    for result in asked.answer.checks(["room.large_enough", "room.charge_within_rule"]):
        assert explainer.message(result).startswith("Screening only")
    ((table, row),) = explainer.step("room.flammability_limit").rows
    (limits,) = [t for t in trade.bundle.tables if t.id == table]
    source = limits.marks[str(row)].source
    assert source
    assert source.mark == "disputed"
    assert not trade.bundle.sources[source.of].confirmed
    assert trade.bundle.sources["iec-60335-2-40"].edition


@pytest.mark.parametrize("wrong", ["0.307 g", "307 kg", "0.05 lb"])
def test_a_charge_typed_wrong_is_refused(trade: Trade, wrong: str) -> None:
    with pytest.raises(ValueError, match="outside"):
        trade.ask(room(charge__total_in_system=wrong))
