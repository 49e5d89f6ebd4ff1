"""Running the worked examples of a bundle on the engine."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any

from kneewall.bundle import Bundle, Example, Expected, Function, Part, read_by, rests_on
from kneewall.engine import Answer, Engine, Unknown
from kneewall.reading import edges_of


def failures(bundle: Bundle, positions: Iterable[int] | None = None) -> Iterator[tuple[int, str]]:
    """(position of the example, what it found instead) for every example that does not hold.

    `positions` are those of the examples to run; all of them where they are not given.
    """
    chosen = range(len(bundle.examples)) if positions is None else list(positions)
    if not chosen:
        return
    engine = Engine(bundle if positions is None else Ground(bundle).under(chosen))
    for index in chosen:
        example = bundle.examples[index]
        answer = engine.evaluate(example.given, example.members)
        for what in _differences(answer, example):
            yield index, f"{example.name}: {what}"


class Ground:
    """What the worked examples of a bundle rest on."""

    def __init__(self, bundle: Bundle) -> None:
        self.bundle = bundle
        self.slots = {quantity.id: slot for slot, quantity in enumerate(bundle.quantities)}
        self.checks = {check.id: check for check in bundle.checks}
        self._below: dict[int, dict[int, Part]] = {}

    def upstream(self, example: Example) -> set[int]:
        """The slots of all that is expected or judged, and of what that rests on."""
        stack = [self.slots[expected.quantity] for expected in example.expect]
        stack += [slot for name in example.checks for slot in self.checks[name].inputs]
        return rests_on(self.bundle, stack)

    def of(self, example: Example) -> list[Part]:
        """Quantities, tables, functions and checks that can change how an example comes out."""
        found: dict[int, Part] = {}
        for slot in sorted(self.upstream(example)):
            found |= self._parts(slot)
        judged = [self.checks[name] for name in example.checks]
        for check in judged:
            for tree in (check.when, check.fail, check.caution):
                self._read(tree, found)
        return [*found.values(), *judged]

    def under(self, positions: Iterable[int]) -> Bundle:
        """The bundle with only those formulas and checks that these examples rest on, to be made ready in less time."""
        examples = [self.bundle.examples[index] for index in positions]
        slots = set().union(*map(self.upstream, examples))
        blank: dict[str, Any] = {"tree": None, "when": None, "inputs": []}
        quantities = [
            quantity if slot in slots else quantity.model_copy(update=blank)
            for slot, quantity in enumerate(self.bundle.quantities)
        ]
        named = {name for example in examples for name in example.checks}
        checks = [check for check in self.bundle.checks if check.id in named]
        return self.bundle.model_copy(update={"quantities": quantities, "checks": checks})

    def _parts(self, slot: int) -> dict[int, Part]:
        """A quantity with the tables and functions it reads, by their identity."""
        if slot not in self._below:
            quantity = self.bundle.quantities[slot]
            found: dict[int, Part] = {id(quantity): quantity}
            self._read(quantity.tree, found)
            self._read(quantity.when, found)
            self._below[slot] = found
        return self._below[slot]

    def _read(self, tree: Any, found: dict[int, Part]) -> None:
        for what, place in read_by(tree):
            read = self.bundle.tables[place] if what == "table" else self.bundle.functions[place]
            if id(read) not in found:
                found[id(read)] = read
                if isinstance(read, Function):
                    self._read(read.tree, found)


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
            if shown == wanted:
                exact = (edges.declared(quantity, value) for value in (found, expected.value))
                shown, wanted = map(str, exact)
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
