"""What the refrigerant work finds: against CoolProp, against arithmetic by hand, and against how a cabinet hangs."""

from __future__ import annotations

from itertools import permutations

import pytest
from CoolProp.CoolProp import PropsSI

from kneewall.engine import Unknown
from tests.trade.asking import Trade
from tests.trade.refrigerant_jobs import (
    ATTIC,
    DOWNFLOW,
    EMPTIED,
    KEPT,
    LEAKS,
    LEVELS,
    MOIST,
    OLD,
    PLACED,
    REUSE,
    TEST,
    TURNED,
    WATER,
    Given,
)
from tests.trade.walking import asked, walk


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
    trade: Trade, readings: str, more: Given, held: bool
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
    answer = asked(maker, REUSE | lines | change)
    assert answer.value("reuse.verdict", "1") == verdict
    (check,) = answer.checks(["reuse.may_stay"])
    assert check.verdict == {"keep": "pass", "clean-first": "caution", "replace": "fail"}[verdict]
    steps = walk(maker, "reuse-line-set", REUSE | lines | change).applies
    assert ("flush" in steps) is (verdict == "clean-first")


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


@pytest.mark.parametrize(
    ("check", "answers"),
    [("position.float_fitted", "position.float_in_pan"), ("position.base", "position.base_right")],
)
def test_of_two_units_only_the_downflow_one_is_judged_as_such(
    trade: Trade, check: str, answers: str
) -> None:
    given = DOWNFLOW | {"position.wanted": ["downflow", "upflow"], answers: ["yes", "no"]}
    verdicts = [result.verdict for result in asked(trade, given).checks([check])]
    assert verdicts == ["pass", "not-applicable"]
    wrong = asked(trade, given | {answers: ["no", "no"]})
    assert [result.verdict for result in wrong.checks([check])] == ["fail", "not-applicable"]


def test_labels_count_only_among_several_units(trade: Trade) -> None:
    (alone,) = asked(trade, {"line.labeled": "no"}).checks(["line.labels_on"])
    assert alone.verdict == "not-applicable"
    both = asked(trade, {"line.labeled": ["yes", "no"]}).checks(["line.labels_on"])
    assert [result.verdict for result in both] == ["pass", "fail"]
