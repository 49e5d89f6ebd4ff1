"""Packs over packs, rules with a time: what a later pack may do, and that it shows."""

from __future__ import annotations

import re
from dataclasses import asdict
from pathlib import Path

import pytest

from kneewall.bundle import Bundle
from kneewall.compiler import CompileError, compile_packs
from kneewall.compiler.command import Report
from kneewall.engine import Engine, Unknown
from kneewall.explain import Explainer
from tests.conformance.twins import phone

HERE = Path(__file__).parent
UNITS = (HERE.parents[1] / "rules" / "units.csv").read_text(encoding="utf-8")


def pack(folder: Path, name: str, rank: str, rules: str, extra: str = "") -> Path:
    path = folder / name
    path.mkdir(exist_ok=True)
    (path / "pack.yaml").write_text(f"id: {name}\nrank: {rank}\ntitle: T\nformat: 1\n{extra}")
    (path / "rules.yaml").write_text(rules, encoding="utf-8")
    if rank == "trade":
        (path / "units.csv").write_text(UNITS, encoding="utf-8")
    return path


def hash_named_by(folders: list[Path]) -> str:
    """The hash that the compiler names when a replacement does not."""
    with pytest.raises(CompileError) as caught:
        compile_packs(folders)
    found = re.search(r"\b[0-9a-f]{12}\b", str(caught.value.faults[0]))
    assert found, caught.value
    return found[0]


BASE = (HERE / "base.yaml").read_text(encoding="utf-8")
LIST = """
checklists:
  short:
    title: Short
    steps:
      - {id: one, act: do, title: One}
      - {id: two, act: do, title: Two, after: [one]}
"""


def test_a_replaced_quantity_shows_in_what_rests_on_it(tmp_path: Path) -> None:
    trade = pack(tmp_path, "trade", "trade", BASE)
    rules = (
        "quantities:\n  box.price:\n    label: Price\n    limits: 0 to 1000\n    source: demo\n"
        "    formula: 2 * row(prices, size=box.size).price\n"
        "    because: Everything costs double here.\n    replaces: REPLACES\n"
        "examples:\n  - {name: dear, calculator: box, given: {box.size: small}, "
        "expect: {box.price: 10}, source: demo}\n"
    )
    county = pack(tmp_path, "county", "house", rules.replace("    replaces: REPLACES\n", ""))
    digest = hash_named_by([trade, county])
    base = BASE.replace(", box.price: 9}", "}")
    trade = pack(tmp_path, "trade", "trade", base)
    county = pack(tmp_path, "county", "house", rules.replace("REPLACES", f'"{digest}"'))
    bundle = compile_packs([trade, county])
    explainer = Explainer(Engine(bundle).evaluate({"box.size": "large"}))
    step = explainer.step("box.price")
    assert step.value == 18
    assert step.pack == "county"
    (amended,) = step.amended
    assert (amended.id, amended.pack) == ("box.price", "county")
    assert amended.because == "Everything costs double here."
    assert explainer.amended("box.area") == []


def test_a_replaced_choice_list_shows_in_what_rests_on_it(tmp_path: Path) -> None:
    trade = pack(tmp_path, "trade", "trade", BASE)
    rules = "choices:\n  size: {ordered: true, values: [small, large, huge], source: demo}\n"
    county = pack(tmp_path, "county", "house", rules)
    digest = hash_named_by([trade, county])
    amended = f'source: demo, because: We have larger ones., replaces: "{digest}"}}'
    county = pack(tmp_path, "county", "house", rules.replace("source: demo}", amended))
    bundle = compile_packs([trade, county])
    answer = Engine(bundle).evaluate({"box.size": "large"})
    (found,) = Explainer(answer).amended("box.price")
    assert (found.id, found.pack, found.because) == ("size", "county", "We have larger ones.")
    asked = {"values": {"box.size": "large"}, "steps": True, "want": ["box.price"]}
    (other,) = phone(bundle, tmp_path, cases=[asked])
    assert other["steps"]["box.price"]["amended"] == [asdict(found)]


