"""Drain, trap, pump and overflow protection: the printed rules by hand, and the known traps."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest
from fluids.piping import nearest_pipe

from tests.trade.asking import Asked, Trade

SIZES = ("1/2 in", "3/4 in", "1 in", "1-1/4 in", "1-1/2 in", "2 in")
OUTSIDE = dict(zip(SIZES, (0.84, 1.05, 1.315, 1.66, 1.9, 2.375), strict=True))
"""ASTM D1785, in."""


def test_pvc_pipe_has_the_outside_of_iron_pipe() -> None:
    """The table of ASTM D1785 against the iron-pipe sizes that fluids 1.3.1 lists, to a hundredth of an inch."""
    for size, outside in OUTSIDE.items():
        whole, _, part = size.removesuffix(" in").rpartition("-")
        nominal = float(whole or 0) + float(Fraction(part))
        iron = nearest_pipe(NPS=nominal, schedule="40")[2] / 0.0254  # type: ignore[arg-type]
        assert iron == pytest.approx(outside, abs=0.01)


def line(**more: str) -> dict[str, str]:
    given = {
        "indoor.capacity": "36000 Btu/h",
        "drain.run": "34 ft",
        "drain.fall": "9 in",
        "drain.size": "3/4 in",
        "drain.pan_outlet": "3/4 in",
    }
    return given | {f"drain.{name}": value for name, value in more.items()}


@pytest.mark.parametrize(
    ("tons", "size"),
    [(1, "3/4 in"), (5, "3/4 in"), (20, "3/4 in"), (20.1, "1 in"), (40, "1 in"), (41, "1-1/4 in"),
     (90, "1-1/4 in"), (91, "1-1/2 in"), (125, "1-1/2 in"), (126, "2 in"), (250, "2 in")],
)  # fmt: skip
def test_size_by_capacity(trade: Trade, tons: float, size: str) -> None:
    asked = trade.ask(line() | {"indoor.capacity": f"{tons} ton"})
    assert asked["drain.least_size"] == size


def test_beyond_the_table_there_is_no_size(trade: Trade) -> None:
    asked = trade.ask(line() | {"indoor.capacity": "251 ton"})
    assert asked.why("drain.least_size")[0] == "outside"
    assert asked.verdict("drain.size_enough") == "unknown"


def test_never_below_the_pan_outlet(trade: Trade) -> None:
    for outlet, size in product(SIZES, SIZES):
        asked = trade.ask(line(pan_outlet=outlet, size=size))
        least = max(outlet, "3/4 in", key=SIZES.index)
        assert asked["drain.least_size"] == least
        too_small = SIZES.index(size) < SIZES.index(least)
        assert asked.verdict("drain.size_enough") == ("fail" if too_small else "pass")


@pytest.mark.parametrize("run", [1, 10, 34, 80])
def test_fall_is_an_eighth_of_an_inch_in_a_foot(trade: Trade, run: int) -> None:
    for fall, verdict in (
        (run / 8 - 0.01, "fail"),
        (run / 8, "caution"),
        (run / 4 - 0.01, "caution"),
        (run / 4, "pass"),
    ):
        asked = trade.ask(line(run=f"{run} ft", fall=f"{fall} in"))
        assert asked.number("drain.least_fall", "in") == pytest.approx(run / 8)
        assert asked.verdict("drain.fall_enough") == verdict


def test_one_percent_in_metric(trade: Trade) -> None:
    """An eighth of an inch in a foot is 10.4 mm in a metre."""
    asked = trade.ask(line(run="10 m"))
    assert asked.number("drain.least_fall", "mm") == pytest.approx(104.17, abs=0.01)


def trap(trade: Trade, static: float, size: str = "3/4 in", **there: str) -> Asked:
    given = {"drain.size": size, "cabinet.static_at_drain": f"{static} in w.c."}
    return trade.ask(given | {f"trap.{name}": value for name, value in there.items()})


@pytest.mark.parametrize("size", SIZES)
def test_trap_under_suction_and_under_pressure(trade: Trade, size: str) -> None:
    for suction in (0, 0.3, 0.9, 1.5, 3):
        asked = trap(trade, -suction, size)
        drop, seal = suction + 1, (suction + 1) / 2
        assert asked.number("trap.outlet_drop", "in") == pytest.approx(drop)
        assert asked.number("trap.seal_depth", "in") == pytest.approx(seal)
        assert asked.number("trap.room_needed", "in") == pytest.approx(drop + seal + OUTSIDE[size])
        assert asked["trap.without"] == "water-held"
        # The physics: standing water below the pan, and a seal that outlasts the first pull.
        assert drop > suction
        assert seal > suction / 2
    for pressure in (0.1, 0.4, 1):
        asked = trap(trade, pressure, size)
        assert asked.number("trap.outlet_drop", "in") == pytest.approx(0.5)
        assert asked.number("trap.seal_depth", "in") == pytest.approx(pressure + 0.5)
        assert asked["trap.without"] == "air-lost"


def test_the_clean_filter_makes_the_trap_too_small(trade: Trade) -> None:
    clean = trap(trade, -0.5).number("trap.outlet_drop", "in")
    loaded = trap(trade, -0.9, outlet_drop_there=f"{clean} in")
    assert loaded.verdict("trap.drop_enough") == "fail"


def test_a_trap_that_is_there_is_judged(trade: Trade) -> None:
    good = trap(trade, -0.9, outlet_drop_there="1.9 in", seal_there="0.95 in", room_there="3.9 in")
    bad = trap(trade, -0.9, outlet_drop_there="1.8 in", seal_there="0.9 in", room_there="3.8 in")
    for check in ("trap.drop_enough", "trap.seal_enough", "trap.room_enough"):
        assert good.verdict(check) == "pass"
        assert bad.verdict(check) == "fail"
        assert trap(trade, -0.9).verdict(check) == "not-applicable"


def protection(location: str, device: str, **more: str) -> dict[str, str]:
    given = {
        "indoor.location": location,
        "overflow.device": device,
        "drain.by_gravity": "yes",
    }
    return given | {key.replace("__", "."): value for key, value in more.items()}


@pytest.mark.parametrize("place", ["attic", "above-ceiling", "closet"])
def test_over_rooms_protection_is_asked_for(trade: Trade, place: str) -> None:
    for damage in ({}, {"overflow__can_damage": "no"}):
        asked = trade.ask(protection(place, "none", **damage))
        assert asked["overflow.secondary"] == "required"
        assert asked.verdict("overflow.protected") == "fail"


@pytest.mark.parametrize("place", ["basement", "crawlspace", "garage", "room"])
def test_elsewhere_it_hangs_on_the_damage(trade: Trade, place: str) -> None:
    for damage, secondary, verdict in (
        ({}, "only-if-damage", "caution"),
        ({"overflow__can_damage": "yes"}, "required", "fail"),
        ({"overflow__can_damage": "no"}, "not-required", "pass"),
    ):
        asked = trade.ask(protection(place, "none", **damage))
        assert asked["overflow.secondary"] == secondary
        assert asked.verdict("overflow.protected") == verdict


@pytest.mark.parametrize(
    ("device", "test"),
    [("primary-float", "pour-primary"), ("secondary-port-float", "pour-port"),
     ("pan-float", "pour-pan"), ("drained-pan", "pour-drain")],
)  # fmt: skip
def test_every_protection_is_taken_and_has_its_test(trade: Trade, device: str, test: str) -> None:
    asked = trade.ask(protection("attic", device))
    assert asked.verdict("overflow.protected") == "pass"
    assert asked["overflow.test"] == test
    options = asked["overflow.options"]
    assert isinstance(options, list)
    assert len(options) == 4
    assert device in options


def test_a_pump_must_stop_the_unit(trade: Trade) -> None:
    for stops, verdict in (("yes", "pass"), ("no", "fail")):
        asked = trade.ask(
            protection("attic", "pan-float", drain__by_gravity="no", pump__stops_unit=stops)
        )
        assert asked["drain.pump_needed"] is True
        assert asked.verdict("pump.stops_the_unit") == verdict
    silent = trade.ask(protection("attic", "pan-float", drain__by_gravity="no"))
    assert silent.verdict("pump.stops_the_unit") == "caution"
    gravity = trade.ask(protection("attic", "pan-float"))
    assert gravity.verdict("pump.stops_the_unit") == "not-applicable"


def test_the_pan_is_three_inches_larger_in_all(trade: Trade) -> None:
    asked = trade.ask(
        protection("attic", "pan-float", cabinet__width="24 in", cabinet__length="52 in")
    )
    assert asked.number("pan.least_width", "in") == pytest.approx(27)
    assert asked.number("pan.least_length", "in") == pytest.approx(55)


@pytest.mark.parametrize(("flow", "verdict"), [("2.31 gal/h", "fail"), ("2.32 gal/h", "pass")])
def test_pump_moves_twice_the_condensate(trade: Trade, flow: str, verdict: str) -> None:
    asked = trade.ask({"pump.condensate": "1.16 gal/h", "pump.flow_at_lift": flow})
    assert asked.verdict("pump.moves_enough") == verdict


def test_an_entered_rate_counts_before_the_air_readings(trade: Trade) -> None:
    air = {
        "air.flow": "1200 cfm",
        "site.altitude": "0 ft",
        "air.entering_dry_bulb": "80 °F",
        "air.entering_wet_bulb": "67 °F",
        "air.leaving_dry_bulb": "57 °F",
        "air.leaving_wet_bulb": "56 °F",
    }
    measured = trade.ask(air).number("pump.rate_to_move", "gal/h")
    assert measured == pytest.approx(1.16, abs=0.01)
    stated = trade.ask(air | {"pump.condensate": "2 gal/h"}).number("pump.rate_to_move", "gal/h")
    assert stated == pytest.approx(2)
    assert trade.ask({}).why("pump.rate_to_move") == ("missing", ["pump.condensate"])
