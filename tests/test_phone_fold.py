"""The phone and the office make the same of the same records."""

from __future__ import annotations

import json
import random
import uuid
from datetime import timedelta
from pathlib import Path
from typing import Any

from kneewall.records.envelope import RECORD
from kneewall.records.fold import fold
from kneewall.records.ledger import Kept, Ledger, Reading, Source, Visit
from tests.phone_double import PhoneDouble
from tests.phone_office import ROOT
from tests.phone_side import run_phone_side

RUNNER = ROOT / "pwa" / "tests" / "fold_cases.ts"
HISTORIES = 60
RECORDS = 60
NOBODYS = "01a211e3-0000-7000-8000-000000000000"
"""Id of a record that was never written."""


def test_the_two_folds_agree_on_any_history(tmp_path: Path) -> None:
    histories = [history(random.Random(seed)) for seed in range(HISTORIES)]
    file = tmp_path / "histories"
    file.write_text("".join(json.dumps(lines) + "\n" for lines in histories), encoding="utf-8")
    for lines, theirs in zip(histories, run_phone_side(RUNNER, file), strict=True):
        ours = fold(RECORD.validate_json(line) for line in lines)
        assert json.loads(json.dumps(told(ours))) == theirs


# --- histories: a few devices that write anything about a few visits ---------------------------


def history(rng: random.Random) -> list[str]:
    """Lines in any order, some of them twice, some lost, with clocks that are set and wrong."""
    ids = [str(uuid.UUID(int=rng.getrandbits(128), version=4)) for _ in range(12)]
    sites, systems, visits, members, timers = ids[:2], ids[2:4], ids[4:7], ids[7:9], ids[9:11]
    phones = [
        PhoneDouble(edition=rng.choice([None, "a" * 64, "b" * 64])),
        PhoneDouble(server_offset_ms=rng.choice([None, 0, 300_000, -4000])),
    ]
    phones.append(PhoneDouble(device=phones[0].device, server_offset_ms=None))
    records: list[dict[str, Any]] = []
    for _ in range(RECORDS):
        phone = rng.choice(phones)
        phone.clock += timedelta(seconds=rng.choice([-4000, 0, 1, 60, 90_000]))
        phone.offset_min = rng.choice([-300, 0, 600])
        where: dict[str, Any] = {
            "site": rng.choice(sites),
            "system": rng.choice(systems),
            "visit": rng.choice(visits),
        }
        kind, body = deed(rng, records, sites, systems, members, timers)
        if kind == "site-added":
            where |= {"system": None, "visit": None}
        elif kind in ("system-added", "member-added"):
            where["visit"] = None
        elif kind == "edition-moved":
            where["edition"] = "b" * 64
        records.append(phone.write(kind, body, **where))
    lines = [line.decode() for phone in phones for line in phone.lines if rng.random() > 0.05]
    rng.shuffle(lines)
    return lines


def deed(
    rng: random.Random,
    records: list[dict[str, Any]],
    sites: list[str],
    systems: list[str],
    members: list[str],
    timers: list[str],
) -> tuple[str, dict[str, Any]]:
    number = rng.randrange(5)
    step = {"checklist": "walk", "step": rng.choice(["one", "two"])}
    some_id = rng.choice(records)["id"] if records else NOBODYS
    timer = {"timer": rng.choice(timers)}
    reading: dict[str, Any] = {
        "quantity": rng.choice(["site.height", "system.plate", "gap.found"]),
        "member": rng.choice([None, *members]),
        "text": str(number),
        "unit": rng.choice([None, "ft"]),
        "si": rng.choice([None, number, float(number) / 2, "Copper", [1, 2.5]]),
    }
    sort, pool = rng.choice([("site", sites), ("system", systems)])
    keep, other = rng.sample(pool, 2)
    deeds: list[tuple[str, dict[str, Any]]] = [
        ("site-added", {"name": f"Site {number}", "address": rng.choice(["", "Lane"])}),
        ("system-added", {"label": f"System {number}"}),
        (
            "member-added",
            {"collection": "coil", "member": rng.choice(members), "label": f"Coil {number}"},
        ),
        (
            "visit-opened",
            {
                "title": f"Visit {number}",
                "visit_kind": "fault",
                "date": "2026-11-25",
                "checklists": ["walk"][: number % 2],
            },
        ),
        ("assigned", {"to": rng.choice([None, members[0]])}),
        *[
            (
                "value-set",
                reading | {"origin": "typed", "replaces": rng.choice([None, some_id])},
            )
        ]
        * 6,
        ("step-done", step | {"outcome": rng.choice(["done", "open-again"])}),
        ("step-done", step | {"outcome": "skipped", "reason": "no room"}),
        ("timer-started", timer | step | {"target_s": 60 * number}),
        ("timer-read", timer | {"elapsed_s": number, "text": "340"}),
        ("timer-read", timer | reading | {"elapsed_s": number, "quantity": "gap.found"}),
        ("timer-stopped", timer | {"elapsed_s": 60 * number, "observed": number > 1}),
        ("note", {"text": f"note {number}"}),
        ("photo", {"photo": "c" * 64, "mime": "image/jpeg", "size": 9}),
        ("signed", {"name": "Rosa", "statement": "done"}),
        ("commented", {"text": "seen"}),
        ("corrected", {"record": some_id, "text": f"right {number}", "si": number}),
        ("voided", {"record": some_id, "reason": "wrong"}),
        ("edition-moved", {"left": "a" * 64}),
        ("closed", {}),
        ("same-as", {"sort": sort, "keep": keep, "other": other}),
    ]
    kind, body = rng.choice(deeds)
    return kind, body


