"""An invented county's amendments and a company's habit: in force, and said wherever they have effect."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from kneewall.compiler import CompileError, compile_packs
from kneewall.explain import Explainer
from tests.trade.asking import HOUSE, MAKER, RULES, Asked, Trade

HOLD = {
    "vacuum.readings": "0 min: 420 micron, 4 min: 620 micron, 6.5 min: 700 micron, "
    "8 min: 708 micron, 10 min: 712 micron",
    "vacuum.pipe_temperature": "70 degF",
}  # fmt: skip


@pytest.fixture(scope="module")
def house() -> Trade:
    return Trade(compile_packs([RULES, MAKER, HOUSE]))


def reasons(asked: Asked, quantity: str) -> dict[str, str]:
    """What a result rests on that the house put there, and why."""
    found = Explainer(asked.answer).step(quantity).amended
    assert all(amended.pack == "house" for amended in found)
    return {amended.id: amended.because for amended in found}


def test_the_company_pulls_deeper(trade: Trade, house: Trade) -> None:
    assert trade.ask(HOLD)["vacuum.finding"] == "tight-and-dry"
    asked = house.ask(HOLD)
    assert asked["vacuum.finding"] == "not-reached"
    assert asked.number("vacuum.target", "micron") == pytest.approx(300)
    assert "300 micron" in reasons(asked, "vacuum.finding")["vacuum.target"]
    assert reasons(trade.ask(HOLD), "vacuum.finding") == {}
    entered = house.ask(HOLD | {"vacuum.target": "500 micron"})
    assert entered["vacuum.finding"] == "tight-and-dry"


def test_the_county_counts_a_garage(trade: Trade, house: Trade) -> None:
    given = {"indoor.location": "garage", "overflow.device": "none"}
    assert trade.ask(given)["overflow.secondary"] == "only-if-damage"
    asked = house.ask(given)
    assert asked["overflow.secondary"] == "required"
    assert asked.verdict("overflow.protected") == "fail"
    ((row, because),) = reasons(asked, "overflow.secondary").items()
    assert row.startswith("overflow_places")
    assert "Hollow County" in because
    basement = house.ask(given | {"indoor.location": "basement"})
    assert basement["overflow.secondary"] == "only-if-damage"
    assert reasons(basement, "overflow.secondary") == {}


def test_the_county_watches_longer(trade: Trade, house: Trade) -> None:
    for rules, minutes in ((trade, 60), (house, 120)):
        asked = rules.ask({})
        assert asked.number("fire.least_watch", "min") == pytest.approx(minutes)


def test_the_county_fails_a_pump_that_nobody_has_proven(trade: Trade, house: Trade) -> None:
    given = {"drain.by_gravity": "no"}
    assert trade.ask(given).verdict("pump.stops_the_unit") == "caution"
    assert house.ask(given).verdict("pump.stops_the_unit") == "fail"
    proven = house.ask(given | {"pump.stops_unit": "yes"})
    assert proven.verdict("pump.stops_the_unit") == "pass"
    (check,) = [check for check in house.bundle.checks if check.id == "pump.stops_the_unit"]
    assert check.replaced is not None
    assert check.replaced.pack == "trade"
    assert "Hollow County" in check.replaced.because


def test_the_inspector_signs_after_the_end_reading(house: Trade) -> None:
    (checklist,) = [one for one in house.bundle.checklists if one.id == "pressure-test"]
    steps = [step.id for step in checklist.steps]
    assert steps.index("witness") == steps.index("end-reading") + 1


def test_a_change_below_asks_for_a_new_look(tmp_path: Path) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(RULES, rules)
    evacuation = rules / "refrigerant" / "evacuation.yaml"
    text = evacuation.read_text(encoding="utf-8")
    assert "default: 500 micron" in text
    evacuation.write_text(text.replace("default: 500 micron", "default: 450 micron"))
    with pytest.raises(CompileError) as refused:
        compile_packs([rules, MAKER, HOUSE])
    assert re.search(r"habits\.yaml:\d+:\d+: E703 vacuum\.target", str(refused.value))
