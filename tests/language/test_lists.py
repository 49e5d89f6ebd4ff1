"""Lists as messages and results say them."""

from __future__ import annotations

from pathlib import Path

import pytest

from kneewall.compiler import compile_packs
from kneewall.engine import Engine
from kneewall.explain import Explainer
from kneewall.records.review import fits
from tests.language.test_packs import pack

RULES = """
choices:
  size: {values: {small: Small one, large: Large one}, source: demo}
quantities:
  kit.power: {label: Power, unit: ft, limits: 0 ft to 90 ft}
  kit.names: {label: Names, type: list of text, formula: "rows(kits, power >= kit.power).name", source: demo}
  kit.sizes: {label: Sizes, type: list of size, formula: "rows(kits, power >= kit.power).size", source: demo}
  kit.powers: {label: Powers, type: list, unit: ft, limits: 0 ft to 90 ft,
    formula: "rows(kits, power >= kit.power).power", source: demo}
tables:
  kits:
    source: demo
    rows: |
      name [text], size [size], power [ft]
      A, small, 5
      B, large, 10
calculators:
  kit: {title: Kit, topic: demo, enter: [kit.power], show: [kit.names, kit.sizes, kit.powers], checks: [kit.any]}
checks:
  kit.any:
    label: Any
    fail: count(kit.names) == 0
    says:
      pass: "Any of these fits: {kit.names}; {kit.sizes}; {kit.powers}."
      fail: "These fit: {kit.names}. Take two."
    source: demo
"""


@pytest.fixture
def engine(tmp_path: Path) -> Engine:
    return Engine(compile_packs([pack(tmp_path, "trade", "trade", RULES)]))


def said(engine: Engine, feet: float, system: str) -> str:
    answer = engine.evaluate({"kit.power": feet * 0.3048})
    (result,) = answer.checks()
    return Explainer(answer, system).message(result)  # type: ignore[arg-type]


def test_a_message_names_texts_choices_and_numbers(engine: Engine) -> None:
    assert said(engine, 1, "ip") == "Any of these fits: A, B; Small one, Large one; 5, 10 ft."
    assert said(engine, 8, "si") == "Any of these fits: B; Large one; 3.048 m."


def test_an_empty_list_is_said_to_be_one(engine: Engine) -> None:
    assert said(engine, 50, "ip") == "These fit: none. Take two."
    explainer = Explainer(engine.evaluate({"kit.power": 50 * 0.3048}))
    quantity = next(q for q in engine.bundle.quantities if q.id == "kit.names")
    assert explainer.edges.show(quantity, []) == "none"


def test_a_recorded_list_of_texts_is_one(engine: Engine) -> None:
    names = next(q for q in engine.bundle.quantities if q.id == "kit.names")
    assert names.type == "texts"
    assert fits(names, ["A", "B"])
    assert not fits(names, ["A", 1])
    assert not fits(names, "A")
    assert engine.evaluate({"kit.power": 0.0}).value("kit.names") == ["A", "B"]
