"""The phone's engine beside the office's: run both over the same values, and say where they differ."""

from __future__ import annotations

import json
import random
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from kneewall.bundle import Bundle, Quantity
from kneewall.engine import Answer, Engine, Unknown
from tests.phone_side import run_phone_side

RUNNER = Path(__file__).parents[2] / "pwa" / "tests" / "run_cases.ts"
AGREE = 1e-12
"""Of the largest operand: rules/LANGUAGE.md and the design of the two engines."""
MOST_LOST = 1e6
"""How often larger than a difference its operands may be."""


class Case(NamedTuple):
    values: dict[str, Any]
    members: dict[str, list[str]]


def phone(bundle: Bundle, folder: Path, **entries: Any) -> list[dict[str, Any]]:
    """One answer of the phone's side for every case, reading and show, in that order."""
    return run_phone([{"bundle": json.loads(bundle.raw), **entries}], folder)


def run_phone(documents: Sequence[dict[str, Any]], folder: Path) -> list[dict[str, Any]]:
    """One answer for every entry of all documents, from one process."""
    files = []
    for number, document in enumerate(documents):
        files.append(folder / f"cases{number}.json")
        files[-1].write_text(json.dumps(document), encoding="utf-8")
    return run_phone_side(RUNNER, *files)


def phone_answers(bundle: Bundle, cases: Sequence[Case], folder: Path) -> list[dict[str, Any]]:
    return phone(bundle, folder, cases=[case._asdict() for case in cases])


def differences(bundle: Bundle, cases: Sequence[Case], folder: Path) -> Iterator[str]:
    """Every difference between the engines, in words."""
    engine = Engine(bundle)
    entries = [{**case._asdict(), "flat": True} for case in cases]
    for number, (case, other) in enumerate(
        zip(cases, phone(bundle, folder, cases=entries), strict=True)
    ):
        answer = engine.evaluate(case.values, case.members)
        spots = [
            (quantity, member)
            for quantity in bundle.quantities
            for member in case.members.get(quantity.scope, [None])
        ]
        for (quantity, member), theirs in zip(spots, other["all"], strict=True):
            said = _difference(answer, quantity, member, theirs)
            if said:
                yield f"case {number} {quantity.id}@{member}: {said}: {case.values}"
        yield from _verdicts(number, answer, other["checks"])


def _difference(answer: Answer, quantity: Quantity, member: str | None, theirs: Any) -> str:
    ours = answer.value(quantity.id, member)
    if isinstance(ours, Unknown):
        needs = [{"id": name} | ({"member": m} if m else {}) for name, m in answer.needs(ours)]
        mine = {"why": ours.why, "needs": needs, "detail": ours.detail}
        return "" if mine == theirs else f"{mine} and {theirs}"
    # The scale is dear and hardly ever needed.
    if ours == theirs or same(ours, theirs, 0.0):
        return ""
    slack = AGREE * scale(answer, quantity, member)
    if same(ours, theirs, slack) or same(ours, theirs, AGREE * inherited(answer, quantity, member)):
        return ""
    return f"{ours} and {theirs}"


def same(a: Any, b: Any, slack: float) -> bool:
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(same(x, y, slack) for x, y in zip(a, b, strict=True))
    if not (_is_number(a) and _is_number(b)):
        return bool(a == b)
    return bool(abs(a - b) <= max(slack, AGREE * max(abs(a), abs(b))))


def _is_number(x: object) -> bool:
    return isinstance(x, float | int) and not isinstance(x, bool)


def inherited(answer: Answer, quantity: Quantity, member: str | None) -> float:
    """The size of a result, as often as the most that a difference it rests on has lost."""
    engine = answer.engine
    most = 1.0
    for slot in engine.upstream[engine.slots[quantity.id]]:
        below = engine.bundle.quantities[slot]
        for key in [member] if below.scope == quantity.scope else _members(answer, below):
            most = max([most, *_lost(answer, below.tree, below.scope, key)])
    own = answer.value(quantity.id, member)
    return abs(own) * min(most, MOST_LOST) if isinstance(own, float) else 0.0


def _lost(answer: Answer, tree: Any, scope: str, key: str | None) -> Iterator[float]:
    """How often larger than itself the operands of each sum and difference in a tree are."""
    if not isinstance(tree, list):
        return
    if tree[0] in ("+", "-") and not _binds(tree):
        operands = [answer.holds(part, scope, key) for part in tree[1:]]
        whole = answer.holds(tree, scope, key)
        if isinstance(whole, float) and whole:
            yield max(abs(x) for x in operands if isinstance(x, float)) / abs(whole)
    for part in tree[1:]:
        yield from _lost(answer, part, scope, key)


