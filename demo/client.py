"""A phone and a person at a desk, as the office meets them: over HTTP, by its own interface."""

from __future__ import annotations

import hashlib
import http.cookiejar
import json
import re
import struct
import sys
import urllib.parse
import urllib.request
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

from demo.company import PASSWORD, PERSON
from kneewall import __version__
from kneewall.bundle import Bundle, Quantity, load_bundle
from kneewall.engine import Engine, Unknown
from kneewall.reading import edges_of
from kneewall.records.chain import Chain, new_uuid
from kneewall.records.devices import make_code
from kneewall.records.folder import DataFolder
from kneewall.records.store import Store

ZONE = timezone(timedelta(hours=-5))
STROKES = "M40 130 C90 20 120 190 160 90 C180 40 230 150 260 80 L330 120 Q380 60 420 95 L560 110"


@dataclass
class Phone:
    """A phone's records and its way to the office."""

    office: Office
    token: str
    chain: Chain
    bundle: Bundle
    edition: str
    clock: datetime = field(default_factory=lambda: datetime.now(ZONE))
    unsent: list[bytes] = field(default_factory=list)
    site: str = ""
    system: str = ""
    visit: str = ""
    members: dict[str, list[str]] = field(default_factory=dict)
    values: dict[str, Any] = field(default_factory=dict)
    photos: list[bytes] = field(default_factory=list)

    def write(self, kind: str, body: dict[str, Any], *, of: str = "visit") -> str:
        """Write a record about the site, the system or the visit in hand; returns its id."""
        self.clock += timedelta(seconds=50)
        place: dict[str, str] = {"site": self.site}
        if of in ("system", "visit"):
            place["system"] = self.system
        if of == "visit":
            place["visit"] = self.visit
        line = self.chain.line(
            kind,
            body,
            moment=self.clock,
            mono_ms=self.chain.seq * 50_000.0,
            server_offset_ms=140,
            edition=self.edition,
            **place,
        )
        self.unsent.append(line)
        return str(json.loads(line)["id"])

    def add_site(self, name: str, address: str) -> None:
        self.site = new_uuid()
        self.members, self.values = {name: [] for name in self.bundle.collections}, {}
        self.write("site-added", {"name": name, "address": address}, of="site")

    def add_system(self, label: str) -> None:
        self.system = new_uuid()
        self.write("system-added", {"label": label}, of="system")

    def add_member(self, collection: str, label: str) -> str:
        member = new_uuid()
        self.members[collection].append(member)
        body = {"collection": collection, "member": member, "label": label}
        self.write("member-added", body, of="system")
        return member

    def open_visit(self, title: str, kind: str, *checklists: str) -> None:
        self.visit = new_uuid()
        kept = {quantity.id for quantity in self.bundle.quantities if _stays(quantity)}
        self.values = {name: value for name, value in self.values.items() if name in kept}
        day = self.clock.date().isoformat()
        lists = {"checklists": list(checklists)}
        self.write("visit-opened", {"title": title, "visit_kind": kind, "date": day} | lists)
        self._set("visit.date", day, None, None)

    def work_through(self, checklist: str, most: int = 99) -> None:
        """Do the steps of a checklist in turn; those that hang on something else do not apply."""
        found = next((one for one in self.bundle.checklists if one.id == checklist), None)
        if found is None:
            sys.exit(f"The published rules have no checklist {checklist}.")
        for step in found.steps[:most]:
            outcome = "done" if step.when is None else "not-applicable"
            body = {"checklist": checklist, "step": step.id, "outcome": outcome}
            self.write("step-done", body)

    def sign(self, name: str, statement: str) -> None:
        body = {"name": name, "statement": statement, "strokes": STROKES}
        self.write("signed", body | {"results": self.results()})

    def close(self) -> None:
        self.write("closed", {"results": self.results()})

    def join(self, other: Phone) -> None:
        self.site, self.system, self.visit = other.site, other.system, other.visit
        self.members, self.values = other.members, dict(other.values)
        self.clock = other.clock + timedelta(minutes=6)

    def enter(self, calculator: str, readings: Mapping[str, str], member: str | None = None) -> str:
        """Enter readings as typed; returns the id of the last one's record."""
        if calculator not in {one.id for one in self.bundle.calculators}:
            sys.exit(f"The published rules have no calculator {calculator}.")
        last = ""
        for quantity, text in readings.items():
            last = self._set(quantity, text, calculator, member)
        return last

    def correct(self, record: str, quantity_id: str, text: str, reason: str) -> None:
        typed = self._read(quantity_id, text)
        self._keep(quantity_id, typed["si"], self._member(quantity_id))
        self.write("corrected", {"record": record, "reason": reason, **typed})

    def note(self, text: str) -> None:
        self.write("note", {"text": text})

    def start_timer(self, step: str, target_s: float) -> str:
        timer = new_uuid()
        self.write("timer-started", {"timer": timer, "step": step, "target_s": target_s})
        return timer

    def stop_timer(self, timer: str, elapsed_s: float) -> None:
        body = {"timer": timer, "elapsed_s": elapsed_s, "observed": False, "asleep_s": 1260}
        self.write("timer-stopped", body)

    def photo(self, caption: str) -> None:
        content = picture()
        self.photos.append(content)
        digest = hashlib.sha256(content).hexdigest()
        body = {"photo": digest, "mime": "image/png", "size": len(content), "caption": caption}
        self.write("photo", body)

    def results(self) -> dict[str, Any]:
        """What this phone's engine finds for the visit in hand, as a phone sends it."""
        answer = Engine(self.bundle).evaluate(self.values, self.members)
        results = []
        for quantity in self.bundle.quantities:
            if quantity.tree is None:
                continue
            for member in self.members.get(quantity.scope, [None]):
                value = answer.value(quantity.id, member)
                found = (
                    {"si": None, "why": value.why}
                    if isinstance(value, Unknown)
                    else {"si": value, "why": None}
                )
                results.append({"quantity": quantity.id, "member": member, **found})
        checks = [
            {"id": one.id, "member": one.member, "verdict": one.verdict} for one in answer.checks()
        ]
        return {"results": results, "checks": checks}

    def sync(self) -> None:
        while self.unsent:
            batch, self.unsent = self.unsent[:100], self.unsent[100:]
            reply = self._call("POST", "records", b"\n".join(batch), "application/x-ndjson")
            refused = [one for one in reply["records"] if one["status"] != "stored"]
            if refused:
                sys.exit(f"The office did not take a record: {refused[0]['reason']}")
        for content in self.photos:
            digest = hashlib.sha256(content).hexdigest()
            self._call("PUT", f"photos/{digest}", content, "application/octet-stream")
        self.photos = []
        epoch = {
            "epoch": self.chain.epoch,
            "seq": self.chain.seq,
            "count": self.chain.seq,
            "hash": self.chain.last,
        }
        report = {
            "app": __version__,
            "edition": self.edition,
            "heads": [epoch],
            "unsent": 0,
            "unsent_photos": 0,
            "persisted": True,
            "standalone": True,
        }
        self._call("POST", "reports", json.dumps(report).encode(), "application/json")

    def _set(self, quantity_id: str, text: str, calculator: str | None, member: str | None) -> str:
        scoped = member if self._scope(quantity_id) in self.members else None
        typed = self._read(quantity_id, text)
        self._keep(quantity_id, typed["si"], scoped)
        body = {"quantity": quantity_id, "member": scoped, "calculator": calculator, **typed}
        picked = self._quantity(quantity_id).type in ("choice", "flag", "date")
        return self.write("value-set", body | {"origin": "picked" if picked else "typed"})

    def _read(self, quantity_id: str, text: str) -> dict[str, Any]:
        """A typed value as the record's text, unit and SI value."""
        quantity = self._quantity(quantity_id)
        reading = edges_of(self.bundle).parse(quantity, text)
        number, _, unit = text.partition(" ")
        if not reading.unit:
            return {"text": text, "unit": None, "si": reading.si}
        return {"text": number, "unit": unit or None, "si": reading.si}

    def _keep(self, quantity_id: str, si: Any, member: str | None) -> None:
        if member is None:
            self.values[quantity_id] = si
        else:
            self.values.setdefault(quantity_id, {})[member] = si

    def _member(self, quantity_id: str) -> str | None:
        members = self.members.get(self._scope(quantity_id))
        return members[0] if members else None

    def _scope(self, quantity_id: str) -> str:
        return str(self._quantity(quantity_id).scope)

    def _quantity(self, quantity_id: str) -> Any:
        found = next((q for q in self.bundle.quantities if q.id == quantity_id), None)
        if found is None:
            sys.exit(f"The published rules have no quantity {quantity_id}.")
        return found

    def _call(self, method: str, path: str, content: bytes, sort: str) -> dict[str, Any]:
        return self.office.call(method, path, content, sort, self.token)


