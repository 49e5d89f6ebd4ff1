"""Visits are judged again by those checks only that may say something else: the rest must say the same."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import pytest

from kneewall.bundle import Bundle, load_bundle
from kneewall.compiler import compile_packs
from kneewall.engine import Engine
from kneewall.records import alike
from kneewall.records.alike import may_differ
from tests.conformance.twins import random_cases
from tests.phone_office import ROOT

RULES = ROOT / "rules"
MAKER = ROOT / "demo" / "packs" / "maker"
HOUSE = ROOT / "demo" / "packs" / "house"
VISITS = 6


@cache
def bundle() -> Bundle:
    return compile_packs([RULES, MAKER])


@cache
def engine() -> Engine:
    return Engine(bundle())


def with_parts(parts: dict[str, Any]) -> Bundle:
    """The bundle with other parts: its order, bytes and inputs are its own, not those of a copy."""
    return Bundle.model_validate(bundle().model_copy(update=parts).model_dump())


def numbers(tree: Any, way: tuple[int, ...] = ()) -> Iterator[tuple[int, ...]]:
    """Where amounts stand in a tree."""
    if isinstance(tree, list) and tree:
        if tree[0] == "quantity":
            yield (*way, 1)
            return
        for at, part in enumerate(tree):
            yield from numbers(part, (*way, at))


def with_other(tree: Any, way: tuple[int, ...]) -> Any:
    """The tree with the amount there half as large again."""
    if not way:
        return tree * 1.5 if isinstance(tree, float | int) else tree
    copy = list(tree)
    copy[way[0]] = with_other(tree[way[0]], way[1:])
    return copy


def in_a_formula(rng: random.Random) -> dict[str, Any]:
    all_ = list(bundle().quantities)
    slot, way = rng.choice(
        [(slot, way) for slot, q in enumerate(all_) for way in numbers(q.tree)],
    )
    all_[slot] = all_[slot].model_copy(update={"tree": with_other(all_[slot].tree, way)})
    return {"quantities": all_}


def in_a_limit(rng: random.Random) -> dict[str, Any]:
    all_ = list(bundle().quantities)
    slot = rng.choice([slot for slot, q in enumerate(all_) if q.limits and q.limits[1] > 0])
    low, high = all_[slot].limits or (0, 0)
    all_[slot] = all_[slot].model_copy(update={"limits": (low, high / 3)})
    return {"quantities": all_}


def in_a_cell(rng: random.Random) -> dict[str, Any]:
    all_ = list(bundle().tables)
    at, column = rng.choice(
        [
            (at, column)
            for at, table in enumerate(all_)
            for column, of in enumerate(table.columns)
            if of.type == "number" and column not in table.keys
        ]
    )
    cells = list(all_[at].cells)
    cells[column] = [
        cell * 1.5 if isinstance(cell, float | int) else cell for cell in cells[column]
    ]
    all_[at] = all_[at].model_copy(update={"cells": cells})
    return {"tables": all_}


def in_a_function(rng: random.Random) -> dict[str, Any]:
    all_ = list(bundle().functions)
    at = rng.randrange(len(all_))
    all_[at] = all_[at].model_copy(update={"tree": ["*", 1.5, all_[at].tree]})
    return {"functions": all_}


def in_a_check(rng: random.Random) -> dict[str, Any]:
    all_ = list(bundle().checks)
    at = rng.choice([at for at, check in enumerate(all_) if check.fail is not None])
    all_[at] = all_[at].model_copy(update={"fail": ["not", all_[at].fail]})
    return {"checks": all_}


@pytest.mark.parametrize("change", [in_a_formula, in_a_limit, in_a_cell, in_a_function, in_a_check])
def test_what_is_left_out_says_the_same(
    change: Callable[[random.Random], dict[str, Any]],
) -> None:
    differing = left_out = 0
    for seed in range(4):
        other = Engine(with_parts(change(random.Random(seed))))
        checks = may_differ(bundle(), other.bundle)
        for case in random_cases(bundle(), VISITS, seed):
            one = engine().evaluate(case.values, case.members).checks()
            two = other.evaluate(case.values, case.members).checks()
            for before, after in zip(one, two, strict=True):
                if before.id in checks:
                    differing += before.verdict != after.verdict
                else:
                    left_out += 1
                    assert (before.id, before.member, before.verdict) == (
                        after.id, after.member, after.verdict,
                    )  # fmt: skip
    assert left_out
    if change is in_a_check:
        assert differing


def test_an_amendment_is_felt_where_it_matters_and_nowhere_else() -> None:
    # The house pack moves slots, rows and functions about; a mark knows none of them by its place.
    found = may_differ(bundle(), compile_packs([RULES, MAKER, HOUSE]))
    assert {"pump.stops_the_unit", "vacuum.reached"} <= found
    assert len(found) < len(bundle().checks) / 10


def test_words_change_no_verdict() -> None:
    checks = [check.model_copy(update={"label": "Other", "says": {}}) for check in bundle().checks]
    quantities = [q.model_copy(update={"label": "Other", "note": ""}) for q in bundle().quantities]
    renamed = with_parts({"checks": checks, "quantities": quantities})
    assert may_differ(bundle(), renamed) == set()


def test_a_member_that_only_readings_name_counts() -> None:
    quantities = [
        q.model_copy(update={"scope": "system"}) if q.id == "line.length" else q
        for q in bundle().quantities
    ]
    moved = with_parts({"quantities": quantities})
    assert may_differ(bundle(), moved) == {check.id for check in bundle().checks}


def test_marks_are_made_once_for_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    plain = alike._marks

    def counted(of: Bundle) -> dict[str, str]:
        made.append(of.hash)
        return plain(of)

    monkeypatch.setattr(alike, "_marks", counted)
    monkeypatch.setattr(alike, "_marked", {})
    again, other = load_bundle(bundle().raw), compile_packs([RULES])
    first = may_differ(bundle(), other)
    assert first == may_differ(again, other)
    assert made == [bundle().hash, other.hash]
    for number in range(alike.MARKED):
        held = with_parts({})
        held._raw = b"%d" % number
        may_differ(held, other)
    assert len(alike._marked) == alike.MARKED
    assert may_differ(again, other) == first
    assert made.count(bundle().hash) == 2
