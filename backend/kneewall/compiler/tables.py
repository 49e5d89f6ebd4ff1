"""Tables: headers, cells in SI, rows of later packs, and the proofs that what formulas ask has one answer."""

from __future__ import annotations

import hashlib
import math
from itertools import pairwise, product
from typing import Any, Final

from kneewall.bundle import (
    Column,
    Replaced,
    RowMark,
    Scalar,
    SourceRef,
    Table,
    canonical_json,
)
from kneewall.compiler.calendar import ROW_CONDITIONS
from kneewall.compiler.declare import Declared
from kneewall.compiler.errors import Fault, Place, RuleFault, nearest
from kneewall.compiler.names import Interpolation, TableInfo
from kneewall.compiler.packs import Item
from kneewall.compiler.reader import Cell
from kneewall.compiler.schema import RowsForm, TableForm
from kneewall.compiler.sheets import NOTES, Sheet, read_column, read_sheet
from kneewall.engine.engine import seconds
from kneewall.engine.numbers import close
from kneewall.reading import Edges, ReadingError, round12, split_number

MOST_ALIKE: Final = 100
"""Rows of the same keys that hold at different times: each is compared with each."""


class TableReader:
    """One table: first its columns (so that formulas can be read), then its rows from all packs."""

    def __init__(self, item: Item[TableForm], index: int, there: Declared) -> None:
        self.item = item
        self.there = there
        form = item.form
        if bool(form.file) + bool(form.rows) + bool(form.columns) != 1:
            what = "a table has exactly one of file, rows, columns"
            mend = "write the file, or the rows, or columns for a later pack to fill"
            raise RuleFault(item.key_place(), "E106", what, mend)
        self.sheets: list[Sheet] = []
        if form.columns:
            self.columns = []
            self.places = []
            for name, kind in form.columns.items():
                self.places.append(item.place("columns", name))
                self.columns.append(read_column(there, name, kind, self.places[-1]))
        else:
            base = read_sheet(there, item)
            kept = [i for i, column in enumerate(base.columns) if column.name not in NOTES]
            self.columns = [base.columns[i] for i in kept]
            self.places = [base.places[i] for i in kept]
            self.sheets.append(base)
        self._declare(index)

    def _declare(self, index: int) -> None:
        form = self.item.form
        columns = {}
        for place, column in enumerate(self.columns):
            shown = column.unit or (f"choices:{column.choices}" if column.choices else column.type)
            columns[column.name] = (place, self.there.column_type(column), shown)
        for part, named in (("keys", form.keys), ("transform", list(form.transform))):
            for name in named:
                if name not in columns:
                    what = f"there is no column {name}"
                    raise RuleFault(self.item.place(part), "E201", what, nearest(name, columns))
        for name in form.transform:
            if columns[name][1].base != "number":
                what = f"{name} is {columns[name][1]}, and only numbers are transformed"
                raise RuleFault(self.item.place("transform", name), "E404", what)
        for name in filter(columns.__contains__, ROW_CONDITIONS):
            place, found, _ = columns[name]
            if not (found.kind == "date" if name.startswith("holds") else found.ordered):
                wanted = "[date]" if name.startswith("holds") else "an ordered choice list"
                what = f"{name} is {found}; it is compared with a day or an edition"
                raise RuleFault(self.places[place], "E111", what, f"write {name} {wanted}")
            edition = self.there.types.get(self.there.items.edition_quantity)
            if found.choices and edition and found.choices != edition.choices:
                what = f"{name} is {found}, the edition is {edition}"
                mend = f"write {name} [{edition.choices}]"
                raise RuleFault(self.places[place], "E111", what, mend)
        self.info = TableInfo(index, columns, form.keys, dict(form.transform), self.item.id)
        telling = [*form.keys, *(n for n in ROW_CONDITIONS if n in columns)] if form.keys else []
        self.apart = [columns[name][0] for name in telling]
        """The columns that tell rows apart, none where there are no keys."""
        self.there.names.tables[self.item.id] = self.info

    def fill(self, item: Item[RowsForm]) -> None:
        """Take rows of a later pack; units may differ, dimensions may not. Raises `RuleFault`."""
        sheet = read_sheet(self.there, item)
        for column, place in zip(sheet.columns, sheet.places, strict=True):
            if column.name in NOTES:
                continue
            if column.name not in self.info.columns:
                what = f"the table {self.item.id} has no column {column.name}"
                raise RuleFault(place, "E111", what, nearest(column.name, self.info.columns))
            declared, found = self.info.columns[column.name][1], self.there.column_type(column)
            if found != declared:
                what = f"{column.name} is {found} here and {declared} where the table is declared"
                raise RuleFault(place, "E302", what, "use a unit of the same dimension and kind")
        for key in self.info.keys:
            if key not in [column.name for column in sheet.columns]:
                what = f"the rows lack {key}, a key of the table {self.item.id}"
                raise RuleFault(sheet.written[0][0].place, "E111", what, "add the column")
        self.sheets.append(sheet)

    def of(self) -> tuple[object, ...]:
        """What its rows are read from, and whether every column must be used."""
        sheets = [
            (sheet.item.document, sheet.item.pack, sheet.item.path, sheet.written)
            for sheet in self.sheets
        ]
        return self.item.pack in self.there.answerable, *sheets

    def finish(self, asked: set[str], exact: bool, between: set[str]) -> Table:
        """The table with all its rows; wrong cells, repeated keys and unused columns are collected.

        `asked` are the columns that formulas use, `between` those that they interpolate by or out of; `exact`: one
        asks for a row by its keys.
        """
        source = self.there.source(self.item.form.source, self.item.place("source"))
        rows: list[list[Scalar | None]] = []
        marks: dict[str, RowMark] = {}
        firsts: list[Place] = []
        alike: dict[tuple[Scalar | None, ...], int] = {}
        before = len(self.there.faults)
        for sheet in self.sheets:
            with self.there.collecting():
                self.there.source(sheet.item.form.source, sheet.item.place("source"))
            for row in sheet.rows:
                with self.there.collecting():
                    at = self._add(sheet, row, rows, alike, marks)
                    firsts[at : at + 1] = [row[0].place]
        if len(self.there.faults) == before:
            self._ending_in_order(rows, firsts)
        wrong = len(self.there.faults) > before
        if self.item.pack in self.there.answerable:
            self._refuse_unused(asked, between)
        # Nothing is said of keys that could not be read.
        if (exact or self.item.form.complete) and not wrong:
            self._unique(rows, firsts)
        if self.item.form.complete and not wrong:
            self._complete(rows)
        return Table(
            id=self.item.id,
            label=self.item.form.label,
            columns=self.columns,
            keys=[self.info.columns[name][0] for name in self.info.keys],
            transform=self.item.form.transform,
            cells=[list(column) for column in zip(*rows, strict=True)]
            or [[] for _ in self.columns],
            marks=marks,
            source=source,
            pack=self.item.pack,
            replaced=self.item.replaced,
        )

    def _add(
        self,
        sheet: Sheet,
        row: list[Cell],
        rows: list[list[Scalar | None]],
        alike: dict[tuple[Scalar | None, ...], int],
        marks: dict[str, RowMark],
    ) -> int:
        """Put a row in: at the end, or in the place of the one it says it replaces.

        `alike` are the first rows by what tells rows apart.
        """
        values: list[Scalar | None] = [None] * len(self.columns)
        for index, (cell, column) in enumerate(zip(row, sheet.columns, strict=True)):
            if column.name in NOTES:
                continue
            try:
                values[self.info.columns[column.name][0]] = self._cell(cell, column, index)
            except RuleFault as error:
                self.there.faults.append(error.fault)
        at = len(rows)
        key = tuple(values[place] for place in self.apart)
        replaced = None
        if (self.sheets and sheet is not self.sheets[0]) or self.item.form.columns:
            same = alike.get(key) if key else None
            below = RowMark() if same is None else marks.get(str(same), RowMark())
            replaced = self._replacement(
                sheet, row, None if same is None else rows[same], below.pack or self.item.pack
            )
            at = at if same is None else same
        rows[at : at + 1] = [values]
        alike.setdefault(key, at)
        mark = self._mark(sheet, row, replaced)
        if mark != RowMark():
            marks[str(at)] = mark
        return at

    def _replacement(
        self, sheet: Sheet, row: list[Cell], below: list[Scalar | None] | None, pack: str
    ) -> Replaced | None:
        because, replaces = sheet.note(row, "because"), sheet.note(row, "replaces")
        place = row[0].place
        if below is None:
            if replaces:
                what = "this row names what it replaces, but no earlier row has its keys"
                raise RuleFault(place, "E704", what, "see whether its keys changed")
            return None
        if pack == sheet.item.pack:
            what = "a row with the same keys stands before"
            raise RuleFault(place, "E113", what, "keep one of them")
        digest = hashlib.sha256(canonical_json(below)).hexdigest()[:12]
        if not (because and replaces):
            what = f"the table {self.item.id} already has a row with these keys"
            mend = f"to replace it, fill the columns because and replaces ({digest})"
            raise RuleFault(place, "E702", what, mend)
        if replaces != digest:
            what = "the row that is replaced has changed"
            mend = f"look at it again, then write {digest} under replaces"
            raise RuleFault(row[sheet.notes["replaces"]].place, "E703", what, mend)
        return Replaced(pack=pack, because=because)

    def _mark(self, sheet: Sheet, row: list[Cell], replaced: Replaced | None) -> RowMark:
        source: SourceRef | None = None
        text = sheet.note(row, "source")
        if text:
            source = self.there.source(text, row[sheet.notes["source"]].place)
        elif sheet.item is not self.item:
            source = self.there.source(sheet.item.form.source, sheet.item.place("source"))
        pack = "" if sheet.item.pack == self.item.pack else sheet.item.pack
        return RowMark(pack=pack, source=source, replaced=replaced)

    def _cell(self, cell: Cell, column: Column, index: int) -> Scalar | None:
        try:
            return read_cell(cell.text, column, self.there.edges)
        except ReadingError as error:
            what = f"column {letters(index)} ({column.name}): {error}"
            raise RuleFault(cell.place, "E112", what) from None

    def _refuse_unused(self, asked: set[str], between: set[str]) -> None:
        for name in self.item.form.transform:
            if name in asked - between:
                what = f"no formula interpolates {name}, so nothing is transformed"
                place = self.item.place("transform", name)
                self.there.faults.append(Fault(place, "E204", what, "leave it out"))
        for place, column in zip(self.places, self.columns, strict=True):
            if column.name not in asked:
                what = f"no formula uses the column {column.name}"
                self.there.faults.append(Fault(place, "E204", what, "leave it out"))

    def _ending_in_order(self, rows: list[list[Scalar | None]], firsts: list[Place]) -> None:
        for row, place in zip(rows, firsts, strict=True):
            if not self._overlap(row, row):
                what = "this row ends before it begins to hold"
                mend = "write the earlier day or edition first"
                self.there.faults.append(Fault(place, "E112", what, mend))

    def _unique(self, rows: list[list[Scalar | None]], firsts: list[Place]) -> None:
        """No two rows with the same keys that hold at the same time."""
        keys = [self.info.columns[name][0] for name in self.info.keys]
        seen: dict[tuple[Any, ...], list[int]] = {}
        for index, row in enumerate(rows):
            key = tuple(row[place] for place in keys)
            if None in key:
                self.there.faults.append(Fault(firsts[index], "E112", "a key is empty", "fill it"))
            alike = seen.setdefault(key, [])
            twin = next((other for other in alike if self._overlap(row, rows[other])), None)
            if twin is not None:
                what = f"the same keys stand in line {firsts[twin].line}"
                fault = Fault(firsts[index], "E113", what, "keep one of them")
                self.there.faults.append(fault)
            elif len(alike) == MOST_ALIKE:
                what = f"more than {MOST_ALIKE} rows have the same keys"
                raise RuleFault(firsts[index], "E113", what, "add a key that tells them apart")
            else:
                alike.append(index)

    def _overlap(self, a: list[Scalar | None], b: list[Scalar | None]) -> bool:
        for low, high in (("holds_from", "holds_to"), ("from_edition", "to_edition")):
            ends = []
            for first, second in ((a, b), (b, a)):
                start = self._when(first, low)
                end = self._when(second, high)
                ends.append(start is None or end is None or start <= end)
            if not all(ends):
                return False
        return True

    def _when(self, row: list[Scalar | None], name: str) -> Any:
        """A row's day or edition in its order, None where it names none."""
        if name not in self.info.columns:
            return None
        place = self.info.columns[name][0]
        cell, column = row[place], self.columns[place]
        if cell is None or not column.choices:
            return cell
        return [o.value for o in self.there.edges.choices[column.choices].options].index(str(cell))

    def _complete(self, rows: list[list[Scalar | None]]) -> None:
        """Every combination of choices and flags in the keys has its row."""
        ranges = []
        for name in self.info.keys:
            column = self.columns[self.info.columns[name][0]]
            if column.type not in ("choice", "flag"):
                what = f"{name} is no choice, so the table cannot be complete over it"
                raise RuleFault(self.item.place("complete"), "E115", what, "leave complete out")
            options = self.there.edges.choices[column.choices].options if column.choices else []
            ranges.append([o.value for o in options] if column.choices else [False, True])
        places = [self.info.columns[name][0] for name in self.info.keys]
        there = {tuple(row[place] for place in places) for row in rows}
        missing = [key for key in product(*ranges) if key not in there]
        if missing:
            first = ", ".join(map(str, missing[0]))
            what = f"{len(missing)} combinations have no row, the first is {first}"
            raise RuleFault(
                self.item.place("complete"), "E115", what, "give each combination a row"
            )


def letters(index: int) -> str:
    """A column from 0 as spreadsheets call it: A, Z, AA."""
    more, last = divmod(index, 26)
    return (letters(more - 1) if more else "") + chr(65 + last)


def read_cell(text: str, column: Column, edges: Edges) -> Scalar | None:
    """A cell in SI, None when it is empty. Raises `ReadingError`."""
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
            try:
                seconds(text)
            except ValueError:
                what = f"{text!r} is not a date like 2026-11-25"
                raise ReadingError("date", what) from None
            return text
    number, rest = split_number(text)
    if rest:
        raise ReadingError(
            "number", f"{text!r} is not a bare number; the unit stands in the header"
        )
    value = edges.to_si(number, column.unit) if column.unit else round12(number)
    if not math.isfinite(value):
        raise ReadingError("number", "the number is too large")
    return value


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
                "leave transform out, or the row",
            )
    return None
