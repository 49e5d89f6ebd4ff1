"""What the office's pages share."""

from __future__ import annotations

import re
from datetime import datetime

from flask import Blueprint, abort

from kneewall.records.ledger import When

pages = Blueprint("office", __name__, url_prefix="/office")

UUID = re.compile(r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")


def must_be_uuid(text: str) -> str:
    if not UUID.match(text):
        abort(404)
    return text


@pages.app_template_filter()
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


@pages.app_template_filter()
def day(text: str | None) -> str:
    """2026-11-25 as 25 Nov 2026."""
    return f"{datetime.fromisoformat(text):%-d %b %Y}" if text else "no day"


@pages.app_template_filter()
def seconds(value: float | None) -> str:
    if value is None:
        return "running"
    whole = round(value)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours} h {minutes:02} min" if hours else f"{minutes} min {left:02} s"