# --- the office's fold in the words of the phone's runner ---------------------------------------


def told(book: Ledger) -> dict[str, Any]:
    return {
        "sites": {site.id: [site.name, site.address] for site in book.sites.values()},
        "systems": {
            system.id: [
                system.site,
                system.label,
                [[member.collection, member.id, member.label] for member in system.members],
            ]
            for system in book.systems.values()
        },
        "visits": {visit.id: visit_told(visit) for visit in book.visits.values()},
        "values": {
            visit.id: {
                key(quantity, member): reading.source.record
                for quantity, of_members in book.values(visit, carries).items()
                for member, reading in of_members.items()
            }
            for visit in book.visits.values()
        },
    }


def carries(quantity: str) -> str:
    topic = quantity.split(".")[0]
    return topic if topic in ("site", "system") else "visit"


def key(*parts: str | None) -> str:
    return "\n".join(part or "" for part in parts)


def milliseconds(source: Source) -> float:
    return source.when.corrected.timestamp() * 1000


def reading_told(reading: Reading) -> dict[str, Any]:
    source = reading.source
    return {
        "text": reading.text,
        "unit": reading.unit,
        "si": reading.si,
        "origin": reading.origin,
        "source": [
            source.record,
            source.device,
            milliseconds(source),
            source.when.offset_min,
            source.when.doubtful,
        ],
        "corrections": [[c.text, c.reason, c.source.record] for c in reading.corrections],
        "conflicts": [[other.source.record, other.si] for other in reading.conflicts],
        "earlier": [[other.source.record, other.si] for other in reading.earlier],
    }


def visit_told(visit: Visit) -> dict[str, Any]:
    def records(kept: list[Kept]) -> list[str]:
        return [each.source.record for each in kept]

    return {
        "site": visit.site,
        "system": visit.system,
        "title": visit.title,
        "kind": visit.visit_kind,
        "date": visit.date,
        "checklists": visit.checklists,
        "assigned": visit.assigned_to,
        "edition": visit.edition,
        "state": visit.state,
        "readings": {key(*of): reading_told(each) for of, each in visit.readings.items()},
        "steps": {
            key(*of): [each.outcome, each.reason, each.source.record]
            for of, each in visit.steps.items()
        },
        "timers": [
            [
                timer.timer,
                timer.started.record if timer.started else None,
                timer.stopped.record if timer.stopped else None,
                timer.step,
                timer.target_s,
                timer.elapsed_s,
                timer.observed,
                timer.asleep_s,
                timer.clock_changed,
                [list(reading) for reading in timer.readings],
            ]
            for timer in visit.timers
        ],
        "notes": [[n.text, n.source.record, len(n.corrections)] for n in visit.notes],
        "kept": [records(visit.photos), records(visit.signatures), records(visit.comments)],
        "closed": visit.closed.source.record if visit.closed else None,
        "times": [
            when.corrected.timestamp() * 1000 if when else None
            for when in (visit.first, visit.last)
        ],
    }
