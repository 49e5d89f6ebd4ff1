"""Finding rows: exactly, by condition, between neighbours. Never outside, never by clamping."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from kneewall.bundle import Table
from kneewall.engine.numbers import close
from kneewall.engine.unknown import Unknown

Cells = list[list[Any]]

_FORWARD: Final[dict[str, Callable[[float], float]]] = {
    "ln": math.log,
    "reciprocal": lambda x: 1 / x,
}
_BACK: Final[dict[str, Callable[[float], float]]] = {"ln": math.exp, "reciprocal": lambda x: 1 / x}


def outside(code: str, table: Table, **more: object) -> Unknown:
    return Unknown("outside", (), {"code": code, "table": table.id, **more})


@dataclass(frozen=True)
class Group:
    """Rows that share their exact keys, in ascending order of the number keys."""

    rows: list[int]
    xs: list[float]
    ys: list[float]


class Finder:
    """Rows of one table by given key columns: exact columns by hash, number columns by neighbour or within 1e-9."""

    def __init__(self, table: Table, cells: Cells, columns: Sequence[int]) -> None:
        self.table = table
        self.cells = cells
        self.exact = [c for c in columns if table.columns[c].type != "number"]
        self.numbers = [c for c in columns if table.columns[c].type == "number"]
        self.places = [list(columns).index(c) for c in self.exact]
        self.number_places = [list(columns).index(c) for c in self.numbers]
        self.groups: dict[tuple[object, ...], list[int]] = {}
        for row in range(len(cells[0]) if cells else 0):
            self.groups.setdefault(tuple(cells[c][row] for c in self.exact), []).append(row)
        self.grids: dict[tuple[object, ...], Group] = {}

    def row(self, values: Sequence[Any]) -> int | Unknown:
        """The one row with these keys."""
        rows = self.groups.get(tuple(values[p] for p in self.places), [])
        wanted = [
            (self.cells[c], values[p])
            for c, p in zip(self.numbers, self.number_places, strict=True)
        ]
        for row in rows:
            if all(close(column[row], x) for column, x in wanted):
                return row
        if rows and len(wanted) == 1:
            edge = self._edge(self.numbers[0], [wanted[0][0][row] for row in rows], wanted[0][1])
            if edge is not None:
                return edge
        return outside("no-row", self.table)

    def _edge(self, column: int, xs: Sequence[float], x: float) -> Unknown | None:
        name = self.table.columns[column].name
        if x < min(xs) and not close(x, min(xs)):
            return outside("below", self.table, column=name, edge=min(xs))
        if x > max(xs) and not close(x, max(xs)):
            return outside("above", self.table, column=name, edge=max(xs))
        return None

    def _group(self, values: Sequence[Any]) -> Group | None:
        key = tuple(values[p] for p in self.places)
        if key not in self.grids and key in self.groups:
            columns = [self.cells[c] for c in self.numbers]
            rows = sorted(self.groups[key], key=lambda row: [column[row] for column in columns])
            axes = [sorted({column[row] for row in rows}) for column in columns]
            self.grids[key] = Group(rows, axes[0], axes[1] if len(axes) > 1 else [])
        return self.grids.get(key)

    def between(self, values: Sequence[Any], out: int) -> tuple[int, float] | Unknown:
        """Linear between neighbouring rows over one or two number keys, in the table's transforms.

        Returns the lower neighbour's row and the value.
        """
        group = self._group(values)
        if group is None:
            return outside("no-row", self.table)
        places = []
        for axis, column, place in zip(
            (group.xs, group.ys), self.numbers, self.number_places, strict=False
        ):
            edge = self._edge(column, axis, values[place])
            if edge is not None:
                return edge
            i = min(max(bisect_right(axis, values[place]) - 1, 0), len(axis) - 2)
            f = self._transform(column)
            low, high, x = f(axis[i]), f(axis[i + 1]), f(min(max(values[place], axis[0]), axis[-1]))
            places.append((i, (x - low) / (high - low)))
        (i, u) = places[0]
        if len(places) == 1:
            corners = [group.rows[i], group.rows[i + 1]]
        else:
            at = i * len(group.ys) + places[1][0]
            after = at + len(group.ys)
            corners = [group.rows[k] for k in (at, after, at + 1, after + 1)]
        g = self._transform(out)
        known = [self.cells[out][row] for row in corners]
        if any(cell is None for cell in known):
            return outside("empty-cell", self.table, column=self.table.columns[out].name)
        sides = [g(cell) for cell in known]
        value = sides[0] + (sides[1] - sides[0]) * u
        if len(places) == 2:
            high_side = sides[2] + (sides[3] - sides[2]) * u
            value = value + (high_side - value) * places[1][1]
        back = _BACK.get(self.table.transform.get(self.table.columns[out].name, ""))
        return corners[0], back(value) if back else value

    def _transform(self, column: int) -> Callable[[float], float]:
        return _FORWARD.get(self.table.transform.get(self.table.columns[column].name, ""), float)
