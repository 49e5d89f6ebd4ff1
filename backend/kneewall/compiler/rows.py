"""Gaps and overlaps between the rows of a finished table."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from itertools import combinations, pairwise, product
from typing import Any, Final

from kneewall.bundle import Bundle, Column, Quantity, Table
from kneewall.reading import edges_of

Key = tuple[Any, ...]
Finding = tuple[str, str, str]
"""Number, what, how to mend it."""
DAY: Final = timedelta(days=1)


Span = tuple[date, date]
"""First and last day."""


def span(first: str, last: str) -> Span:
    """Of days as they are written, "" where there is no limit."""
    return (
        date.fromisoformat(first) if first else date.min,
        date.fromisoformat(last) if last else date.max,
    )


def pauses(spans: dict[str, list[Span]]) -> Iterator[str]:
    """Times on which nothing holds, between two on which something does, by what holds under each edition in order."""
    covered: list[int] = []
    for edition, (name, under) in enumerate(spans.items()):
        covered += [edition] if under else []
        reached = date.max
        for first, last in sorted(under):
            if first > reached and first - reached > DAY:
                yield f"{f'under {name} ' if name else ''}from {reached + DAY} to {first - DAY}"
            reached = last if reached == date.max else max(reached, last)
    for before, after in pairwise(covered):
        yield from (f"under {name}" for name in list(spans)[before + 1 : after])


def paused(name: str, what: str, found: list[str]) -> Finding:
    count = "one gap" if len(found) == 1 else f"{len(found)} gaps"
    said = f"{name} has {count} between {what}s that hold for a time, the first is {found[0]}"
    return "W107", said, f"let one {what} end where the next begins"


class Rows:
    """The rows of one table, by key, day and code edition."""

    def __init__(self, bundle: Bundle, table: Table) -> None:
        self.bundle = bundle
        self.table = table
        self.places = {column.name: place for place, column in enumerate(table.columns)}
        self.edges = edges_of(bundle)
        self.keys = [table.columns[place] for place in table.keys]
        self.groups: dict[Key, list[int]] = {}
        for row in range(len(table.cells[0]) if table.cells else 0):
            key = tuple(table.cells[place][row] for place in table.keys)
            self.groups.setdefault(key, []).append(row)

    def found(self) -> Iterator[Finding]:
        """At most one finding of each number."""
        if self.keys and self.groups:
            yield from self._gaps()
            yield from self._pauses()
            yield from self._twins()

    def _gaps(self) -> Iterator[Finding]:
        """Combinations of the choices and flags among the keys that no row has."""
        ranges = {place: self._range(column) for place, column in enumerate(self.keys)}
        chosen = [place for place, range_ in ranges.items() if range_]
        columns = [self.keys[place] for place in chosen]
        there = {tuple(key[place] for place in chosen) for key in self.groups}
        combined = math.prod(len(ranges[place]) for place in chosen)
        if chosen and len(there) < combined:
            every = product(*(ranges[place] for place in chosen))
            first = self._shown(next(key for key in every if key not in there), columns)
            names = ", ".join(column.name for column in columns)
            count = f"{combined - len(there)} of {combined} combinations of {names}"
            what = f"{count} have no row in {self.table.id}, the first is {first}"
            yield "W106", what, "add those that exist; a result there is unknown"

    def _range(self, column: Column) -> list[Any]:
        if column.type == "flag":
            return [False, True]
        if column.type == "choice":
            return [option.value for option in self.bundle.choices[column.choices].options]
        return []

    def _pauses(self) -> Iterator[Finding]:
        """Days between two rows of one key, and editions between two, on which none holds."""
        names = self._editions()
        found = [
            f"{self._shown(key, self.keys)} {pause}"
            for key, rows in self.groups.items()
            for pause in pauses(
                {
                    name: [self._days(row) for row in rows if self._under(row, edition)]
                    for edition, name in enumerate(names)
                }
            )
        ]
        if found:
            yield paused(self.table.id, "row", found)

    def _days(self, row: int) -> Span:
        return span(*(self._cell(row, name) for name in ("holds_from", "holds_to")))

    def _editions(self) -> list[str]:
        """The code editions that rows may name, in order; one without a name where they name none."""
        for name in ("from_edition", "to_edition"):
            if name in self.places:
                return self._range(self.table.columns[self.places[name]])
        return [""]

    def _under(self, row: int, edition: int) -> bool:
        names = self._editions()
        first, last = (self._cell(row, name) for name in ("from_edition", "to_edition"))
        return (not first or names.index(first) <= edition) and (
            not last or names.index(last) >= edition
        )

    def _twins(self) -> Iterator[Finding]:
        """Rows that share their keys and a day on which they hold."""
        twins = [
            key
            for key, rows in self.groups.items()
            if any(self._together(a, b) for a, b in combinations(rows, 2))
        ]
        if twins:
            count = "one key has" if len(twins) == 1 else f"{len(twins)} keys have"
            what = f"{count} several rows in {self.table.id}, the first is {self._shown(twins[0], self.keys)}"
            yield "W108", what, "name all columns that tell rows apart, or leave keys out"

    def _together(self, a: int, b: int) -> bool:
        (first, last), (start, end) = self._days(a), self._days(b)
        shared = any(
            self._under(a, edition) and self._under(b, edition)
            for edition in range(len(self._editions()))
        )
        return shared and first <= end and start <= last

    def _cell(self, row: int, name: str) -> str:
        place = self.places.get(name)
        cell = None if place is None else self.table.cells[place][row]
        return str(cell) if cell is not None else ""

    def _shown(self, key: Iterable[Any], columns: Iterable[Column]) -> str:
        return ", ".join(map(self._word, key, columns))

    def _word(self, cell: Any, column: Column) -> str:
        if cell is None:
            return "nothing"
        if column.unit:
            return self.edges.number(Quantity(id="", label="", unit=column.unit), cell, column.unit)
        return self.edges.show(Quantity(id="", label=""), cell)
