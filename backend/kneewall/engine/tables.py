"""Finding rows: exactly, and between neighbours. Never outside, never by clamping."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any, Final

from kneewall.bundle import Table
from kneewall.engine.numbers import close
from kneewall.engine.unknown import Unknown

Cells = list[list[Any]]
Transform = Callable[[float], float]

FORWARD: Final[dict[str, Transform]] = {"": float, "ln": math.log, "reciprocal": lambda x: 1 / x}
BACK: Final[dict[str, Transform]] = {"": float, "ln": math.exp, "reciprocal": lambda x: 1 / x}


def outside(code: str, table: str, **more: object) -> Unknown:
    return Unknown("outside", (), {"code": code, "table": table, **more})


class Finder:
    """Rows of one table by given key columns: exact columns by hash, number columns by value or by neighbour."""

    def __init__(self, table: Table, cells: Cells, columns: Sequence[int]) -> None:
        self.table = table
        self.cells = cells
        self.exact = [p for p, c in enumerate(columns) if table.columns[c].type != "number"]
        self.numeric = [p for p, c in enumerate(columns) if table.columns[c].type == "number"]
        self.columns = columns
        transforms = [table.transform.get(column.name, "") for column in table.columns]
        self.forward = [FORWARD[name] for name in transforms]
        self.back = [BACK[name] for name in transforms]
        self.groups: dict[tuple[Any, ...], list[int]] = {}
        for row in range(len(cells[0]) if cells else 0):
            key = tuple(cells[columns[p]][row] for p in self.exact)
            self.groups.setdefault(key, []).append(row)
        self.axes: dict[tuple[Any, ...], list[list[float]]] = {}
        for key, rows in self.groups.items():
            rows.sort(key=lambda row: [cells[columns[p]][row] for p in self.numeric])
            along = [sorted({cells[columns[p]][row] for row in rows}) for p in self.numeric]
            self.axes[key] = along

    def row(self, values: Sequence[Any], out: int) -> tuple[int, Any] | Unknown:
        """The one row with these keys, and its cell."""
        key = tuple([values[p] for p in self.exact])
        rows = self.groups.get(key, [])
        for row in self._near(key, rows, values) if len(self.numeric) == 1 else rows:
            if all(close(self.cells[self.columns[p]][row], values[p]) for p in self.numeric):
                return row, self.cells[out][row]
        if rows and len(self.numeric) == 1:
            refusal = self._edge(self.numeric[0], self.axes[key][0], values[self.numeric[0]])
            return refusal or outside("no-row", self.table.id)
        return outside("no-row", self.table.id)

    def _near(self, key: tuple[Any, ...], rows: list[int], values: Sequence[Any]) -> Sequence[int]:
        """The rows among which the one with this single number key is, if they are in the order of the key."""
        axis, x = self.axes.get(key, [()])[0], values[self.numeric[0]]
        i = bisect_right(axis, x)
        return rows[max(i - 1, 0) : i + 1] if len(axis) == len(rows) else rows

    def _edge(self, place: int, axis: Sequence[float], x: float) -> Unknown | None:
        """A refusal naming the edge when x is beyond the ascending axis."""
        name = self.table.columns[self.columns[place]].name
        for code, end, beyond in (
            ("below", axis[0], x < axis[0]),
            ("above", axis[-1], x > axis[-1]),
        ):
            if beyond and not close(x, end):
                return outside(code, self.table.id, column=name, edge=end)
        return None

    def between(self, values: Sequence[Any], out: int) -> tuple[int, float] | Unknown:
        """Linear between neighbouring rows over one or two number keys, in the table's transforms.

        Returns the lower neighbour's row and the value. Rows of a grid are in the order of its keys.
        """
        key = tuple([values[p] for p in self.exact])
        rows = self.groups.get(key, [])
        if not rows:
            return outside("no-row", self.table.id)
        corners, weights, stride = [0], [], len(rows)
        for place, axis in zip(self.numeric, self.axes[key], strict=True):
            x = values[place]
            if not axis[0] <= x <= axis[-1] and (refusal := self._edge(place, axis, x)):
                return refusal
            i = min(max(bisect_right(axis, x) - 1, 0), len(axis) - 2)
            weights.append(self._weight(place, x, axis[i], axis[i + 1]))
            stride //= len(axis)
            corners = [corner + step * stride for corner in corners for step in (i, i + 1)]
        column, f = self.cells[out], self.forward[out]
        sides = [None if (s := column[rows[c]]) is None else f(s) for c in corners]
        for weight in reversed(weights):
            pairs = zip(sides[::2], sides[1::2], strict=True)
            sides = [_mix(low, high, weight) for low, high in pairs]
        if sides[0] is None:
            return outside("empty-cell", self.table.id, column=self.table.columns[out].name)
        return rows[corners[0]], self.back[out](sides[0])

    def _weight(self, place: int, x: float, low: float, high: float) -> float:
        """How far x is from low to high, in the key's transform; exactly 0 or 1 on a row."""
        if close(x, low) or close(x, high):
            return 0.0 if close(x, low) else 1.0
        f = self.forward[self.columns[place]]
        return (f(x) - f(low)) / (f(high) - f(low))


def along(points: Sequence[Sequence[float]], x: float, series: str) -> float | Unknown:
    """Linear between neighbouring points of a series, of which each is further on than the one before."""
    xs = [point[0] for point in points]
    if not xs or any(a >= b for a, b in pairwise(xs)):
        return outside("no-row", "")
    for code, end, beyond in (("below", xs[0], x < xs[0]), ("above", xs[-1], x > xs[-1])):
        if beyond and not close(x, end):
            return Unknown("outside", (), {"code": code, "quantity": series, "edge": end})
    i = min(max(bisect_right(xs, x) - 1, 0), max(len(xs) - 2, 0))
    (low, y), (high, z) = points[i], points[min(i + 1, len(xs) - 1)]
    if close(x, low) or close(x, high):
        return y if close(x, low) else z
    return y + (z - y) * ((x - low) / (high - low))


def _mix(low: float | None, high: float | None, weight: float) -> float | None:
    """On a row its neighbour is not read: it may be empty."""
    if weight in (0.0, 1.0):
        return high if weight else low
    return None if low is None or high is None else low + (high - low) * weight
