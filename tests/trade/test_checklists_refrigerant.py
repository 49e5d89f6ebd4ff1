"""The refrigerant side of the work, walked step by step: what applies, what is held back and by what, what can hurt."""

from __future__ import annotations

from itertools import permutations

import pytest
from CoolProp.CoolProp import PropsSI

from kneewall.bundle import Step
from kneewall.engine import Unknown
from tests.trade.asking import Trade
from tests.trade.walking import asked, steps_of, walk

Given = dict[str, str | list[str]]

HOUSE: Given = {
    "indoor.location": "closet",
    "site.suspect_material": "no",
    "site.altitude": "0 ft",
    "system.refrigerant": "R-410A",
}
OLD: Given = HOUSE | {
    "old.refrigerant": "R-22",
    "old.outdoor_kept": "no",
    "old.runs": "yes",
    "old.leaks": "no",
    "old.brazed": "yes",
    "old.standing_pressure": "150 psi",
    "outdoor.temperature": "85 °F",
    "old.indoor_temperature": "75 °F",
    "cylinder.water_capacity": "47.6 lb",
    "cylinder.tare": "26.5 lb",
    "cylinder.gross_before": "30 lb",
    "cylinder.gross": "36 lb",
    "recovery.settled_pressure": "-2 psi",
    "recovery.cylinder": "12",
    "recovery.person": "A. Person",
    "recovery.destination": "Reclaimer",
    "unbraze.line_pressure": "0 psi",
    "unbraze.line_open": "yes",
    "unbraze.air_clear": "yes",
    "unbraze.nitrogen_flows": "yes",
    "unbraze.fire_watch": "yes",
}
KEPT: Given = OLD | {"old.outdoor_kept": "yes", "pumpdown.final_pressure": "3 psi"}
ATTIC: Given = {"indoor.location": "attic", "attic.temperature": "112 °F"}
CRAWL: Given = {"indoor.location": "crawlspace"}
REUSE: Given = HOUSE | {
    "old.refrigerant": "R-410A",
    "reuse.burnout": "none",
    "reuse.damaged": "no",
    "reuse.hidden_joint": "no",
    "reuse.open_to_air": "yes",
    "reuse.came_clean": "yes",
}
PLACED: Given = HOUSE | {
    "delivery.as_ordered": "yes",
    "delivery.damage": "no",
    "outdoor.weight": "190 lb",
    "indoor.weight": "110 lb",
    "lift.persons": "4",
    "outdoor.support": "pad",
    "room.route": "ducted",
    "overflow.can_damage": "yes",
}
LINES: Given = HOUSE | {
    "joints.flared": "yes",
    "joints.brazed": "yes",
    "outdoor.support": "pad",
    "braze.line_pressure": "0 psi",
    "braze.line_open": "yes",
    "braze.air_clear": "yes",
    "braze.nitrogen_flows": "yes",
    "braze.fire_watch": "yes",
}
TEST: Given = HOUSE | {
    "nameplate.design_pressure": "600 psi",
    "test.valves_closed": "yes",
    "test.gas": "dry-nitrogen",
    "test.regulator_set": "500 psi",
    "test.relief_set": "550 psi",
    "test.start_pressure": "500 psi",
    "test.start_temperature": "80 °F",
    "test.end_pressure": "500 psi",
    "test.end_temperature": "80 °F",
    "test.hold": "60 min",
    "test.bubbles": "no",
}
LEVELS = "0 min: 420 micron, 4 min: 620 micron, 6.5 min: 700 micron, 8 min: 708 micron, 10 min: 712 micron"
MOIST = "0 min: 400 micron, 3 min: 1300 micron, 6.5 min: 1500 micron, 8 min: 1505 micron, 10 min: 1510 micron"
LEAKS = "0 min: 420 micron, 5 min: 620 micron, 8 min: 740 micron, 10 min: 820 micron"
EMPTIED: Given = HOUSE | {
    "test.held_earlier": "yes",
    "vacuum.valves_closed": "yes",
    "vacuum.pipe_temperature": "70 °F",
    "vacuum.readings": LEVELS,
    "line.length": "40 ft",
    "line.precharged_length": "25 ft",
    "line.charge_rate": "0.5 oz/ft",
    "charge.factory": "6 lb",
    "charge.weighed_in": "7.5 oz",
    "valves.open": "yes",
    "charge.at_rest": "200 psi",
    "charge.coldest_place": "70 °F",
    "release.leak_found": "no",
}
TURNED: Given = HOUSE | {
    "position.shipped": "upflow",
    "position.wanted": "upflow",
    "position.side_pan": "left",
    "position.shown_by_maker": "yes",
    "backup.kit_power": "0 kW",
    "position.water_to_port": "yes",
}
DOWNFLOW: Given = TURNED | {
    "position.wanted": "downflow",
    "backup.kit_power": "10 kW",
    "position.float_in_pan": "yes",
    "position.base_right": "yes",
    "position.breaker_up_is_on": "yes",
}
WATER: Given = HOUSE | {
    "room.route": "ducted",
    "drain.by_gravity": "yes",
    "overflow.can_damage": "yes",
    "overflow.device": "secondary-port-float",
    "drain.supported": "yes",
    "drain.cleanable": "yes",
    "drain.ends_right": "yes",
    "drain.water_runs": "yes",
}
WORK: dict[str, Given] = {
    "pump-down-or-remove": OLD,
    "reuse-line-set": REUSE,
    "receive-and-place": PLACED,
    "line-set": LINES,
    "pressure-test": TEST,
    "evacuate-and-release": EMPTIED,
    "convert-position": TURNED,
    "drain": WATER,
}
"""Of each list a plain job on which nothing is wrong."""
ELSEWHERE: dict[str, set[str]] = {
    "receive-and-place": {"line.length", "line.lift", "site.nominal_voltage"},
    "pump-down-or-remove": {"system.refrigerant"},
    "drain": {
        "air.flow",
        "air.entering_dry_bulb",
        "air.entering_wet_bulb",
        "air.entering_relative_humidity",
        "air.leaving_dry_bulb",
        "air.leaving_wet_bulb",
        "air.leaving_relative_humidity",
        "site.altitude",
    },
    "evacuate-and-release": {
        "test.bubbles",
        "test.end_pressure",
        "test.end_temperature",
        "test.hold",
        "test.start_pressure",
        "test.start_temperature",
    },
}
"""What another list reads: the pressure test, the air; or what counts only where the old refrigerant is not known."""
OTHER_JOBS: list[tuple[str, Given]] = [
    ("pump-down-or-remove", KEPT | ATTIC),
    ("pump-down-or-remove", OLD | CRAWL | {"old.refrigerant": "R-32", "old.leaks": "yes"}),
    ("reuse-line-set", REUSE | {"reuse.burnout": "mild"}),
    ("receive-and-place", PLACED | ATTIC | {"system.refrigerant": "R-454B", "delivery.damage": "yes"}),
    ("receive-and-place", PLACED | CRAWL),
    ("line-set", LINES | ATTIC | {"line.labeled": ["yes", "yes"]}),
    ("line-set", LINES | CRAWL),
    ("pressure-test", TEST | {"test.end_pressure": "460 psi"}),
    ("evacuate-and-release", EMPTIED | {"system.refrigerant": "R-32"}),
    ("evacuate-and-release", EMPTIED | {"vacuum.readings": MOIST}),
    ("evacuate-and-release", EMPTIED | {"vacuum.readings": LEAKS}),
    ("convert-position", DOWNFLOW | {"system.refrigerant": "R-32"}),
    ("convert-position", TURNED | {"position.wanted": "horizontal-right"}),
    ("drain", WATER | ATTIC | {"overflow.device": "drained-pan"}),
    ("drain", WATER | CRAWL | {"drain.by_gravity": "no"}),
]  # fmt: skip
"""What else must be met, so that every step is."""


