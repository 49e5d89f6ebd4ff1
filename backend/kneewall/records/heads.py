"""How far each epoch of a device has come: what the office holds and what the phone claims."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from kneewall.records.alarms import raise_alarm
from kneewall.records.clock import stamp
from kneewall.records.schema import alarm, event, head, line, photo

_MOST_HOLES = 100


@dataclass(frozen=True)
class EpochHeld:
    """What is held of one epoch. `holes` are missing ranges below `highest`, first and last."""

    device: str
    epoch: str
    contiguous_through: int
    highest: int
    holes: list[tuple[int, int]]


@dataclass(frozen=True)
class Claim:
    """What a phone says of one of its epochs."""

    epoch: str
    seq: int
    count: int
    hash: str | None


def held(connection: Connection, device: str, epoch: str) -> EpochHeld:
    """What is held counts whether it was understood or not, as long as the device itself (or the
    office) brought it."""
    mine = sa.and_(
        line.c.device == device,
        line.c.epoch == epoch,
        line.c.seq.is_not(None),
        sa.or_(line.c.state == "stored", line.c.delivered_by == device),
    )
    numbers = sa.select(line.c.seq).where(mine).distinct().subquery()
    before = sa.func.lag(numbers.c.seq, 1, 0).over(order_by=numbers.c.seq).label("before")
    steps = sa.select(numbers.c.seq, before).subquery()
    jumps = connection.execute(
        sa.select(steps.c.before, steps.c.seq)
        .where(steps.c.seq - steps.c.before > 1)
        .order_by(steps.c.seq)
        .limit(_MOST_HOLES)
    ).all()
    highest = connection.execute(sa.select(sa.func.max(line.c.seq)).where(mine)).scalar() or 0
    holes = [(row.before + 1, row.seq - 1) for row in jumps]
    through = holes[0][0] - 1 if holes else highest
    return EpochHeld(device, epoch, through, highest, holes)


def all_held(connection: Connection, device: str) -> list[EpochHeld]:
    """Every epoch of a device that the office holds records of or was told of."""
    of_lines = sa.select(line.c.epoch).where(
        line.c.device == device, line.c.epoch.is_not(None), line.c.seq.is_not(None)
    )
    of_claims = sa.select(head.c.epoch).where(head.c.device == device)
    epochs = connection.execute(sa.union(of_lines, of_claims)).scalars()
    return [held(connection, device, epoch) for epoch in sorted(epochs)]


def claims(connection: Connection, device: str) -> dict[str, Claim]:
    rows = connection.execute(sa.select(head).where(head.c.device == device))
    return {row.epoch: Claim(row.epoch, row.seq, row.kept, row.hash) for row in rows}


def note_claims(connection: Connection, device: str, told: Iterable[Claim]) -> None:
    """Keep what a phone says of itself; raise an alarm where the office knows better.

    A phone that has less than the office was once told, or another record at the same place, has
    lost records or was restored from a backup.
    """
    known = claims(connection, device)
    for claim in told:
        before = known.get(claim.epoch)
        here = held(connection, device, claim.epoch)
        least = max(here.highest, before.seq if before else 0)
        if claim.seq < least:
            raise_alarm(
                connection,
                device,
                "behind",
                f"{claim.epoch} {claim.seq}",
                f"The phone says its last record is {claim.seq}; it once had {least}. "
                "Its database was set back or damaged.",
            )
        elif claim.hash is not None and claim.seq <= here.highest:
            at_place = connection.execute(
                sa.select(line.c.hash).where(
                    line.c.device == device,
                    line.c.epoch == claim.epoch,
                    line.c.seq == claim.seq,
                )
            ).scalars()
            hashes = set(at_place)
            if hashes and claim.hash not in hashes:
                raise_alarm(
                    connection,
                    device,
                    "fork",
                    f"{claim.epoch} {claim.seq}",
                    f"The phone's record {claim.seq} is another than the one held here.",
                )
        values = {"seq": claim.seq, "kept": claim.count, "hash": claim.hash, "told": stamp()}
        key = sa.and_(head.c.device == device, head.c.epoch == claim.epoch)
        if before is None:
            connection.execute(sa.insert(head).values(device=device, epoch=claim.epoch, **values))
        else:
            connection.execute(sa.update(head).where(key).values(**values))


def missing_photos(connection: Connection, device: str) -> list[str]:
    """Hashes of photos that records of this device name and that are not held."""
    rows = connection.execute(
        sa.select(line.c.photo)
        .distinct()
        .outerjoin(photo, photo.c.hash == line.c.photo)
        .where(
            line.c.state == "stored",
            line.c.device == device,
            line.c.photo.is_not(None),
            photo.c.hash.is_(None),
        )
        .order_by(line.c.photo)
    ).scalars()
    return [str(one) for one in rows]


def unseen(connection: Connection) -> dict[str, int]:
    """How many lines are in quarantine, and what phones told or we noticed, not yet looked at."""
    return {
        "quarantined": _count(connection, line.c.state == "quarantined"),
        "told": _count(connection, event.c.seen.is_(None))
        + _count(connection, alarm.c.seen.is_(None)),
    }


def _count(connection: Connection, wanted: sa.ColumnElement[bool]) -> int:
    return connection.execute(sa.select(sa.func.count()).where(wanted)).scalar_one()
