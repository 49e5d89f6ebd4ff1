"""Writing records: the line of one, chained to the one before it in its epoch."""

from __future__ import annotations

import hashlib
import json
import os
import time
import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from kneewall import __version__
from kneewall.records.envelope import RECORD_VERSION


def new_uuid() -> str:
    return str(uuid.uuid4())


def new_record_id() -> str:
    """A UUIDv7 (RFC 9562): 48 bits of Unix time in ms, then random."""
    value = (time.time_ns() // 1_000_000) << 80 | int.from_bytes(os.urandom(10), "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(uuid.UUID(int=value))


@dataclass
class Chain:
    """One epoch of a device as its writer sees it: the last number given and that line's hash."""

    device: str
    epoch: str
    seq: int = 0
    last: str | None = None

    def line(
        self,
        kind: str,
        body: dict[str, Any],
        *,
        moment: datetime,
        mono_ms: float,
        server_offset_ms: float | None,
        **fields: Any,
    ) -> bytes:
        """The next record's line. It is not validated here.

        Args:
            moment: wall time, aware of its zone.
            fields: `edition`, `site`, `system`, `visit` where they are not null.
        """
        offset = moment.utcoffset()
        self.seq += 1
        record = {
            "id": new_record_id(),
            "device": self.device,
            "epoch": self.epoch,
            "seq": self.seq,
            "prev": self.last,
            "kind": kind,
            "version": RECORD_VERSION,
            "app": __version__,
            "edition": None,
            "at": {
                "wall": moment.isoformat(timespec="milliseconds"),
                "offset_min": int(offset.total_seconds() // 60) if offset else 0,
                "mono_ms": mono_ms,
                "server_offset_ms": server_offset_ms,
            },
            "site": None,
            "system": None,
            "visit": None,
            "body": body,
        } | fields
        raw = json.dumps(record, ensure_ascii=False, separators=(",", ":")).encode()
        self.last = hashlib.sha256(raw).hexdigest()
        return raw
