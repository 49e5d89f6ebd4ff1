"""What the lists of wiring, air and people judge, against something that is not the rules."""

from __future__ import annotations

import datetime as dt
import math
from itertools import product

import pytest
from CoolProp.CoolProp import PropsSI

from kneewall.engine import Answer, Unknown
from tests.trade.asking import Trade
from tests.trade.visiting import Given, answer_to

PSI = 6894.757293168


def verdicts(answer: Answer, check: str) -> list[str]:
    return [result.verdict for result in answer.checks([check])]


# -- pressure at rest

FLUIDS = {"R-32": "R32", "R-410A": "R410A", "R-22": "R22"}


@pytest.mark.parametrize("refrigerant", FLUIDS)
@pytest.mark.parametrize("temperature", [0, 32, 59, 77, 104, 122])
@pytest.mark.parametrize("altitude", [0, 5280])
def test_pressure_at_rest_is_that_of_the_liquid(
    trade: Trade, refrigerant: str, temperature: int, altitude: int
) -> None:
    atmosphere = 101325 * (1 - 6.8754e-6 * altitude) ** 5.2559
    liquid = PropsSI("P", "T", (temperature + 459.67) / 1.8, "Q", 0, FLUIDS[refrigerant])
    asked = trade.ask(
        {
            "system.refrigerant": refrigerant,
            "charge.coldest_place": f"{temperature} °F",
            "charge.at_rest": "100 psi",
            "site.altitude": f"{altitude} ft",
        }
    )
    found = asked.number("charge.expected_at_rest", "psi")
    assert found == pytest.approx((liquid - atmosphere) / PSI, abs=1.0)
    share = (100 * PSI + atmosphere) / liquid
    assert asked.number("charge.rest_share") == pytest.approx(share, rel=0.005)


@pytest.mark.parametrize(
    ("at_rest", "verdict"),
    [
        ("-14.6 psi", "fail"),
        ("0 psi", "fail"),
        ("60 psi", "fail"),
        ("110 psi", "caution"),
        ("200 psi", "pass"),
    ],
)
def test_a_vacuum_and_a_lost_charge_fail(trade: Trade, at_rest: str, verdict: str) -> None:
    asked = trade.ask(
        {
            "system.refrigerant": "R-410A",
            "charge.coldest_place": "70 °F",
            "charge.at_rest": at_rest,
        }
    )
    assert asked.verdict("charge.in_the_lines") == verdict


# -- noise


@pytest.mark.parametrize(("place", "walls"), [("ground", 0), ("wall", 1), ("corner", 2)])
@pytest.mark.parametrize("metres", [1, 3, 7.5, 30])
def test_noise_is_the_power_spread_over_the_open_part_of_a_sphere(
    trade: Trade, place: str, walls: int, metres: float
) -> None:
    watts = 1e-12 * 10 ** (68 / 10)
    area = 4 * math.pi * metres**2 / 2 ** (1 + walls)
    level = 10 * math.log10(watts / area / 1e-12)
    given = {"noise.sound_power": "68", "noise.distance": f"{metres} m", "noise.place": place}
    assert trade.ask(given).number("noise.at_boundary") == pytest.approx(level, abs=1e-6)


# -- heat kit and warranty


@pytest.mark.parametrize("volts", [200, 208, 230, 240, 250])
def test_a_kit_makes_what_its_resistance_makes(trade: Trade, volts: int) -> None:
    ohms = 240**2 / 10_000
    asked = trade.ask(
        {
            "backup.kit_power": "10 kW",
            "backup.rated_voltage": "240 V",
            "heater.volts": f"{volts} V",
            "heater.amps_measured": f"{volts / ohms:.6f} A",
        }
    )
    assert asked.number("kit.expected_power", "kW") == pytest.approx(volts**2 / ohms / 1000)
    assert asked.verdict("kit.all_elements") == "pass"


@pytest.mark.parametrize("days", [0, 10, 60, 365])
@pytest.mark.parametrize("start", ["2026-01-31", "2027-12-31", "2028-02-29"])
def test_days_of_a_warranty_are_calendar_days(trade: Trade, start: str, days: int) -> None:
    by = dt.date.fromisoformat(start) + dt.timedelta(days=days)
    given = {"system.start_date": start, "warranty.register_within": f"{days} day"}
    assert trade.ask(given)["warranty.register_by"] == by.isoformat()
    last = trade.ask({**given, "visit.date": by.isoformat()})
    late = trade.ask({**given, "visit.date": (by + dt.timedelta(days=1)).isoformat()})
    assert (last.verdict("warranty.in_time"), late.verdict("warranty.in_time")) == (
        "caution",
        "fail",
    )


