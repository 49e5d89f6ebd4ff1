"""`kneewall publish`: make a bundle, or the rules in pack folders, the live edition."""

from __future__ import annotations

import argparse
import getpass
import sys
from pathlib import Path
from typing import Any

from kneewall import __version__
from kneewall.bundle import Bundle
from kneewall.commands.place import add_place, data_of, open_place
from kneewall.compiler import CompileError, compile_packs, failures
from kneewall.records.editions import Editions
from kneewall.records.errors import EditionError
from kneewall.web.draft import packs_on_disk


def register(subparsers: Any) -> None:
    parser = subparsers.add_parser("publish", help="make rules the live edition")
    parser.add_argument(
        "what",
        nargs="*",
        type=Path,
        metavar="BUNDLE|PACK",
        help="one bundle file, or pack folders in rank order; without: the trade pack and the packs "
        "of the data folder; an older edition's file goes back",
    )
    add_place(parser)
    parser.add_argument("--note", required=True, help="what changed, for the people who use it")
    parser.add_argument("--author", default=None, help="who publishes; else the signed-in user")
    parser.add_argument(
        "--least-app",
        default=__version__,
        metavar="RELEASE",
        help=f"least release of the phone app that can use it ({__version__})",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Exit 0; 1 with a line a fault when the rules do not compile; 2 for other bad input."""
    try:
        on_disk = [pack.folder for pack in packs_on_disk(data_of(arguments))]
        raw = _bytes(arguments.what or on_disk)
    except CompileError as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return 1
    folder, store = open_place(arguments)
    new = Editions(store, folder).publish(
        raw,
        author=arguments.author or getpass.getuser(),
        note=arguments.note,
        least_app=arguments.least_app,
        prove=prove,
    )
    store.close()
    print(f"edition {new.number} is live: {new.size:,} bytes, {new.hash}, by {new.author}")
    return 0


def prove(bundle: Bundle) -> list[str]:
    return [line for _, line in failures(bundle)]


def _bytes(what: list[Path]) -> bytes:
    if len(what) == 1 and what[0].is_file():
        try:
            return what[0].read_bytes()
        except OSError as error:
            raise EditionError(f"{what[0]}: cannot be read: {error.strerror}.") from None
    for path in what:
        if not path.is_dir():
            raise EditionError(f"{path}: neither one bundle file nor a pack folder.")
    return compile_packs(what).raw
