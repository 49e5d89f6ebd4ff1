"""An office for tests: a data folder, its application, a person at the desk, phones at the wire."""

from __future__ import annotations

import atexit
import json
import re
import shutil
import uuid
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from kneewall.bundle import Bundle
from kneewall.commands.publish import prove
from kneewall.compiler import compile_packs
from kneewall.records import store as store_module
from kneewall.records.devices import make_code
from kneewall.records.editions import Publication
from kneewall.records.schema import alarm, line
from kneewall.records.store import Store
from kneewall.web.app import create_app
from kneewall.web.services import EXTENSION, Office
from tests.phone_double import PhoneDouble

RULES = Path(__file__).resolve().parents[1] / "rules"
PERSON, PASSWORD = "Dana", "a long enough password"

PACK = """
id: trade
rank: trade
title: Rules for tests
format: 1
"""
TOPIC = """
collections:
  circuit: {label: Circuit, plural: Circuits}
choices:
  wire_size:
    ordered: true
    values: [14 AWG, 12 AWG, 10 AWG]
    source: common-practice
quantities:
  run.length: {scope: circuit, label: One-way run, unit: ft, limits: 0 ft to 2000 ft}
  run.current: {scope: circuit, label: Running current, unit: A, limits: 0 A to 400 A, each_visit: true}
  run.size: {scope: circuit, label: Wire size, type: wire_size}
  run.ohms:
    scope: circuit
    label: Resistance of the wire
    unit: ohm/kft
    limits: 0 ohm/kft to 20 ohm/kft
    formula: row(wire, size=run.size).resistance
    source: demo
  run.drop:
    scope: circuit
    label: Voltage lost
    unit: V
    limits: 0 V to 500 V
    decimals: 2
    formula: 2 * run.current * run.length * run.ohms
    source: demo
  run.most_drop:
    scope: circuit
    label: Most drop
    unit: V
    limits: 0 V to 100 V
    formula: quantity(LIMIT, "V")
    source: demo
  hold.readings:
    label: Vacuum while it was held
    type: series
    columns: {time: min, reading: micron}
    limits: 0 micron to 760000 micron
  hold.limit:
    label: Limit of the hold
    unit: micron
    limits: 0 micron to 760000 micron
    default: 600 micron
  hold.last:
    label: Last reading
    unit: micron
    limits: 0 micron to 760000 micron
    formula: last(hold.readings, time >= quantity(0, "min")).reading
    source: demo
tables:
  wire:
    source: demo
    keys: [size]
    rows: |
      size [wire_size], resistance [ohm/kft]
      14 AWG, 3.14
      12 AWG, 1.98
      10 AWG, 1.24
checks:
  run.drop_small:
    scope: circuit
    label: Voltage drop
    fail: run.drop > quantity(LIMIT, "V")
    says:
      pass: "{run.drop} is lost on the way."
      fail: "{run.drop} is lost on the way. Fit a thicker wire."
    source: demo
cautions:
  live: {text: "Parts are live behind the cover.", source: demo, owner: true}
calculators:
  run-drop:
    title: Drop on a run
    topic: example
    enter: [run.size, run.length, run.current]
    show: [run.drop]
    checks: [run.drop_small]
    cautions: [live]
    charts:
      - {id: drops, title: Drop from visit to visit, over: visits, show: [run.drop], lines: [run.most_drop]}
      - {id: length, title: Drop over the run, over: run.length, from: 10 ft, to: 210 ft, steps: 4, show: [run.drop]}
  hold:
    title: Vacuum
    topic: example
    enter: [hold.readings, hold.limit]
    show: [hold.last]
    charts:
      - {id: rise, title: The hold, series: hold.readings, lines: [hold.limit]}
checklists:
  short:
    title: A short list
    steps:
      - {id: dead, act: do, title: Switch off and prove dead}
      - {id: drop, act: read, title: Read the current, enter: [run.current], calculator: run-drop}
examples:
  - name: 75 ft of 10 AWG at 24 A
    calculator: run-drop
    given: {run.size: 10 AWG, run.length: 75 ft, run.current: 24 A}
    expect: {run.drop: 4.464 V within 0.001 V}
    source: demo
"""
LENGTH_75_FT = 22.86
DROP_AT_24_A = 4.464


@cache
def bundle(limit: str = "7.2") -> Bundle:
    """The rules for tests, with the limit of their one check in V."""
    folder = Path(mkdtemp())
    try:
        return compile_packs([write_pack(folder / "trade", limit)])
    finally:
        shutil.rmtree(folder)


def write_pack(folder: Path, limit: str = "7.2") -> Path:
    """The rules for tests as a pack folder of their own."""
    folder.mkdir()
    (folder / "pack.yaml").write_text(PACK)
    (folder / "topic.yaml").write_text(TOPIC.replace("LIMIT", limit))
    shutil.copyfile(RULES / "units.csv", folder / "units.csv")
    return folder