# -- survey

WAY_IN = {
    "indoor.location": "attic",
    "access.opening_short": "20 in",
    "access.opening_long": "30 in",
    "access.passage_length": "20 ft",
    "access.floor_width": "24 in",
    "access.service_space": "30 in",
}


def test_the_way_in_at_its_limits(trade: Trade) -> None:
    """Every figure of the code just met, and each one just missed."""
    assert trade.ask(WAY_IN).verdict("access.way_in") == "pass"
    missed = {
        "access.opening_short": "19.9 in",
        "access.opening_long": "29.9 in",
        "access.passage_length": "20.1 ft",
        "access.floor_width": "23.9 in",
        "access.service_space": "29.9 in",
    }
    for name, text in missed.items():
        assert trade.ask({**WAY_IN, name: text}).verdict("access.way_in") == "fail", name
    elsewhere = {**WAY_IN, "indoor.location": "basement", "access.floor_width": "0 in"}
    assert trade.ask(elsewhere).verdict("access.way_in") == "not-applicable"


@pytest.mark.parametrize(
    ("air", "verdict"),
    [("99 °F", "pass"), ("100 °F", "caution"), ("38 °C", "caution"), ("130 °F", "fail")],
)
def test_a_hot_attic_asks_for_the_timer(trade: Trade, air: str, verdict: str) -> None:
    assert trade.ask({"attic.temperature": air}).verdict("attic.air_bearable") == verdict


def test_the_old_unit_is_no_load(trade: Trade) -> None:
    found = {
        source: trade.ask({"load.source": source}).verdict("load.source_sound")
        for source in ("room-by-room", "whole-house", "bills", "old-unit", "none")
    }
    assert list(found.values()) == ["pass", "pass", "caution", "caution", "fail"]


# -- zones


@pytest.mark.parametrize(
    ("ports", "cables", "answered", "crossed", "shared"),
    [
        ("A B C", "A B C", "A B C", "", False),
        ("A B C", "B A C", "B A C", "0 1", False),
        ("A B C", "A B C", "A C B", "1 2", False),
        ("A A C", "A B C", "A A C", "", True),
        ("H G F", "H G F", "H G F", "", False),
    ],
)
def test_a_crossed_pair_is_found(
    trade: Trade, ports: str, cables: str, answered: str, crossed: str, shared: bool
) -> None:
    given: Given = {
        "zone.port": ports.split(),
        "zone.cable": cables.split(),
        "zone.answered": answered.split(),
    }
    answer = answer_to(trade, given, indoor=3)
    right = verdicts(answer, "zone.right_coil")
    assert [str(n) for n, each in enumerate(right) if each == "fail"] == crossed.split()
    assert verdicts(answer, "zone.one_unit_a_port") == ["fail" if shared else "pass"]
    wired = [
        "fail" if a != b else "pass" for a, b in zip(ports.split(), cables.split(), strict=True)
    ]
    assert verdicts(answer, "zone.cable_with_line") == wired


# -- faults


@pytest.mark.parametrize(
    ("volts", "lifted", "control", "control_volts", "calls"),
    list(
        product(
            ["50 V", "186 V", "240 V"],
            ["yes", "no"],
            ["thermostat-24v", "maker-wired"],
            ["20 V", "24 V"],
            ["yes", "no"],
        )
    ),
)
def test_why_nothing_runs(
    trade: Trade, volts: str, lifted: str, control: str, control_volts: str, calls: str
) -> None:
    """From the supply inwards, whatever else is off."""
    given = {
        "running.volts_at_rest": volts,
        "float.tripped": lifted,
        "control.kind": control,
        "control.volts_there": control_volts,
        "control.calls": calls,
    }
    if volts != "240 V":
        expected = "supply"
    elif lifted == "yes":
        expected = "water-switch"
    elif control == "thermostat-24v" and control_volts == "20 V":
        expected = "control-power"
    else:
        expected = "no-call" if calls == "no" else "board"
    asked = trade.ask(given)
    assert asked["dead.cause"] == expected
    assert isinstance(asked["dead.act"], str)


def test_one_of_two_circuits_without_supply_is_found(trade: Trade) -> None:
    answer = answer_to(trade, {"running.volts_at_rest": ["241 V", "55 V"]}, circuit=2)
    assert answer.value("dead.cause") == "supply"


