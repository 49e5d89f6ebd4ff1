"""The lists of wiring, air and people: which steps apply, and what holds them back."""

from __future__ import annotations

import pytest

from kneewall.bundle import Checklist, Step, slots_in
from tests.trade.asking import Trade
from tests.trade.visiting import Given, walk

LISTS = (
    "site-survey",
    "power-wiring",
    "control-wiring",
    "duct-and-filter",
    "heat-kit",
    "start-up",
    "commissioning-readings",
    "handover",
    "maintenance-visit",
    "fault-finding",
)


def lists_of(trade: Trade) -> list[Checklist]:
    return [c for c in trade.bundle.checklists if c.id in LISTS]


# -- what kinds of job see

DUCTED_ATTIC: Given = {
    "system.refrigerant": "R-454B",
    "indoor.location": "attic",
    "indoor.placement": "ceiling",
    "room.route": "ducted",
    "indoor.feed": "own-circuit",
    "supply.outdoor": "yes",
    "site.dwelling": "yes",
    "site.code_edition": "2023",
    "visit.date": "2026-11-25",
    "breaker.rating": "40 A",
    "supply.load_kind": "air-conditioning",
    "backup.kit_power": "10 kW",
    "control.kind": "thermostat-24v",
    "attic.temperature": "92 °F",
    "site.suspect_material": "no",
    "power.proven_dead": "yes",
    "interunit.proven": "yes",
    "site.construction": "site-built",
    "outdoor.support": "pad",
    "site.nominal_voltage": "240 V",
}
ROOM_UNIT: Given = {
    "system.refrigerant": "R-410A",
    "indoor.location": "closet",
    "indoor.placement": "wall",
    "room.route": "still-room",
    "indoor.feed": "from-outdoor",
    "backup.kit_power": "0 kW",
    "control.kind": "maker-wired",
    "site.suspect_material": "no",
    "power.proven_dead": "yes",
    "interunit.proven": "yes",
    "site.construction": "manufactured",
    "outdoor.support": "wall-bracket",
    "site.nominal_voltage": "208 V",
}
CRAWLSPACE: Given = {**DUCTED_ATTIC, "indoor.location": "crawlspace", "backup.kit_power": "0 kW"}
MIXED: Given = {
    "indoor.location": ["attic", "closet"],
    "indoor.placement": ["ceiling", "wall"],
    "room.route": ["ducted", "still-room"],
    "indoor.feed": ["own-circuit", "from-outdoor"],
    "backup.kit_power": ["10 kW", "0 kW"],
    "duct.old_stay": ["no", "yes"],
}
"""An air handler and a wall unit on one outdoor unit."""

