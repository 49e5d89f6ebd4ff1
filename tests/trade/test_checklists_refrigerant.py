"""The refrigerant side of the work, walked step by step: what applies, what is held back and by what, what can hurt."""

from __future__ import annotations

import pytest

from kneewall.bundle import Step
from tests.trade.asking import Trade
from tests.trade.refrigerant_jobs import (
    ATTIC,
    CRAWL,
    DOWNFLOW,
    ELSEWHERE,
    EMPTIED,
    KEPT,
    LEAKS,
    LINES,
    MOIST,
    OLD,
    OTHER_JOBS,
    PLACED,
    REUSE,
    TEST,
    TURNED,
    WATER,
    WORK,
    Given,
)
from tests.trade.walking import asked, steps_of, walk


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


# What must be done before the step that can hurt, whatever the readings say.
FIRST: dict[tuple[str, str], set[str]] = {
    ("pump-down-or-remove", "recover"): {"gauges", "dead", "cylinder"},
    ("pump-down-or-remove", "open"): {"recover", "wait", "settled", "sweep"},
    ("pump-down-or-remove", "unbraze"): {"dead", "settled", "open", "prove-empty", "fire-watch", "nitrogen"},
    ("pump-down-or-remove", "carry-out"): {"dead", "settled", "cap"},
    ("pump-down-or-remove", "sign"): {"weigh", "settled", "record"},
    ("reuse-line-set", "flush"): {"old-wrap", "decide", "empty"},
    ("receive-and-place", "indoor"): {"delivery", "place", "attic", "crawl", "hands", "way-in", "trap-room", "pan"},
    ("line-set", "braze"): {"run", "prove-empty", "fire-watch", "nitrogen"},
    ("line-set", "torque"): {"run", "flare"},
    ("pressure-test", "first-pressure"): {"plates", "valves", "gas"},
    ("pressure-test", "let-out"): {"soap", "hold", "end-reading"},
    ("pressure-test", "mend"): {"let-out"},
    ("evacuate-and-release", "release"): {"tag", "valves", "hook-up", "pull", "hold", "verdict", "rooms", "weigh-in"},
    ("evacuate-and-release", "untag"): {"tag", "verdict", "release", "pressure", "sniff", "caps"},
    ("convert-position", "coil"): {"shown", "dead", "floor", "before"},
    ("convert-position", "breakers"): {"dead"},
    ("drain", "pour"): {"trap", "cement", "prime", "ends"},
}  # fmt: skip


@pytest.mark.parametrize(("name", "step"), list(FIRST))
def test_done_before(lists: dict[str, dict[str, Step]], name: str, step: str) -> None:
    before: set[str] = set()
    open_ends = [step]
    while open_ends:
        after = set(lists[name][open_ends.pop()].after) - before
        before |= after
        open_ends += after
    assert before >= FIRST[name, step]


def test_what_is_held_says_what_to_do(lists: dict[str, dict[str, Step]]) -> None:
    for steps in lists.values():
        for step in steps.values():
            assert (step.needs is None) == (step.held == "")


def test_a_step_is_named_in_a_few_words_and_told_in_a_few_sentences(
    lists: dict[str, dict[str, Step]],
) -> None:
    for name, steps in lists.items():
        for step in steps.values():
            assert len(step.title.split()) <= 9, f"{name}/{step.id}"
            assert 1 <= len(step.text.rstrip(".").split(". ")) <= 3, f"{name}/{step.id}"
            assert step.text, f"{name}/{step.id}"


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
    ("receive-and-place", ATTIC | {"overflow.device": "secondary-port-float"}, {"protection"}, {"pan"}),
    ("receive-and-place", ATTIC | {"overflow.device": "drained-pan"}, {"protection", "pan"}, set()),
    ("receive-and-place", {"indoor.location": "basement", "overflow.can_damage": "no"}, {"indoor"}, {"pan"}),
    ("line-set", {"joints.brazed": "no"}, {"flare", "torque"}, {"braze", "fire-watch", "watch-on", "which-line"}),
    ("line-set", {"joints.flared": "no"}, {"braze"}, {"flare", "torque"}),
    ("line-set", {"line.labeled": ["yes", "no"]}, {"which-line"}, set()),
    ("line-set", {"line.is_old": "yes"}, {"flare", "insulate"}, {"run"}),
    ("line-set", {"line.is_old": ["yes", "no"]}, {"run"}, set()),
    ("line-set", {"outdoor.support": "wall-bracket"}, {"ladder"}, set()),
    ("reuse-line-set", {"line.is_old": "no"}, {"decide"}, {"empty", "flush", "blow", "cut-back", "insulation"}),
    ("pressure-test", {}, {"let-out"}, {"mend"}),
    ("pressure-test", {"test.bubbles": "yes"}, {"mend"}, set()),
    ("pressure-test", {"test.end_pressure": "460 psi"}, {"mend"}, set()),
    ("evacuate-and-release", {"line.is_old": "yes"}, {"breaks"}, set()),
    ("evacuate-and-release", {}, {"weigh-in"}, {"breaks", "mildly-flammable", "rooms", "moist", "leaking"}),
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
    """No step waits for, shows or judges by something that is not asked for in the same list, the match-up apart: it is
    looked up here and made elsewhere.
    """
    bundle, engine = trade.bundle, trade.engine
    steps = lists[name].values()
    asks = {e for step in steps for e in (*step.enter, *step.if_known, step.keeps)}
    if "pairing" in {step.calculator for step in steps}:
        (match_up,) = [each for each in bundle.calculators if each.id == "pairing"]
        asks |= {*match_up.enter, *match_up.if_known}
    inputs = {check.id: check.inputs for check in bundle.checks}
    (checklist,) = [each for each in bundle.checklists if each.id == name]
    slots = {engine.slots[shown] for step in steps for shown in step.show} | set(checklist.inputs)
    slots |= {slot for step in steps for check in step.checks for slot in inputs[check]}
    rests_on = {slot for top in slots for slot in engine.upstream[top]} | slots
    entered = [bundle.quantities[slot] for slot in rests_on]
    missing = {q.id for q in entered if q.tree is None and q.default is None} - asks
    assert missing == ELSEWHERE.get(name, set())


def test_the_fire_watch_goes_on_for_an_hour(
    trade: Trade, lists: dict[str, dict[str, Step]]
) -> None:
    for name in ("pump-down-or-remove", "line-set"):
        assert lists[name]["watch-on"].least == "fire.least_watch"
    assert asked(trade, OLD).value("fire.least_watch") == 3600