def test_a_changed_target_asks_for_a_new_look(tmp_path: Path) -> None:
    trade = pack(tmp_path, "trade", "trade", BASE + LIST)
    county = pack(tmp_path, "county", "house", "steps:\n  short/two: {act: do, title: Twice}\n")
    digest = hash_named_by([trade, county])
    rules = f'steps:\n  short/two: {{act: do, title: Twice, because: So., replaces: "{digest}"}}\n'
    county = pack(tmp_path, "county", "house", rules)
    steps = compile_packs([trade, county]).checklists[0].steps
    assert [(step.title, step.pack) for step in steps] == [("One", "trade"), ("Twice", "county")]
    assert steps[1].replaced is not None
    trade = pack(tmp_path, "trade", "trade", BASE + LIST.replace("title: Two", "title: Second"))
    with pytest.raises(CompileError) as caught:
        compile_packs([trade, county])
    assert [fault.number for fault in caught.value.faults] == ["E703"]


def test_a_step_is_added_after_the_one_it_follows(tmp_path: Path) -> None:
    trade = pack(tmp_path, "trade", "trade", BASE + LIST)
    rules = "steps:\n  short/between: {act: do, title: Between, follows: one}\n"
    county = pack(tmp_path, "county", "house", rules)
    steps = compile_packs([trade, county]).checklists[0].steps
    assert [step.id for step in steps] == ["one", "between", "two"]


TABLE = """
choices:
  model: {values: [A-1, A-2], source: demo}
tables:
  weights:
    source: demo
    keys: [model]
    columns: {model: model, weight: lb}
quantities:
  unit.model: {label: Model, type: model}
  unit.weight: {label: Weight, unit: lb, limits: 0 lb to 900 lb, source: demo,
                formula: "row(weights, model=unit.model).weight"}
calculators:
  weight: {title: Weight, topic: demo, enter: [unit.model], show: [unit.weight]}
"""
UNITS_ONLY = "rows:\n  weights:\n    source: demo\n    rows: |\n      model [model], weight [kg]\n"


def test_a_table_declared_below_is_filled_above_in_other_units(tmp_path: Path) -> None:
    trade = pack(tmp_path, "trade", "trade", TABLE)
    alone = Engine(compile_packs([trade])).evaluate({"unit.model": "A-1"}).value("unit.weight")
    assert isinstance(alone, Unknown)
    assert alone.why == "outside"
    maker = pack(tmp_path, "maker", "maker", UNITS_ONLY + "      A-1, 45.359237\n")
    bundle = compile_packs([trade, maker])
    weight = Engine(bundle).evaluate({"unit.model": "A-1"}).value("unit.weight")
    assert weight == pytest.approx(45.359237)
    assert bundle.tables[0].marks["0"].pack == "maker"


def test_a_replaced_row_shows(tmp_path: Path) -> None:
    trade = pack(tmp_path, "trade", "trade", TABLE)
    maker = pack(tmp_path, "maker", "maker", UNITS_ONLY + "      A-1, 45.359237\n")
    county = pack(tmp_path, "county", "house", UNITS_ONLY + "      A-1, 50\n")
    digest = hash_named_by([trade, maker, county])
    rules = UNITS_ONLY.replace("weight [kg]", "weight [kg], because, replaces")
    county = pack(tmp_path, "county", "house", f"{rules}      A-1, 50, Weighed., {digest}\n")
    explainer = Explainer(
        Engine(compile_packs([trade, maker, county])).evaluate({"unit.model": "A-1"})
    )
    assert explainer.answer.value("unit.weight") == 50
    (amended,) = explainer.amended("unit.weight")
    assert (amended.pack, amended.because) == ("county", "Weighed.")


DATED = """
choices:
  edition: {ordered: true, values: ["2020", "2023", "2026"], source: demo}
  answer: {values: [required, not-required], source: demo}
quantities:
  site.edition: {scope: site, label: Edition, type: edition}
  visit.day: {label: Day, type: date}
  outlet.protection:
    label: Protection
    type: answer
    cases:
      - {holds: {editions: ["2023"], to: 2026-08-31}, formula: '"not-required"', source: demo exception}
      - {holds: {editions: ["2023", "2026"]}, formula: '"required"', source: demo rule}
  outlet.price: {label: Price, limits: 0 to 99, formula: "row(prices, kind=outlet.protection).price", source: demo}
  outlet.fee: {label: Fee, limits: 0 to 99, formula: 5, source: demo, holds: {from: 2026-01-01, to: 2026-12-31}}
tables:
  prices:
    source: demo
    keys: [kind]
    rows: |
      kind [answer], price [number], holds_from [date], holds_to [date], from_edition [edition]
      required, 10, , 2026-06-30,
      required, 12, 2026-07-01, , 2026
      not-required, 1, , ,
checks:
  outlet.cheap:
    label: Cheap
    caution: outlet.price > 11
    holds: {editions: ["2026"], to: 2027-08-31}
    says: {pass: "Fine.", caution: "Dear. Wait."}
    source: demo
calculators:
  outlet: {title: Outlet, topic: demo, enter: [site.edition, visit.day],
           show: [outlet.protection, outlet.price, outlet.fee], checks: [outlet.cheap]}
"""
CALENDAR = "date_quantity: visit.day\nedition_quantity: site.edition\n"


