"""`kneewall backup` and `kneewall restore`: all of an office in one file."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from kneewall.commands.place import add_place, data_of, open_place
from kneewall.records.backup import back_up, restore


def register(subparsers: Any) -> None:
    saving = subparsers.add_parser("backup", help="write all of the office into one file")
    saving.add_argument("file", type=Path, metavar="FILE", help="a new file, best named .tar.gz")
    add_place(saving)
    saving.set_defaults(run=run_backup)
    restoring = subparsers.add_parser("restore", help="make an office from a backup")
    restoring.add_argument("file", type=Path, metavar="FILE")
    add_place(restoring)
    restoring.set_defaults(run=run_restore)


def run_backup(arguments: argparse.Namespace) -> int:
    folder, store = open_place(arguments)
    size = back_up(store, folder, arguments.file)
    store.close()
    print(f"{arguments.file}: {size:,} bytes. It holds secrets and customers' data: keep it safe.")
    return 0


def run_restore(arguments: argparse.Namespace) -> int:
    data = data_of(arguments)
    lines = restore(arguments.file, data, arguments.database)
    print(
        f"{data}: restored with {lines:,} record lines. Phones will offer again what they kept "
        "at their next contact."
    )
    return 0
