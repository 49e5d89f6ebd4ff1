"""Fault finding by a displayed code: which tree of readings it opens, and that every tree comes to an end."""

from __future__ import annotations

from tests.trade.asking import Trade
from tests.trade.catalogue import rows
from tests.trade.visiting import Given, walk

HOUSE: Given = {
    "system.refrigerant": "R-454B",
    "indoor.location": "attic",
    "room.route": "ducted",
    "backup.kit_power": "10 kW",
    "attic.temperature": "92 °F",
    "alarm.gas_gone": "yes",
    "power.proven_dead": "yes",
    "kit.capacitor_time": "10 min",
}
LEADS = {
    "communication": ("nothing-runs", {"dead-volts", "dead-finding"}),
    "supply": ("nothing-runs", {"dead-volts", "dead-finding"}),
    "indoor-air": ("too-little", {"volts", "air", "first"}),
    "outdoor-air": ("too-little", {"volts", "air", "first"}),
    "refrigerant": ("too-little", {"volts", "air", "first"}),
    "water": ("water", {"water", "stops"}),
    "leak-sensor": ("refrigerant-alarm", {"air-the-room", "room-clear"}),
    "sensor": ("displayed-code", {"code", "mend"}),
    "setting": ("displayed-code", {"code", "mend"}),
}
"""Of each area that the invented maker's codes name: the tree, and some of its steps."""


def test_a_displayed_code_leads_to_the_readings_of_its_fault(maker: Trade) -> None:
    areas = {row["area"] for row in rows("fault_codes")}
    assert areas == set(LEADS)
    base = {**HOUSE, "fault.symptom": "displayed-code", "coil.iced": "no"}
    trees = {step for _, steps in LEADS.values() for step in steps} - {"code", "mend"}
    for row in rows("fault_codes"):
        path, steps = LEADS[row["area"]]
        given = {**base, "outdoor.model": row["model"], "fault.code": row["code"]}
        on = walk(maker, "fault-finding", given)
        assert on.answer.value("fault.path") == path
        assert steps <= set(on.steps)
        assert "code" in on.surely()
        others = trees - {step for tree, s in LEADS.values() if tree == path for step in s}
        assert not others & set(on.steps), row["code"]


def test_a_code_that_no_table_holds_opens_no_tree(maker: Trade) -> None:
    base = {**HOUSE, "fault.symptom": "displayed-code"}
    for more in ({}, {"outdoor.model": "OU-S12-B", "fault.code": "NO-SUCH"}):
        on = walk(maker, "fault-finding", {**base, **more})
        assert on.answer.value("fault.path") == "displayed-code"
        assert on.go() == set(on.steps)