def dated(folder: Path) -> Bundle:
    return compile_packs([pack(folder, "trade", "trade", DATED, CALENDAR)])


def test_a_rule_ends_with_its_last_day_and_says_so(tmp_path: Path) -> None:
    engine = Engine(dated(tmp_path))
    values = {"site.edition": "2023", "visit.day": "2026-08-31"}
    explainer = Explainer(engine.evaluate(values))
    step = explainer.step("outlet.protection")
    assert (step.value, step.until) == ("not-required", ["2026-08-31"])
    assert step.source is not None
    assert step.source.place == "exception"
    assert step.filled == "not-required"
    later = Explainer(engine.evaluate(values | {"visit.day": "2026-09-01"})).step(
        "outlet.protection"
    )
    assert (later.value, later.until) == ("required", [])
    assert later.source is not None
    assert later.source.place == "rule"


def test_no_case_holds_is_not_applicable_and_no_day_is_missing(tmp_path: Path) -> None:
    engine = Engine(dated(tmp_path))
    none = engine.evaluate({"site.edition": "2020", "visit.day": "2026-01-01"})
    found = none.value("outlet.protection")
    assert isinstance(found, Unknown)
    assert found.why == "not-applicable"
    missing = engine.evaluate({"site.edition": "2023"})
    unknown = missing.value("outlet.protection")
    assert isinstance(unknown, Unknown)
    assert unknown.why == "missing"
    assert missing.needs(unknown) == [("visit.day", None)]


def test_rows_hold_for_a_time_and_an_edition(tmp_path: Path) -> None:
    engine = Engine(dated(tmp_path))

    def price(edition: str, day: str) -> object:
        found = engine.evaluate({"site.edition": edition, "visit.day": day}).value("outlet.price")
        return found.why if isinstance(found, Unknown) else found

    assert price("2026", "2026-06-30") == 10
    assert price("2026", "2026-07-01") == 12
    assert price("2023", "2026-09-01") == "outside"
    assert price("2023", "2026-07-01") == 1


def test_a_row_with_a_last_day_says_so_in_what_rests_on_it(tmp_path: Path) -> None:
    bundle = dated(tmp_path)
    values = {"site.edition": "2026", "visit.day": "2026-06-30"}
    price = Explainer(Engine(bundle).evaluate(values)).step("outlet.price")
    assert (price.value, price.until) == (10, ["2026-06-30"])
    later = {**values, "visit.day": "2026-07-01"}
    assert Explainer(Engine(bundle).evaluate(later)).until("outlet.price") == []
    asked = [{"values": each, "steps": True, "want": ["outlet.price"]} for each in (values, later)]
    theirs = phone(bundle, tmp_path, cases=asked)
    days = [answer["steps"]["outlet.price"]["until"] for answer in theirs]
    assert days == [["2026-06-30"], []]


def test_a_check_with_a_last_day_says_so_beside_its_verdict(tmp_path: Path) -> None:
    bundle = dated(tmp_path)
    values = {"site.edition": "2026", "visit.day": "2026-06-30"}

    def last_day(**more: str) -> tuple[str, str]:
        explainer = Explainer(Engine(bundle).evaluate({**values, **more}))
        (result,) = explainer.answer.checks()
        return result.verdict, explainer.last_day(result)

    assert last_day() == ("pass", "2027-08-31")
    assert last_day(**{"site.edition": "2023"}) == ("not-applicable", "")
    report = Report(Engine(bundle).evaluate(values), bundle.calculators[0])
    assert "    the rule holds to 2027-08-31" in report.text().splitlines()
    assert report.document()["checks"][0]["until"] == "2027-08-31"


