"""Looking at records: the fold of what belongs together, made again only when it changed.

Everything of one site is folded together, since what is kept with the site or the system counts
on every visit there. Sites and systems alone are folded over the whole office for lists.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from kneewall.records.envelope import RECORD, Record
from kneewall.records.fold import fold
from kneewall.records.ledger import Ledger
from kneewall.records.schema import line
from kneewall.records.store import Store

_PLACE_KINDS = ("site-added", "system-added", "member-added", "same-as")
_AMENDING = ("corrected", "voided", "commented")
_LEDGERS_KEPT = 400


@dataclass(frozen=True)
class VisitRow:
    """A visit as the list finds it: its id, a site it was recorded at, its last line."""

    visit: str
    site: str
    last: int
    received: str


@dataclass(frozen=True)
class RawRecord:
    pos: int
    received: str
    delivered_by: str
    raw: bytes
    record: Record


class View:
    def __init__(self, store: Store) -> None:
        self.store = store
        self._guard = threading.Lock()
        self._places: tuple[int, Ledger] = (-1, Ledger({}, {}, {}))
        self._ledgers: OrderedDict[tuple[str, ...], tuple[int, Ledger]] = OrderedDict()

    def places(self) -> Ledger:
        """All sites and systems; no visits."""
        kinds = sa.and_(line.c.state == "stored", line.c.kind.in_((*_PLACE_KINDS, "voided")))
        with self.store.reading() as connection:
            version = _version(connection, kinds)
            with self._guard:
                if self._places[0] == version:
                    return self._places[1]
            rows = connection.execute(sa.select(line.c.raw).where(kinds)).scalars()
            records = [RECORD.validate_json(raw) for raw in rows]
        named = {r.id for r in records if r.kind in _PLACE_KINDS}
        found = fold(
            r
            for r in records
            if r.kind in _PLACE_KINDS or (r.kind == "voided" and r.body.record in named)
        )
        ledger = Ledger(found.sites, found.systems, {})
        with self._guard:
            self._places = (version, ledger)
        return ledger

    def site_ids(self, site: str) -> tuple[str, ...]:
        """The site and all that were found to be the same."""
        for found in self.places().sites.values():
            if site == found.id or site in found.also:
                return (found.id, *found.also)
        return (site,)

    def of_site(self, site: str) -> tuple[int, Ledger]:
        """Everything of one site, and a number that changes whenever it does."""
        sites = self.site_ids(site)
        wanted = sa.and_(
            line.c.state == "stored",
            sa.or_(
                line.c.site.in_(sites),
                sa.and_(line.c.site.is_(None), line.c.kind.in_((*_AMENDING, "same-as"))),
            ),
        )
        with self.store.reading() as connection:
            version = _version(connection, wanted)
            with self._guard:
                held = self._ledgers.get(sites)
                if held is not None and held[0] == version:
                    self._ledgers.move_to_end(sites)
                    return held
            rows = connection.execute(sa.select(line.c.raw).where(wanted)).scalars()
            ledger = fold(RECORD.validate_json(raw) for raw in rows)
        with self._guard:
            self._ledgers[sites] = version, ledger
            while len(self._ledgers) > _LEDGERS_KEPT:
                self._ledgers.popitem(last=False)
        return version, ledger

    def of_visit(self, visit: str) -> tuple[int, Ledger] | None:
        """Everything of the site of a visit; None when there is no such visit."""
        with self.store.reading() as connection:
            site = connection.execute(
                sa.select(line.c.site)
                .where(line.c.visit == visit, line.c.state == "stored", line.c.site.is_not(None))
                .order_by(line.c.pos)
                .limit(1)
            ).scalar()
        if site is None:
            return None
        found = self.of_site(site)
        return found if visit in found[1].visits else None

    def visit_rows(
        self, limit: int, offset: int = 0, sites: Sequence[str] | None = None
    ) -> list[VisitRow]:
        """Visits, the one with the latest record first."""
        where = [line.c.state == "stored", line.c.visit.is_not(None), line.c.site.is_not(None)]
        if sites is not None:
            where.append(line.c.site.in_(sites))
        last = sa.func.max(line.c.pos).label("last")
        query = (
            sa.select(
                line.c.visit,
                sa.func.min(line.c.site).label("site"),
                last,
                sa.func.max(line.c.received).label("received"),
            )
            .where(*where)
            .group_by(line.c.visit)
            .order_by(last.desc())
            .limit(limit)
            .offset(offset)
        )
        with self.store.reading() as connection:
            rows = connection.execute(query).all()
        return [VisitRow(row.visit, row.site, row.last, row.received) for row in rows]

    def raw_of_visit(self, visit: str) -> list[RawRecord]:
        """The records of a visit as they came."""
        with self.store.reading() as connection:
            rows = connection.execute(
                sa.select(line)
                .where(line.c.visit == visit, line.c.state == "stored")
                .order_by(line.c.pos)
            ).all()
        return [
            RawRecord(
                row.pos, row.received, row.delivered_by, row.raw, RECORD.validate_json(row.raw)
            )
            for row in rows
        ]


def _version(connection: Connection, wanted: sa.ColumnElement[bool]) -> int:
    """Lines are only ever added or let out of quarantine: their number tells any change."""
    found = connection.execute(sa.select(sa.func.count()).select_from(line).where(wanted))
    return int(found.scalar_one())
