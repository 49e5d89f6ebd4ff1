"""Days, moments and spans as people read them, on the office's pages and in reports."""

from __future__ import annotations

from datetime import datetime

from kneewall.records.ledger import When


def moment(when: When | str | None) -> str:
    """A time as its place had it, or of a stored stamp in the office's own zone."""
    if when is None:
        return "never"
    if isinstance(when, str):
        return f"{datetime.fromisoformat(when).astimezone():%-d %b %Y %H:%M}"
    sign = "−" if when.offset_min < 0 else "+"
    hours, minutes = divmod(abs(when.offset_min), 60)
    zone = f"UTC{sign}{hours}" + (f":{minutes:02}" if minutes else "")
    return f"{when.local:%-d %b %Y %H:%M} ({zone})"


def day(text: str | None) -> str:
    """2026-11-25 as 25 Nov 2026."""
    return f"{datetime.fromisoformat(text):%-d %b %Y}" if text else "no day"


def seconds(value: float | None) -> str:
    if value is None:
        return "running"
    whole = round(value)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours} h {minutes:02} min" if hours else f"{minutes} min {left:02} s"
