"""The rows of a table as one pack wrote them: a CSV file or text, its heading read, its cells still as they stand."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from kneewall.bundle import Column
from kneewall.compiler.declare import Declared
from kneewall.compiler.errors import Place, RuleFault, nearest, refuse_keyword
from kneewall.compiler.packs import Item
from kneewall.compiler.reader import Cell, is_file, read_csv, read_text
from kneewall.compiler.schema import RowsForm, TableForm
from kneewall.reading import ReadingError

_HEADER: Final = re.compile(r"([a-z][a-z0-9_]*) \[([^\]]+)\]")
PLAIN: Final = {"number", "text", "flag", "date"}
NOTES: Final = {"source", "because", "replaces"}
"""Columns about a row itself: its own source, and what it replaces and why."""


@dataclass
class Sheet:
    """Rows as one pack wrote them."""

    item: Item[Any]
    columns: list[Column]
    places: list[Place]
    rows: list[list[Cell]]
    written: list[list[Cell]]
    """Those and the header."""
    notes: dict[str, int] = field(default_factory=dict)

    def note(self, row: list[Cell], name: str) -> str:
        return row[self.notes[name]].text if name in self.notes else ""


def read_sheet(there: Declared, item: Item[TableForm] | Item[RowsForm]) -> Sheet:
    """The CSV of a table or of rows for one, with its header read. Raises `RuleFault`."""
    form = item.form
    if form.file:
        path = Path(item.document.file).parent / form.file
        if ".." in Path(form.file).parts or Path(form.file).is_absolute():
            what = f"{form.file} is outside its folder"
            raise RuleFault(item.place("file"), "E108", what, "put it beside this file")
        if not is_file(path):
            beside = [found.name for found in path.parent.glob("*.csv")]
            what = f"there is no file {form.file} beside this one"
            mend = nearest(form.file, beside) or "save the table as CSV under this name"
            raise RuleFault(item.place("file"), "E108", what, mend)
        text = read_text(path, path.as_posix())
        rows = there.kept.text(
            ("csv", path.as_posix()), text, lambda: read_csv(text, path.as_posix())
        )
    else:
        start = item.place("rows")
        first = Place(start.file, start.line + 1, 1)
        key = ("rows", first.file, str(first.line))
        rows = there.kept.text(key, form.rows, lambda: read_csv(form.rows, start.file, first))
    if not rows:
        place = item.place("file" if form.file else "rows")
        raise RuleFault(place, "E111", "the table has no header")
    sheet = Sheet(item, [], [], rows[1:], rows)
    for index, cell in enumerate(rows[0]):
        if cell.text in NOTES:
            sheet.notes[cell.text] = index
            sheet.columns.append(Column(name=cell.text, type="text"))
            sheet.places.append(cell.place)
            continue
        found = _HEADER.fullmatch(cell.text)
        if not found:
            what = f"{cell.text!r} is not a column"
            raise RuleFault(cell.place, "E111", what, _as_column(cell.text))
        sheet.columns.append(read_column(there, found[1], found[2], cell.place))
        sheet.places.append(cell.place)
    names = [column.name for column in sheet.columns]
    for index, name in enumerate(names):
        if name in names[:index]:
            raise RuleFault(sheet.places[index], "E111", f"the column {name} stands twice")
    return sheet


def _as_column(text: str) -> str:
    """How a heading may be written that is no column."""
    found = re.fullmatch(r"\s*([^\[(]*?)\s*(?:[\[(]\s*(.*?)\s*[\])])?\s*", text)
    name = re.sub(r"\W+", "_", found[1].lower()).strip("_") if found else ""
    if not name:
        return "write name [unit], or leave out the comma before it"
    kind = found[2] if found and found[2] else "unit"
    plain = "; without a unit [number], [text], [flag] or [date]" if kind == "unit" else ""
    return f"write {name} [{kind}]{plain}"


def read_column(there: Declared, name: str, kind: str, place: Place) -> Column:
    """A column of this name and unit, choice list or plain type. Raises `RuleFault`."""
    refuse_keyword(name, place)
    if kind in PLAIN:
        return Column(name=name, type=kind)  # type: ignore[arg-type]
    if kind in there.edges.choices:
        return Column(name=name, type="choice", choices=kind)
    try:
        return Column(name=name, unit=there.edges.find_unit(kind))
    except ReadingError:
        known = [*there.edges.choices, *there.edges.spellings, *PLAIN]
        what = f"[{kind}] is no unit, choice list or type"
        raise RuleFault(place, "E301", what, nearest(kind, known)) from None
