"""The office as a device: what it plans, assigns, merges and comments are records like all others.

Its line is written here once, hashed as it stands, and taken in by the way every line goes.
"""

from __future__ import annotations

import threading
import time
from typing import Any

import sqlalchemy as sa

from kneewall.records.chain import Chain
from kneewall.records.clock import now
from kneewall.records.envelope import RECORD, Record
from kneewall.records.errors import OfficeError
from kneewall.records.intake import take_in
from kneewall.records.schema import line
from kneewall.records.store import Store

_one_at_a_time = threading.Lock()


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
        OfficeError: the record could not be kept.
        pydantic.ValidationError: it is not a valid one.
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
        chain = Chain(office, epoch, last.seq, last.hash) if last else Chain(office, epoch)
        raw = chain.line(
            kind,
            body,
            moment=now().astimezone(),
            mono_ms=round(time.monotonic() * 1000, 3),
            server_offset_ms=0,
            edition=edition,
            site=site,
            system=system,
            visit=visit,
        )
        record = RECORD.validate_json(raw)
        answer = take_in(store, [raw], office)[0]
        if answer.status != "stored":
            raise OfficeError(f"The office's own record was not kept: {answer.reason}")
        return record
