"""The handbook that the office reads: what it prints is what the rules say."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from kneewall.compiler import compile_packs
from kneewall.tools.handbook import Handbook
from tests.office_double import OfficeDouble

RULES = Path(__file__).resolve().parents[1] / "rules"


@pytest.fixture
def office(tmp_path: Path) -> Iterator[OfficeDouble]:
    opened = OfficeDouble.furnished(tmp_path / "data")
    yield opened
    opened.close()


def read(office: OfficeDouble, path: str) -> str:
    answer = office.desk.get(path)
    assert answer.status_code == 200
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True))).split())


def test_a_chapter_prints_formula_table_check_caution_and_example(office: OfficeDouble) -> None:
    assert "Drop on a run" in read(office, "/office/handbook")
    page = read(office, "/office/handbook/run-drop")
    assert "2 * run.current * run.length * run.ohms" in page
    assert "fail if run.drop > 7.2 V" in page
    assert "fail: {run.drop} is lost on the way. Fit a thicker wire." in page
    assert "14 AWG 3.14 12 AWG 1.98 10 AWG 1.24" in page
    assert "Parts are live behind the cover." in page
    assert "75 ft of 10 AWG at 24 A" in page
    assert "4.464 V within 0.001 V" in page
    assert office.desk.get("/office/handbook/no-such").status_code == 404


def test_values_that_nobody_has_confirmed_are_listed(office: OfficeDouble) -> None:
    page = read(office, "/office/handbook/to-confirm")
    assert "run.drop_small" in page
    assert "invented" in page


def test_every_calculator_of_the_trade_has_its_chapter() -> None:
    """Everything found has a formula with a source, and is told once; every row fits its head."""
    book = Handbook(compile_packs([RULES]))
    for calculator in book.bundle.calculators:
        chapter = book.chapter(calculator.id)
        assert chapter
        for entry in [*chapter.found, *chapter.between]:
            assert entry.rules, entry.id
            assert all(source.title for _, source in entry.rules)
        assert not {e.id for e in chapter.between} & {e.id for e in chapter.found}
        for grid in chapter.tables:
            assert all(len(row) == len(grid.head) for row in grid.rows)


def test_the_functions_that_formulas_call_are_printed(office: OfficeDouble) -> None:
    """A formula that ends in the name of a function tells nothing; the function stands in the same chapter."""
    book = Handbook(compile_packs([RULES]))
    named = {function.id for function in book.bundle.functions}
    for calculator in book.bundle.calculators:
        chapter = book.chapter(calculator.id)
        assert chapter
        printed = {one.head.partition("(")[0]: one for one in chapter.functions}
        rules = [rule for e in [*chapter.found, *chapter.between] for rule, _ in e.rules]
        rules += [one.rule for one in chapter.functions] + [one.rule for one in chapter.limits]
        called = {name for rule in rules for name in re.findall(r"(\w+)\(", rule)} & named
        assert called == set(printed), calculator.id
        assert all(one.rule and one.source.title for one in chapter.functions)
    friction = book.chapter("duct-friction")
    assert friction
    written = {one.head: one.rule for one in friction.functions}
    assert "log10" in written["friction_root(roughness_ratio, reynolds)"]


def test_common_practice_is_said_once() -> None:
    book = Handbook(compile_packs([RULES]))
    chapter = book.chapter("filter")
    assert chapter
    (source,) = {
        source for e in chapter.found for _, source in e.rules if "airflow" in source.place
    }
    assert (source.title, source.doubt) == ("Common practice of the trade", "from memory")
    assert all(not source.doubt for e in chapter.found for _, source in e.rules if not source.place)