def test_a_question_not_asked_yet_is_named(trade: Trade) -> None:
    asked = trade.ask({"running.volts_at_rest": "241 V", "float.tripped": "no"})
    assert asked.why("dead.cause") == ("missing", ["control.kind"])


LOOKING: dict[str, str] = {
    "run.mode": "cooling",
    "running.volts_at_rest": "241 V",
    "running.volts_loaded": "238 V",
    "room.route": "ducted",
    "static.before_filter": "-0.1 in w.c.",
    "static.after_filter": "-0.2 in w.c.",
    "static.supply_reading": "0.2 in w.c.",
    "blower.rated_static": "0.5 in w.c.",
    "filter.clean_drop": "0.09 in w.c.",
    "air.flow": "1200 cfm",
    "indoor.capacity": "36000 Btu/h",
    "outdoor.coil_clear": "yes",
    "running.vapor_line": "50 °F",
    "air.return_temperature": "75 °F",
}
OFF = [
    ("supply", {"running.volts_loaded": "186 V"}),
    ("connection", {"running.volts_loaded": "228 V"}),
    ("filter", {"filter.clean_drop": "0.04 in w.c."}),
    ("air-path", {"static.supply_reading": "0.4 in w.c."}),
    ("airflow", {"air.flow": "890 cfm"}),
    ("outdoor-coil", {"outdoor.coil_clear": "no"}),
    ("refrigerant", {"running.vapor_line": "68 °F"}),
    ("nothing", {}),
]


@pytest.mark.parametrize("place", range(len(OFF)))
def test_the_first_thing_that_is_off_hides_the_rest(trade: Trade, place: int) -> None:
    """This one off and all after it as well: this one is named."""
    given = dict(LOOKING)
    for _, change in OFF[place:]:
        given |= {name: text for name, text in change.items() if name not in OFF[place][1]}
    given |= OFF[place][1]
    assert trade.ask(given)["look.first"] == OFF[place][0]


def test_no_reading_after_the_cause_is_asked_for(trade: Trade) -> None:
    """A weak supply is named before anybody opens a panel."""
    few = ("running.volts_at_rest", "running.volts_loaded")
    given = {name: LOOKING[name] for name in few} | {"running.volts_loaded": "186 V"}
    assert trade.ask(given)["look.first"] == "supply"
    unknown = trade.ask({name: LOOKING[name] for name in few})["look.first"]
    assert isinstance(unknown, Unknown)


def test_a_frozen_line_points_to_the_refrigerant_once_the_air_is_right(trade: Trade) -> None:
    assert trade.ask({**LOOKING, "running.vapor_line": "30 °F"})["look.first"] == "refrigerant"
    iced = {**LOOKING, "running.vapor_line": "30 °F", "air.flow": "700 cfm"}
    assert trade.ask(iced)["look.first"] == "airflow"


@pytest.mark.parametrize(
    ("kit", "holds", "at_once", "cause"),
    [
        ("0 kW", None, "yes", "earth-fault"),
        ("0 kW", None, "no", "overload"),
        ("0 kW", "yes", "no", "overload"),
        ("10 kW", "yes", "no", "heat-kit"),
        ("10 kW", "no", "yes", "earth-fault"),
        ("10 kW", None, "yes", None),
        (None, None, "yes", None),
    ],
)
def test_no_kit_no_question_about_it(
    trade: Trade, kit: str | None, holds: str | None, at_once: str, cause: str | None
) -> None:
    given = {"trip.holds_unit_off": "yes", "trip.at_once": at_once}
    given |= {"backup.kit_power": kit} if kit else {}
    given |= {"trip.holds_kit_off": holds} if holds else {}
    asked = trade.ask(given)
    if cause:
        assert asked["trip.cause"] == cause
    else:
        assert "trip.holds_kit_off" in asked.why("trip.cause")[1]


@pytest.mark.parametrize(("clean", "first"), [("no", "airflow"), ("yes", "nothing")])
def test_a_room_unit_is_judged_by_its_wheel(trade: Trade, clean: str, first: str) -> None:
    """It has no duct to measure an airflow in; without that the tree would end there for every wall unit."""
    given = {name: text for name, text in LOOKING.items() if not name.startswith("static.")}
    for name in ("air.flow", "indoor.capacity", "blower.rated_static", "filter.clean_drop"):
        del given[name]
    given |= {"room.route": "still-room", "indoor.wheel_clean": clean}
    assert trade.ask(given)["look.first"] == first
    del given["indoor.wheel_clean"]
    assert trade.ask(given).why("look.first") == ("missing", ["indoor.wheel_clean"])
