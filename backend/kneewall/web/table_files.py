"""Tables of the packs below as files that the house pack can fill: their header, and their rows to read."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from kneewall.bundle import Bundle, Column, Scalar, Table
from kneewall.reading import Edges, edges_of, round12
from kneewall.web.grid import OF_A_ROW

MOST_SHOWN = 500


def begin_rows(table: Table) -> tuple[str, str]:
    """A CSV file with the header of a table, and the rule file that puts its rows in."""
    header = [*(f"{column.name} [{_kind(column)}]" for column in table.columns), *OF_A_ROW]
    rule = f"rows:\n  {table.id}: {{source: common-practice, file: {table.id}.csv}}\n"
    return ", ".join(header) + "\n", rule


def table_filled_by(house: Path, name: str) -> str:
    """The id of the table that a CSV file of the pack holds rows of; empty when none says so."""
    for file in sorted(house.rglob("*.yaml")):
        try:
            document = YAML(typ="safe").load(file.read_text(encoding="utf-8"))
        except (YAMLError, OSError, ValueError):
            continue
        for section in ("rows", "tables"):
            items = document.get(section) if isinstance(document, dict) else None
            for table, form in items.items() if isinstance(items, dict) else ():
                named = form.get("file") if isinstance(form, dict) else None
                if named and (file.parent / str(named)).relative_to(house).as_posix() == name:
                    return str(table)
    return ""


def rows_of(bundle: Bundle, table_id: str) -> tuple[list[str], list[list[str]]] | None:
    """Header and rows of a table in its own units; None when there is no such table."""
    table = next((one for one in bundle.tables if one.id == table_id), None)
    if table is None:
        return None
    edges = edges_of(bundle)
    header = [f"{column.name} [{_kind(column)}]" for column in table.columns]
    cells = zip(*table.cells, strict=True) if table.cells else ()
    rows = [
        [_cell(edges, column, value) for column, value in zip(table.columns, row, strict=True)]
        for row in cells
    ]
    return header, rows[:MOST_SHOWN]


def _kind(column: Column) -> str:
    return column.unit or column.choices or column.type


def _cell(edges: Edges, column: Column, value: Scalar | None) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if column.type == "date":
        return f"{datetime.fromtimestamp(value, UTC):%Y-%m-%d}"
    return f"{round12(edges.from_si(value, column.unit)) if column.unit else value:.10g}"
