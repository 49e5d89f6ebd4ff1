"""What is said of a series that a formula interpolates."""

from __future__ import annotations

from pathlib import Path

import pytest

from kneewall.compiler import compile_packs
from kneewall.engine import Engine, Unknown
from kneewall.explain import Explainer
from kneewall.tools.compare import compare
from tests.language.test_packs import pack

RULES = """
quantities:
  hold.readings: {label: Readings, type: series, columns: {time: min, reading: psi}, limits: 0 psi to 900 psi}
  hold.asked: {label: Asked, unit: min, limits: 0 min to 90 min}
  hold.then: {label: Then, unit: psi, limits: 0 psi to 900 psi, source: demo,
    formula: "interpolate(hold.readings, time=first(steps, at >= hold.asked).at).reading"}
  hold.late: {label: Late, limits: 0 to 9, source: demo,
    formula: "count(rows(steps, interpolate(hold.readings, time=at).reading > quantity(1, \\"psi\\")).at)"}
tables:
  steps: {source: demo, rows: "at [min]\\n2\\n8\\n"}
calculators:
  hold: {title: Hold, topic: demo, enter: [hold.readings, hold.asked], show: [hold.then, hold.late]}
"""


@pytest.fixture
def engine(tmp_path: Path) -> Engine:
    return Engine(compile_packs([pack(tmp_path, "trade", "trade", RULES)]))


def asked(engine: Engine, points: list[list[float]], at: float = 0.0) -> Explainer:
    return Explainer(engine.evaluate({"hold.readings": points, "hold.asked": at}))


def test_between_two_readings(engine: Engine) -> None:
    explainer = asked(engine, [[0.0, 0.0], [600.0, 68947.57293]])
    step = explainer.step("hold.then")
    assert step.value == pytest.approx(13789.514586)
    assert (
        step.formula == "interpolate(hold.readings, time=first(steps, at >= hold.asked).at).reading"
    )
    assert step.filled == "2 psi"
    assert explainer.answer.value("hold.late") == 2


def test_beyond_the_readings_their_end_is_named(engine: Engine) -> None:
    explainer = asked(engine, [[0.0, 0.0], [90.0, 9.0]])
    value = explainer.answer.value("hold.then")
    assert isinstance(value, Unknown)
    assert explainer.why(value) == "Above what was read as Readings, which ends at 1.5 min."


def test_readings_that_are_not_in_turn_are_not_interpolated(engine: Engine) -> None:
    for points in ([], [[600.0, 9.0], [0.0, 0.0]], [[60.0, 9.0], [60.0, 0.0], [600.0, 1.0]]):
        explainer = asked(engine, points)
        value = explainer.answer.value("hold.then")
        assert isinstance(value, Unknown)
        assert value.why == "outside"
        assert explainer.why(value) == "The series has no such row."


def test_a_changed_table_reaches_what_is_asked_at_its_rows(engine: Engine, tmp_path: Path) -> None:
    changed = pack(tmp_path, "trade", "trade", RULES.replace("8\\n", "9\\n"))
    found = compare(engine.bundle, compile_packs([changed]))
    assert [{result.id for result in view.results} for view in found.felt] == [
        {"hold.then", "hold.late"}
    ]
