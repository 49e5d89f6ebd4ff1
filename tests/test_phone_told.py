"""The phone and the office tell the same of the same visit: what was begun, which verdicts, what rests on what."""

from __future__ import annotations

import json
import random
import threading
import uuid
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from kneewall.bundle import Bundle, Quantity
from kneewall.engine import Engine
from kneewall.records.envelope import RECORD
from kneewall.records.fold import fold
from kneewall.records.ledger import Ledger, Visit
from kneewall.records.review import review_with
from kneewall.records.told import calculators_begun, checklists_of, told_checks, worst_on
from tests import office_double, phone_office
from tests.phone_double import PhoneDouble
from tests.phone_side import run_phone_side

RUNNER = phone_office.ROOT / "pwa" / "tests" / "told_cases.ts"
HISTORIES = 40


@pytest.mark.parametrize("bundle", [phone_office.rules(), office_double.bundle()], ids="ab")
def test_both_tell_the_same_of_any_visit(bundle: Bundle, tmp_path: Path) -> None:
    histories = [history(random.Random(seed), bundle) for seed in range(HISTORIES)]
    file = tmp_path / "cases"
    lines = [json.dumps(json.loads(bundle.raw)), *map(json.dumps, histories)]
    file.write_text("\n".join(lines), encoding="utf-8")
    engine = Engine(bundle)
    told = []
    for given, theirs in zip(histories, run_phone_side(RUNNER, file), strict=True):
        ledger = fold(RECORD.validate_json(line) for line in given)
        ours = {visit.id: look(engine, ledger, visit) for visit in ledger.visits.values()}
        assert json.loads(json.dumps(ours)) == theirs
        told += [verdict for each in ours.values() for _, _, verdict in each["told"]]
    assert {"pass", "fail", "unknown"} <= set(told), "the histories say too little"


def look(engine: Engine, ledger: Ledger, visit: Visit) -> dict[str, Any]:
    found = review_with(ledger, visit, engine, threading.Lock(), "")
    told = told_checks(found, visit)
    worst = {}
    for name, by_member in found.values.items():
        for member in by_member:
            if quantity := found.quantity(name):
                worst[f"{name}\n{member or ''}"] = worst_on(found, told, quantity, member)
    return {
        "lists": [each.id for each in checklists_of(found.bundle, visit)],
        "begun": [each.id for each in calculators_begun(found, visit)],
        "told": [[each.id, each.member or "", each.verdict] for each in told],
        "worst": worst,
    }


def history(rng: random.Random, bundle: Bundle) -> list[str]:
    """Two visits on one system; values, some taken back, and steps of whatever the rules ask for."""
    phone = PhoneDouble()
    opened = {"title": "Visit", "visit_kind": "fault", "date": "2026-11-25"}
    phone.add_site()
    phone.add_system()
    members: dict[str, list[str]] = {}
    for collection in bundle.collections:
        members[collection] = [
            str(uuid.UUID(int=rng.getrandbits(128), version=4)) for _ in range(rng.randrange(3))
        ]
        for member in members[collection]:
            phone.add_member(collection, member, "one")
    entered = [quantity for quantity in bundle.quantities if quantity.tree is None]
    for _ in range(2):
        phone.visit = str(uuid.UUID(int=rng.getrandbits(128), version=4))
        phone.clock += timedelta(days=1)
        lists = [each.id for each in bundle.checklists if rng.random() < 0.4]
        phone.write("visit-opened", opened | {"checklists": lists})
        often = rng.choice([0.1, 0.5, 0.9])
        for quantity in entered:
            of: Sequence[str | None] = members.get(quantity.scope, [None])
            for one in of:
                if rng.random() < often:
                    si = None if rng.random() < 0.1 else value(rng, bundle, quantity)
                    phone.set(quantity.id, si, member=one)
        for checklist in bundle.checklists:
            for step in checklist.steps:
                if rng.random() < 0.1:
                    body = {"checklist": checklist.id, "step": step.id, "outcome": "done"}
                    phone.write("step-done", body)
    return [line.decode() for line in phone.lines]


def value(rng: random.Random, bundle: Bundle, quantity: Quantity) -> Any:
    low, high = quantity.limits or (0, 1)
    match quantity.type:
        case "choice":
            return rng.choice(bundle.choices[quantity.choices].options).value
        case "flag":
            return rng.random() < 0.5
        case "date":
            return "2026-11-25"
        case "count":
            return rng.randint(int(low), int(high))
        case "list":
            return [rng.uniform(low, high)]
        case "series":
            return [[0, rng.uniform(0, 100)], [60, rng.uniform(0, 100)]]
        case "text":
            return "said"
        case _:
            # Most readings are small; limits are wide.
            return low + (high - low) * rng.random() ** 3
