"""Formulas that would take too long or reach too deep, because functions call functions and roots look for roots."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Final

from kneewall.bundle import Check, Expr, Function, Quantity
from kneewall.compiler.declare import Declared
from kneewall.compiler.errors import Place, RuleFault

Where = Callable[[], Place]
MOST_STEPS: Final = 1_000_000
"""About a second on a telephone."""
TRIES: Final = 60
"""Of a root, about as many as it takes."""
DEEPEST: Final = 150
"""Parts within parts, through all calls: an engine works them out one inside the other."""


def prove_costs(
    there: Declared,
    quantities: Sequence[Quantity],
    functions: Sequence[Function],
    checks: Sequence[Check],
) -> None:
    """Every formula comes to an end, and soon. Faults are collected."""
    costs = _Costs(there, functions)
    for tree, where in _trees(there, quantities, functions, checks):
        with there.collecting():
            steps, depth = costs.of(tree, where)
            if depth > DEEPEST:
                raise RuleFault(where(), "E107", "the functions call one another too deeply")
            if steps > MOST_STEPS:
                what = f"the formula takes up to {steps:,} steps"
                raise RuleFault(where(), "E107", what, "call fewer functions within functions")


def _trees(
    there: Declared,
    quantities: Sequence[Quantity],
    functions: Sequence[Function],
    checks: Sequence[Check],
) -> Iterator[tuple[Expr, Where]]:
    for function in functions:
        yield function.tree, partial(there.items.functions[function.id].place, "formula")
    for quantity in quantities:
        if quantity.tree is not None:
            yield quantity.tree, partial(there.items.quantities[quantity.id].place, "formula")
        if quantity.when is not None:
            yield quantity.when, partial(there.items.quantities[quantity.id].place, "when")
    for check in checks:
        for key in ("when", "fail", "caution"):
            if getattr(check, key) is not None:
                yield getattr(check, key), partial(there.items.checks[check.id].place, key)


class _Costs:
    """Steps and depth of trees; those of a function are worked out once."""

    def __init__(self, there: Declared, functions: Sequence[Function]) -> None:
        self.there = there
        self.functions = functions
        self.known: dict[int, tuple[int, int]] = {}
        self.calling: list[int] = []

    def of(self, tree: Expr, where: Where, above: int = 0) -> tuple[int, int]:
        """How many steps a tree takes at most, and how deep it reaches. Raises `RuleFault`."""
        if not isinstance(tree, list):
            return 1, 1
        if above > DEEPEST:
            raise RuleFault(where(), "E107", "the formula is nested too deeply", "split it")
        steps, depth = 1, 0
        if tree[0] == "fn":
            steps, depth = self._function(int(tree[1]), where)  # type: ignore[arg-type]
        for part in tree[1:]:
            inner, below = self.of(part, where, above + 1) if isinstance(part, list) else (1, 1)
            steps += inner * (TRIES if tree[0] == "root" and part is tree[4] else 1)
            depth = max(depth, below)
        return steps, depth + 1

    def _function(self, index: int, where: Where) -> tuple[int, int]:
        if index in self.calling:
            around = [*self.calling[self.calling.index(index) :], index]
            names = [self.functions[at].id for at in around]
            formula = self.there.items.functions[names[0]].place("formula")
            what = "the functions call one another in a loop: " + " → ".join(names)
            raise RuleFault(formula, "E205", what, "break it at one of them")
        if index not in self.known:
            if len(self.calling) > DEEPEST:
                raise RuleFault(where(), "E107", "the functions call one another too deeply")
            self.calling.append(index)
            try:
                self.known[index] = self.of(self.functions[index].tree, where)
            finally:
                self.calling.pop()
        return self.known[index]