@pytest.fixture(name="lists")
def lists_fixture(trade: Trade) -> dict[str, dict[str, Step]]:
    return {name: steps_of(trade, name) for name in WORK}


@pytest.mark.parametrize("name", list(WORK))
def test_a_job_on_which_nothing_is_wrong_can_be_done_to_its_end(trade: Trade, name: str) -> None:
    done = walk(trade, name, WORK[name])
    assert not done.held


@pytest.mark.parametrize("name", list(WORK))
def test_every_step_is_reached_on_some_job(
    trade: Trade, lists: dict[str, dict[str, Step]], name: str
) -> None:
    jobs = [WORK[name], *(given for other, given in OTHER_JOBS if other == name)]
    reached = {step for given in jobs for step in walk(trade, name, given).done}
    assert reached == set(lists[name])


# Each hold-back: the list, the step that is held, and the one reading that is wrong or not there.
HELD: list[tuple[str, str, Given, str]] = [
    # No unbrazing before recovery to the required vacuum.
    ("pump-down-or-remove", "unbraze", OLD, "recovery.settled_pressure"),
    ("pump-down-or-remove", "unbraze", OLD, "recovery.settled_pressure=1 psi"),
    ("pump-down-or-remove", "open", OLD, "recovery.settled_pressure=1 psi"),
    ("pump-down-or-remove", "sweep", OLD | {"old.refrigerant": "R-32"}, "recovery.settled_pressure"),
    # No torch before the line is empty, nitrogen flows with an open end and the fire watch stands.
    ("pump-down-or-remove", "unbraze", OLD, "unbraze.line_open=no"),
    ("pump-down-or-remove", "unbraze", OLD, "unbraze.line_pressure=5 psi"),
    ("pump-down-or-remove", "unbraze", OLD, "unbraze.line_pressure=-3 psi"),
    ("pump-down-or-remove", "unbraze", OLD, "unbraze.air_clear=no"),
    ("pump-down-or-remove", "unbraze", OLD, "unbraze.nitrogen_flows"),
    ("pump-down-or-remove", "unbraze", OLD, "unbraze.nitrogen_flows=no"),
    ("pump-down-or-remove", "unbraze", OLD, "unbraze.fire_watch=no"),
    ("line-set", "braze", LINES, "braze.line_open=no"),
    ("line-set", "braze", LINES, "braze.line_pressure=5 psi"),
    ("line-set", "braze", LINES, "braze.air_clear=no"),
    ("line-set", "braze", LINES, "braze.nitrogen_flows=no"),
    ("line-set", "braze", LINES, "braze.fire_watch"),
    ("line-set", "braze", LINES, "braze.fire_watch=no"),
    # A system that leaks or stands open is never run to pump it down.
    ("pump-down-or-remove", "run", KEPT, "old.leaks"),
    ("pump-down-or-remove", "run", KEPT, "old.standing_pressure"),
    # No test gas but dry nitrogen, regulator and relief set, service valves closed.
    ("pressure-test", "first-pressure", TEST, "test.gas"),
    ("pressure-test", "first-pressure", TEST, "test.gas=oxygen"),
    ("pressure-test", "first-pressure", TEST, "test.gas=air"),
    ("pressure-test", "first-pressure", TEST, "test.valves_closed=no"),
    ("pressure-test", "first-pressure", TEST, "test.regulator_set=610 psi"),
    ("pressure-test", "first-pressure", TEST, "test.relief_set=490 psi"),
    ("pressure-test", "first-pressure", TEST, "test.relief_set=700 psi"),
    ("pressure-test", "raise", TEST, "nameplate.design_pressure"),
    # No release, and no refrigerant, before the vacuum held; no pump on lines that are not tight.
    ("evacuate-and-release", "hook-up", EMPTIED, "test.held_earlier"),
    ("evacuate-and-release", "hook-up", EMPTIED | TEST, "test.end_pressure=460 psi"),
    ("evacuate-and-release", "hook-up", EMPTIED | TEST, "test.bubbles=yes"),
    ("evacuate-and-release", "hook-up", EMPTIED, "vacuum.valves_closed=no"),
    ("evacuate-and-release", "release", EMPTIED, "vacuum.readings"),
    ("evacuate-and-release", "release", EMPTIED, f"vacuum.readings={MOIST}"),
    ("evacuate-and-release", "release", EMPTIED, f"vacuum.readings={LEAKS}"),
    ("evacuate-and-release", "weigh-in", EMPTIED, f"vacuum.readings={LEAKS}"),
    ("evacuate-and-release", "release", EMPTIED, "vacuum.pipe_temperature=25 °F"),
    ("evacuate-and-release", "release", EMPTIED, "vacuum.hold=30 min"),
    ("evacuate-and-release", "release", EMPTIED, "vacuum.hold_limit=500 micron"),
    # No compressor call with service valves closed or under vacuum.
    ("evacuate-and-release", "untag", EMPTIED, "valves.open"),
    ("evacuate-and-release", "untag", EMPTIED, "valves.open=no"),
    ("evacuate-and-release", "untag", EMPTIED, "charge.at_rest=-14 psi"),
    ("evacuate-and-release", "untag", EMPTIED, "charge.at_rest"),
    ("evacuate-and-release", "untag", EMPTIED, "release.leak_found=yes"),
    # Nobody into material that may be asbestos.
    ("pump-down-or-remove", "attic", OLD | ATTIC, "site.suspect_material=yes"),
    ("pump-down-or-remove", "crawl", OLD | CRAWL, "site.suspect_material"),
    ("receive-and-place", "attic", PLACED | ATTIC, "site.suspect_material=yes"),
    ("receive-and-place", "crawl", PLACED | CRAWL, "site.suspect_material=yes"),
    ("receive-and-place", "indoor", PLACED, "site.suspect_material=yes"),
    ("line-set", "attic", LINES | ATTIC, "site.suspect_material=yes"),
    ("line-set", "crawl", LINES | CRAWL, "site.suspect_material=yes"),
    ("line-set", "run", LINES, "site.suspect_material=yes"),
    ("reuse-line-set", "way-along", REUSE, "site.suspect_material=yes"),
    ("drain", "attic", WATER | ATTIC, "site.suspect_material=yes"),
    ("drain", "crawl", WATER | CRAWL, "site.suspect_material=yes"),
    ("drain", "dry-fit", WATER, "site.suspect_material=yes"),
    # Nothing is turned into a position that the maker does not show.
    ("convert-position", "coil", DOWNFLOW, "position.shown_by_maker=no"),
    ("convert-position", "pan", TURNED | {"position.wanted": "horizontal-right"}, "position.shown_by_maker"),
    # Nothing heavy with too few hands, and nothing that was not ordered.
    ("receive-and-place", "indoor", PLACED, "lift.persons=2"),
    ("receive-and-place", "outdoor", PLACED, "lift.persons=3"),
    ("receive-and-place", "outdoor", PLACED, "delivery.as_ordered=no"),
    # No solvent and no nitrogen into lines that are not open.
    ("reuse-line-set", "flush", REUSE | {"reuse.burnout": "mild"}, "reuse.open_to_air=no"),
    ("reuse-line-set", "blow", REUSE, "reuse.open_to_air"),
]  # fmt: skip


