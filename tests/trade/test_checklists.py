"""What a checklist must hold back, whatever else it asks for."""

from __future__ import annotations

import pytest

from kneewall.bundle import Step
from kneewall.engine import Unknown
from tests.trade.asking import Trade


def before(steps: dict[str, Step], step: str) -> set[str]:
    """All steps that must be done before this one."""
    found: set[str] = set()
    for name in steps[step].after:
        found |= {name} | before(steps, name)
    return found


@pytest.fixture(name="steps")
def pressure_and_power(trade: Trade) -> dict[str, Step]:
    (checklist,) = [c for c in trade.bundle.checklists if c.id == "pressure-and-power"]
    return {step.id: step for step in checklist.steps}


def test_no_gas_before_everything_is_dead_and_the_regulator_is_set(steps: dict[str, Step]) -> None:
    assert {"footing", "dead", "plates", "connect"} <= before(steps, "raise")


def test_nothing_is_signed_under_pressure(steps: dict[str, Step]) -> None:
    assert {"hold", "end-reading", "let-out", "supply-wire", "filter"} <= before(steps, "sign")
    assert "end-reading" in before(steps, "let-out")


def test_cautions_stand_beside_the_step_that_can_hurt(steps: dict[str, Step]) -> None:
    beside = {
        "footing": "joists-and-heat",
        "dead": "prove-dead",
        "connect": "nitrogen-only",
        "let-out": "nitrogen-smothers",
    }
    assert {name: steps[name].caution for name in beside} == beside


def test_the_hold_is_timed_and_feeds_the_finding(trade: Trade, steps: dict[str, Step]) -> None:
    assert (steps["hold"].act, steps["hold"].least, steps["hold"].keeps) == (
        "time",
        "test.least_hold",
        "test.hold",
    )
    finding = trade.engine.upstream[trade.engine.slots["test.finding"]]
    assert trade.engine.slots["test.hold"] in finding


def test_its_steps_enter_all_that_their_calculators_need(
    trade: Trade, steps: dict[str, Step]
) -> None:
    """With what the steps ask for and nothing else, the worked examples of the calculators have their answers."""
    entered = {
        name for step in steps.values() for name in [*step.enter, *step.if_known, step.keeps]
    }
    calculators = {step.calculator for step in steps.values() if step.calculator}
    assert calculators == {"pressure-test", "voltage-drop", "filter"}
    for example in trade.bundle.examples:
        if example.calculator in calculators:
            given = {name: value for name, value in example.given.items() if name in entered}
            answer = trade.engine.evaluate(given, example.members)
            for expected in example.expect:
                value = answer.value(expected.quantity, expected.member or None)
                assert isinstance(value, Unknown) == (expected.why is not None), expected
