"""What the office must look at although nothing is lost: forks, broken chains, phones set back."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from kneewall.records.clock import stamp
from kneewall.records.schema import alarm


def raise_alarm(connection: Connection, device: str, kind: str, about: str, detail: str) -> None:
    """Once per device, kind and subject; again changes nothing."""
    same = (alarm.c.device == device, alarm.c.kind == kind, alarm.c.about == about)
    if connection.execute(sa.select(alarm.c.id).where(*same)).first() is None:
        connection.execute(
            sa.insert(alarm).values(
                raised=stamp(), device=device, kind=kind, about=about, detail=detail
            )
        )