def spoilt(given: Given, change: str) -> Given:
    name, _, text = change.partition("=")
    rest = {key: value for key, value in given.items() if key != name}
    return rest | ({name: text} if text else {})


@pytest.mark.parametrize(("name", "step", "given", "change"), HELD)
def test_held_back(trade: Trade, name: str, step: str, given: Given, change: str) -> None:
    free = walk(trade, name, given)
    held = walk(trade, name, spoilt(given, change))
    assert step in free.done
    assert step in held.held


def test_what_is_held_says_what_to_do(lists: dict[str, dict[str, Step]]) -> None:
    for steps in lists.values():
        for step in steps.values():
            assert (step.needs is None) == (step.held == "")


# Each caution, and the steps it stands beside.
BESIDE: dict[str, set[tuple[str, str]]] = {
    "never-pump-down-a-leak": {("pump-down-or-remove", "run")},
    "stop-before-vacuum": {("pump-down-or-remove", "pump-down")},
    "prove-dead": {
        ("pump-down-or-remove", "dead"),
        ("convert-position", "dead"),
        ("convert-position", "breakers"),
    },
    "cylinder-bursts": {("pump-down-or-remove", "recover")},
    "no-flame-while-recovering": {("pump-down-or-remove", "mildly-flammable")},
    "lines-may-hold-pressure": {
        ("pump-down-or-remove", "open"),
        ("reuse-line-set", "empty"),
        ("receive-and-place", "coil"),
    },
    "torch-on-refrigerant": {
        ("pump-down-or-remove", "prove-empty"),
        ("pump-down-or-remove", "unbraze"),
        ("line-set", "prove-empty"),
        ("line-set", "braze"),
    },
    "fire-watch": {
        ("pump-down-or-remove", "fire-watch"),
        ("pump-down-or-remove", "watch-on"),
        ("line-set", "fire-watch"),
        ("line-set", "watch-on"),
    },
    "nitrogen-smothers": {
        ("pump-down-or-remove", "sweep"),
        ("reuse-line-set", "blow"),
        ("pressure-test", "let-out"),
    },
    "two-person-lift": {
        ("pump-down-or-remove", "carry-out"),
        ("receive-and-place", "hands"),
        ("receive-and-place", "indoor"),
        ("convert-position", "floor"),
    },
    "joists-and-heat": {
        ("pump-down-or-remove", "attic"),
        ("reuse-line-set", "way-along"),
        ("receive-and-place", "attic"),
        ("line-set", "attic"),
        ("drain", "attic"),
    },
    "check-in-timer": {
        ("pump-down-or-remove", "check-in"),
        ("receive-and-place", "check-in"),
        ("line-set", "check-in"),
        ("drain", "check-in"),
    },
    "crawlspace-ground-fault": {
        ("pump-down-or-remove", "crawl"),
        ("receive-and-place", "crawl"),
        ("line-set", "crawl"),
        ("drain", "crawl"),
    },
    "ladder-tied-off": {("receive-and-place", "ladder"), ("line-set", "ladder")},
    "suspected-asbestos": {
        ("pump-down-or-remove", "place"),
        ("reuse-line-set", "old-wrap"),
        ("receive-and-place", "place"),
        ("line-set", "way"),
        ("drain", "place"),
    },
    "coil-is-under-gas": {("convert-position", "coil"), ("convert-position", "pan")},
    "cement-fumes": {("drain", "cement")},
    "dripping-overhead": {("drain", "second-end")},
    "float-stops-all": {("convert-position", "guards"), ("drain", "pump"), ("drain", "switch")},
    "nitrogen-only": {("pressure-test", "gas"), ("evacuate-and-release", "leaking")},
    "stand-aside": {
        ("pressure-test", "first-pressure"),
        ("pressure-test", "raise"),
        ("pressure-test", "mend"),
    },
    "vacuum-before-valves": {("evacuate-and-release", "tag")},
    "valves-until-they-stop": {("evacuate-and-release", "release")},
    "hoses-hold-refrigerant": {
        ("pump-down-or-remove", "gauges"),
        ("evacuate-and-release", "pressure"),
    },
}


