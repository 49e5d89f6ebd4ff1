"""What enters and leaves both engines: recorded values of any type, typed texts, shown numbers, opened results."""

from __future__ import annotations

import random
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from kneewall.bundle import Bundle
from kneewall.compiler import compile_packs
from kneewall.compiler.command import Report
from kneewall.engine import Engine, Unknown
from kneewall.engine.expressions import ARITHMETIC, Env, arithmetic
from kneewall.explain import Explainer
from kneewall.reading import ReadingError, edges_of
from tests.conformance.conformance import UNITS
from tests.conformance.twins import Case, differences, phone

RULES = """
collections:
  room: {label: Room, plural: Rooms}
choices:
  size: {values: [small, large], source: demo}
functions:
  weight: {parameters: {x: size}, unit: kg, formula: "row(weights, size=x).weight", source: demo}
quantities:
  e.number: {label: Number, limits: -1000000 to 1000000}
  e.fine: {label: Fine, unit: in, limits: 0 in to 1000000 in, decimals: 2}
  e.draft: {label: Draft, unit: in w.c., limits: 0 in w.c. to 10 in w.c.}
  e.count: {label: Count, type: count, limits: 0 to 10}
  e.flag: {label: Flag, type: flag}
  e.text: {label: Text, type: text}
  e.day: {label: Day, type: date}
  e.size: {label: Size, type: size}
  e.list: {label: List, type: list, unit: ft, limits: 0 ft to 10 ft}
  e.sizes: {label: Sizes, type: list of size}
  e.series: {label: Series, type: series, columns: {time: min, reading: psi}, limits: 0 psi to 100 psi}
  e.shared: {label: Shared, unit: ft, limits: 0 ft to 10 ft, default: 2 ft}
  r.number: {scope: room, label: Own number, unit: ft, limits: 0 ft to 10 ft, default: 1 ft}
  r.sum: {scope: room, label: Own sum, unit: ft, limits: 0 ft to 100 ft, formula: r.number + e.shared, source: demo}
  d.sum: {label: Sum, unit: ft, limits: 0 ft to 1000 ft, formula: sum(r.sum) + sum(e.list), source: demo}
  d.function: {label: By function, unit: kg, limits: 0 kg to 100 kg, formula: weight(e.size), source: demo}
  d.each: {label: By list, unit: kg, limits: 0 kg to 100 kg, formula: "sum(each(e.sizes, weight(item)))", source: demo}
  d.late: {label: Reading, unit: psi, limits: 0 psi to 100 psi,
    formula: 'first(e.series, time >= quantity(4, "min")).reading', source: demo}
  d.flagged: {label: Flagged, type: count, limits: 0 to 10, when: e.flag, formula: e.count + 1, source: demo}
tables:
  weights:
    source: demo
    keys: [size]
    rows: |
      size [size], weight [kg], source
      small, 2, common-practice on a scale
      large, 5,
checks:
  d.heavy:
    label: Heavy
    caution: d.each > quantity(6, "kg") or e.number > 5
    says: {pass: Light., caution: "{d.each} is heavy; carry it at {e.draft}."}
    source: demo
  d.others:
    label: Others
    fail: >-
      e.text == "x" or e.day > date("2026-01-01") or d.flagged > 3 or d.function > quantity(9, "kg")
      or d.late > quantity(1, "psi") or d.sum > quantity(900, "ft")
    says: {pass: Good., fail: Bad.}
    source: demo
calculators:
  all:
    title: All
    topic: demo
    enter: [e.number, e.fine, e.draft, e.count, e.flag, e.text, e.day, e.size, e.list, e.sizes, e.series,
      e.shared, r.number]
    show: [d.sum, d.function, d.each, d.late, d.flagged, r.sum]
    checks: [d.heavy, d.others]
"""
BUILT = ["d.sum", "d.function", "d.each", "d.late", "d.flagged", "r.sum"]


@pytest.fixture(scope="module")
def bundle(tmp_path_factory: pytest.TempPathFactory) -> Bundle:
    folder = tmp_path_factory.mktemp("edges")
    (folder / "rules.yaml").write_text(RULES, encoding="utf-8")
    (folder / "units.csv").write_text(UNITS, encoding="utf-8")
    (folder / "pack.yaml").write_text("id: trade\nrank: trade\ntitle: Edges\nformat: 1\n")
    return compile_packs([folder])


VALUES: list[Any] = [
    None, True, False, 0, 3, -2, 1.5, 1e300, 10**400, "", "x", "small", "SMALL", "0", "2026-11-25",
    "20261125", "2026-W48-3", "0000-01-01", "2026-02-30", [], [1], [1, True], [1, "x"], ["small"],
    ["small", "gone"], ["small", 1], [[0, 1], [240, 2]], [[0, 1], [240]], [[0, 1], [240, "2"]],
    [[0, 1], 5], {}, {"1": 1}, {"1": "x"}, {"1": [1]}, {"m": 2},
]  # fmt: skip


