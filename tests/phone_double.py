"""A phone that writes records as the app does, for tests of what the office makes of them."""

from __future__ import annotations

import hashlib
import json
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

from kneewall.records.chain import Chain

START = datetime(2026, 11, 25, 13, 0, tzinfo=UTC)


@dataclass
class PhoneDouble:
    """One device with one epoch. `lines` is everything it ever wrote, in order."""

    device: str = field(default_factory=lambda: str(uuid.uuid4()))
    epoch: str = field(default_factory=lambda: str(uuid.uuid4()))
    edition: str | None = None
    offset_min: int = -300
    clock: datetime = START
    server_offset_ms: float | None = 0
    lines: list[bytes] = field(default_factory=list)
    site: str = field(default_factory=lambda: str(uuid.uuid4()))
    system: str = field(default_factory=lambda: str(uuid.uuid4()))
    visit: str = field(default_factory=lambda: str(uuid.uuid4()))

    def write(self, kind: str, body: dict[str, Any], **changes: Any) -> dict[str, Any]:
        """Append a record; `changes` replace envelope fields. Returns it as written."""
        self.clock += timedelta(seconds=20)
        before = hashlib.sha256(self.lines[-1]).hexdigest() if self.lines else None
        chain = Chain(self.device, self.epoch, len(self.lines), before)
        place = {"site": self.site, "system": self.system, "visit": self.visit}
        line = chain.line(
            kind,
            body,
            moment=self.clock.astimezone(timezone(timedelta(minutes=self.offset_min))),
            mono_ms=1000.0 * len(self.lines),
            server_offset_ms=self.server_offset_ms,
            **{"edition": self.edition, **place, **changes},
        )
        self.lines.append(line)
        record: dict[str, Any] = json.loads(line)
        return record

    def add_site(self, name: str = "14 Alder Lane") -> dict[str, Any]:
        return self.write("site-added", {"name": name}, system=None, visit=None)

    def add_system(self, label: str = "Attic") -> dict[str, Any]:
        return self.write("system-added", {"label": label}, visit=None)

    def add_member(self, collection: str, member: str, label: str) -> dict[str, Any]:
        body = {"collection": collection, "member": member, "label": label}
        return self.write("member-added", body, visit=None)

    def open_visit(self, title: str = "Commissioning") -> dict[str, Any]:
        return self.write(
            "visit-opened",
            {"title": title, "visit_kind": "commissioning", "date": "2026-11-25"},
        )

    def set(self, quantity: str, si: Any, text: str | None = None, **more: Any) -> dict[str, Any]:
        envelope = {key: more.pop(key) for key in ("visit", "system", "site") if key in more}
        body = {
            "quantity": quantity,
            "text": str(si) if text is None else text,
            "si": si,
            "origin": "typed",
        }
        return self.write("value-set", body | more, **envelope)

    def begin(self) -> PhoneDouble:
        self.add_site()
        self.add_system()
        self.open_visit()
        return self

    @property
    def body(self) -> bytes:
        return b"\n".join(self.lines) + b"\n"