SEEN = [
    (
        "site-survey",
        DUCTED_ATTIC,
        1,
        {"attic-air", "footing", "access", "rooms", "ducts"},
        {"crawl", "ladder", "data-plate"},
    ),
    (
        "site-survey",
        ROOM_UNIT,
        1,
        {"ladder", "data-plate"},
        {"attic-air", "access", "rooms", "ducts", "crawl"},
    ),
    ("site-survey", CRAWLSPACE, 1, {"crawl", "ducts"}, {"attic-air", "footing", "access"}),
    ("power-wiring", DUCTED_ATTIC, 1, {"pull", "ground-proof"}, {"between-units"}),
    ("power-wiring", ROOM_UNIT, 1, {"between-units"}, set[str]()),
    (
        "control-wiring",
        DUCTED_ATTIC,
        1,
        {"transformer", "land-thermostat", "defrost-wire", "leak-sensor"},
        {"zones"},
    ),
    (
        "control-wiring",
        ROOM_UNIT,
        3,
        {"zones"},
        {"transformer", "land-thermostat", "defrost-wire", "leak-sensor"},
    ),
    ("duct-and-filter", DUCTED_ATTIC, 1, {"footing", "hang", "leakage", "insulate"}, {"crawl"}),
    (
        "duct-and-filter",
        ROOM_UNIT,
        1,
        {"served"},
        {"blower-left", "size", "hang", "filter", "leakage", "holes"},
    ),
    (
        "start-up",
        DUCTED_ATTIC,
        1,
        {"sensor", "aux-air", "aux-heat", "defrost"},
        {"ports", "zone-by-zone", "setback"},
    ),
    (
        "start-up",
        ROOM_UNIT,
        2,
        {"ports", "zone-by-zone", "setback"},
        {"sensor", "aux-heat", "defrost", "flammable"},
    ),
    (
        "commissioning-readings",
        {**DUCTED_ATTIC, "run.mode": "cooling", "commissioning.charge_method": "weight"},
        1,
        {"static", "cooling", "rooms", "control-volts"},
        {"heating", "superheat", "subcooling"},
    ),
    (
        "commissioning-readings",
        {**ROOM_UNIT, "run.mode": "heating"},
        1,
        {"heating"},
        {"static", "fan", "cooling", "rooms", "keep", "control-volts"},
    ),
    ("handover", DUCTED_ATTIC, 1, {"filter", "alarm", "aux-heat"}, {"wall-filter"}),
    ("handover", ROOM_UNIT, 1, {"wall-filter"}, {"filter", "alarm", "aux-heat"}),
    (
        "maintenance-visit",
        {**DUCTED_ATTIC, "drain.by_gravity": "no"},
        1,
        {"trend", "pump", "sensor", "aux-heat"},
        {"crawl", "wall-filters"},
    ),
    (
        "maintenance-visit",
        {**ROOM_UNIT, "drain.by_gravity": "yes"},
        1,
        {"wall-filters"},
        {"pump", "trend", "static", "sensor", "aux-air"},
    ),
    (
        "fault-finding",
        {**ROOM_UNIT, "fault.symptom": "breaker-trips"},
        1,
        {"trip-unit-off", "trip-finding", "dead"},
        {"code", "volts", "water", "zones", "air-the-room", "trip-kit-off", "attic", "crawl"},
    ),
    (
        "fault-finding",
        {**DUCTED_ATTIC, "fault.symptom": "too-little"},
        1,
        {"volts", "air", "first", "attic"},
        {"trip-unit-off", "water", "code", "dead-volts", "crawl"},
    ),
    ("fault-finding", {**CRAWLSPACE, "fault.symptom": "water"}, 1, {"crawl", "trap"}, {"attic"}),
    ("heat-kit", ROOM_UNIT, 1, {"kit"}, {"service", "dead", "fit", "heat", "attic", "plate"}),
    ("start-up", {**CRAWLSPACE, "drain.by_gravity": "no"}, 1, {"crawl", "pump"}, {"attic"}),
    ("start-up", {**DUCTED_ATTIC, "drain.by_gravity": "yes"}, 1, {"attic"}, {"crawl", "pump"}),
]


@pytest.mark.parametrize(
    ("checklist", "given", "indoor", "there", "gone"),
    SEEN,
    ids=[f"{row[0]} {row[1]['room.route']} {row[1]['indoor.location']} {row[2]}" for row in SEEN],
)
def test_a_list_asks_what_this_system_needs(
    trade: Trade, checklist: str, given: Given, indoor: int, there: set[str], gone: set[str]
) -> None:
    on = walk(trade, checklist, given, indoor)
    assert there <= on.surely()
    assert not gone & set(on.steps)


def test_a_wall_unit_is_not_asked_for_its_ducts(trade: Trade) -> None:
    """What does not apply to one of two indoor units leaves no question open."""
    given = {**DUCTED_ATTIC, **MIXED, "duct.near_burner": ["no", "no"]}
    ducts = walk(trade, "duct-and-filter", given, indoor=2)
    assert {"hang", "filter"} <= ducts.surely()
    assert not {"old-ducts", "burner"} & set(ducts.steps)
    survey = walk(trade, "site-survey", {**given, **OPENING}, indoor=2)
    assert {"access"} <= survey.surely()
    for check, verdict in (("access.way_in", "pass"), ("kit.is_listed", "unknown")):
        found = [each.verdict for each in survey.answer.checks([check])]
        assert found == [verdict, "not-applicable"], check


OPENING: Given = {
    "access.opening_long": "54 in",
    "access.opening_short": "25 in",
    "access.passage_length": "12 ft",
    "access.floor_width": "24 in",
    "access.service_space": "36 in",
}


