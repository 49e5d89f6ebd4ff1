"""Whether conditions can ever hold together: tried over every choice, flag, and point that a number is compared with.

What lies beyond that (tables, arithmetic, members of a collection) counts as if it might hold.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from itertools import pairwise, product
from typing import Any, Final

from kneewall.bundle import Bundle, Expr, Quantity, bare
from kneewall.engine import Unknown
from kneewall.engine.expressions import COMPARE, Compiler, Env

MOST: Final = 20_000
"""Combinations tried; a condition over more of them is taken to hold somewhere."""
DAY: Final = 86_400.0
MAYBE: Final = Unknown("missing")
NUMBERS: Final = ("number", "count", "date")
LESS, EQUAL, MORE = 1, 2, 4
"""How a comparison can come out, as `COMPARE` counts it."""
TURNED: Final = {"<": ">", ">": "<", "<=": ">=", ">=": "<="}

Tree = Any
"""An `Expr` in which `MAYBE` may stand."""


def _open(tree: Tree) -> bool:
    """Whether something in it cannot be tried."""
    return tree is MAYBE or (isinstance(tree, list) and any(map(_open, tree)))


class Reach:
    """Asks about the conditions of one bundle."""

    def __init__(self, bundle: Bundle) -> None:
        self.bundle = bundle

    def can_hold(self, conditions: Iterable[Expr | None], scope: str = "visit") -> bool:
        """False only when no values at all make every condition true."""
        look = _Look(self.bundle, scope)
        tree = look.condition(["and", *(c for c in conditions if c is not None)])
        points = [look.points(slot) for slot in look.compared]
        pairs = [pair for pair, count in look.pairs.items() if count > 1]
        if math.prod(map(len, points)) * 3 ** len(pairs) > MOST:
            return True
        return any(
            self._holds(_settled(tree, dict(zip(pairs, outcomes, strict=True))), look, points)
            for outcomes in product((LESS, EQUAL, MORE), repeat=len(pairs))
        )

    def _holds(self, tree: Tree, look: _Look, points: list[list[Any]]) -> bool:
        """Whether a condition holds for some of these values, or might."""
        compiler = Compiler(self.bundle, {}, [])
        holds = compiler.build(tree, "")
        env = compiler.fit(Env())
        for values in product(*points):
            for slot, value in zip(look.compared, values, strict=True):
                env.values[slot] = value
            if holds(env) is not False:
                return True
        return False


def _settled(tree: Tree, outcomes: dict[str, int]) -> Tree:
    """A condition in which these pairs have come out like this."""
    if not isinstance(tree, list):
        return tree
    if tree[0] == "pair":
        found = outcomes.get(tree[2])
        if found is None:
            return _settled(tree[3], outcomes)
        return bool(COMPARE[tree[1]] & found)
    return [_settled(part, outcomes) for part in tree]


class _Look:
    """Conditions reduced to what can be tried.

    `compared` are their slots and the numbers each is compared with, `pairs` what else is compared with one another,
    and how often: twice the same pair comes out the same.
    """

    def __init__(self, bundle: Bundle, scope: str) -> None:
        self.bundle = bundle
        self.scope = scope
        self.compared: dict[int, set[float]] = {}
        self.pairs: Counter[str] = Counter()

    def condition(self, tree: Tree) -> Tree:
        """A condition or choice in which everything that cannot be tried is `MAYBE`."""
        tree = bare(tree)
        if not isinstance(tree, list):
            return tree
        head = tree[0]
        if head == "q":
            return self._quantity(int(tree[1]))
        if head in ("and", "or", "not"):
            return [head, *(self.condition(part) for part in tree[1:])]
        if head == "if":
            return ["if", -1, *(self.condition(part) for part in tree[2:])]
        if head in COMPARE:
            return self._compare(head, tree[1], tree[2])
        return MAYBE

    def _quantity(self, slot: int) -> Tree:
        """A flag or choice, or what it is derived from."""
        found = self._own(slot)
        if found is None or found.type not in ("flag", "choice"):
            return MAYBE
        if found.tree is not None and found.when is None:
            return self.condition(found.tree)
        self.compared.setdefault(slot, set())
        return ["q", slot]

    def _own(self, slot: int) -> Quantity | None:
        """The quantity, unless it is a list over members here."""
        found = self.bundle.quantities[slot]
        away = found.scope in self.bundle.collections and found.scope != self.scope
        return None if away else found

    def _compare(self, head: str, a: Tree, b: Tree) -> Tree:
        a, b = bare(a), bare(b)
        if isinstance(a, list) and a == b:
            return bool(COMPARE[head] & EQUAL)
        for left, right in ((a, b), (b, a)):
            if isinstance(left, list) and left[0] == "q" and isinstance(right, int | float):
                found = self._own(int(left[1]))
                if found is not None and found.type in NUMBERS:
                    self.compared.setdefault(int(left[1]), set()).add(float(right))
                    return [head, a, b]
        sides = self.condition(a), self.condition(b)
        if not any(map(_open, sides)):
            return [head, *sides]
        first, second = str(a), str(b)
        if first > second:
            first, second, head = second, first, TURNED.get(head, head)
        pair = f"{first} {second}"
        self.pairs[pair] += 1
        return ["pair", head, pair, [head, *sides]]

    def points(self, slot: int) -> list[Any]:
        """Values such that every way the comparisons can turn out is among them."""
        found = self.bundle.quantities[slot]
        if found.type == "flag":
            return [False, True]
        if found.type == "choice":
            options = self.bundle.choices[found.choices].options
            return [float(place) for place in range(len(options))]
        if found.one_of:
            return list(found.one_of)
        edges = self.compared[slot]
        step = DAY if found.type == "date" else 1.0
        low, high = found.limits or (min(edges) - 2 * step, max(edges) + 2 * step)
        marks = sorted({low, high} | {x for x in edges if low <= x <= high})
        if found.type == "number":
            return sorted({*marks, *((a + b) / 2 for a, b in pairwise(marks))})
        beside = {y for x in marks for y in (x - step, math.floor(x), x, math.ceil(x), x + step)}
        return sorted(x for x in beside if low <= x <= high)
