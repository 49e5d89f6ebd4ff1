"""The office as a device: what it plans, assigns, merges and comments are records like all others.

Its line is written here once, hashed as it stands, and taken in by the way every line goes.
"""

from __future__ import annotations

import json
import os
import threading
import time
import uuid
from typing import Any

import sqlalchemy as sa

from kneewall import __version__
from kneewall.records.clock import now
from kneewall.records.envelope import RECORD, RECORD_VERSION, Record
from kneewall.records.errors import OfficeError
from kneewall.records.intake import take_in
from kneewall.records.schema import line
from kneewall.records.store import Store

_one_at_a_time = threading.Lock()


def new_uuid() -> str:
    return str(uuid.uuid4())


def new_record_id() -> str:
    """A UUIDv7 (RFC 9562): 48 bits of Unix time in ms, then random."""
    value = (time.time_ns() // 1_000_000) << 80 | int.from_bytes(os.urandom(10), "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(uuid.UUID(int=value))


def write(
    store: Store,
    kind: str,
    body: dict[str, Any],
    *,
    site: str | None = None,
    system: str | None = None,
    visit: str | None = None,
    edition: str | None = None,
) -> Record:
    """Write one record of the office's own.

    Raises:
        OfficeError: the record is not a valid one, or could not be kept.
    """
    with _one_at_a_time:
        with store.reading() as connection:
            office = store.meta(connection, "office_device")
            epoch = store.meta(connection, "office_epoch")
            last = connection.execute(
                sa.select(line.c.seq, line.c.hash)
                .where(line.c.device == office, line.c.epoch == epoch)
                .order_by(line.c.seq.desc())
                .limit(1)
            ).first()
        moment = now().astimezone()
        offset = moment.utcoffset()
        envelope = {
            "id": new_record_id(),
            "device": office,
            "epoch": epoch,
            "seq": last.seq + 1 if last else 1,
            "prev": last.hash if last else None,
            "kind": kind,
            "version": RECORD_VERSION,
            "app": __version__,
            "edition": edition,
            "at": {
                "wall": moment.isoformat(timespec="milliseconds"),
                "offset_min": int(offset.total_seconds() // 60) if offset else 0,
                "mono_ms": round(time.monotonic() * 1000, 3),
                "server_offset_ms": 0,
            },
            "site": site,
            "system": system,
            "visit": visit,
            "body": body,
        }
        raw = json.dumps(envelope, ensure_ascii=False, separators=(",", ":")).encode()
        record = RECORD.validate_json(raw)
        answer = take_in(store, [raw], office)[0]
        if answer.status != "stored":
            raise OfficeError(f"The office's own record was not kept: {answer.reason}")
        return record
