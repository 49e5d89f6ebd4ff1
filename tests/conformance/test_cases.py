"""Both engines give what the cases say, and the same over random values."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from kneewall.bundle import FROM_ROWS, Bundle, Example, load_bundle
from kneewall.compiler import compile_packs
from kneewall.compiler.examples import agrees
from kneewall.engine import Engine, Unknown
from tests.conformance.conformance import FILES, load
from tests.conformance.twins import Case, differences, phone_answers, random_cases

RULES = Path(__file__).parents[2] / "rules"
IDS = [path.stem for path in FILES]


@pytest.fixture(scope="module")
def trade() -> Bundle:
    return compile_packs([RULES])


@pytest.mark.parametrize("path", FILES, ids=IDS)
def test_both_engines_give_what_the_cases_say(path: Path, tmp_path: Path) -> None:
    """The office's engine proves every case while compiling; the phone's gives the same here."""
    loaded = load(path, tmp_path)
    assert len(loaded.cases) >= 8
    cases = [Case(dict(example.given), example.members) for example in loaded.cases]
    for example, answer in zip(
        loaded.cases, phone_answers(loaded.bundle, cases, tmp_path), strict=True
    ):
        assert not wrong(example, answer)
    assert not list(differences(loaded.bundle, cases, tmp_path))


def wrong(example: Example, answer: dict[str, object]) -> list[str]:
    found = []
    values: dict[str, dict[str, object]] = answer["values"]  # type: ignore[assignment]
    for expected in example.expect:
        theirs = values[expected.quantity]
        theirs = theirs[expected.member] if expected.member else theirs  # type: ignore[assignment]
        value = Unknown(theirs["why"]) if "why" in theirs else theirs["value"]  # type: ignore[arg-type]
        if not agrees(value, expected):
            found.append(f"{example.name}: {expected.quantity} is {theirs}, not {expected.value}")
    found += [
        f"{example.name}: {check['id']} is {check['verdict']}"
        for check in answer["checks"]  # type: ignore[attr-defined]
        if check["id"] in example.checks and check["verdict"] != example.checks[check["id"]]
    ]
    return found


@pytest.mark.parametrize("path", FILES, ids=IDS)
def test_random_values_of_the_cases(path: Path, tmp_path: Path) -> None:
    bundle = load(path, tmp_path, run=False).bundle
    assert not list(differences(bundle, random_cases(bundle, 400, seed=1), tmp_path))[:5]


def half_of_the_visits(raw: bytes, seed: int, folder: Path) -> list[str]:
    """The first differences in a thousand visits; each half has a process of its own."""
    bundle = load_bundle(raw)
    own = folder / str(seed)
    own.mkdir()
    return list(differences(bundle, random_cases(bundle, 1000, seed), own))[:5]


def test_two_thousand_random_visits_of_the_trade(trade: Bundle, tmp_path: Path) -> None:
    """Every formula of the trade pack is met 2,000 times; most of them must come out known at times."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as both:
        found = both.map(half_of_the_visits, [trade.raw] * 2, [2, 3], [tmp_path] * 2)
        assert not [said for half in found for said in half]
    cases = random_cases(trade, 60, seed=2)
    engine = Engine(trade)
    known: Counter[str] = Counter()
    for case in cases:
        answer = engine.evaluate(case.values, case.members)
        for quantity in trade.quantities:
            names = case.members.get(quantity.scope)
            value = answer.value(quantity.id, names[0] if names else None)
            known[quantity.id] += not isinstance(value, Unknown)
    unfilled = resting_on_empty_tables(trade, engine)
    never = [q.id for q in trade.quantities if q.tree is not None and known[q.id] == 0]
    formulas = [q.id for q in trade.quantities if q.tree is not None and q.id not in unfilled]
    # A few need readings that fit one another, which chance seldom gives.
    assert len(set(never) - unfilled) <= 0.05 * len(formulas), set(never) - unfilled


def resting_on_empty_tables(bundle: Bundle, engine: Engine) -> set[str]:
    """Results that only a maker's rows can give: they are unknown in the trade pack alone."""
    empty = {index for index, table in enumerate(bundle.tables) if not table.cells[0]}

    def reads(tree: object) -> bool:
        if not isinstance(tree, list):
            return False
        table = tree[1] if tree[0] in FROM_ROWS and not isinstance(tree[1], list) else None
        return table in empty or any(map(reads, tree))

    slots = {slot for slot, q in enumerate(bundle.quantities) if reads(q.tree)}
    return {
        bundle.quantities[slot].id for slot, below in enumerate(engine.upstream) if below & slots
    }
