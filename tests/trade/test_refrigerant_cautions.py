"""Mistakes of refrigerant work that no figure can notice: each is warned of where it is made."""

from __future__ import annotations

import pytest

from tests.trade.asking import Trade


@pytest.mark.parametrize(
    ("calculator", "caution", "words"),
    [
        ("added-charge", "weigh-in-as-liquid", ["liquid", "blend never from the vapor", "hose"]),
        ("added-charge", "added-charge-counts-for-rooms", ["room check", "label"]),
        ("line-set", "listed-sizes-only", ["Only the catalogue"]),
        ("line-set", "line-for-the-indoor-unit", ["for its indoor unit", "adapters", "outdoor port"]),
        ("line-set", "both-lines-insulated", ["each by itself", "small line is cold"]),
        ("line-pressure-drop", "estimate-no-licence", ["estimate", "length table wins"]),
        ("line-pressure-drop", "other-way-in-heating", ["hot gas"]),
        ("pressure-test", "nitrogen-only", ["Dry nitrogen only", "relief valve", "Service valves stay closed"]),
        ("pressure-test", "nitrogen-smothers", ["attic", "closet", "without warning"]),
        ("pressure-test", "needle-hides-a-leak", ["rising needle"]),
        ("evacuation", "gauge-at-the-far-end", ["far end", "pump and hoses shut off", "refrigerant vapor"]),
        ("evacuation", "vacuum-before-valves", ["until the hold has passed", "never run a compressor"]),
        ("evacuation", "cold-pipe-hides-ice", ["looks dry and is not"]),
        ("evacuation", "micron-not-inches", ["29.90 inHg", "altitude"]),
        ("saturation", "saturation-at-altitude", ["local air", "altitude"]),
        ("saturation", "r454b-within-1-f", ["R-454B", "1 °F"]),
        ("superheat", "dew-for-superheat", ["Superheat counts from dew, subcooling from bubble"]),
        ("superheat", "charge-by-weight", ["charged by weight"]),
        ("subcooling", "dew-for-superheat", ["Superheat counts from dew, subcooling from bubble"]),
        ("subcooling", "no-subcooling-after-metering", ["outdoor unit holds the metering device"]),
        ("subcooling", "hoses-hold-refrigerant", ["gloves"]),
        ("flare", "flare-second-wrench", ["second wrench", "none on the threads"]),
        ("flare", "flare-not-again", ["over-tightened", "steel fittings", "maker's figures come first"]),
        ("line-insulation", "still-air", ["still air"]),
        ("line-insulation", "hot-attic-costs-capacity", ["humid nights", "crawlspaces"]),
        ("room-area", "screening-only", ["Screening only", "inspector decide"]),
        ("room-area", "every-room-whole-charge", ["whole charge", "closet or attic", "check of its own"]),
        ("room-area", "r454b-limit-disputed", ["R-454B", "printed standard"]),
        ("room-area", "a2l-work", ["no ignition source", "recovery machine"]),
        ("recovery-cylinder", "cylinder-bursts", ["bursts when it warms"]),
        ("recovery-cylinder", "cylinder-for-this-refrigerant", ["One refrigerant a cylinder", "left-hand thread"]),
    ],
)  # fmt: skip
def test_cautions_stand_beside_their_calculator(
    trade: Trade, calculator: str, caution: str, words: list[str]
) -> None:
    text = trade.caution_beside(calculator, caution)
    assert [word for word in words if word not in text] == []


@pytest.mark.parametrize(
    ("quantity", "words"),
    # Taken for something else, each of these gives a wrong number that nothing can notice.
    [
        ("line.length", "Not both pipes, not equivalent length"),
        ("line.charge_rate", "a foot or a metre"),
        ("line.equivalent_length", "Charge and the longest line go by the measured length"),
        ("line.capacity_loss", "An inverter speeds up instead"),
        ("line.lift", "Positive where the outdoor unit is above"),
        ("test.start_pressure", "Wait 10 to 15 min after filling"),
        ("test.start_temperature", "in the shade"),
        ("room.area", "not where the thermostat hangs"),
        ("room.area", "no damper can close"),
        ("charge.total_in_system", "all that was added"),
        ("flare.applied_torque", "twelve times as much"),
        ("flare.wrench", "Measure the nut"),
        ("insulation.thickness", "not the outside of the roll"),
        ("air.relative_humidity", "not outdoors"),
        ("cylinder.gross", "hoses off"),
        ("system.refrigerant", "not off a service label"),
    ],
)
def test_the_field_says_what_is_meant(trade: Trade, quantity: str, words: str) -> None:
    (found,) = [q for q in trade.bundle.quantities if q.id == quantity]
    assert words in found.note


@pytest.mark.parametrize(
    ("result", "never"),
    [
        # Equivalent length is for friction alone.
        ("charge.added", "line.elbows"),
        ("line.listed_longest", "line.elbows"),
        # Micron are absolute.
        ("vacuum.finding", "site.altitude"),
        # Each room is checked with the whole charge, whatever its own line holds.
        ("room.least_area", "line.length"),
        # A listed size comes from the catalogue, never from what is often seen.
        ("line.listed_vapor_size", "indoor.capacity"),
    ],
)
def test_what_a_result_must_not_rest_on(trade: Trade, result: str, never: str) -> None:
    slots, upstream = trade.engine.slots, trade.engine.upstream
    assert slots[never] not in upstream[slots[result]]


@pytest.mark.parametrize(
    ("psig", "kilopascals_a_kelvin"),
    # 0.3 psi for each °F is 3.7 kPa for each K; a guide specification prints 2 beside it.
    [(150, 3.77), (500, 12.4)],
)
def test_a_test_in_si_moves_as_much(trade: Trade, psig: int, kilopascals_a_kelvin: float) -> None:
    given = {"site.altitude": "0 m", "test.start_pressure": f"{psig} psi"}
    given |= {"test.start_temperature": "35 °C", "test.end_temperature": "25 °C"}
    start = psig * 6.894757
    end = trade.ask(given).number("test.expected_pressure", "kPa")
    assert (start - end) / 10 == pytest.approx(kilopascals_a_kelvin, rel=0.01)