class Office:
    """The office at its address, as phones and a person at a desk reach it."""

    def __init__(self, url: str, store: Store, folder: DataFolder) -> None:
        self.url = url.rstrip("/")
        self.store = store
        self.folder = folder
        cookies = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
        self.desk = urllib.request.build_opener(cookies)

    def enrol(self, name: str) -> Phone:
        code = make_code(self.store, self.folder.secret("pepper"), PERSON)
        asked = json.dumps({"code": code, "name": name, "app": __version__}).encode()
        reply = self.call("POST", "enrol", asked, "application/json", None)
        token = reply["token"]
        edition = self.call("GET", "edition", None, None, token)["hash"]
        with self._open("GET", f"/api/1/editions/{edition}", None, None, token) as response:
            bundle = load_bundle(response.read())
        return Phone(self, token, Chain(reply["device"], new_uuid()), bundle, edition)

    def call(
        self, method: str, path: str, content: bytes | None, sort: str | None, token: str | None
    ) -> dict[str, Any]:
        with self._open(method, f"/api/1/{path}", content, sort, token) as response:
            body = response.read()
        found: dict[str, Any] = json.loads(body) if body else {}
        return found

    def sign_in(self) -> None:
        form = {"name": PERSON, "password": PASSWORD}
        self._post("/office/sign-in", form)

    def plan(self, days: int, phone: Phone | None, visit: Mapping[str, str], *lists: str) -> None:
        """Plan a visit so many days from today, for a phone or for any."""
        page = self.desk.open(f"{self.url}/office/plan").read().decode()
        found = re.search(r'name="form_token" value="([^"]+)"', page)
        if found is None:
            sys.exit("The office did not let the demo's person sign in.")
        day = datetime.now(UTC).date() + timedelta(days=days)
        form = {
            "form_token": found[1],
            "date": day.isoformat(),
            "to": phone.chain.device if phone else "",
            "members_circuit": "Outdoor unit",
            "members_indoor": "Attic air handler",
            "checklists": list(lists),
        }
        self._post("/office/plan", form | dict(visit))

    def _post(self, path: str, form: Mapping[str, Any]) -> None:
        self.desk.open(self.url + path, urllib.parse.urlencode(form, doseq=True).encode()).close()

    def _open(
        self, method: str, path: str, content: bytes | None, sort: str | None, token: str | None
    ) -> Any:
        headers = {"X-Kneewall": "1"}
        if token is not None:
            headers["Authorization"] = f"Bearer {token}"
        if sort is not None:
            headers["Content-Type"] = sort
        request = urllib.request.Request(  # noqa: S310  the demo's own server
            self.url + path, content, headers, method=method
        )
        return urllib.request.urlopen(request)  # noqa: S310


def _stays(quantity: Quantity) -> bool:
    """Kept with the site or the system from visit to visit."""
    return not quantity.each_visit and quantity.scope != "visit"


def picture() -> bytes:
    """A drawn stand-in for a photo: rafters, a filter box and its opening, as a PNG."""
    width, height = 480, 320
    rows = []
    for y in range(height):
        row = bytearray(b"\x00")
        for x in range(width):
            shade = 70 + y // 5
            colour = (shade + 40, shade + 18, shade - 20)
            if abs((x + y) % 160 - 80) < 9:
                colour = (146, 104, 62)
            if 130 < x < 350 and 90 < y < 250:
                colour = (172, 174, 170)
            if 150 < x < 330 and 110 < y < 230:
                colour = (222, 218, 204) if x // 9 % 2 else (196, 190, 172)
            row += bytes(colour)
        rows.append(bytes(row))

    def chunk(kind: bytes, data: bytes) -> bytes:
        whole = kind + data
        return struct.pack(">I", len(data)) + whole + struct.pack(">I", zlib.crc32(whole))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = chunk(b"IDAT", zlib.compress(b"".join(rows), 9))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + pixels + chunk(b"IEND", b"")
