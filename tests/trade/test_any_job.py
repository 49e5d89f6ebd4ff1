"""Any mixture of places, units, kits and drains: where nothing is wrong every checklist comes to its end."""

from __future__ import annotations

from random import Random

import pytest

from tests.trade import refrigerant_jobs
from tests.trade.asking import Trade
from tests.trade.visiting import Given, walk

SITUATION: dict[str, list[str]] = {
    "indoor.location": ["attic", "above-ceiling", "closet", "basement", "crawlspace", "garage", "room"],
    "room.route": ["ducted", "still-room"],
    "indoor.placement": ["ceiling", "wall", "floor"],
    "indoor.feed": ["own-circuit", "from-outdoor"],
    "backup.kit_power": ["0 kW", "10 kW"],
    "drain.by_gravity": ["yes", "no"],
    "overflow.device": ["none", "primary-float", "secondary-port-float", "pan-float", "drained-pan"],
    "overflow.can_damage": ["yes", "no"],
    "system.refrigerant": ["R-32", "R-454B", "R-410A"],
    "control.kind": ["maker-wired", "thermostat-24v"],
    "position.shipped": ["upflow", "horizontal-left"],
    "position.wanted": ["upflow", "downflow", "horizontal-left", "horizontal-right"],
    "position.side_pan": ["left", "right", "none"],
    "outdoor.support": ["pad", "stand", "roof", "wall-bracket"],
    "site.construction": ["site-built", "manufactured"],
    "supply.material": ["copper", "aluminum"],
    "joints.brazed": ["yes", "no"],
    "joints.flared": ["yes", "no"],
    "duct.old_stay": ["yes", "no"],
    "duct.near_burner": ["yes", "no"],
    "attic.temperature": ["92 °F", "110 °F"],
    "run.mode": ["cooling", "heating"],
    "visit.first_readings": ["yes", "no"],
    "commissioning.charge_method": ["weight", "superheat", "subcooling"],
    "coil.iced": ["yes", "no"],
    "float.tripped": ["yes", "no"],
    "trip.holds_unit_off": ["yes", "no"],
    "fault.symptom": ["nothing-runs", "breaker-trips", "too-little", "water", "wrong-room",
                      "refrigerant-alarm", "displayed-code", "noise"],
}  # fmt: skip
PROVEN: Given = {
    "site.suspect_material": "no",
    "alarm.gas_gone": "yes",
    "power.proven_dead": "yes",
    "interunit.proven": "yes",
    "kit.listed": "yes",
    "kit.supplies": "2",
    "kit.supplies_dead": "2",
    "kit.capacitor_time": "11 min",
    "kit.bus_voltage": "3 V",
    "heat.blower_proven": "yes",
    "heat.limits_in_place": "yes",
    "heater.least_airflow_listed": "800 cfm",
    "air.flow": "1000 cfm",
    "valves.open": "yes",
    "charge.at_rest": "300 psi",
    "charge.coldest_place": "70 °F",
    "start.blower_runs": "yes",
    "commissioning.settle_time": "10 min",
}
"""What holds no step back."""
ASKED_FIRST = {"backup.kit_power", "system.refrigerant"}
"""Without these no list calls a compressor or a heater, and rightly so."""


def any_job(trade: Trade, seed: int) -> tuple[Given, int]:
    """A job by chance, and its number of indoor units. Now and then something is not known yet."""
    chance = Random(seed)
    units = chance.choice([1, 1, 2, 3])
    found: dict[str, str | list[str]] = {}
    for name, texts in SITUATION.items():
        if name not in ASKED_FIRST and chance.random() < 0.1:
            continue
        scope = trade.bundle.quantities[trade.engine.slots[name]].scope
        each = [chance.choice(texts) for _ in range(units)]
        found[name] = each if scope == "indoor" else each[0]
    return found, units


@pytest.mark.parametrize("seed", range(12))
def test_every_list_comes_to_its_end(trade: Trade, seed: int) -> None:
    job, units = any_job(trade, seed)
    for checklist in trade.bundle.checklists:
        usual = refrigerant_jobs.WORK.get(checklist.id, {})
        given = {
            name: value if isinstance(value, str) or len(value) == units else value[0]
            for name, value in {**PROVEN, **usual, **job}.items()
        }
        on = walk(trade, checklist.id, given, units)
        assert on.go() == set(on.steps), f"{checklist.id} with {job}"