def test_an_unknown_system_hides_no_step(trade: Trade) -> None:
    """Only the number of indoor units is known before anything is entered, and what has a declared default."""
    for checklist in LISTS:
        on = walk(trade, checklist, {})
        hidden = {step.id for step in on.checklist.steps} - set(on.steps)
        assert hidden <= {"ports", "zone-by-zone", "zones", "warm", "ground-fault"}, checklist


# -- what holds a step back

KIT_DEAD: Given = {
    "kit.supplies": "2",
    "kit.supplies_dead": "2",
    "kit.capacitor_time": "11 min",
    "kit.bus_voltage": "3 V",
}
AIR_PROVEN: Given = {
    "backup.kit_power": "10 kW",
    "heat.blower_proven": "yes",
    "heat.limits_in_place": "yes",
    "heater.least_airflow_listed": "800 cfm",
    "air.flow": "1000 cfm",
}
MAY_CALL: Given = {
    "valves.open": "yes",
    "system.refrigerant": "R-410A",
    "charge.at_rest": "195 psi",
    "charge.coldest_place": "70 °F",
    "start.blower_runs": "yes",
}
PROVEN: Given = {"interunit.proven": "yes"}
DEAD: Given = {"power.proven_dead": "yes"}
TOUCH: Given = {"power.proven_dead": "yes", "kit.capacitor_time": "10 min"}
NO_TOUCH = {"power.proven_dead": "no", "kit.capacitor_time": "9 min"}
SAMPLED: Given = {"site.suspect_material": "no"}

