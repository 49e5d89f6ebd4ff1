"""The office's own clock, in one place so that every stored time looks alike."""

from __future__ import annotations

from datetime import UTC, datetime


def now() -> datetime:
    return datetime.now(UTC)


def stamp(moment: datetime | None = None) -> str:
    """ISO 8601 in UTC with milliseconds: sorts as text."""
    return (moment or now()).astimezone(UTC).isoformat(timespec="milliseconds")
