"""What differs between two editions of a table: columns, and rows cell by cell."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import SequenceMatcher
from itertools import pairwise
from typing import Any, Final

from kneewall.bundle import Column, RowMark, Table
from kneewall.tools.change import Changes, Show, Subject, Touch, both, holding
from kneewall.tools.words import Words

SPAN: Final = ("holds_from", "holds_to", "from_edition", "to_edition")
Pair = tuple[int | None, int | None]
"""The row before and the row now."""


def compare_rows(changes: Changes, of: Subject, old: Table, new: Table) -> None:
    """Columns, then rows, of one table."""
    _columns(changes, of, old, new)
    pairs = list(_pairs(old, new))
    for before, now in pairs:
        if before is None and now is not None:
            _whole(changes, of, new, now, "added")
        elif now is None and before is not None:
            _whole(changes, of, old, before, "removed")
        elif before is not None and now is not None:
            _cells(changes, of, (old, before), (new, now))
    kept = [
        before for before, now in sorted(pairs, key=_now) if before is not None and now is not None
    ]
    if any(b < a for a, b in pairwise(kept)):
        changes.whole("Tables", of, "changed", ": rows stand in another order", [("table", new.id)])


def _now(pair: Pair) -> int:
    return -1 if pair[1] is None else pair[1]


def _columns(changes: Changes, of: Subject, old: Table, new: Table) -> None:
    before = {column.name: column for column in old.columns}
    now = {column.name: column for column in new.columns}
    changes.names_in("Tables", of, "columns", (list(before), list(now)))
    for name in (name for name in now if name in before):
        pair = before[name], now[name]
        touches: list[Touch] = [("column", f"{new.id}.{name}")]
        same = pair[0].type == pair[1].type and pair[0].choices == pair[1].choices
        changes.text("Tables", of, f"column {name}", both(holding, *pair), () if same else touches)
        changes.text("Labels", of, f"label of column {name}", both(lambda c: c.label, *pair))
    keys = both(lambda table: [table.columns[place].name for place in table.keys], old, new)
    changes.names_in("Tables", of, "keys", keys)
    for name in sorted({*old.transform, *new.transform}):
        how = str(old.transform.get(name, "")), str(new.transform.get(name, ""))
        changes.text(
            "Tables", of, f"interpolation of {name} by", how, [("column", f"{new.id}.{name}")]
        )


def _pairs(old: Table, new: Table) -> Iterator[Pair]:
    """Rows that are the same row: by their keys where there are any, else by their neighbours."""
    names = [new.columns[place].name for place in new.keys]
    places = [{column.name: place for place, column in enumerate(t.columns)} for t in (old, new)]
    if names and all(name in places[0] for name in names):
        grouped: dict[tuple[Any, ...], tuple[list[int], list[int]]] = {}
        for side, table in enumerate((old, new)):
            for row in range(_length(table)):
                key = tuple(table.cells[places[side][name]][row] for name in names)
                grouped.setdefault(key, ([], []))[side].append(row)
        for before, now in grouped.values():
            yield from _within(old, new, before, now)
    else:
        rows = both(lambda table: [_row(table, row) for row in range(_length(table))], old, new)
        for tag, a, b, c, d in SequenceMatcher(None, *rows, autojunk=False).get_opcodes():
            if tag == "equal":
                yield from zip(range(a, b), range(c, d), strict=True)
            else:
                yield from _in_turn(list(range(a, b)), list(range(c, d)))


def _within(old: Table, new: Table, before: list[int], now: list[int]) -> Iterator[Pair]:
    """Rows of one key: equal ones first, the others in turn."""
    left = list(before)
    changed = []
    for row in now:
        equal = next((other for other in left if _row(old, other) == _row(new, row)), None)
        if equal is None:
            changed.append(row)
        else:
            left.remove(equal)
            yield equal, row
    yield from _in_turn(left, changed)


def _in_turn(before: list[int], now: list[int]) -> Iterator[Pair]:
    yield from zip(before, now, strict=False)
    yield from ((row, None) for row in before[len(now) :])
    yield from ((None, row) for row in now[len(before) :])


def _length(table: Table) -> int:
    return len(table.cells[0]) if table.cells else 0


def _row(table: Table, row: int) -> tuple[tuple[str, Any], ...]:
    return tuple((c.name, cells[row]) for c, cells in zip(table.columns, table.cells, strict=True))


def _whole(changes: Changes, of: Subject, table: Table, row: int, kind: Any) -> None:
    words = changes.old if kind == "removed" else changes.new
    cells = [
        f"{column.name} {words.cell(column, table.cells[place][row])}"
        for place, column in enumerate(table.columns)
        if place not in table.keys and table.cells[place][row] is not None
    ]
    said = f": {words.row(table, row)} {kind}" + (f": {', '.join(cells)}" if cells else "")
    changes.whole("Tables", of, kind, said, [("table", table.id)])


def _cells(
    changes: Changes, of: Subject, before: tuple[Table, int], now: tuple[Table, int]
) -> None:
    (old, at), (new, to) = before, now
    places = {column.name: place for place, column in enumerate(old.columns)}
    row = Subject(of.of, of.id, f"{of.name}: {changes.new.row(new, to)}", ",")
    for place, column in enumerate(new.columns):
        if column.name in places and place not in new.keys:
            was = places[column.name]
            values = old.cells[was][at], new.cells[place][to]
            shows = _show(changes.old, old.columns[was]), _show(changes.new, column)
            touches: list[Touch] = [("column", f"{new.id}.{column.name}")]
            changes.number("Tables", row, column.name, values, shows, touches)
    marks = old.marks.get(str(at), RowMark()), new.marks.get(str(to), RowMark())
    changes.text("Sources", row, "source", both(lambda mark: Words.source(mark.source), *marks))
    changes.text("Packs", row, "pack", both(lambda mark: mark.pack, *marks))
    changes.text("Packs", row, "replacement", both(lambda m: Words.replaced(m.replaced), *marks))


def _show(words: Words, column: Column) -> Show:
    return lambda cell, digits: words.cell(column, cell, digits)