def _binds(tree: Any) -> bool:
    """Whether a tree needs a value or a row that is bound outside of it."""
    return isinstance(tree, list) and (tree[0] in ("p", "c") or any(map(_binds, tree[1:])))


def scale(answer: Answer, quantity: Quantity, member: str | None) -> float:
    """The largest magnitude of its own dimension that a result was computed from: cancellation shows in it."""
    bundle = answer.engine.bundle
    units = bundle.units
    own = units[quantity.unit].dimension if quantity.unit else ""
    largest = 0.0
    for slot in answer.engine.upstream[answer.engine.slots[quantity.id]]:
        below = bundle.quantities[slot]
        if (units[below.unit].dimension if below.unit else "") == own:
            for key in [member] if below.scope == quantity.scope else _members(answer, below):
                value = answer.value(below.id, key)
                numbers = value if isinstance(value, list) else [value]
                largest = max([largest, *(abs(x) for x in numbers if isinstance(x, float | int))])
    return largest


def _members(answer: Answer, quantity: Quantity) -> Sequence[str | None]:
    home = answer.engine.collections.get(quantity.scope)
    return [None] if home is None else answer.names[home]


def _verdicts(number: int, answer: Answer, theirs: list[list[Any]]) -> Iterator[str]:
    for mine, other in zip(answer.checks(), theirs, strict=True):
        id_, member, verdict, borderline = other
        if (mine.id, mine.member) != (id_, member):
            yield f"case {number}: {mine.id} stands where {id_} does"
        elif mine.borderline != borderline:
            yield f"case {number} {mine.id}: borderline {mine.borderline} and {borderline}"
        elif mine.verdict != verdict and not borderline:
            yield f"case {number} {mine.id}: {mine.verdict} and {verdict}"


def random_cases(bundle: Bundle, count: int, seed: int) -> list[Case]:
    """Values drawn within the limits of each quantity, some on table keys and limits, some left out."""
    rng = random.Random(seed)
    edges = sorted(
        {
            float(cell)
            for table in bundle.tables
            for column, cells in zip(table.columns, table.cells, strict=True)
            if column.type == "number"
            for cell in cells
            if isinstance(cell, float | int)
        }
    )
    cases = []
    for _ in range(count):
        members = {name: [f"m{n}" for n in range(rng.randint(1, 3))] for name in bundle.collections}
        values: dict[str, Any] = {}
        for quantity in bundle.quantities:
            if quantity.tree is not None:
                continue
            if quantity.scope in members:
                values[quantity.id] = {
                    key: _draw(bundle, quantity, rng, edges)
                    for key in members[quantity.scope]
                    if rng.random() < 0.93
                }
            elif rng.random() < 0.93:
                values[quantity.id] = _draw(bundle, quantity, rng, edges)
        cases.append(Case(values, members))
    return cases


def _draw(bundle: Bundle, quantity: Quantity, rng: random.Random, edges: list[float]) -> Any:
    if quantity.type == "choice":
        return rng.choice(bundle.choices[quantity.choices].options).value
    if quantity.type == "flag":
        return rng.random() < 0.5
    if quantity.type == "text":
        return rng.choice(["one", "two"])
    if quantity.type == "date":
        return f"20{rng.randint(20, 30)}-{rng.randint(1, 12):02}-{rng.randint(1, 28):02}"
    if quantity.type == "list":
        if quantity.choices:
            options = bundle.choices[quantity.choices].options
            return [rng.choice(options).value for _ in range(rng.randint(0, 3))]
        return [_number(quantity, rng, edges) for _ in range(rng.randint(0, 3))]
    if quantity.type == "series":
        times = sorted(rng.uniform(0, 3600) for _ in range(rng.randint(0, 6)))
        return [[t, _number(quantity, rng, edges)] for t in times]
    if quantity.one_of:
        return rng.choice(quantity.one_of)
    number = _number(quantity, rng, edges)
    return float(round(number)) if quantity.type == "count" else number


def _number(quantity: Quantity, rng: random.Random, edges: list[float]) -> float:
    low, high = (
        quantity.usual if quantity.usual and rng.random() < 0.8 else quantity.limits or (0, 1)
    )
    first, end = bisect_left(edges, low), bisect_right(edges, high)
    if first < end and rng.random() < 0.2:
        return edges[rng.randrange(first, end)] * (
            1 + rng.choice([0, 0, 1e-10, -1e-10, 1e-8, -1e-8])
        )
    if rng.random() < 0.05:
        return rng.choice([low, high])
    return rng.uniform(low, high)