def test_a_recorded_value_of_any_type_is_taken_or_unknown(bundle: Bundle, tmp_path: Path) -> None:
    """No record may stop an evaluation; both engines take the same, and name what to enter anew."""
    entered = [q for q in bundle.quantities if q.tree is None]
    members = {"room": ["1", "m"]}
    cases = [Case({q.id: value}, members) for q in entered for value in VALUES if value != 10**400]
    cases += [Case({"r.number": {"1": value, "m": 1}}, members) for value in VALUES[:-1]][:8]
    assert not list(differences(bundle, cases, tmp_path))
    engine = Engine(bundle)
    taken = 0
    for quantity in entered:
        for value in VALUES:
            answer = engine.evaluate({quantity.id: value}, members)
            answer.checks()
            found = answer.value(quantity.id)
            if isinstance(found, Unknown) and found.why == "outside":
                member = "1" if quantity.scope == "room" else None
                assert answer.needs(found) == [(quantity.id, member)]
            taken += not isinstance(found, Unknown)
    assert taken > 30


LONG = [
    "9" * 999,
    "1" + "0" * 300,
    "1" + "0" * 301,
    "-1" + "0" * 301,
    "1 " + "x" * 2000,
    "1 " + "\U0001d55c" * 600,
]
TEXTS = {
    "e.number": [
        "12", "1.5", "1,5", "1/8", "\u0663", "1\u0662", "\uff11", "1_0", "1e2", "1e\u0662", "1/0", "0/0", *LONG,
        "9" * 400 + "/1", "1/" + "9" * 400, "0." + "0" * 900 + "1", "0" * 999 + "1", "0" * 1000 + "1",
    ],
    "e.count": ["3", "\u0663", "3.5"],
    "e.day": [
        "2026-11-25", "20261125", "2026-W48-3", "2026-1-5", "+002026-11-25", "0000-01-01",
        "2026-02-30", "\u0662026-11-25", "2026-11-25T00", "10000-01-01",
    ],
    "e.series": ["4 min: 2 psi, 0 min: 1 psi", "1: 2, 60 s: 3", "1: 2, 2: 3, 1.5: 1", "0: 1, 0: 1"],
    "e.list": ["1, 2", "1; \u0662", "1 ft, 2 ft", "1" + " " * 1000 + "; 2", *LONG],
    "e.fine": LONG,
}  # fmt: skip


def test_both_sides_read_the_same(bundle: Bundle, tmp_path: Path) -> None:
    edges = edges_of(bundle)
    quantities = {q.id: q for q in bundle.quantities}
    readings = [{"quantity": name, "text": text} for name, all_ in TEXTS.items() for text in all_]
    for asked, theirs in zip(readings, phone(bundle, tmp_path, readings=readings), strict=True):
        try:
            read = edges.parse(quantities[asked["quantity"]], asked["text"])
            ours: dict[str, Any] = {"ok": True, "si": read.si, "unit": read.unit, "ask": read.ask}
        except ReadingError as error:
            ours = {"ok": False, "code": error.code}
            theirs = {key: theirs[key] for key in ("ok", "code") if key in theirs}
        assert ours == theirs, asked
        assert asked["text"].isascii() or not ours["ok"], asked
    dates = [text for text in TEXTS["e.day"] if _reads(edges, quantities["e.day"], text)]
    assert dates == ["2026-11-25"]


def _reads(edges: Any, quantity: Any, text: str) -> bool:
    try:
        edges.parse(quantity, text)
    except ReadingError:
        return False
    return True


def test_both_sides_show_the_same(bundle: Bundle, tmp_path: Path) -> None:
    """The decimal text is rounded, half away from zero, whatever the binary number is a hair off."""
    edges = edges_of(bundle)
    fine = next(q for q in bundle.quantities if q.id == "e.fine")
    rng = random.Random(4)
    inches = [1.005, 1.115, 2.675, 0.125, 0.005, 0.0049, 1234.565, 0, 999999.995, 1e-9, 1e22, 6e-30]
    numbers = [x * 0.0254 for x in inches]
    numbers += [round(rng.uniform(0, 50), 3) * 0.0254 for _ in range(300)]
    numbers += [10 ** rng.uniform(-12, 25) for _ in range(100)]
    names = ("e.fine", "e.number")
    signed: list[tuple[str, Any]] = [(n, x * s) for n in names for x in numbers for s in (1, -1)]
    signed += [("e.list", [0.3048, 0.6096]), ("e.list", [0.3048]), ("e.sizes", ["small", "large"])]
    shows = [{"quantity": name, "value": x} for name, x in signed]
    quantities = {q.id: q for q in bundle.quantities}
    for (name, x), theirs in zip(signed, phone(bundle, tmp_path, shows=shows), strict=True):
        assert edges.show(quantities[name], x) == theirs["text"], (name, x)
    shown = [edges.show(fine, x).split()[0] for x in numbers[:7]]
    assert shown == ["1.01", "1.12", "2.68", "0.13", "0.01", "0.00", "1234.57"]
    assert edges.show(quantities["e.list"], [0.3048, 0.6096]) == "1, 2 ft"


