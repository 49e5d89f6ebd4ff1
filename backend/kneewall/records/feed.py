"""Which records go to which phone, and the page a phone asks for.

A phone is concerned with a system once it has written about it, or a visit on it was assigned to
the phone, or was planned at the office for any. What was recorded on that system before is then
fed to it too, so that what was entered once is not asked for again. Sites, systems, members and
merges go to every phone.

A phone's feed has positions of its own, given in the order of commit; its cursor is the store
generation and the last position read. Of another generation, it starts from the beginning.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from kneewall.records.envelope import (
    RECORD,
    AssignedRecord,
    Record,
    SameAsRecord,
    VisitOpenedRecord,
)
from kneewall.records.schema import concern, device, feed, line
from kneewall.records.store import Store

_TO_ALL = ("site-added", "system-added", "member-added", "same-as")

PAGE_LINES = 500
PAGE_BYTES = 2 * 1024 * 1024


@dataclass(frozen=True)
class Page:
    lines: list[bytes]
    next: str
    more: bool


def distribute(connection: Connection, pos: int, record: Record) -> None:
    """Feed a record just stored to the phones it concerns."""
    if record.system is not None:
        if _is_phone(connection, record.device):
            _concern(connection, record.device, record.system)
        for phone in _meant(connection, record):
            _concern(connection, phone, record.system)
    if isinstance(record, SameAsRecord) and record.body.sort == "system":
        same = _same_systems(connection, record.body.keep)
        rows = connection.execute(sa.select(concern.c.device).where(concern.c.system.in_(same)))
        for phone in sorted(set(rows.scalars())):
            _add_concerns(connection, phone, same)
    if record.system is None or record.kind in _TO_ALL:
        phones = _phones(connection)
    else:
        concerned = sa.select(concern.c.device).where(concern.c.system == record.system)
        phones = list(connection.execute(concerned).scalars())
    _feed(connection, phones, [pos])


def begin_feed(connection: Connection, phone: str) -> None:
    """Feed a phone just enrolled what goes to every phone, and the visits any may take."""
    wanted = sa.or_(line.c.system.is_(None), line.c.kind.in_(_TO_ALL))
    positions = connection.execute(
        sa.select(line.c.pos).where(line.c.state == "stored", wanted).order_by(line.c.pos)
    ).scalars()
    _feed(connection, [phone], positions.all())
    for system in _open_to_any(connection):
        _concern(connection, phone, system)


def page(store: Store, phone: str, after: str | None, limit: int, own: bool) -> Page:
    """Lines of a phone's feed after a cursor, oldest first, its own only when asked for.

    Raises:
        ValueError: the cursor is none of ours.
    """
    with store.reading() as connection:
        generation = store.meta(connection, "store_generation")
        start = _start(after, generation)
        wanted = [feed.c.device == phone, feed.c.pos > start]
        if not own:
            wanted.append(line.c.device != phone)
        rows = connection.execute(
            sa.select(feed.c.pos, line.c.raw)
            .join(line, line.c.pos == feed.c.line)
            .where(*wanted)
            .order_by(feed.c.pos)
            .limit(limit + 1)
        ).all()
    taken: list[bytes] = []
    size = 0
    last = start
    for row in rows[:limit]:
        size += len(row.raw)
        if taken and size > PAGE_BYTES:
            break
        taken.append(row.raw)
        last = row.pos
    return Page(taken, f"{generation}.{last}", more=len(taken) < len(rows))


def _start(after: str | None, generation: str) -> int:
    if after is None:
        return 0
    of, dot, position = after.partition(".")
    if not dot or not position.isdecimal() or len(position) > 18:
        raise ValueError(after)
    return int(position) if of == generation else 0


def _phones(connection: Connection) -> list[str]:
    rows = connection.execute(sa.select(device.c.id).where(device.c.sort == "phone"))
    return [str(one) for one in rows.scalars()]


def _meant(connection: Connection, record: Record) -> list[str]:
    """The phones that a plan or an assignment is meant for."""
    if isinstance(record, AssignedRecord):
        if record.body.to is None:
            return _phones(connection)
        return [record.body.to] if _is_phone(connection, record.body.to) else []
    if isinstance(record, VisitOpenedRecord) and not _is_phone(connection, record.device):
        assigned = sa.select(line.c.pos).where(
            line.c.visit == record.visit, line.c.kind == "assigned", line.c.state == "stored"
        )
        return [] if connection.execute(assigned).first() else _phones(connection)
    return []


def _open_to_any(connection: Connection) -> list[str]:
    """Systems with a visit that was planned at the office for any phone and is not closed."""
    rows = connection.execute(
        sa.select(line.c.raw)
        .where(line.c.state == "stored", line.c.kind.in_(("visit-opened", "assigned", "closed")))
        .order_by(line.c.pos)
    ).scalars()
    phones = set(_phones(connection))
    open_to_any: dict[str, str] = {}
    settled: set[str] = set()
    for raw in rows:
        record = RECORD.validate_json(raw)
        if record.visit is None or record.system is None:
            continue
        if isinstance(record, VisitOpenedRecord):
            if record.device not in phones and record.visit not in settled:
                open_to_any[record.visit] = record.system
        elif isinstance(record, AssignedRecord) and record.body.to is None:
            open_to_any[record.visit] = record.system
        else:
            settled.add(record.visit)
            open_to_any.pop(record.visit, None)
    return sorted(set(open_to_any.values()))


def _is_phone(connection: Connection, one: str) -> bool:
    return (
        connection.execute(
            sa.select(device.c.id).where(device.c.id == one, device.c.sort == "phone")
        ).first()
        is not None
    )


def _same_systems(connection: Connection, system: str) -> set[str]:
    """The system and all that were said to be the same."""
    pairs = []
    for raw in connection.execute(
        sa.select(line.c.raw).where(line.c.state == "stored", line.c.kind == "same-as")
    ).scalars():
        record = RECORD.validate_json(raw)
        if isinstance(record, SameAsRecord) and record.body.sort == "system":
            pairs.append({record.body.keep, record.body.other})
    same = {system}
    grown = True
    while grown:
        grown = False
        for pair in pairs:
            if same & pair and not pair <= same:
                same |= pair
                grown = True
    return same


def _concern(connection: Connection, phone: str, system: str) -> None:
    known = sa.select(concern.c.device).where(concern.c.device == phone, concern.c.system == system)
    if connection.execute(known).first() is None:
        _add_concerns(connection, phone, _same_systems(connection, system))


def _add_concerns(connection: Connection, phone: str, systems: set[str]) -> None:
    known = sa.select(concern.c.system).where(concern.c.device == phone)
    new = sorted(systems - set(connection.execute(known).scalars()))
    if not new:
        return
    connection.execute(sa.insert(concern), [{"device": phone, "system": one} for one in new])
    positions = connection.execute(
        sa.select(line.c.pos)
        .where(line.c.state == "stored", line.c.system.in_(new))
        .order_by(line.c.pos)
    ).scalars()
    _feed(connection, [phone], positions.all())


def _feed(connection: Connection, phones: Iterable[str], positions: Iterable[int]) -> None:
    wanted = list(positions)
    for phone in sorted(phones):
        held: set[int] = set()
        for start in range(0, len(wanted), 500):
            some = wanted[start : start + 500]
            rows = connection.execute(
                sa.select(feed.c.line).where(feed.c.device == phone, feed.c.line.in_(some))
            )
            held.update(rows.scalars())
        missing = [pos for pos in wanted if pos not in held]
        if missing:
            connection.execute(sa.insert(feed), [{"device": phone, "line": pos} for pos in missing])
