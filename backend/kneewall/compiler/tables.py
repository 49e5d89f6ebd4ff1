"""Tables: headers, cells in SI, and the proofs that what formulas ask of them has one answer."""

from __future__ import annotations

import re
from itertools import pairwise, product
from pathlib import Path
from typing import Any, Final

from kneewall.bundle import Column, Scalar, Table
from kneewall.compiler.declare import Declared
from kneewall.compiler.errors import Fault, Place, RuleFault, nearest
from kneewall.compiler.names import Interpolation, TableInfo
from kneewall.compiler.packs import Item
from kneewall.compiler.reader import Cell, read_csv, read_text
from kneewall.compiler.schema import TableForm
from kneewall.engine.engine import seconds
from kneewall.engine.numbers import close
from kneewall.reading import Edges, ReadingError, round12, split_number

_HEADER: Final = re.compile(r"([a-z][a-z0-9_]*) \[([^\]]+)\]")
PLAIN: Final = {"number", "text", "flag", "date"}


class TableReader:
    """One table of one pack: first its columns (so that formulas can be read), then its rows."""

    def __init__(self, item: Item[TableForm], index: int, there: Declared) -> None:
        self.item = item
        self.there = there
        self.names = there.names
        self.rows: list[list[Cell]] = []
        self.columns: list[Column] = []
        self.places: list[Place] = []
        form = item.form
        if bool(form.file) + bool(form.rows) + bool(form.columns) != 1:
            raise RuleFault(
                item.key_place(), "E106", "a table has exactly one of file, rows, columns"
            )
        if form.columns:
            for name, kind in form.columns.items():
                self._column(name, kind, item.place("columns", name))
        else:
            self._read()
        self._declare(index)

    def _read(self) -> None:
        form, item = self.item.form, self.item
        if form.file:
            path = Path(item.document.file).parent / form.file
            if ".." in Path(form.file).parts or Path(form.file).is_absolute():
                raise RuleFault(
                    item.place("file"),
                    "E108",
                    f"{form.file} is outside its folder",
                    "put it beside this file",
                )
            if not path.is_file():
                raise RuleFault(
                    item.place("file"), "E108", f"there is no file {form.file} beside this one"
                )
            self.rows = read_csv(read_text(path, path.as_posix()), path.as_posix())
        else:
            start = item.place("rows")
            self.rows = read_csv(form.rows, start.file, Place(start.file, start.line + 1, 1))
        if not self.rows:
            raise RuleFault(
                item.place("file" if form.file else "rows"), "E111", "the table has no header"
            )
        for cell in self.rows[0]:
            found = _HEADER.fullmatch(cell.text)
            if not found:
                raise RuleFault(
                    cell.place, "E111", f"{cell.text!r} is not a column", "write name [unit]"
                )
            self._column(found[1], found[2], cell.place)

    def _column(self, name: str, kind: str, place: Place) -> None:
        if any(column.name == name for column in self.columns):
            raise RuleFault(place, "E111", f"the column {name} stands twice")
        self.places.append(place)
        if kind in PLAIN:
            self.columns.append(Column(name=name, type=kind))  # type: ignore[arg-type]
        elif kind in self.names.edges.choices:
            self.columns.append(Column(name=name, type="choice", choices=kind))
        else:
            try:
                self.columns.append(Column(name=name, unit=self.names.edges.find_unit(kind)))
            except ReadingError:
                known = [*self.names.edges.choices, *self.names.edges.spellings, *PLAIN]
                raise RuleFault(
                    place, "E301", f"[{kind}] is no unit, choice list or type", nearest(kind, known)
                ) from None

    def _declare(self, index: int) -> None:
        form = self.item.form
        columns = {}
        for place, column in enumerate(self.columns):
            shown = column.unit or (f"choices:{column.choices}" if column.choices else column.type)
            columns[column.name] = (place, self.there.column_type(column), shown)
        for part, named in (("keys", form.keys), ("transform", list(form.transform))):
            for name in named:
                if name not in columns:
                    raise RuleFault(
                        self.item.place(part),
                        "E201",
                        f"there is no column {name}",
                        nearest(name, columns),
                    )
        self.names.tables[self.item.id] = TableInfo(index, columns, form.keys, dict(form.transform))

    def finish(self) -> Table:
        """The table with its cells; wrong cells, repeated keys and unused columns are collected."""
        faults = self.there.faults
        source = self.there.source(self.item.form.source, self.item.place("source"))
        info = self.names.tables[self.item.id]
        cells: list[list[Scalar | None]] = [[] for _ in self.columns]
        for row in self.rows[1:]:
            for place, cell in enumerate(row):
                try:
                    cells[place].append(read_cell(cell.text, self.columns[place], self.names.edges))
                except (ReadingError, ValueError) as error:
                    letter, name = chr(65 + place % 26), self.columns[place].name
                    faults.append(Fault(cell.place, "E112", f"column {letter} ({name}): {error}"))
                    cells[place].append(None)
        for place, column in enumerate(self.columns):
            if column.name not in info.used:
                faults.append(
                    Fault(
                        self.places[place],
                        "E204",
                        f"no formula uses the column {column.name}",
                        "leave it out",
                    )
                )
        if info.exact:
            self._unique(info, cells)
        keys = [info.columns[name][0] for name in info.keys]
        return Table(id=self.item.id, label=self.item.form.label, columns=self.columns, keys=keys,
                     transform=self.item.form.transform, cells=cells, source=source, pack=self.item.pack)  # fmt: skip

    def _unique(self, info: TableInfo, cells: list[list[Scalar | None]]) -> None:
        faults = self.there.faults
        seen: dict[tuple[Any, ...], int] = {}
        for row in range(len(self.rows) - 1):
            key = tuple(cells[info.columns[name][0]][row] for name in info.keys)
            if None in key:
                faults.append(
                    Fault(self.rows[row + 1][0].place, "E112", "a key is empty", "fill it")
                )
            elif key in seen:
                first = self.rows[seen[key] + 1][0].place.line
                faults.append(
                    Fault(
                        self.rows[row + 1][0].place,
                        "E113",
                        f"the same keys stand in line {first}",
                        "keep one of them",
                    )
                )
            seen.setdefault(key, row)


