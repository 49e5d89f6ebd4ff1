"""What a verdict says is whole: no figure in it is missing, whatever else was left out."""

from __future__ import annotations

from random import Random

import pytest

from kneewall.bundle import Quantity
from kneewall.explain import NOT_KNOWN, Explainer
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
    assert NOT_KNOWN not in Explainer(asked.answer).message(found)


TOPICS = ("electrical", "refrigerant", "controls")


def typed(trade: Trade, quantity: Quantity, dice: Random) -> str:
    """Something a person could write there."""
    if quantity.choices:
        return dice.choice(trade.bundle.choices[quantity.choices].options).value
    if quantity.type == "series":
        return "; ".join(
            f"{minute} min: {dice.uniform(100, 900):.1f} micron" for minute in (0, 4, 8, 11)
        )
    if quantity.type in ("flag", "text", "date"):
        kinds = {
            "flag": ("yes", "no"),
            "text": ("none such",),
            "date": ("2026-08-31", "2026-09-01"),
        }
        return dice.choice(kinds[quantity.type])
    assert quantity.limits
    low, high = dice.choice([quantity.limits, quantity.usual or quantity.limits])
    if quantity.one_of:
        low = high = dice.choice(quantity.one_of)
    drawn = dice.choice([low, high, dice.uniform(low, high)])
    if quantity.type == "count":
        return str(int(drawn))
    number = trade.edges.from_si(drawn, quantity.unit) if quantity.unit else drawn
    return f"{number:.6f} {quantity.unit}"


def test_no_verdict_names_what_it_does_not_know(trade: Trade) -> None:
    """Half-filled calculators, 60 of each: a verdict that stands has every figure that it speaks of."""
    quantities = {q.id: q for q in trade.bundle.quantities}
    dice = Random(20261129)
    broken = set()
    stood = 0
    for calculator in trade.bundle.calculators:
        for _ in range(60 if calculator.topic in TOPICS else 0):
            names = [*calculator.enter, *calculator.if_known]
            chosen = [name for name in names if dice.random() < 0.8]
            asked = trade.ask({name: typed(trade, quantities[name], dice) for name in chosen})
            explainer = Explainer(asked.answer)
            for result in asked.answer.checks(calculator.checks):
                if result.verdict in ("pass", "caution", "fail"):
                    stood += 1
                    if NOT_KNOWN in explainer.message(result):
                        broken.add((result.id, result.verdict))
    assert stood > 1000
    assert broken == set()


def test_a_figure_that_a_verdict_can_do_without_is_said_not_to_be_known(trade: Trade) -> None:
    asked = trade.ask({"running.volts_loaded": "180 V"})
    (found,) = asked.answer.checks(["running.voltage_in_window"])
    assert found.verdict == "fail"
    said = Explainer(asked.answer).message(found)
    assert said.startswith(f"{NOT_KNOWN} at rest and 180.0 V under load are not within 187 V")
