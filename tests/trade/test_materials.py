"""The material list: lengths, counts and gas against figures worked out here."""

from __future__ import annotations

import math

import pytest

from tests.trade.asking import Trade
from tests.trade.catalogue import Plan, by_model

OUTDOOR = by_model("outdoor_units")
LINES = by_model("line_sets")
STEPS = (15, 20, 25, 30, 35, 40, 45, 50, 60)
BORE = {"1/4 in": 0.190, "3/8 in": 0.311, "1/2 in": 0.436, "5/8 in": 0.555, "3/4 in": 0.680}
"""Inside diameters printed with ASTM B280, in inches."""


def up(x: float, step: float) -> float:
    return math.ceil(round(x / step, 9)) * step


@pytest.mark.parametrize("feet", [1, 10, 11, 24.9, 40, 61.5, 100, 164])
def test_lengths_have_a_tenth_and_their_ends(trade: Trade, feet: float) -> None:
    given = {
        "line.length": f"{feet} ft", "supply.length": f"{feet} ft", "drain.run": f"{feet} ft",
        "control.length": f"{feet} ft",
    }  # fmt: skip
    asked = trade.ask(given)
    tube, cable = up(1.1 * feet + 3, 5), up(1.1 * feet + 6, 5)
    assert asked.number("material.liquid_line", "ft") == pytest.approx(tube)
    assert asked.number("material.vapor_line", "ft") == pytest.approx(tube)
    assert asked.number("material.insulation", "ft") == pytest.approx(2 * tube)
    for name in ("interunit_cable", "control_cable", "wire"):
        assert asked.number(f"material.{name}", "ft") == pytest.approx(cable)
    assert asked.number("material.drain_pipe", "ft") == pytest.approx(up(1.1 * feet, 10))
    measured = trade.ask(given | {"interunit.length": "80 ft"})
    assert measured.number("material.interunit_cable", "ft") == pytest.approx(95)


@pytest.mark.parametrize("model", OUTDOOR)
def test_breaker_and_disconnect_of_every_unit(maker: Trade, model: str) -> None:
    row = OUTDOOR[model]
    listed = maker.ask(
        {"outdoor.model": model, "indoor.model": "AH-24-S", "circuit.feeds": "outdoor-unit"}
    )
    mca, mocp = float(row["mca"]), float(row["mocp"])
    assert listed.number("material.breaker", "A") == max(s for s in STEPS if s <= mocp)
    switch = next(s for s in (30, 60, 100, 200) if s >= 1.15 * mca)
    assert listed.number("material.disconnect", "A") == switch
    running = float(row["compressor"]) + float(row["motors"])
    assert switch >= 1.15 * running
    chosen = maker.ask({"outdoor.model": model, "breaker.rating": "20 A", "nameplate.mca": "55 A"})
    assert chosen.number("material.breaker", "A") == 20
    assert chosen.number("material.disconnect", "A") == 100


def test_an_odd_maximum_is_rounded_down(trade: Trade) -> None:
    asked = trade.ask({"nameplate.mocp": "33 A", "nameplate.mca": "20 A"})
    assert asked.number("material.breaker", "A") == 30


@pytest.mark.parametrize(
    ("given", "switches", "pans"),
    [
        ({"indoor.location": "attic"}, 1, None),
        ({"indoor.location": "attic", "overflow.device": "pan-float"}, 1, 1),
        ({"indoor.location": "attic", "overflow.device": "drained-pan"}, 0, 1),
        ({"indoor.location": "attic", "overflow.device": "none"}, 1, 0),
        ({"indoor.location": "garage", "overflow.can_damage": "no"}, 0, None),
        ({"indoor.location": "garage"}, 1, None),
    ],
)
def test_overflow_parts(
    trade: Trade, given: dict[str, str], switches: int, pans: int | None
) -> None:
    asked = trade.ask(given)
    assert asked.number("material.overflow_switch") == switches
    if pans is None:
        assert asked.why("material.pan")[0] == "not-applicable"
    else:
        assert asked.number("material.pan") == pans


def test_trap_or_pump(trade: Trade) -> None:
    for by_gravity, traps, pumps in (("yes", 1, 0), ("no", 0, 1)):
        asked = trade.ask({"drain.by_gravity": by_gravity})
        assert (asked.number("material.traps"), asked.number("material.pump")) == (traps, pumps)
    assert trade.ask({}).why("material.traps") == ("missing", ["drain.by_gravity"])


@pytest.mark.parametrize(
    ("outdoor", "indoor", "feet"),
    [
        ("OU-S24-B", ["AH-24-S"], [40.0]),
        ("OU-S48-B", ["AH-48-S"], [20.0]),
        ("OU-M36-B", ["AH-09-M", "AH-12-M", "AH-18-M"], [15.0, 60.0, 82.0]),
    ],
)
def test_gas_for_the_lines(
    maker: Trade, outdoor: str, indoor: list[str], feet: list[float]
) -> None:
    answer = Plan(outdoor, indoor, feet).ask(maker)
    row = OUTDOOR[outdoor]
    beyond = sum(max(0, x - float(row["precharged"])) for x in feet) * float(row["charge_rate"])
    refrigerant = answer.value("material.refrigerant")
    assert isinstance(refrigerant, float)
    assert refrigerant / 0.45359237 == pytest.approx(up(beyond / 16, 0.5))
    inside = sum(
        math.pi / 4 * (BORE[LINES[m]["liquid"]] ** 2 + BORE[LINES[m]["vapor"]] ** 2) / 144 * x
        for m, x in zip(indoor, feet, strict=True)
    )
    needed = 2 * inside * (float(row["design_pressure"]) + 14.696) / 14.696 + 15
    found = answer.value("material.nitrogen_needed")
    assert isinstance(found, float)
    assert found / 0.3048**3 == pytest.approx(needed, rel=1e-4)
    cylinder = answer.value("material.nitrogen")
    assert isinstance(cylinder, float)
    assert cylinder / 0.3048**3 == pytest.approx(next(c for c in (20, 40, 80, 125) if c >= needed))


def test_the_charge_worked_out_in_the_visit_counts(maker: Trade) -> None:
    given = {
        "outdoor.model": "OU-S24-B", "indoor.model": "AH-24-S", "line.length": "60 ft",
        "line.precharged_length": "30 ft", "line.charge_rate": "0.6 oz/ft",
    }  # fmt: skip
    assert maker.ask(given).number("material.refrigerant", "lb") == pytest.approx(1.5)


def test_wire_waits_for_the_supply_circuit(maker: Trade) -> None:
    given = {"outdoor.model": "OU-S24-B", "indoor.model": "AH-24-S"}
    assert maker.ask(given).why("material.wire_size") == ("missing", ["conductor.size"])
    asked = maker.ask(given | {"conductor.size": "10 AWG", "ground.size": "10 AWG"})
    assert (asked["material.wire_size"], asked["material.ground_size"]) == ("10 AWG", "10 AWG")


def test_nothing_is_ordered_for_a_wrong_match_up(maker: Trade) -> None:
    for indoor, verdict in (("AH-24-S", "pass"), ("AH-24-M", "fail"), ("AH-24", "unknown")):
        asked = maker.ask({"outdoor.model": "OU-S24-B", "indoor.model": indoor})
        assert asked.verdict("material.match_up") == verdict
