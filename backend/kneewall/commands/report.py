"""`kneewall report`: a visit's report as PDF."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from kneewall.commands.place import add_place, open_place
from kneewall.records import devices
from kneewall.records.editions import Editions
from kneewall.records.errors import OfficeError
from kneewall.records.folder import DataFolder
from kneewall.records.report import as_pdf, report_of
from kneewall.records.store import Store
from kneewall.records.view import View


def register(subparsers: Any) -> None:
    parser = subparsers.add_parser("report", help="write a visit's report as PDF")
    parser.add_argument("visit", metavar="VISIT", help="the visit's id, or the beginning of it")
    add_place(parser)
    parser.add_argument("-o", "--output", type=Path, required=True, metavar="FILE")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Exit 0; 2 for bad input."""
    folder, store = open_place(arguments)
    content, visit = _report(folder, store, arguments.visit)
    store.close()
    try:
        arguments.output.write_bytes(content)
    except OSError as error:
        raise OfficeError(f"{arguments.output}: cannot be written: {error.strerror}.") from None
    print(f"{arguments.output}: {len(content):,} bytes, visit {visit}")
    return 0


def _report(folder: DataFolder, store: Store, beginning: str) -> tuple[bytes, str]:
    view = View(store)
    known = {row.visit for row in view.visit_rows(limit=1_000_000)}
    found = sorted(visit for visit in known if visit.startswith(beginning.lower()))
    if len(found) != 1:
        many = "more than one visit begins" if found else "no visit here begins"
        raise OfficeError(f"{many} with {beginning!r}; write more of its id.")
    looked = view.of_visit(found[0])
    if looked is None:
        raise OfficeError(f"visit {found[0]} names no site; nothing to report.")
    ledger = looked[1]
    with store.reading() as connection:
        office = store.meta(connection, "office_name")
    report = report_of(
        ledger,
        ledger.visits[found[0]],
        Editions(store, folder),
        folder,
        devices.names(store),
        office,
    )
    return as_pdf(report), found[0]
