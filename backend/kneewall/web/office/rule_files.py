"""Files of the house pack: tables as a grid, the rest as text, with what is wrong at its place."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from flask import abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kneewall.bundle import Bundle
from kneewall.records.errors import EditionError
from kneewall.web.draft import DraftError, FaultShown
from kneewall.web.grid import Grid, pasted_rows, read_grid, write_grid
from kneewall.web.office.base import pages
from kneewall.web.office.visits import unseen
from kneewall.web.services import office
from kneewall.web.table_files import begin_rows, rows_of, table_filled_by

BLANK_ROWS = 3
_BEGINNINGS = {"yaml": "quantities:\n", "csv": "key, value\n"}


@pages.post("/rules/files")
def new_file() -> AnyResponse:
    draft = office().draft
    name = request.form.get("name", "").strip()
    if name in draft.files():
        raise DraftError(f"There is a file {name} already. Open it.")
    draft.write(name, _BEGINNINGS.get(name.rpartition(".")[2], ""))
    return redirect(url_for("office.rule_file", name=name))


@pages.post("/rules/tables")
def new_rows() -> AnyResponse:
    """Begin a file of rows for a table of the packs below."""
    draft, wanted = office().draft, request.form.get("table", "")
    bundle = bundle_at_hand()
    table = next((one for one in bundle.tables if one.id == wanted), None) if bundle else None
    if table is None:
        raise DraftError("Choose a table of the list.")
    name = f"{table.id}.csv"
    for there in {name, f"{table.id}.yaml"} & set(draft.files()):
        raise DraftError(f"There is a file {there} already. Open it.")
    rows, rule = begin_rows(table)
    draft.write(name, rows)
    draft.write(f"{table.id}.yaml", rule)
    return redirect(url_for("office.rule_file", name=name))


def bundle_at_hand() -> Bundle | None:
    """The draft's, or the live edition's while the draft does not compile."""
    made = office().draft.made().bundle
    live = office().editions.live()
    if made is not None or live is None:
        return made
    try:
        return office().editions.engine(live.hash)[0].bundle
    except EditionError:
        return None


@pages.get("/rules/files/<path:name>")
def rule_file(name: str) -> str:
    if name not in office().draft.files():
        abort(404)
    return _page(name, office().draft.read(name), "")


@pages.post("/rules/files/<path:name>")
def keep_file(name: str) -> AnyResponse | tuple[str, int]:
    """Keep a file in the draft, from its text or from its grid; a fault does not stand in the way."""
    draft = office().draft
    if name not in draft.files():
        abort(404)
    before = draft.read(name)
    text, rows = before, None
    try:
        if "remove" in request.form:
            draft.remove(name)
            return redirect(url_for("office.draft"))
        grid = None if "text" in request.form else read_grid(before, name)
        if grid is None:
            text = request.form.get("text", before).replace("\r\n", "\n")
        else:
            rows = _rows(grid)
        if request.form.get("was") != _hash(before):
            raise DraftError("Somebody changed this file since you opened it. Open it again.")
        if grid is not None and rows is not None:
            rows = _with_pasted(rows, grid)
            text = write_grid(before, grid, rows)
        draft.write(name, text)
    except DraftError as error:
        return _page(name, text, str(error), rows), 409
    return redirect(url_for("office.rule_file", name=name))


def _rows(grid: Grid) -> list[list[str]]:
    """The cells of the form; rows left blank at the end are none."""
    form = request.form
    rows = [
        [form.get(f"c{number}-{n}", "").strip() for n in range(len(grid.header))]
        for number in range(len(grid.rows) + BLANK_ROWS)
    ]
    while len(rows) > len(grid.rows) and not any(rows[-1]):
        rows.pop()
    return rows


def _with_pasted(rows: list[list[str]], grid: Grid) -> list[list[str]]:
    pasted = pasted_rows(request.form.get("pasted", ""), grid.header)
    if not pasted:
        return rows
    return pasted if request.form.get("where") == "instead" else rows + pasted


def _page(name: str, text: str, wrong: str, rows: Sequence[Sequence[str]] | None = None) -> str:
    draft = office().draft
    faults = draft.made().faults
    here = [fault for fault in faults if fault.file == name]
    bundle = bundle_at_hand() if name.endswith(".csv") else None
    table = table_filled_by(draft.house, name) if bundle and draft.house else ""
    grid = read_grid(text, name) if name.endswith(".csv") and "text" not in request.args else None
    return render_template(
        "rule_grid.html" if grid else "rule_text.html",
        name=name,
        text=text,
        grid=grid,
        rows=rows,
        marks=_marks(grid, here) if grid else {fault.line: fault for fault in reversed(here)},
        faults=here,
        standing=rows_of(bundle, table) if bundle and table else None,
        elsewhere=len(faults) - len(here),
        was=_hash(draft.read(name)),
        wrong=wrong,
        pasted=request.form.get("pasted", "") if wrong else "",
        blank_rows=BLANK_ROWS,
        unseen=unseen(),
    )


def _marks(grid: Grid, faults: Sequence[FaultShown]) -> dict[tuple[int, int], str]:
    """What is wrong by row and cell; row -1 is the header."""
    by_line = {row.line: number for number, row in enumerate(grid.rows)}
    marks: dict[tuple[int, int], str] = {}
    for fault in faults:
        number = by_line.get(fault.line, -1)
        cell = grid.rows[number].at(fault.column) if number >= 0 else 0
        before = marks.get((number, cell))
        marks[number, cell] = f"{before}. {fault.what}" if before else fault.what
    return marks


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
