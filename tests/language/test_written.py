"""What is written is what is meant: numbers that name choices, and words that Python keeps for itself."""

from __future__ import annotations

from pathlib import Path

from kneewall.bundle import Bundle
from kneewall.compiler import compile_packs
from kneewall.engine import Engine
from kneewall.explain import Explainer
from tests.language.test_packs import pack

GRADES = """
choices:
  grade: {ordered: true, values: [1.10, 1.2, 007, 1e3], source: demo}
quantities:
  pipe.grade: {label: Grade, type: grade}
  pipe.weight:
    {label: Weight, unit: lb, limits: 0 lb to 99 lb, source: demo, formula: "row(pipes, grade=pipe.grade).weight"}
  pipe.low: {label: Low, type: flag, source: demo, formula: 'pipe.grade == "1.10"'}
  pipe.high:
    {label: High, type: flag, source: demo, formula: 'max("1.2", pipe.grade) > ("1.10" if pipe.low else pipe.grade)'}
tables:
  pipes:
    source: demo
    keys: [grade]
    rows: |
      grade [grade], weight [lb]
      1.10, 5
      007, 6
calculators:
  pipe: {title: Pipe, topic: demo, enter: [pipe.grade], show: [pipe.weight, pipe.low, pipe.high]}
examples:
  - {name: light, calculator: pipe, given: {pipe.grade: 1.10}, expect: {pipe.weight: 5 lb, pipe.low: yes}, source: demo}
"""
KEYWORDS = """
quantities:
  duct.return: {label: Return, limits: 0 to 9}
  duct.in: {label: In, limits: 0 to 9}
  duct.said: {label: Said, type: text, formula: '"duct.return"', source: demo}
  duct.sum:
    {label: Sum, limits: 0 to 99, formula: duct.return + 2 * duct.in if duct.return > 1 else duct.in, source: demo}
calculators:
  duct: {title: Duct, topic: demo, enter: [duct.return, duct.in], show: [duct.sum, duct.said]}
"""


HELD = """
quantities:
  hold.readings: {label: R, type: series, columns: {time: min, drop: psi}, limits: 0 psi to 9 psi}
  hold.count: {label: Count, limits: 0 to 99, formula: count(hold.readings) / 2, source: demo}
calculators:
  hold: {title: Hold, topic: demo, enter: [hold.readings], show: [hold.count]}
"""


def compiled(folder: Path, rules: str) -> Bundle:
    return compile_packs([pack(folder, "trade", "trade", rules)])


def test_a_number_that_names_a_choice_keeps_its_spelling(tmp_path: Path) -> None:
    bundle = compiled(tmp_path, GRADES)
    options = [option.value for option in bundle.choices["grade"].options]
    assert options == ["1.10", "1.2", "007", "1e3"]
    answer = Engine(bundle).evaluate({"pipe.grade": "007"})
    assert (answer.value("pipe.weight"), answer.value("pipe.high")) == (2.72155422, False)
    assert Engine(bundle).evaluate({"pipe.grade": "1.10"}).value("pipe.high") is True


def test_a_quantity_may_be_named_by_a_word_of_python(tmp_path: Path) -> None:
    answer = Engine(compiled(tmp_path, KEYWORDS)).evaluate({"duct.return": 3, "duct.in": 2})
    assert answer.value("duct.sum") == 7
    assert answer.value("duct.said") == "duct.return"


def test_a_series_stands_in_a_formula_with_its_readings(tmp_path: Path) -> None:
    answer = Engine(compiled(tmp_path, HELD)).evaluate(
        {"hold.readings": [[0, 0.0], [60, 6894.757]]}
    )
    shown = Explainer(answer).step("hold.count")
    assert shown.filled == "count(0 min: 0 psi, 1 min: 1 psi) / 2"
