"""An invented company's days, written through the office's own interface:

    python demo/seed.py --url http://localhost:8137 --data demo/.data

Two phones are enrolled as phones are, and what was done is sent as records like theirs. At the end
a visit is planned for any phone, and a code is made for one more.
"""

from __future__ import annotations

import argparse
import hashlib
import http.cookiejar
import json
import re
import struct
import sys
import urllib.error
import urllib.parse
import urllib.request
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from kneewall import __version__
from kneewall.bundle import Bundle, load_bundle
from kneewall.engine import Engine, Unknown
from kneewall.reading import edges_of
from kneewall.records.chain import Chain, new_uuid
from kneewall.records.devices import make_code
from kneewall.records.folder import DataFolder
from kneewall.records.store import Store
from kneewall.web.accounts import Accounts

COMPANY = "Alder Hollow Air (invented)"
PERSON = "office"
PASSWORD = "alder-hollow-demo"  # noqa: S105  printed at every start of the demo
ZONE = timezone(timedelta(hours=-5))


def main() -> None:
    parser = argparse.ArgumentParser(description="Write an invented company's days.")
    parser.add_argument("--url", required=True)
    parser.add_argument("--data", type=Path, required=True)
    arguments = parser.parse_args()
    folder = DataFolder(arguments.data)
    store = Store.open(folder.database_url)
    with store.writing() as connection:
        store.set_meta(connection, "office_name", COMPANY)
    Accounts(store).add(PERSON, PASSWORD)
    try:
        seed(Office(arguments.url, store, folder))
    except urllib.error.HTTPError as error:
        sys.exit(f"{error.url}: {error.code} {error.read().decode(errors='replace')[:300]}")
    except urllib.error.URLError as error:
        sys.exit(f"{arguments.url} does not answer ({error.reason}). Start the office first.")
    code = make_code(store, folder.secret("pepper"), PERSON)
    store.close()
    print(f"Sign in at the office as {PERSON} with the password {PASSWORD}")
    print(f"Code to enrol a phone, good for ten minutes: {code[:5]}-{code[5:]}", flush=True)


def seed(office: Office) -> None:
    rosa = office.enrol("Rosa Quill")
    abe = office.enrol("Abe Marlow")
    install(rosa)
    commissioning(abe)
    shared_call(rosa, abe)
    office.sign_in()
    office.plan_visit()


# --- the days ----------------------------------------------------------------------------------


def install(phone: Phone) -> None:
    """Everything in order, signed and closed."""
    phone.clock = days_ago(3, 8)
    phone.add_site("14 Alder Lane", "Hollow Creek")
    phone.add_system("Attic, north side")
    circuit = phone.add_member("circuit", "Outdoor unit")
    indoor = phone.add_member("indoor", "Attic air handler")
    phone.open_visit("Install, single zone", "install")
    supply = {
        "conductor.size": "10 AWG",
        "supply.material": "copper",
        "supply.wiring_method": "raceway",
        "supply.insulation_rating": "90",
        "supply.termination_rating": "75",
        "supply.ambient": "125 degF",
        "supply.current_carrying": "2",
        "breaker.rating": "30 A",
        "load.current": "18 A",
    }
    phone.enter("ampacity-check", supply, circuit)
    run = {
        "supply.length": "85 ft",
        "supply.source_voltage": "241 V",
        "supply.raceway": "pvc",
    }
    phone.enter("voltage-drop", run, circuit)
    phone.note("Whip to the disconnect is 4 ft of liquidtight.")
    test = {
        "site.altitude": "640 ft",
        "nameplate.design_pressure": "550 psi",
        "test.start_pressure": "500 psi",
        "test.start_temperature": "62 degF",
        "test.hottest_temperature": "75 degF",
    }
    phone.enter("pressure-test", test)
    timer = phone.start_timer("pressure-test", 3600)
    phone.clock += timedelta(minutes=72)
    phone.stop_timer(timer, 4320)
    end = {"test.end_pressure": "508 psi", "test.end_temperature": "71 degF", "test.hold": "72 min"}
    phone.enter("pressure-test", end)
    slip = phone.enter("filter", {"air.flow": "120 cfm"}, indoor)
    phone.correct(slip, "air.flow", "1200 cfm", "a nought was missing")
    box = {
        "filter.width": "24 in",
        "filter.height": "24 in",
        "filter.depth": "4 in",
        "filter.count": "1",
        "filter.rated_flow": "1400 cfm",
        "filter.rated_drop": "0.22 in w.c.",
        "filter.most_velocity": "500 ft/min",
        "filter.most_drop": "0.25 in w.c.",
    }
    phone.enter("filter", box, indoor)
    phone.photo("Filter box in the attic, before the door went on")
    phone.write(
        "signed",
        {
            "name": "J. Thornbury (invented)",
            "statement": "I was shown the filter, the breaker and the overflow switch.",
            "strokes": "M40 130 C90 20 120 190 160 90 C180 40 230 150 260 80 L330 120 Q380 60 420 95 L560 110",
            "results": phone.results(),
        },
    )
    phone.write("closed", {"results": phone.results()})
    phone.sync()


