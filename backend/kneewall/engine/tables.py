"""Finding rows: exactly, and between neighbours. Never outside, never by clamping."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from functools import partial
from itertools import pairwise
from operator import itemgetter
from typing import Any, Final

from kneewall.bundle import Table
from kneewall.engine.numbers import EQUAL, close
from kneewall.engine.unknown import Unknown

Rows = Sequence[Sequence[Any]]
Transform = Callable[[float], float]
Find = Callable[..., "tuple[int, Any] | Unknown"]
"""Key values, in turn, to a row and what it gives."""

FORWARD: Final[dict[str, Transform]] = {"": float, "ln": math.log, "reciprocal": lambda x: 1 / x}
BACK: Final[dict[str, Transform]] = {"": float, "ln": math.exp, "reciprocal": lambda x: 1 / x}
EMPTY: Final = Unknown("outside", (), {"code": "empty-cell"})
"""A cell that the table does not give."""


NO_GROUP: Final[tuple[list[int], list[Any]]] = ([], [])


def outside(code: str, **more: object) -> Unknown:
    return Unknown("outside", (), {"code": code, **more})


class Finder:
    """Rows of one table by given key columns: exact columns by hash, number columns by value or by neighbour."""

    def __init__(self, table: Table, rows: Rows, keys: Sequence[int], transformed: bool) -> None:
        self.table, self.rows = table, rows
        self.ways = [table.transform.get(c.name, "") if transformed else "" for c in table.columns]
        exact = [p for p, c in enumerate(keys) if table.columns[c].type != "number"]
        self.numeric = [(p, c) for p, c in enumerate(keys) if p not in exact]
        self.key: Callable[[Sequence[Any]], Any] = itemgetter(*exact) if exact else lambda _: ()
        self.groups: dict[Any, tuple[list[int], list[Axis]]] = {}
        """Rows that share their exact keys, in the order of their number keys, and the axes of those."""
        for n, row in enumerate(rows):
            self.groups.setdefault(self.key([row[c] for c in keys]), ([], []))[0].append(n)
        for own, axes in self.groups.values():
            own.sort(key=lambda n: [rows[n][c] for _, c in self.numeric])
            for _, c in self.numeric:
                refuse = partial(outside, table=table.id, column=table.columns[c].name)
                axes.append(Axis(sorted({rows[n][c] for n in own}), FORWARD[self.ways[c]], refuse))

    def row(self, out: int) -> Find:
        """What finds the one row with these keys, and its cell."""
        no_row = outside("no-row", table=self.table.id)

        def find(*values: Any) -> tuple[int, Any] | Unknown:
            own, axes = self.groups.get(self.key(values), NO_GROUP)
            if len(axes) == 1:
                i, _ = axes[0].at(values[self.numeric[0][0]])
                own = own[i : i + 2]
            for n in own:
                if not axes or all(close(self.rows[n][c], values[p]) for p, c in self.numeric):
                    return n, self.rows[n][out]
            return no_row

        return find

    def between(self, out: int) -> Find:
        """What finds a column linearly between neighbouring rows over one or two number keys, in transforms.

        The row is the lower neighbour's. Rows of a grid are in the order of its keys.
        """
        forward, back, table = FORWARD[self.ways[out]], BACK[self.ways[out]], self.table.id
        ys = [math.nan if row[out] is EMPTY else forward(row[out]) for row in self.rows]
        first, last = self.numeric[0][0], self.numeric[-1][0]
        no_row = outside("no-row", table=table)
        empty = outside("empty-cell", table=table, column=self.table.columns[out].name)

        only = self.groups.get((), None)

        def find(*values: Any) -> tuple[int, float] | Unknown:
            own, axes = only or self.groups.get(self.key(values), NO_GROUP)
            if not axes:
                return no_row
            i, share = axes[0].at(values[first])
            if len(axes) == 1:
                y = _mix(ys[own[i]], ys[own[i + 1]], share)
            else:
                j, other = axes[1].at(values[last])
                step = len(axes[1].xs)
                i = i * step + j
                y, z = (_mix(ys[own[k]], ys[own[k + 1]], other) for k in (i, i + step))
                y = _mix(y, z, share)
            return (own[i], y if back is float else back(y)) if y == y else empty

        return find


class Axis:
    """The distinct values of one number key in ascending order."""

    def __init__(self, xs: list[float], forward: Transform, refuse: Callable[..., Unknown]) -> None:
        self.xs, self.forward, self.refuse = xs, forward, refuse
        self.spans = [(math.inf, 0.0, 0.0, 1.0)] if len(xs) < 2 else []
        """Of neighbours: between what values a number is surely on neither, where they start, how far they go."""
        for low, high in pairwise(xs):
            far, start = 2 * EQUAL * max(abs(low), abs(high)), forward(low)
            self.spans.append((low + far, high - far, start, forward(high) - start))

    def at(self, x: float) -> tuple[int, float]:
        """The lower neighbour of x and how far it is from there to the next, exactly 0 or 1 on a row.

        Raises:
            ArithmeticError: beyond the axis; with the unknown that names its edge.
        """
        xs = self.xs
        i = max(min(bisect_right(xs, x), len(xs) - 1) - 1, 0)
        low, high, start, span = self.spans[i]
        if not low < x < high:
            if x == xs[i] or close(x, xs[i]):
                return i, 0.0
            if close(x, xs[min(i + 1, len(xs) - 1)]):
                return i, 1.0
            if not xs[0] <= x <= xs[-1]:
                code, edge = ("below", xs[0]) if x < xs[0] else ("above", xs[-1])
                raise ArithmeticError(self.refuse(code, edge=edge))
        return i, ((x if self.forward is float else self.forward(x)) - start) / span


def along(series: str, points: Rows, x: float) -> tuple[int, float] | Unknown:
    """Linear between neighbouring points of a series, of which each is further on than the one before."""
    xs = [point[0] for point in points]
    if not xs or any(a >= b for a, b in pairwise(xs)):
        return outside("no-row", table="")
    i, share = Axis(xs, float, partial(outside, quantity=series)).at(x)
    return 0, _mix(points[i][1], points[min(i + 1, len(xs) - 1)][1], share)


def _mix(low: float, high: float, share: float) -> float:
    """On a row its neighbour is not read: it may be empty."""
    return low if share == 0 else high if share == 1 else low + (high - low) * share