def test_a_replaced_function_shows_in_what_rests_on_it(tmp_path: Path) -> None:
    """Through another function too."""
    functions = (
        "functions:\n  twice: {parameters: {x: ft}, unit: ft, formula: 2 * x, source: demo}\n"
        "  more: {parameters: {x: ft}, unit: ft, formula: twice(x) + x, source: demo}\n"
        "quantities:\n  box.more: {label: More, unit: ft, limits: 0 ft to 900 ft, "
        "formula: more(box.length), source: demo}\n"
        "calculators:\n  more: {title: More, topic: demo, enter: [box.length], show: [box.more]}\n"
    )
    trade = pack(tmp_path, "trade", "trade", BASE)
    (trade / "more.yaml").write_text(functions, encoding="utf-8")
    rules = (
        "functions:\n  twice: {parameters: {x: ft}, unit: ft, formula: 2.5 * x, source: demo, "
        "because: Longer here., replaces: REPLACES}\n"
    )
    county = pack(
        tmp_path, "county", "house", rules.replace("because: Longer here., replaces: REPLACES", "")
    )
    digest = hash_named_by([trade, county])
    pack(tmp_path, "county", "house", rules.replace("REPLACES", f'"{digest}"'))
    bundle = compile_packs([trade, county])
    values = {"box.length": 1.0}
    shown = [asdict(a) for a in Explainer(Engine(bundle).evaluate(values)).amended("box.more")]
    assert shown == [{"id": "twice", "pack": "county", "because": "Longer here."}]
    asked = {"values": values, "steps": True, "want": ["box.more"]}
    (other,) = phone(bundle, tmp_path, cases=[asked])
    assert other["steps"]["box.more"]["amended"] == shown


def test_a_quantity_and_a_check_hold_for_a_time(tmp_path: Path) -> None:
    engine = Engine(dated(tmp_path))
    answer = engine.evaluate({"site.edition": "2026", "visit.day": "2027-01-01"})
    fee = answer.value("outlet.fee")
    assert isinstance(fee, Unknown)
    assert fee.why == "not-applicable"
    assert [result.verdict for result in answer.checks()] == ["caution"]
    before = engine.evaluate({"site.edition": "2023", "visit.day": "2026-12-31"})
    assert before.value("outlet.fee") == 5
    assert [result.verdict for result in before.checks()] == ["not-applicable"]


def test_old_names_still_read(tmp_path: Path) -> None:
    rules = BASE.replace(
        "unit: lb, limits: 0 lb to 100 lb}",
        "unit: lb, limits: 0 lb to 100 lb, formerly: [box.weight]}",
    )
    engine = Engine(compile_packs([pack(tmp_path, "trade", "trade", rules)]))
    assert engine.evaluate({"box.weight": 2.0}).value("box.mass") == 2


def test_a_later_pack_replaces_a_step_that_an_earlier_one_added(tmp_path: Path) -> None:
    """It stays where it was added, whatever is added below it in the same pack."""
    trade = pack(tmp_path, "trade", "trade", BASE + LIST)
    added = (
        "steps:\n  short/third: {act: do, title: Third, follows: half}\n"
        "  short/half: {act: do, title: Half, follows: one}\n"
    )
    maker = pack(tmp_path, "maker", "maker", added)
    rules = (
        "steps:\n  short/half: {act: do, title: Nearly half, because: So., replaces: REPLACES}\n"
    )
    county = pack(
        tmp_path, "county", "house", rules.replace("because: So., replaces: REPLACES", "")
    )
    digest = hash_named_by([trade, maker, county])
    pack(tmp_path, "county", "house", rules.replace("REPLACES", f'"{digest}"'))
    (checklist,) = compile_packs([trade, maker, county]).checklists
    assert [step.title for step in checklist.steps] == ["One", "Nearly half", "Third", "Two"]


def test_a_later_pack_names_no_other_day(tmp_path: Path) -> None:
    days = "quantities:\n  visit.date: {label: Day, type: date}\n  visit.due: {label: Due, type: date}\n"
    views = "calculators:\n  days: {title: D, topic: demo, enter: [visit.date, visit.due], show: [box.area]}\n"
    views = views.replace("visit.due]", "visit.due, box.length, box.width]")
    trade = pack(tmp_path, "trade", "trade", BASE, "date_quantity: visit.date\n")
    (trade / "days.yaml").write_text(days + views, encoding="utf-8")
    county = pack(tmp_path, "county", "house", "", "date_quantity: visit.due\n")
    with pytest.raises(CompileError) as caught:
        compile_packs([trade, county])
    (line,) = map(str, caught.value.faults)
    assert line.endswith("E701 date_quantity is visit.date by an earlier pack; leave this line out")
    pack(tmp_path, "county", "house", "", "date_quantity: visit.date\n")
    assert compile_packs([trade, county]).packs[1].id == "county"