@pytest.mark.parametrize("caution", list(BESIDE))
def test_cautions_stand_beside_the_steps_that_can_hurt(
    lists: dict[str, dict[str, Step]], caution: str
) -> None:
    found = {
        (name, step.id)
        for name, steps in lists.items()
        for step in steps.values()
        if step.caution == caution
    }
    assert found == BESIDE[caution]


# What a job of this kind adds to the plain one, and what it takes away.
FITS: list[tuple[str, Given, set[str], set[str]]] = [
    ("pump-down-or-remove", {}, {"recover", "unbraze", "watch-on"}, {"run", "pump-down", "attic", "crawl"}),
    ("pump-down-or-remove", KEPT, {"run", "pump-down", "recover"}, {"mildly-flammable"}),
    ("pump-down-or-remove", KEPT | {"old.leaks": "yes"}, {"recover"}, {"run", "pump-down"}),
    ("pump-down-or-remove", KEPT | {"old.runs": "no"}, {"recover"}, {"run", "pump-down"}),
    ("pump-down-or-remove", KEPT | {"old.standing_pressure": "190 psi"}, {"recover"}, {"run"}),
    ("pump-down-or-remove", {"old.brazed": "no"}, {"open", "cap"}, {"unbraze", "fire-watch", "watch-on", "nitrogen"}),
    ("pump-down-or-remove", {"old.refrigerant": "R-454B"}, {"mildly-flammable", "sweep"}, set()),
    ("pump-down-or-remove", ATTIC, {"attic", "check-in"}, {"crawl"}),
    ("pump-down-or-remove", ATTIC | {"attic.temperature": "99 °F"}, {"attic"}, {"check-in"}),
    ("receive-and-place", CRAWL, {"crawl", "way-in"}, {"attic", "check-in", "reach", "ladder"}),
    ("receive-and-place", {"system.refrigerant": "R-32"}, {"rooms"}, {"damage"}),
    ("receive-and-place", {"outdoor.support": "roof"}, {"ladder"}, {"rooms"}),
    ("receive-and-place", {"room.route": "still-room"}, {"pan"}, {"trap-room"}),
    ("receive-and-place", {"indoor.location": "basement", "overflow.can_damage": "no"}, {"indoor"}, {"pan"}),
    ("line-set", {"joints.brazed": "no"}, {"flare", "torque"}, {"braze", "fire-watch", "watch-on", "which-line"}),
    ("line-set", {"joints.flared": "no"}, {"braze"}, {"flare", "torque"}),
    ("line-set", {"line.labeled": ["yes", "no"]}, {"which-line"}, set()),
    ("pressure-test", {}, {"let-out"}, {"mend"}),
    ("pressure-test", {"test.bubbles": "yes"}, {"mend"}, set()),
    ("pressure-test", {"test.end_pressure": "460 psi"}, {"mend"}, set()),
    ("evacuate-and-release", {}, {"weigh-in"}, {"mildly-flammable", "rooms", "moist", "leaking"}),
    ("evacuate-and-release", {"line.length": "20 ft"}, {"release"}, {"weigh-in"}),
    ("evacuate-and-release", {"system.refrigerant": "R-32"}, {"mildly-flammable", "rooms"}, set()),
    ("evacuate-and-release", {"vacuum.readings": MOIST}, {"moist"}, {"leaking"}),
    ("evacuate-and-release", {"vacuum.readings": LEAKS}, {"leaking"}, {"moist"}),
    ("convert-position", {}, {"water", "seal"}, {"floor", "coil", "pan", "ports", "guards", "sensor", "breakers"}),
    ("convert-position", DOWNFLOW, {"coil", "ports", "guards", "base", "breakers", "tubes"}, {"pan", "side-pan"}),
    ("convert-position", {"position.wanted": "horizontal-left"}, {"ports", "side-pan"}, {"coil", "pan", "tubes"}),
    ("convert-position", {"position.wanted": "horizontal-right"}, {"ports", "pan", "tubes"}, {"coil", "guards"}),
    ("convert-position", {"system.refrigerant": "R-454B"}, {"sensor"}, {"floor"}),
    ("drain", {}, {"trap", "switch", "prime"}, {"pump", "pan", "second-end", "insulate", "attic", "crawl"}),
    ("drain", {"drain.by_gravity": "no"}, {"pump"}, set()),
    ("drain", {"room.route": "still-room"}, {"size"}, {"trap", "prime"}),
    ("drain", {"overflow.device": "drained-pan"}, {"pan", "second-end"}, {"switch"}),
    ("drain", ATTIC, {"attic", "check-in", "insulate"}, {"crawl"}),
]  # fmt: skip


