"""What a verdict says is whole: no figure in it is missing, whatever else was left out."""

from __future__ import annotations

import pytest

from kneewall.explain import Explainer
from tests.trade.asking import Trade


@pytest.mark.parametrize(
    ("check", "verdict", "given"),
    [
        (
            "test.tight", "caution",
            {"site.altitude": "0 ft", "test.start_pressure": "150 psi", "test.start_temperature": "80 °F",
             "test.end_temperature": "70 °F", "test.end_pressure": "160 psi"},
        ),
        (
            "safety.wired_right", "fail",
            {"safety.device": "leak-sensor", "system.refrigerant": "R-32", "safety.wired": "unit-stop"},
        ),
        (
            "room.large_enough", "fail",
            {"system.refrigerant": "R-32", "charge.total_in_system": "17 kg", "room.route": "ducted"},
        ),
        ("transformer.is_class_two", "fail", {"transformer.va": "150 VA"}),
        ("breaker.carries_plate", "fail", {"nameplate.mca": "31 A", "breaker.rating": "30 A"}),
        (
            "breaker.within_plate", "fail",
            {"nameplate.mocp": "25 A", "supply.load_kind": "air-conditioning", "breaker.rating": "40 A"},
        ),
        (
            "drop.within_planning_line", "fail",
            {"conductor.size": "10 AWG", "supply.material": "copper", "supply.length": "5000 ft",
             "load.current": "300 A", "supply.source_voltage": "240 V", "supply.raceway": "none"},
        ),
    ],
)  # fmt: skip
def test_a_message_names_only_what_is_known(
    trade: Trade, check: str, verdict: str, given: dict[str, str]
) -> None:
    (found,) = (asked := trade.ask(given)).answer.checks([check])
    assert found.verdict == verdict
    assert "?" not in Explainer(asked.answer).message(found)
