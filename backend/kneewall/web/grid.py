"""A CSV table of a pack as a grid of cells, and back, with its comments where they were."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

from kneewall.compiler.errors import RuleFault
from kneewall.compiler.reader import read_csv
from kneewall.web.draft import DraftError

MOST_CELLS = 20_000
OF_A_ROW = ("because", "replaces")
"""Columns that a row needs which stands in for one of the packs below."""


@dataclass(frozen=True)
class GridRow:
    line: int
    cells: list[str]
    columns: list[int]
    """Where each cell begins, from 1."""

    def at(self, column: int) -> int:
        """The cell that a column of the line lies in."""
        return max((n for n, start in enumerate(self.columns) if start <= column), default=0)


@dataclass(frozen=True)
class Grid:
    header: list[str]
    rows: list[GridRow]


def read_grid(text: str, name: str) -> Grid | None:
    """None when the text is no table as it stands, and must be mended as text."""
    try:
        found = read_csv(text, name)
    except RuleFault:
        return None
    if not found or len(found) * len(found[0]) > MOST_CELLS:
        return None
    header, *rows = found
    return Grid(
        [cell.text for cell in header],
        [
            GridRow(
                row[0].place.line,
                [cell.text for cell in row],
                [cell.place.column for cell in row],
            )
            for row in rows
        ],
    )


def write_grid(text: str, grid: Grid, rows: Sequence[Sequence[str]]) -> str:
    """The text with its rows replaced in turn; what is more comes at the end, an empty row goes.

    Comments, blank lines and rows that did not change stay as they were written.
    """
    lines = text.splitlines()
    kept: list[str | None] = list(lines)
    for old, new in zip(grid.rows, rows, strict=False):
        if list(new) != old.cells:
            kept[old.line - 1] = _line(new)
    for old in grid.rows[len(rows) :]:
        kept[old.line - 1] = None
    more = [_line(row) for row in rows[len(grid.rows) :]]
    return "".join(f"{line}\n" for line in (*kept, *more) if line is not None)


def _line(cells: Sequence[str]) -> str | None:
    if not any(cell.strip() for cell in cells):
        return None
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow([cell.strip() for cell in cells])
    written = out.getvalue()
    # A line that begins with # would be a comment.
    return (
        f'"{cells[0].strip()}"{written[len(cells[0].strip()) :]}' if written[0] == "#" else written
    )


def pasted_rows(text: str, header: Sequence[str]) -> list[list[str]]:
    """Rows copied from a spreadsheet, tabs between cells, or CSV; the header may be among them.

    The columns on what a row replaces may be left out where they stand last.

    Raises:
        DraftError: a row has another number of cells than the table has columns.
    """
    lines = [line for line in text.splitlines() if line.strip()]
    between = "\t" if any("\t" in line for line in lines) else ","
    rows = [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=between)]
    if rows and rows[0] == list(header):
        rows = rows[1:]
    notes = sum(column in OF_A_ROW for column in header)
    for number, row in enumerate(rows, 1):
        if len(row) == len(header) - notes and list(header[len(row) :]) == list(OF_A_ROW)[:notes]:
            row += [""] * notes
        if len(row) != len(header):
            raise DraftError(
                f"Row {number} of what was pasted has {len(row)} cells, the table has "
                f"{len(header)} columns. Copy whole rows, in the order of the columns."
            )
        if any("\n" in cell for cell in row):
            raise DraftError(f"Row {number} of what was pasted has a cell of more than one line.")
    return rows