GIVEN: dict[str, Any] = {
    "e.size": "large", "e.sizes": ["small", "large", "small"], "e.flag": True, "e.count": 2,
    "e.series": [[0, 6894.757293], [240, 13789.514586], [300, 20684.271879]], "e.list": [1, 2],
    "r.number": {"a": 1},
}  # fmt: skip


def test_both_engines_open_a_result_alike(bundle: Bundle, tmp_path: Path) -> None:
    members = {"room": ["a", "b"]}
    case = {"values": GIVEN, "members": members, "steps": True, "want": BUILT}
    (other,) = phone(bundle, tmp_path, cases=[case])
    explainer = Explainer(Engine(bundle).evaluate(GIVEN, members))
    found = {}
    for name in BUILT:
        for member in members["room"] if name == "r.sum" else [None]:
            step = explainer.step(name, member)
            theirs = other["steps"][name][member] if member else other["steps"][name]
            assert [list(row) for row in step.rows] == theirs["rows"], name
            assert sorted(step.defaults) == sorted(theirs["defaults"]), name
            found[name, member] = step
    assert found["d.function", None].rows == [("weights", 1)]
    assert found["d.each", None].rows == [("weights", 0), ("weights", 1)]
    assert found["r.sum", "a"].defaults == ["e.shared"]
    assert found["r.sum", "b"].defaults == ["e.shared", "r.number"]
    assert found["d.sum", None].defaults == ["e.shared", "r.number"]
    metric = Explainer(explainer.answer, "si").step("d.late")
    assert "13.79 kPa" in metric.filled
    assert "psi" not in metric.filled
    assert "2 psi" in found["d.late", None].filled


def test_a_row_says_its_own_source_on_the_command_line(bundle: Bundle) -> None:
    answer = Engine(bundle).evaluate(GIVEN, {"room": ["1"]})
    document = Report(answer, bundle.calculators[0]).document()
    rows = {step["id"]: step["rows"] for step in document["steps"]}
    assert rows["d.function"] == [{"table": "weights", "row": 2, "source": "demo"}]
    assert rows["d.each"] == [
        {"table": "weights", "row": 1, "source": "common-practice on a scale"},
        {"table": "weights", "row": 2, "source": "demo"},
    ]
    assert rows["d.late"] == []


def test_a_sentence_that_ends_with_an_abbreviated_unit_has_one_full_stop(bundle: Bundle) -> None:
    answer = Engine(bundle).evaluate({**GIVEN, "e.draft": 124.54}, {"room": ["a"]})
    explainer = Explainer(answer)
    (heavy,) = answer.checks(["d.heavy"])
    assert explainer.message(heavy) == "9 kg is heavy; carry it at 0.5 in w.c."
    assert Explainer(answer, "si").message(heavy) == "9 kg is heavy; carry it at 124.5 Pa."
    beyond = Engine(bundle).evaluate({"e.draft": 1e6}).value("e.draft")
    assert isinstance(beyond, Unknown)
    assert explainer.why(beyond).startswith("Draft is outside its limits, which end at 10 in w.c. ")


@pytest.mark.parametrize("head", ARITHMETIC)
@pytest.mark.parametrize("other", [0.0, 0.5, -2.0, 1e308])
def test_arithmetic_with_an_unknown_is_that_unknown(head: str, other: float) -> None:
    """Whatever the other operand would be refused for: a fractional power, a division by zero, an overflow."""
    one, two = Unknown("missing", ((1, -1),)), Unknown("outside", ((0, -1),))
    both = ("outside", ((0, -1), (1, -1)))
    ways: list[tuple[Any, Any, Any]] = [
        (one, other, ("missing", one.needs)),
        (other, one, ("missing", one.needs)),
        (one, one, ("missing", one.needs)),
        (one, two, both),
        (two, one, both),
    ]
    for *operands, wanted in ways:
        x, y = (partial(pick, value) for value in operands)
        found = arithmetic(head, x, y, -1, -1)(Env())
        assert (found.why, found.needs) == wanted


def pick(value: Any, _: Env) -> Any:
    return value