@pytest.mark.parametrize(("name", "change", "there", "gone"), FITS)
def test_steps_fit_the_job(
    trade: Trade, name: str, change: Given, there: set[str], gone: set[str]
) -> None:
    applies = walk(trade, name, WORK[name] | change).applies
    assert there <= applies
    assert gone.isdisjoint(applies)


def test_whatever_is_asked_is_used(trade: Trade, lists: dict[str, dict[str, Step]]) -> None:
    bundle, engine = trade.bundle, trade.engine
    fed = {slot for q in bundle.quantities for slot in q.inputs}
    fed |= {slot for check in bundle.checks for slot in check.inputs}
    fed |= {slot for checklist in bundle.checklists for slot in checklist.inputs}
    fed |= {
        engine.slots[step.least]
        for steps in lists.values()
        for step in steps.values()
        if step.least
    }
    for name, steps in lists.items():
        for step in steps.values():
            idle = [e for e in (*step.enter, *step.if_known) if engine.slots[e] not in fed]
            assert idle == [], f"{name}/{step.id}"


@pytest.mark.parametrize("name", list(WORK))
def test_a_list_asks_for_all_that_its_steps_rest_on(
    trade: Trade, lists: dict[str, dict[str, Step]], name: str
) -> None:
    """No step waits for, shows or judges by something that nobody is asked for in the same list."""
    bundle, engine = trade.bundle, trade.engine
    steps = lists[name].values()
    asks = {e for step in steps for e in (*step.enter, *step.if_known, step.keeps)}
    inputs = {check.id: check.inputs for check in bundle.checks}
    (checklist,) = [each for each in bundle.checklists if each.id == name]
    slots = {engine.slots[shown] for step in steps for shown in step.show} | set(checklist.inputs)
    slots |= {slot for step in steps for check in step.checks for slot in inputs[check]}
    rests_on = {slot for top in slots for slot in engine.upstream[top]} | slots
    entered = [bundle.quantities[slot] for slot in rests_on]
    missing = {q.id for q in entered if q.tree is None and q.default is None} - asks
    assert missing == ELSEWHERE.get(name, set())