def commissioning(phone: Phone) -> None:
    """A leak and a filter that is too small; still in work."""
    phone.clock = days_ago(1, 13)
    phone.add_site("3 Quarry Road", "Hollow Creek")
    phone.add_system("Loft over the garage")
    phone.add_member("circuit", "Outdoor unit")
    indoor = phone.add_member("indoor", "Loft air handler")
    phone.open_visit("Commissioning", "commissioning")
    test = {
        "site.altitude": "710 ft",
        "nameplate.design_pressure": "550 psi",
        "test.start_pressure": "500 psi",
        "test.start_temperature": "88 degF",
        "test.hottest_temperature": "104 degF",
        "test.end_pressure": "471 psi",
        "test.end_temperature": "93 degF",
        "test.hold": "65 min",
    }
    phone.enter("pressure-test", test)
    phone.note("Bubbles at the flare on the vapor side. Cutting it again tomorrow.")
    box = {
        "air.flow": "1150 cfm",
        "filter.width": "16 in",
        "filter.height": "20 in",
        "filter.depth": "1 in",
        "filter.count": "1",
        "filter.rated_flow": "800 cfm",
        "filter.rated_drop": "0.25 in w.c.",
        "filter.most_velocity": "300 ft/min",
        "filter.most_drop": "0.2 in w.c.",
    }
    phone.enter("filter", box, indoor)
    phone.sync()


def shared_call(rosa: Phone, abe: Phone) -> None:
    """Two phones on one visit read the run's length differently."""
    rosa.clock = days_ago(0, 7)
    rosa.add_site("Mill Cottage", "Weir Lane, Hollow Creek")
    rosa.add_system("Knee wall, west")
    circuit = rosa.add_member("circuit", "Outdoor unit")
    rosa.open_visit("Breaker trips on hot days", "fault")
    wire = {
        "conductor.size": "12 AWG",
        "supply.material": "copper",
        "supply.length": "110 ft",
        "load.current": "19 A",
        "supply.source_voltage": "236 V",
        "supply.raceway": "none",
    }
    rosa.enter("voltage-drop", wire, circuit)
    rosa.sync()
    abe.join(rosa)
    abe.enter("voltage-drop", {"supply.length": "142 ft"}, circuit)
    abe.note("Measured along the crawlspace, not through the wall.")
    abe.sync()


def days_ago(days: int, hour: int) -> datetime:
    """That hour of that day; of today no later than now, so that no record lies in the future."""
    now = datetime.now(ZONE)
    wanted = (now - timedelta(days=days)).replace(hour=hour, minute=10, second=0, microsecond=0)
    return min(wanted, now - timedelta(hours=2))


# --- a phone and the office, over HTTP -----------------------------------------------------------


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

    def open_visit(self, title: str, kind: str) -> None:
        self.visit = new_uuid()
        day = self.clock.date().isoformat()
        self.write("visit-opened", {"title": title, "visit_kind": kind, "date": day})
        if any(q.id == "visit.date" for q in self.bundle.quantities):
            self._set("visit.date", day, None, None)

    def join(self, other: Phone) -> None:
        self.site, self.system, self.visit = other.site, other.system, other.visit
        self.members, self.values = other.members, dict(other.values)
        self.clock = other.clock + timedelta(minutes=6)

    def enter(self, calculator: str, readings: Mapping[str, str], member: str | None = None) -> str:
        """Enter readings as typed; returns the id of the last one's record."""
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
            if not quantity.formula:
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

    def plan_visit(self) -> None:
        page = self.desk.open(f"{self.url}/office/plan").read().decode()
        found = re.search(r'name="form_token" value="([^"]+)"', page)
        if found is None:
            sys.exit("The office did not let the demo's person sign in.")
        form = {
            "form_token": found[1],
            "site_name": "27 Fern Rise",
            "site_address": "Hollow Creek",
            "system_label": "Attic over the hall",
            "members_circuit": "Outdoor unit",
            "members_indoor": "Attic air handler",
            "title": "Commissioning after install",
            "kind": "commissioning",
            "date": datetime.now(UTC).date().isoformat(),
            "checklists": re.findall(r'name="checklists" value="([^"]+)"', page),
        }
        self._post("/office/plan", form)

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


if __name__ == "__main__":
    main()
