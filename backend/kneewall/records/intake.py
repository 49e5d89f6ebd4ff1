"""Taking lines in: kept raw first, judged after, each for itself.

    take_in(lines) -> keep the raw bytes, commit -> judge each in its own savepoint, commit -> answers

A line that cannot be understood, that speaks for another device or that takes an id already used
for other bytes is quarantined: held, shown at the office, and no hindrance to the others. A line
whose judging fails here through a fault of ours is quarantined too, and judged anew at the next
start. A fork (two records with the same device, epoch and seq) is two records: both are kept and
count, and an alarm tells the office.
"""

from __future__ import annotations

import hashlib
import json
import logging
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import sqlalchemy as sa
from pydantic import ValidationError
from sqlalchemy.engine import Connection

from kneewall.records.alarms import raise_alarm
from kneewall.records.clock import stamp
from kneewall.records.envelope import LINE_LIMIT, RECORD, RECORD_VERSION, PhotoRecord, Record
from kneewall.records.feed import distribute
from kneewall.records.schema import AnyRow, device, line
from kneewall.records.store import Store

log = logging.getLogger("kneewall.intake")

BY_IMPORT = "import"
"""`delivered_by` of lines from a file that somebody at the office read in."""

_UUID = re.compile(r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")
_RETRY_CODES = ("not-understood", "fault")


@dataclass(frozen=True)
class Answer:
    id: str | None
    hash: str
    status: Literal["stored", "duplicate", "quarantined"]
    reason: str | None = None


class _NotStoredError(Exception):
    def __init__(self, code: str, reason: str) -> None:
        super().__init__(reason)
        self.code = code
        self.reason = reason


def line_hash(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def split_lines(body: bytes) -> list[bytes]:
    """The record lines of a JSON Lines document; empty lines are none."""
    return [raw for raw in (part.rstrip(b"\r") for part in body.split(b"\n")) if raw]


def take_in(store: Store, lines: Sequence[bytes], delivered_by: str) -> list[Answer]:
    """Keep and judge lines. Every answer stands for bytes that are committed to disk.

    Args:
        delivered_by: id of the device whose token came with them, or `BY_IMPORT`.
    """
    hashes = [line_hash(raw) for raw in lines]
    with store.writing() as connection:
        before = _states(connection, hashes)
        fresh = {h: raw for h, raw in zip(hashes, lines, strict=True) if h not in before}
        if fresh:
            received = stamp()
            connection.execute(
                sa.insert(line),
                [
                    {
                        "hash": h,
                        "raw": raw,
                        "delivered_by": delivered_by,
                        "received": received,
                        "state": "received",
                        **_loose_fields(raw),
                    }
                    for h, raw in fresh.items()
                ],
            )
    judge_received(store, hashes)
    with store.reading() as connection:
        after = _states(connection, hashes)
    answers = []
    told: set[str] = set()
    for h in hashes:
        row = after[h]
        status: Literal["stored", "duplicate", "quarantined"]
        if row.state == "quarantined":
            status = "quarantined"
        elif (h in before and before[h].state == "stored") or h in told:
            status = "duplicate"
        else:
            status = "stored"
        told.add(h)
        answers.append(Answer(row.record, h, status, row.reason))
    return answers


def judge_received(store: Store, hashes: Iterable[str] | None = None) -> None:
    """Judge what is kept and not judged yet: the given lines, or all (after a crash)."""
    wanted = line.c.state == "received"
    if hashes is not None:
        wanted = sa.and_(wanted, line.c.hash.in_(list(hashes)))
    with store.writing() as connection:
        rows = connection.execute(sa.select(line).where(wanted).order_by(line.c.pos)).all()
        for row in rows:
            _judge(connection, row)


def rejudge_quarantined(store: Store) -> int:
    """Look again at what an earlier release did not understand. Returns how many it now does."""
    with store.writing() as connection:
        rows = connection.execute(
            sa.select(line)
            .where(line.c.state == "quarantined", line.c.code.in_(_RETRY_CODES))
            .order_by(line.c.pos)
        ).all()
        return sum(_judge(connection, row) for row in rows)


def accept(store: Store, positions: Iterable[int]) -> list[tuple[int, str]]:
    """Store quarantined lines that were held back only for who brought them.

    Returns the positions that stay in quarantine, each with its reason.
    """
    stay: list[tuple[int, str]] = []
    with store.writing() as connection:
        for pos in sorted(set(positions)):
            row = connection.execute(
                sa.select(line).where(line.c.pos == pos, line.c.state == "quarantined")
            ).first()
            if row is not None and not _judge(connection, row, accepted=True):
                reason = connection.execute(
                    sa.select(line.c.reason).where(line.c.pos == pos)
                ).scalar_one()
                stay.append((pos, str(reason)))
    return stay


def _states(connection: Connection, hashes: Sequence[str]) -> dict[str, AnyRow]:
    rows = connection.execute(
        sa.select(line.c.hash, line.c.state, line.c.reason, line.c.record).where(
            line.c.hash.in_(hashes)
        )
    )
    return {row.hash: row for row in rows}


def _judge(connection: Connection, row: AnyRow, accepted: bool = False) -> bool:
    """Store the line or leave it in quarantine; true when stored."""
    try:
        with connection.begin_nested():
            record = _read(row.raw)
            if not accepted:
                _may_bring(connection, row, record)
            _id_is_free(connection, row, record)
            connection.execute(
                sa.update(line)
                .where(line.c.pos == row.pos)
                .values(state="stored", code=None, reason=None, **_fields(record))
            )
            _watch_sequence(connection, row, record)
            distribute(connection, row.pos, record)
        return True
    except _NotStoredError as refusal:
        code, reason = refusal.code, refusal.reason
    except Exception:
        log.exception("line %s could not be judged", row.hash)
        code, reason = "fault", "A fault at the office kept this record from being read."
    connection.execute(
        sa.update(line)
        .where(line.c.pos == row.pos)
        .values(state="quarantined", code=code, reason=reason)
    )
    if code == "same-id":
        raise_alarm(connection, row.device or row.delivered_by, "same-id", row.hash, reason)
    return False


def _read(raw: bytes) -> Record:
    if len(raw) > LINE_LIMIT:
        raise _NotStoredError(
            "not-understood", f"The line is longer than {LINE_LIMIT // 1024} KiB."
        )
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _NotStoredError("not-understood", f"Byte {error.start} is not UTF-8.") from None
    try:
        return RECORD.validate_json(raw)
    except ValidationError as error:
        raise _NotStoredError("not-understood", _plainly(raw, error)) from None


def _plainly(raw: bytes, error: ValidationError) -> str:
    found = _loose(raw)
    version = found.get("version")
    if isinstance(version, int) and version > RECORD_VERSION:
        return f"Record version {version} is newer than this office reads. Update the office."
    fault = error.errors(include_url=False, include_input=False)[0]
    if fault["type"] == "union_tag_invalid":
        return f"The kind {str(found.get('kind'))[:60]!r} is not known to this office."
    place = ".".join(str(part) for part in fault["loc"][1:])[:200]
    said = f"{place}: {fault['msg']}." if place else f"{fault['msg']}."
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in said)


def _may_bring(connection: Connection, row: AnyRow, record: Record) -> None:
    author = connection.execute(
        sa.select(device.c.name, device.c.revoked).where(device.c.id == record.device)
    ).first()
    if author is None:
        raise _NotStoredError("unknown-device", "The device that wrote it was never enrolled here.")
    if row.delivered_by == BY_IMPORT:
        return
    bringer = connection.execute(
        sa.select(device.c.name, device.c.revoked).where(device.c.id == row.delivered_by)
    ).one()
    if bringer.revoked:
        raise _NotStoredError(
            "revoked", f"It came from {bringer.name} after that phone was revoked."
        )
    if record.device != row.delivered_by:
        raise _NotStoredError("other-device", f"{bringer.name} brought it; {author.name} wrote it.")


def _id_is_free(connection: Connection, row: AnyRow, record: Record) -> None:
    other = connection.execute(
        sa.select(line.c.hash).where(
            line.c.record == record.id, line.c.state == "stored", line.c.pos != row.pos
        )
    ).first()
    if other is not None:
        raise _NotStoredError(
            "same-id",
            f"Record {record.id} is held with other content. Both are kept; this is later.",
        )


def _watch_sequence(connection: Connection, row: AnyRow, record: Record) -> None:
    near = connection.execute(
        sa.select(line.c.seq, line.c.hash, line.c.prev).where(
            line.c.device == record.device,
            line.c.epoch == record.epoch,
            line.c.seq.between(record.seq - 1, record.seq + 1),
            line.c.state == "stored",
            line.c.pos != row.pos,
        )
    ).all()
    place = f"{record.epoch} {record.seq}"
    if any(other.seq == record.seq for other in near):
        raise_alarm(
            connection,
            record.device,
            "fork",
            place,
            f"Two records have number {record.seq}. The phone may have been restored from a "
            "backup or copied. Both are kept.",
        )
    before = [other.hash for other in near if other.seq == record.seq - 1]
    after = [other.prev for other in near if other.seq == record.seq + 1]
    twins = [other.hash for other in near if other.seq == record.seq]
    broken = (before and record.prev not in before) or (
        after and row.hash not in after and not set(twins) & set(after)
    )
    if broken:
        raise_alarm(
            connection,
            record.device,
            "chain",
            place,
            f"Record {record.seq} and its neighbour do not name each other. "
            "One of them may have been changed after it was written.",
        )


def _fields(record: Record) -> dict[str, object]:
    return {
        "record": record.id,
        "device": record.device,
        "epoch": record.epoch,
        "seq": record.seq,
        "prev": record.prev,
        "kind": record.kind,
        "site": record.site,
        "system": record.system,
        "visit": record.visit,
        "photo": record.body.photo if isinstance(record, PhotoRecord) else None,
    }


def _loose(raw: bytes) -> dict[str, object]:
    try:
        found = json.loads(raw)
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def _loose_fields(raw: bytes) -> dict[str, object]:
    """What can be read of a line before it is judged: enough to know it again."""
    found = _loose(raw)
    fields: dict[str, object] = {}
    for column, key in (("record", "id"), ("device", "device"), ("epoch", "epoch")):
        value = found.get(key)
        fields[column] = value if isinstance(value, str) and _UUID.match(value) else None
    seq = found.get("seq")
    fits = isinstance(seq, int) and not isinstance(seq, bool) and 1 <= seq < 2**53
    fields["seq"] = seq if fits else None
    return fields


def epochs_of(connection: Connection, hashes: Sequence[str]) -> list[tuple[str, str]]:
    """The (device, epoch) pairs that lines belong to."""
    rows = connection.execute(
        sa.select(line.c.device, line.c.epoch)
        .distinct()
        .where(line.c.hash.in_(hashes), line.c.device.is_not(None), line.c.epoch.is_not(None))
        .order_by(line.c.device, line.c.epoch)
    )
    return [(row.device, row.epoch) for row in rows]