@pytest.mark.parametrize(
    ("refrigerant", "fluid"), [("R-22", "R22"), ("R-410A", "R410A"), ("R-32", "R32")]
)
def test_the_old_charge_at_rest_lies_between_dew_and_bubble(
    trade: Trade, refrigerant: str, fluid: str
) -> None:
    """Against CoolProp at 70 and 95 °F."""
    given = OLD | {
        "old.refrigerant": refrigerant,
        "outdoor.temperature": "95 °F",
        "old.indoor_temperature": "70 °F",
    }
    answer = asked(trade, given)
    for quantity, fahrenheit, quality in (
        ("old.least_pressure", 70, 1),
        ("old.most_pressure", 95, 0),
    ):
        pascal = PropsSI("P", "T", (fahrenheit + 459.67) / 1.8, "Q", quality, fluid) - 101325
        assert answer.value(quantity) == pytest.approx(pascal, rel=0.002)


@pytest.mark.parametrize(
    ("psi", "way"),
    [
        ("110 psi", "recover"),
        ("125 psi", "pump-down"),
        ("165 psi", "pump-down"),
        ("175 psi", "recover"),
    ],
)
def test_an_odd_pressure_at_rest_is_never_pumped_down(trade: Trade, psi: str, way: str) -> None:
    """R-22 rests at 132 psi at 75 °F and at 156 psi at 85 °F; 10 psi of margin."""
    answer = asked(trade, KEPT | {"old.standing_pressure": psi})
    assert answer.value("removal.way") == way