HOLD_BACKS: list[tuple[str, str, Given, dict[str, str]]] = [
    # list, the steps that are held, what frees them, and each single thing that holds them again
    ("power-wiring", "disconnect pull land ground-proof", DEAD, {"power.proven_dead": "no"}),
    ("power-wiring", "between-units", {**DEAD, "indoor.feed": "from-outdoor"}, {"power.proven_dead": "no"}),
    ("control-wiring", "land-thermostat between-units ring-out", DEAD, {"power.proven_dead": "no"}),
    ("duct-and-filter", "holes", DEAD, {"power.proven_dead": "no"}),
    ("maintenance-visit", "capacitors", DEAD, {"power.proven_dead": "no"}),
    ("fault-finding", "capacitors", DEAD, {"power.proven_dead": "no"}),
    ("maintenance-visit", "terminals indoor-coil outdoor-coil", TOUCH, NO_TOUCH),
    ("fault-finding", "mend", TOUCH, NO_TOUCH),
    ("start-up", "supply power", PROVEN, {"interunit.proven": "no"}),
    ("heat-kit", "panels", PROVEN, {"interunit.proven": "no"}),
    ("heat-kit", "capacitors bus", KIT_DEAD, {"kit.supplies_dead": "1"}),
    (
        "heat-kit",
        "fit",
        {**KIT_DEAD, "backup.kit_power": "10 kW", "kit.listed": "yes"},
        {
            "kit.listed": "no",
            "kit.supplies_dead": "1",
            "kit.capacitor_time": "9 min",
            "kit.bus_voltage": "51 V",
        },
    ),
    (
        "heat-kit",
        "land",
        KIT_DEAD,
        {"kit.supplies_dead": "1", "kit.capacitor_time": "9 min", "kit.bus_voltage": "51 V"},
    ),
    *(
        (
            checklist,
            step,
            AIR_PROVEN,
            {"heat.blower_proven": "no", "heat.limits_in_place": "no", "air.flow": "799 cfm"},
        )
        for checklist, step in (
            ("heat-kit", "heat"),
            ("start-up", "aux-heat"),
            ("maintenance-visit", "aux-heat"),
        )
    ),
    (
        "start-up",
        "call other-mode",
        MAY_CALL,
        {
            "valves.open": "no",
            "charge.at_rest": "-14.6 psi",
            "charge.coldest_place": "125 °F",
            "start.blower_runs": "no",
        },
    ),
    (
        "commissioning-readings",
        "loaded",
        {"commissioning.settle_time": "10 min"},
        {"commissioning.settle_time": "9 min"},
    ),
    ("site-survey", "attic-air crawl", SAMPLED, {"site.suspect_material": "yes"}),
    ("duct-and-filter", "attic-air crawl old-ducts cut", SAMPLED, {"site.suspect_material": "yes"}),
    (
        "fault-finding",
        "look",
        {"fault.symptom": "refrigerant-alarm", "alarm.gas_gone": "yes"},
        {"alarm.gas_gone": "no"},
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("checklist", "steps", "free", "wrong"),
    HOLD_BACKS,
    ids=[f"{row[0]}: {row[1]}" for row in HOLD_BACKS],
)
def test_a_step_waits_for_what_makes_it_safe(
    trade: Trade, checklist: str, steps: str, free: Given, wrong: dict[str, str]
) -> None:
    for step in steps.split():
        assert not walk(trade, checklist, free).lacking(step)
        for name, text in wrong.items():
            assert walk(trade, checklist, {**free, name: text}).lacking(step), name
            without = {key: value for key, value in free.items() if key != name}
            assert walk(trade, checklist, without).lacking(step), f"{name} missing"


@pytest.mark.parametrize(
    ("checklist", "step", "free", "name", "texts"),
    [
        ("start-up", "power", PROVEN, "interunit.proven", ["yes", "no"]),
        ("start-up", "call", MAY_CALL, "start.blower_runs", ["no", "yes"]),
        ("heat-kit", "heat", AIR_PROVEN, "heat.blower_proven", ["yes", "no"]),
    ],
)
def test_one_indoor_unit_not_proven_holds_all(
    trade: Trade, checklist: str, step: str, free: Given, name: str, texts: list[str]
) -> None:
    assert walk(trade, checklist, {**free, name: texts}, indoor=2).lacking(step)
    assert not walk(trade, checklist, {**free, name: ["yes", "yes"]}, indoor=2).lacking(step)


@pytest.mark.parametrize(("checklist", "step"), [("start-up", "power"), ("start-up", "call")])
def test_without_an_indoor_unit_nothing_is_proven(trade: Trade, checklist: str, step: str) -> None:
    given = {k: v for k, v in {**PROVEN, **MAY_CALL}.items() if not isinstance(v, list)}
    assert walk(trade, checklist, given, indoor=0).lacking(step)


def test_only_units_with_a_kit_must_prove_their_air(trade: Trade) -> None:
    given = {
        **AIR_PROVEN,
        "backup.kit_power": ["10 kW", "0 kW"],
        "heat.blower_proven": ["yes", "no"],
    }
    assert not walk(trade, "heat-kit", given, indoor=2).lacking("heat")


def test_power_that_came_back_undoes_all_that_made_it_safe(trade: Trade) -> None:
    """Locked out a second time, nobody reaches in on the capacitor time or the measured supplies of the first."""
    found = [step for each in lists_of(trade) for step in each.steps if step.clears]
    assert len(found) == 4
    safe: Given = {**TOUCH, **KIT_DEAD, "backup.kit_power": "10 kW", "kit.listed": "yes"}
    hands = {
        "heat-kit": "fit land",
        "maintenance-visit": "terminals indoor-coil",
        "fault-finding": "mend",
    }
    for step in found:
        again: Given = {**{k: v for k, v in safe.items() if k not in step.clears}, **DEAD}
        for checklist, steps in hands.items():
            for hand in steps.split():
                assert not walk(trade, checklist, safe).lacking(hand)
                assert walk(trade, checklist, again).lacking(hand), (step.id, hand)


@pytest.mark.parametrize(
    ("device", "stopped", "stops", "protected"),
    [
        ("pan-float", "yes", "pass", "pass"),
        ("primary-float", "no", "fail", "pass"),
        ("secondary-port-float", "no", "fail", "pass"),
        ("drained-pan", "no", "not-applicable", "pass"),
        ("none", "no", "not-applicable", "fail"),
    ],
)
def test_only_a_switch_must_stop_the_unit(
    trade: Trade, device: str, stopped: str, stops: str, protected: str
) -> None:
    """A pan that drips where it is seen is taken by the code, and stops nothing; no device at all is not taken."""
    given = {**DUCTED_ATTIC, "overflow.device": device, "overflow.stopped": stopped}
    for checklist in ("start-up", "maintenance-visit", "fault-finding"):
        answer = walk(trade, checklist, {**given, "fault.symptom": "water"}).answer
        found = {r.id: r.verdict for r in answer.checks(["overflow.stops", "overflow.protected"])}
        assert found == {"overflow.stops": stops, "overflow.protected": protected}


def test_the_static_of_the_fan_table_is_not_asked_twice(trade: Trade) -> None:
    """It follows from the static readings of the step before."""
    for checklist in lists_of(trade):
        for step in checklist.steps:
            assert "fan.static" not in step.enter, f"{checklist.id}/{step.id}"


BEFORE = [
    ("fault-finding", "look", "attic"),
    ("fault-finding", "look", "crawl"),
    ("heat-kit", "dead", "attic"),
    ("commissioning-readings", "lines", "attic"),
    ("start-up", "blower", "crawl"),
    ("site-survey", "access", "old-material"),
    ("power-wiring", "pull", "dead"),
    ("power-wiring", "close", "ground-proof"),
    ("control-wiring", "ring-out", "dead"),
    ("control-wiring", "ring-out", "boards"),
    ("duct-and-filter", "holes", "dead"),
    ("duct-and-filter", "insulate", "leakage"),
    ("heat-kit", "bus", "capacitors"),
    ("heat-kit", "capacitors", "dead"),
    ("heat-kit", "fit", "bus"),
    ("heat-kit", "fit", "circuits"),
    ("heat-kit", "heat", "blower"),
    ("heat-kit", "panels", "wires"),
    ("heat-kit", "heat", "air"),
    ("start-up", "supply", "wires"),
    ("start-up", "power", "supply"),
    ("start-up", "call", "rest"),
    ("start-up", "call", "valves"),
    ("start-up", "call", "blower"),
    ("start-up", "call", "flammable"),
    ("start-up", "zone-by-zone", "ports"),
    ("start-up", "aux-heat", "aux-air"),
    ("commissioning-readings", "static", "settle"),
    ("commissioning-readings", "settle", "at-rest"),
    ("handover", "owner", "breaker"),
    ("handover", "owner", "water"),
    ("maintenance-visit", "dead", "static"),
    ("maintenance-visit", "power-back", "terminals"),
    ("fault-finding", "gauges", "first"),
    ("fault-finding", "proof", "dead"),
    ("fault-finding", "mend", "capacitors"),
    ("maintenance-visit", "drain", "capacitors"),
]


def before(steps: dict[str, Step], step: str) -> set[str]:
    """All steps that must be done before this one."""
    found: set[str] = set()
    for name in steps[step].after:
        found |= {name} | before(steps, name)
    return found


@pytest.mark.parametrize(("checklist", "step", "first"), BEFORE)
def test_the_order_of_the_work(trade: Trade, checklist: str, step: str, first: str) -> None:
    (found,) = [c for c in lists_of(trade) if c.id == checklist]
    assert first in before({each.id: each for each in found.steps}, step)


# -- cautions

BESIDE = {
    "prove-dead": {
        "power-wiring/dead",
        "control-wiring/dead",
        "heat-kit/capacitors",
        "maintenance-visit/dead",
        "fault-finding/dead",
    },
    "every-supply-dead": {"heat-kit/dead"},
    "interunit-line-voltage": {"control-wiring/ring-out", "start-up/power", "heat-kit/panels"},
    "no-heat-before-airflow": {"heat-kit/heat", "heat-kit/blower", "start-up/aux-air", "maintenance-visit/aux-air"},
    "heat-after-airflow": {"heat-kit/limits", "start-up/aux-heat"},
    "element-voltage": {"heat-kit/circuits"},
    "live-elements": {"heat-kit/amps", "maintenance-visit/aux-heat"},
    "live-terminals": {"start-up/supply", "commissioning-readings/loaded", "fault-finding/volts"},
    "vacuum-before-valves": {"start-up/call"},
    "valves-until-they-stop": {"start-up/valves"},
    "sensor-keeps-the-blower": {"control-wiring/leak-sensor", "start-up/sensor", "maintenance-visit/sensor"},
    "float-stops-all": {"start-up/water", "maintenance-visit/water-stop", "fault-finding/stops"},
    "thaw-slowly": {"fault-finding/thaw"},
    "a2l-work": {"start-up/flammable", "fault-finding/leak"},
    "suspected-asbestos": {"site-survey/old-material", "duct-and-filter/old-material"},
    "check-in-timer": {
        "site-survey/attic-air", "duct-and-filter/attic-air", "maintenance-visit/attic-air",
        *(f"{name}/check-in" for name in (
            "duct-and-filter", "heat-kit", "start-up", "commissioning-readings", "maintenance-visit", "fault-finding")),
    },
    "joists-and-heat": {
        "site-survey/footing", "duct-and-filter/footing", "maintenance-visit/footing",
        *(f"{name}/attic" for name in ("heat-kit", "start-up", "commissioning-readings", "fault-finding")),
    },
    "crawlspace-ground-fault": {
        f"{name}/crawl" for name in (
            "site-survey", "duct-and-filter", "heat-kit", "start-up", "commissioning-readings", "maintenance-visit",
            "fault-finding")
    },
    "ladder-tied-off": {"site-survey/ladder"},
    "gas-in-the-room": {"fault-finding/air-the-room"},
    "one-reset-only": {"fault-finding/trip-unit-off", "fault-finding/trip-at-once"},
    "hoses-hold-refrigerant": {"commissioning-readings/superheat", "fault-finding/gauges"},
    "drill-blind": {"duct-and-filter/holes"},
    "power-and-control-apart": {"power-wiring/pull"},
    "gfci-date": {"power-wiring/ground-fault"},
    "disconnect-in-sight": {"power-wiring/disconnect"},
    "every-room-whole-charge": {"site-survey/rooms"},
    "burner-and-return": {"duct-and-filter/burner"},
}  # fmt: skip


@pytest.mark.parametrize("caution", BESIDE)
def test_cautions_stand_beside_the_step_that_can_hurt(trade: Trade, caution: str) -> None:
    carry = {
        f"{found.id}/{step.id}"
        for found in lists_of(trade)
        for step in found.steps
        if step.caution == caution
    }
    assert BESIDE[caution] <= carry


def test_what_the_owner_is_told_reaches_the_report(trade: Trade) -> None:
    said = {step.caution for c in lists_of(trade) if c.id == "handover" for step in c.steps}
    for_owner = {caution.id for caution in trade.bundle.cautions if caution.owner}
    assert {caution for caution in for_owner if caution.startswith("owner-")} <= said
    assert {"owner-filter", "owner-breaker", "owner-water", "owner-gas-alarm"} <= for_owner


# -- every step is real

ALL_PROVEN: Given = {
    "kit.listed": "yes",
    **DEAD,
    **PROVEN,
    **SAMPLED,
    **KIT_DEAD,
    **AIR_PROVEN,
    **MAY_CALL,
    "commissioning.settle_time": "10 min",
    "control.kind": "thermostat-24v",
    "alarm.gas_gone": "yes",
}
SITUATIONS: list[tuple[Given, int]] = [
    ({**ALL_PROVEN, **DUCTED_ATTIC, **MIXED}, 2),
    ({**ALL_PROVEN, **DUCTED_ATTIC}, 1),
    ({**ALL_PROVEN, **DUCTED_ATTIC, "attic.temperature": "110 °F"}, 1),
    ({**ALL_PROVEN, **CRAWLSPACE, "drain.by_gravity": "no"}, 1),
    ({**ALL_PROVEN, **CRAWLSPACE, "backup.kit_power": "5 kW"}, 1),
    ({**ALL_PROVEN, **ROOM_UNIT, "start.warm_least": "8 h"}, 2),
    ({**ALL_PROVEN, **DUCTED_ATTIC, "run.mode": "cooling", "commissioning.charge_method": "superheat"}, 1),
    ({**ALL_PROVEN, **ROOM_UNIT, "run.mode": "heating", "commissioning.charge_method": "subcooling"}, 1),
    *(
        ({**ALL_PROVEN, **DUCTED_ATTIC, "fault.symptom": symptom}, 2)
        for symptom in (
            "nothing-runs",
            "breaker-trips",
            "too-little",
            "water",
            "wrong-room",
            "refrigerant-alarm",
            "displayed-code",
            "noise",
        )
    ),
]  # fmt: skip


@pytest.mark.parametrize("checklist", LISTS)
def test_every_step_can_be_reached(trade: Trade, checklist: str) -> None:
    """Done to the end in one kind of job or another, with nothing left over in any of them."""
    reached: set[str] = set()
    for given, indoor in SITUATIONS:
        on = walk(trade, checklist, given, indoor)
        assert on.go() == set(on.steps)
        reached |= on.done
    (found,) = [c for c in lists_of(trade) if c.id == checklist]
    assert reached == {step.id for step in found.steps}


def test_what_is_entered_is_used(trade: Trade) -> None:
    """By a condition, a check, a result, or as what a plate or a person says."""
    said = {"outdoor.model", "indoor.model", "outdoor.serial", "indoor.serial"}
    engine, bundle = trade.engine, trade.bundle
    slots = {slot for check in bundle.checks for slot in check.inputs}
    slots |= {slot for checklist in bundle.checklists for slot in checklist.inputs}
    timed = [step.least for checklist in lists_of(trade) for step in checklist.steps if step.least]
    slots |= {engine.slots[name] for name in timed}
    slots |= {engine.slots[name] for calc in bundle.calculators for name in calc.show}
    used = slots | {up for slot in slots for up in engine.upstream[slot]}
    for checklist in lists_of(trade):
        for step in checklist.steps:
            for name in (*step.enter, *step.if_known):
                assert engine.slots[name] in used or name in said, (
                    f"{checklist.id}/{step.id}: {name}"
                )


def test_results_lead_to_their_working(trade: Trade) -> None:
    """What a step shows is shown by a calculator, so that the phone can open it."""
    worked = {name for calculator in trade.bundle.calculators for name in calculator.show}
    for checklist in lists_of(trade):
        for step in checklist.steps:
            assert {*step.show} <= worked, f"{checklist.id}/{step.id}"


@pytest.mark.parametrize("checklist", LISTS)
def test_a_list_asks_what_its_own_steps_hang_on(trade: Trade, checklist: str) -> None:
    """Whether a step applies or is held back can be told by what the same list lets one enter."""
    engine, quantities = trade.engine, trade.bundle.quantities
    (found,) = [c for c in lists_of(trade) if c.id == checklist]
    asked = {name for s in found.steps for name in (*s.enter, *s.if_known, s.keeps)}
    for step in found.steps:
        for slot in slots_in(step.when, step.needs):
            for below in {slot} | engine.upstream[slot]:
                quantity = quantities[below]
                if quantity.tree is None and quantity.default is None:
                    assert quantity.id in asked, f"{checklist}/{step.id}"


NOT_ASKED: dict[str, set[str]] = {
    # A look-up of its own, beside a pressure that was read.
    "commissioning-readings": {"sat.temperature"},
    "fault-finding": {"sat.temperature"},
    # A drop that was read tells more than the calendar, and is not read for the owner.
    "handover": {
        "filter.clean_drop",
        "filter.drop_today",
        "static.before_filter",
        "static.after_filter",
    },
}


@pytest.mark.parametrize("checklist", LISTS)
def test_a_list_asks_for_all_that_its_verdicts_rest_on(trade: Trade, checklist: str) -> None:
    """Whatever a check or a result rests on can be entered in the same list."""
    engine, quantities = trade.engine, trade.bundle.quantities
    checks = {check.id: check for check in trade.bundle.checks}
    (found,) = [c for c in lists_of(trade) if c.id == checklist]
    asked = {name for s in found.steps for name in (*s.enter, *s.if_known, s.keeps)}
    lacking: set[str] = set()
    for step in found.steps:
        roots = [engine.slots[name] for name in step.show]
        roots += [slot for name in step.checks for slot in checks[name].inputs]
        for slot in {*roots, *(up for root in roots for up in engine.upstream[root])}:
            quantity = quantities[slot]
            entered = quantity.tree is None and quantity.default is None
            if entered and quantity.id not in asked | NOT_ASKED.get(checklist, set()):
                lacking.add(f"{step.id}: {quantity.id}")
    assert not lacking
