"""Running the worked examples of a bundle on the engine."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from kneewall.bundle import Bundle, Example, Expected
from kneewall.engine import Answer, Engine, Unknown
from kneewall.reading import edges_of


def failures(bundle: Bundle) -> Iterator[tuple[int, str]]:
    """(position of the example, what it found instead) for every example that does not hold."""
    engine = Engine(bundle)
    for index, example in enumerate(bundle.examples):
        answer = engine.evaluate(example.given, example.members)
        for what in _differences(answer, example):
            yield index, f"{example.name}: {what}"


def _differences(answer: Answer, example: Example) -> Iterator[str]:
    bundle = answer.engine.bundle
    for expected in example.expect:
        found = answer.value(expected.quantity, expected.member or None)
        if not agrees(found, expected):
            quantity = bundle.quantities[answer.engine.slots[expected.quantity]]
            edges = edges_of(bundle)
            shown = (
                _why(answer, found) if isinstance(found, Unknown) else edges.show(quantity, found)
            )
            wanted = (
                f"unknown: {expected.why}"
                if expected.value is None
                else edges.show(quantity, expected.value)
            )
            yield f"{expected.quantity} is {shown}, expected {wanted}"
    for result in answer.checks(list(example.checks)):
        if result.verdict != example.checks[result.id]:
            yield f"{result.id} is {result.verdict}, expected {example.checks[result.id]}"


def _why(answer: Answer, unknown: Unknown) -> str:
    needs = ", ".join(name for name, _ in answer.needs(unknown))
    return f"unknown: {unknown.why}" + (f" (needs {needs})" if needs else "")


def agrees(found: Any, expected: Expected) -> bool:
    if isinstance(found, Unknown):
        return expected.value is None and found.why == expected.why
    return _close(found, expected.value, expected.within)


def _close(found: Any, wanted: Any, within: float) -> bool:
    if isinstance(wanted, list):
        return (
            isinstance(found, list)
            and len(found) == len(wanted)
            and all(_close(a, b, within) for a, b in zip(found, wanted, strict=True))
        )
    if isinstance(wanted, bool | str) or isinstance(found, bool | str):
        return bool(found == wanted)
    return wanted is not None and (
        abs(found - wanted) <= within or math.isclose(found, wanted, rel_tol=1e-9)
    )