def read_cell(text: str, column: Column, edges: Edges) -> Scalar | None:
    """A cell in SI, None when it is empty. Raises `ReadingError` or ValueError."""
    if not text:
        return None
    match column.type:
        case "choice":
            return edges.option(text, column.choices)
        case "flag":
            if text not in ("yes", "no"):
                raise ReadingError("flag", f"{text!r} is neither yes nor no")
            return text == "yes"
        case "text":
            return text
        case "date":
            seconds(text)
            return text
    number, rest = split_number(text)
    if rest:
        raise ReadingError(
            "number", f"{text!r} is not a bare number; the unit stands in the header"
        )
    return edges.to_si(number, column.unit) if column.unit else round12(number)


def prove_interpolation(use: Interpolation, table: Table, info: TableInfo) -> Fault | None:
    """None when every point between the rows has exactly one value; else what is in the way."""
    places = [info.columns[name][0] for name in use.columns]
    exact = [p for p in places if table.columns[p].type != "number"]
    numbers = [p for p in places if table.columns[p].type == "number"]
    groups: dict[tuple[Any, ...], list[tuple[Any, ...]]] = {}
    for row in range(len(table.cells[0]) if table.cells else 0):
        key = tuple(table.cells[p][row] for p in exact)
        groups.setdefault(key, []).append(tuple(table.cells[p][row] for p in numbers))
    for key, points in groups.items():
        named = f" for {', '.join(map(str, key))}" if key else ""
        if any(None in point for point in points):
            return Fault(use.place, "E114", f"{use.table} has an empty key{named}", "fill it")
        axes = [sorted({point[axis] for point in points}) for axis in range(len(numbers))]
        if any(len(axis) < 2 for axis in axes):
            return Fault(
                use.place, "E114", f"{use.table} has fewer than two points{named}", "add a row"
            )
        if any(close(a, b) for axis in axes for a, b in pairwise(axis)):
            return Fault(
                use.place,
                "E114",
                f"{use.table} has two rows at one point{named}",
                "keep one of them",
            )
        if sorted(points) != sorted(product(*axes)):
            what = "a full grid" if len(axes) == 2 else "each point once"
            return Fault(
                use.place,
                "E114",
                f"{use.table} is not {what}{named}",
                "give every crossing exactly one row",
            )
    names = [*use.columns, use.out]
    for name in names:
        cells = [c for c in table.cells[info.columns[name][0]] if c is not None]
        if name in table.transform and any(float(cell) <= 0 for cell in cells):
            return Fault(
                use.place,
                "E114",
                f"{name} is transformed by {table.transform[name]}, but is not above zero everywhere",
            )
    return None