@pytest.mark.parametrize(
    ("psi", "verdict"),
    [("-1 psi", "fail"), ("0 psi", "pass"), ("10 psi", "pass"), ("11 psi", "caution")],
)
def test_pumping_down_stops_above_zero(trade: Trade, psi: str, verdict: str) -> None:
    answer = asked(trade, KEPT | {"pumpdown.final_pressure": psi})
    (check,) = answer.checks(["pumpdown.stopped_in_time"])
    assert check.verdict == verdict


def test_the_recovery_cylinder_is_filled_by_the_old_refrigerant(trade: Trade) -> None:
    """26.5 + 0.8 × 47.6 × density at 77 °F over 999 kg/m³, by CoolProp, though the new system holds another."""
    density = PropsSI("D", "T", 298.15, "Q", 0, "R22")
    most = (26.5 + 0.8 * 47.6 * density / 999) * 0.45359237
    answer = asked(trade, OLD | {"system.refrigerant": "R-32"})
    assert answer.value("cylinder.most_gross") == pytest.approx(most, rel=0.001)


@pytest.mark.parametrize(
    ("readings", "more", "held"),
    [
        (LEVELS, {}, True),
        (LEVELS, {"vacuum.hold_limit": "800 micron"}, True),
        (LEVELS, {"vacuum.hold_limit": "500 micron"}, False),
        (LEVELS, {"vacuum.target": "300 micron"}, False),
        (MOIST, {}, False),
        (LEAKS, {}, False),
    ],
)
def test_the_vacuum_held_only_when_tight_and_dry(
    trade: Trade, readings: str, more: dict[str, str], held: bool
) -> None:
    answer = asked(trade, EMPTIED | {"vacuum.readings": readings} | more)
    assert answer.value("release.vacuum_held") is held


def test_a_pressure_test_of_today_counts_more_than_one_of_another_day(trade: Trade) -> None:
    tight = asked(trade, EMPTIED | TEST).value("lines.proven_tight")
    leaking = asked(trade, EMPTIED | TEST | {"test.end_pressure": "460 psi"})
    assert tight is True
    assert leaking.value("lines.proven_tight") is False


@pytest.mark.parametrize(("pounds", "persons"), [(40, 2), (51, 2), (102, 2), (103, 3), (154, 4)])
def test_hands_by_weight(trade: Trade, pounds: int, persons: int) -> None:
    answer = asked(trade, PLACED | {"indoor.weight": f"{pounds} lb"})
    assert answer.value("indoor.persons", "1") == persons


def test_the_two_smaller_sides_must_pass(trade: Trade) -> None:
    hatch = {"access.opening_short": "22 in", "access.opening_long": "30 in"}
    for sides in permutations(("18 in", "24 in", "52 in")):
        names = ("cabinet.width", "cabinet.length", "cabinet.height")
        answer = asked(trade, ATTIC | hatch | dict(zip(names, sides, strict=True)))
        assert answer.value("access.middle_side", "1") == pytest.approx(24 * 0.0254)
        (check,) = answer.checks(["access.unit_passes"])
        assert check.verdict == "pass"
    tight = (
        ATTIC
        | hatch
        | {"cabinet.width": "23 in", "cabinet.length": "24 in", "cabinet.height": "52 in"}
    )
    (check,) = asked(trade, tight).checks(["access.unit_passes"])
    assert check.verdict == "fail"


