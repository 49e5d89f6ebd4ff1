"""Which record came first: `seq` within one epoch of a device, corrected time between them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import TypeVar

from kneewall.records.envelope import Record
from kneewall.records.ledger import Source, When

T = TypeVar("T", bound=Record)


def when(record: Record) -> When:
    wall = datetime.fromisoformat(record.at.wall).astimezone(UTC)
    offset = record.at.server_offset_ms
    doubtful = offset is None or abs(offset) > 120_000
    try:
        corrected = wall + timedelta(milliseconds=offset or 0)
    except OverflowError:
        corrected, doubtful = wall, True
    return When(corrected, record.at.offset_min, doubtful)


def source(record: Record) -> Source:
    return Source(record.id, record.device, when(record))


def clock(record: Record) -> tuple[datetime, str]:
    return when(record).corrected, record.id


def last_words(records: Sequence[T]) -> list[T]:
    """The last record of each epoch of each device, in order of time; the last one stands."""
    last: dict[tuple[str, str], T] = {}
    for record in records:
        key = (record.device, record.epoch)
        if key not in last or (record.seq, *clock(record)) > (
            last[key].seq,
            *clock(last[key]),
        ):
            last[key] = record
    return sorted(last.values(), key=clock)


def in_order(records: Iterable[T]) -> list[T]:
    """For showing: by time, and never against the order of an epoch.

    A record whose clock stands before that of an earlier one of its epoch is put right after it.
    """
    by_epoch: dict[tuple[str, str], list[T]] = defaultdict(list)
    for record in records:
        by_epoch[record.device, record.epoch].append(record)
    placed: list[tuple[datetime, str, str, int, str, T]] = []
    for (device, epoch), own in by_epoch.items():
        latest: datetime | None = None
        for record in sorted(own, key=lambda r: (r.seq, r.id)):
            moment = when(record).corrected
            latest = moment if latest is None else max(latest, moment)
            placed.append((latest, device, epoch, record.seq, record.id, record))
    return [entry[-1] for entry in sorted(placed, key=lambda entry: entry[:-1])]


def of_sort(records: Iterable[Record], sort: type[T]) -> list[T]:
    return [record for record in records if isinstance(record, sort)]
