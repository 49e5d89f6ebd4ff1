"""`kneewall review`: recorded visits through the office's engine, and what differs."""

from __future__ import annotations

import argparse
import threading
from functools import cache
from pathlib import Path
from typing import Any

from kneewall.bundle import BundleError, load_bundle
from kneewall.commands.place import add_place, open_place
from kneewall.engine import Engine
from kneewall.records.alike import Pair
from kneewall.records.editions import Editions
from kneewall.records.errors import EditionError
from kneewall.records.review import Difference, Found, review
from kneewall.records.view import View


def register(subparsers: Any) -> None:
    parser = subparsers.add_parser(
        "review", help="evaluate recorded visits again and show what differs"
    )
    add_place(parser)
    parser.add_argument(
        "--edition",
        metavar="HASH|FILE",
        help="compare with this edition (its hash or the beginning of it), or with a bundle that "
        "is not published; else with what the phones found",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Exit 0, whether something differs or not; 2 for bad input."""
    folder, store = open_place(arguments)
    editions, view = Editions(store, folder), View(store)
    other = _engine(editions, arguments.edition) if arguments.edition else None

    @cache
    def beside(edition: str) -> Pair:
        assert other is not None
        return Pair(*editions.engine(edition), *other)

    looked_at = differing = 0
    for row in view.visit_rows(limit=1_000_000):
        found = view.of_visit(row.visit)
        if found is None:
            continue
        ledger = found[1]
        visit = ledger.visits[row.visit]
        if visit.edition is None:
            continue
        site = ledger.sites.get(visit.site)
        name = f"{site.name if site else visit.site}, {visit.title or 'untitled'}, {visit.id}"
        try:
            differences = (
                beside(visit.edition).changed(ledger, visit)
                if other
                else review(ledger, visit, editions, visit.edition).differences
            )
        except EditionError as error:
            print(f"{name}: not evaluated. {error}")
            continue
        looked_at += 1
        differing += bool(differences)
        for difference in differences:
            print(f"{name}: {_shown(difference, phone=other is None)}")
    what = "with other verdicts" if other else "with differences"
    print(f"{looked_at} visits evaluated, {differing} {what}")
    store.close()
    return 0


def _engine(editions: Editions, wanted: str) -> tuple[Engine, threading.Lock]:
    """Of a bundle file, or of the edition whose hash begins so."""
    if Path(wanted).is_file():
        try:
            return Engine(load_bundle(Path(wanted).read_bytes())), threading.Lock()
        except (BundleError, OSError) as error:
            raise EditionError(f"{wanted}: {error}") from None
    hashes = {one.hash for one in editions.all() if one.hash.startswith(wanted.lower())}
    if len(hashes) != 1:
        many = "more than one edition begins" if hashes else "no edition here begins"
        raise EditionError(f"{many} with {wanted!r}; write more of its hash.")
    return editions.engine(hashes.pop())


def _shown(difference: Difference, *, phone: bool) -> str:
    member = f" of member {difference.member}" if difference.member else ""
    before, after = _side(difference.before), _side(difference.after)
    verbs = ("phone", "office") if phone else ("was", "becomes")
    return f"{difference.what}{member}: {verbs[0]} {before}, {verbs[1]} {after}"


def _side(side: str | Found | None) -> str:
    if side is None:
        return "absent"
    if isinstance(side, Found):
        return f"unknown ({side.why})" if side.why else f"{side.si}"
    return side