@pytest.mark.parametrize(
    ("old", "new", "differs"),
    [
        ("R-22", "R-410A", True),
        ("R-22", "R-32", True),
        ("R-410A", "R-454B", False),
        ("R-22", "R-22", False),
    ],
)
def test_oil_of_the_old_refrigerant(trade: Trade, old: str, new: str, differs: bool) -> None:
    answer = asked(trade, {"old.refrigerant": old, "system.refrigerant": new})
    assert answer.value("reuse.oil_differs") is differs


def test_old_lines_are_not_judged_without_the_catalogue(trade: Trade) -> None:
    answer = asked(trade, REUSE)
    assert isinstance(answer.value("reuse.verdict", "1"), Unknown)
    damaged = asked(trade, REUSE | {"reuse.damaged": "yes"})
    assert damaged.value("reuse.verdict", "1") == "replace"


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        ({}, "keep"),
        ({"old.refrigerant": "R-22"}, "clean-first"),
        ({"reuse.burnout": "mild"}, "clean-first"),
        ({"reuse.burnout": "severe"}, "replace"),
        ({"reuse.hidden_joint": "yes"}, "replace"),
        ({"tube.vapor_size": "3/8 in"}, "replace"),
        ({"reuse.marked_pressure": "500 psi"}, "replace"),
    ],
)
def test_old_lines_by_the_catalogue(maker: Trade, change: Given, verdict: str) -> None:
    """A unit listed for 1/4 and 1/2 in, on tube marked for more than its design pressure."""
    lines: Given = {
        "indoor.model": "AH-12-M",
        "tube.liquid_size": "1/4 in",
        "tube.vapor_size": "1/2 in",
        "reuse.marked_pressure": "700 psi",
        "nameplate.design_pressure": "600 psi",
    }
    done = walk(maker, "reuse-line-set", REUSE | lines | change)
    assert asked(maker, REUSE | lines | change).value("reuse.verdict", "1") == verdict
    assert ("cut-back" in done.applies) is (verdict != "replace")
    assert ("flush" in done.applies) is (verdict == "clean-first")


def test_the_fire_watch_goes_on_for_an_hour(
    trade: Trade, lists: dict[str, dict[str, Step]]
) -> None:
    for name in ("pump-down-or-remove", "line-set"):
        assert lists[name]["watch-on"].least == "fire.least_watch"
    assert asked(trade, OLD).value("fire.least_watch") == 3600


LOW_SIDE = {
    "upflow": "end",
    "downflow": "top",
    "horizontal-left": "left",
    "horizontal-right": "right",
}
"""Which side of the cabinet, as it stands upright, the water falls to."""


@pytest.mark.parametrize("shipped", list(LOW_SIDE))
@pytest.mark.parametrize("wanted", list(LOW_SIDE))
@pytest.mark.parametrize("side_pan", ["left", "right", "none"])
def test_a_pan_lies_where_the_water_falls(
    trade: Trade, shipped: str, wanted: str, side_pan: str
) -> None:
    """By where the pans hang in the cabinet: the end pan follows the coil, the side pan its hooks."""
    end_pan = "top" if shipped == "downflow" else "end"
    low = LOW_SIDE[wanted]
    upright = low in ("end", "top")
    answer = asked(
        trade,
        TURNED
        | {"position.shipped": shipped, "position.wanted": wanted, "position.side_pan": side_pan},
    )
    assert answer.value("position.coil_turns", "1") is (upright and low != end_pan)
    assert answer.value("position.pan_moves", "1") is (not upright and low != side_pan)
    ports = answer.value("position.ports_change", "1")
    if shipped == wanted and (upright or low == side_pan):
        assert ports is False
    if upright != (LOW_SIDE[shipped] in ("end", "top")):
        assert ports is True


@pytest.mark.parametrize(
    ("device", "seen", "verdict"),
    [
        ("drained-pan", "no", "fail"),
        ("drained-pan", "yes", "pass"),
        ("pan-float", "no", "not-applicable"),
    ],
)
def test_a_second_drain_drips_where_it_is_seen(
    trade: Trade, device: str, seen: str, verdict: str
) -> None:
    answer = asked(trade, WATER | {"overflow.device": device, "drain.second_seen": seen})
    (check,) = answer.checks(["drain.second_is_seen"])
    assert check.verdict == verdict