@dataclass
class Wire:
    """A phone's double with its token, talking to the application."""

    phone: PhoneDouble
    token: str
    client: FlaskClient

    def headers(self, **more: str) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.token}", "X-Kneewall": "1"} | more

    def get(self, path: str, accept: str = "") -> TestResponse:
        headers = self.headers(**{"Accept-Encoding": accept})
        return self.client.get(f"/api/1/{path}", headers=headers)

    def post(self, path: str, body: Any) -> TestResponse:
        return self.client.post(f"/api/1/{path}", json=body, headers=self.headers())

    def put(self, path: str, body: bytes) -> TestResponse:
        sort = "application/octet-stream"
        return self.client.put(
            f"/api/1/{path}", data=body, content_type=sort, headers=self.headers()
        )

    def send(self, lines: list[bytes] | None = None) -> TestResponse:
        body = b"\n".join(self.phone.lines if lines is None else lines)
        return self.client.post(
            "/api/1/records",
            data=body,
            content_type="application/x-ndjson",
            headers=self.headers(),
        )

    def report(self, **changes: Any) -> TestResponse:
        body: dict[str, Any] = {
            "app": "0.1.0",
            "edition": None,
            "heads": [],
            "unsent": 0,
            "unsent_photos": 0,
            "persisted": True,
            "standalone": True,
        }
        return self.post("reports", body | changes)

    def fetch_all(self, limit: int = 3) -> list[str]:
        lines: list[str] = []
        after = ""
        while True:
            query = f"records?limit={limit}" + (f"&after={after}" if after else "")
            page = self.get(query).get_json()
            lines += page["lines"]
            after = page["next"]
            if not page["more"]:
                return lines


# These tests end no process; waiting for the disk would only slow them. Those that do end one
# start servers of their own, with the setting that ships.
store_module.PRAGMAS[1] = "synchronous=OFF"


@cache
def _bare() -> Path:
    """A data folder with an empty database, to be copied: making the tables takes its time."""
    folder = Path(mkdtemp()) / "data"
    Office.open(folder).store.close()
    atexit.register(shutil.rmtree, folder.parent)
    return folder


@cache
def _furnished() -> tuple[Path, str]:
    """A data folder with rules published and a person signed in, and the sitting's token."""
    folder = Path(mkdtemp()) / "data"
    office = OfficeDouble(folder)
    office.publish()
    office.office.accounts.add(PERSON, PASSWORD)
    token = office.office.accounts.sign_in(PERSON, PASSWORD)
    office.close()
    assert token
    atexit.register(shutil.rmtree, folder.parent)
    return folder, token


class OfficeDouble:
    @classmethod
    def furnished(cls, data: Path) -> OfficeDouble:
        """With rules published and a person signed in at the desk."""
        folder, token = _furnished()
        shutil.copytree(folder, data)
        office = cls(data)
        office.desk.set_cookie("kneewall", token)
        return office

    def __init__(self, data: Path, database: str | None = None) -> None:
        if database is None and not data.exists():
            shutil.copytree(_bare(), data)
        self.data = data
        self.app: Flask = create_app(data, database)
        self.office: Office = self.app.extensions[EXTENSION]
        self.desk: FlaskClient = self.app.test_client()

    def close(self) -> None:
        self.office.store.close()

    def publish(self, limit: str = "7.2", note: str = "for tests") -> Publication:
        return self.office.editions.publish(
            bundle(limit).raw, author="tester", note=note, least_app="0.1.0", prove=prove
        )

    def enrol(self, name: str = "Rosa") -> Wire:
        code = make_code(self.office.store, self.office.pepper, "tester")
        client = self.app.test_client()
        reply = client.post(
            "/api/1/enrol",
            json={"code": code, "name": name, "app": "0.1.0"},
            headers={"X-Kneewall": "1"},
        ).get_json()
        live = self.office.editions.live()
        phone = PhoneDouble(device=reply["device"], edition=live.hash if live else None)
        return Wire(phone, reply["token"], client)

    def sign_in(self) -> None:
        self.office.accounts.add(PERSON, PASSWORD)
        answer = self.desk.post("/office/sign-in", data={"name": PERSON, "password": PASSWORD})
        assert answer.status_code == 302

    def page(self, path: str) -> str:
        answer = self.desk.get(f"/office/{path}")
        assert answer.status_code == 200, answer.status
        return answer.get_data(as_text=True)

    def send_form(self, path: str, **fields: Any) -> TestResponse:
        """Post a form as a page of the office would."""
        token = re.search(r'name="form_token" value="([^"]+)"', self.page("visits"))
        assert token
        return self.desk.post(f"/office/{path}", data={"form_token": token[1], **fields})


def worked_visit(wire: Wire, current: float = 24.0) -> str:
    """A visit with one circuit and everything the one calculator needs; returns the member."""
    phone = wire.phone.begin()
    circuit = str(uuid.uuid4())
    phone.add_member("circuit", circuit, "Outdoor unit")
    of = {"member": circuit, "calculator": "run-drop"}
    phone.set("run.size", "10 AWG", **of)
    phone.set("run.length", LENGTH_75_FT, "75", unit="ft", **of)
    phone.set("run.current", current, unit="A", **of)
    return circuit


def problem(answer: TestResponse) -> dict[str, str]:
    """The answer's problem; it must be one sentence of error and one of mending."""
    found: dict[str, str] = answer.get_json()
    assert set(found) == {"error", "mend"}, found
    assert all(text and "\n" not in text for text in found.values())
    assert "Traceback" not in json.dumps(found)
    return found


def empty_store(folder: Path) -> Store:
    """An empty database of its own in that folder."""
    shutil.copyfile(_bare() / "kneewall.sqlite", folder / "kneewall.sqlite")
    return Store.open(f"sqlite:///{folder / 'kneewall.sqlite'}")


def held_lines(store: Store, state: str = "stored") -> list[bytes]:
    with store.reading() as connection:
        rows = connection.execute(
            sa.select(line.c.raw).where(line.c.state == state).order_by(line.c.pos)
        )
        return [bytes(raw) for raw in rows.scalars()]


def alarms(store: Store) -> list[str]:
    with store.reading() as connection:
        return [str(kind) for kind in connection.execute(sa.select(alarm.c.kind)).scalars()]
