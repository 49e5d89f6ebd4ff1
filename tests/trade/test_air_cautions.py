"""The cautions and hints that no number can replace stand beside the calculators that need them."""

from __future__ import annotations

import pytest

from tests.trade.asking import Trade

BESIDE = {
    "static-pressure": {"drill-blind", "static-as-it-runs", "static-is-not-airflow"},
    "static-trend": {"same-holes-same-state", "constant-airflow-hides"},
    "fan-airflow": {"fan-table-basis", "static-is-not-airflow"},
    "heat-rise-airflow": {"volts-times-amps", "probe-out-of-sight", "live-elements"},
    "heat-rise": {"no-heat-before-airflow"},
    "delivered-capacity": {"wet-bulb-decides", "steady-at-full-speed"},
    "condensate-rate": {"water-needs-air-right"},
    "drain-line": {"drain-support", "drain-cleanout", "drain-end"},
    "drain-trap": {"vent-after-trap", "one-trap-primed"},
    "drain-protection": {"float-stops-all", "pan-depth", "ice-misses-the-pan"},
    "condensate-pump": {"float-stops-all"},
    "thermostat-setup": {
        "reversing-from-the-diagram",
        "defrost-brings-heat",
        "dehumidify-opens",
        "two-stages-two-wires",
        "no-deep-setback",
    },
    "safety-circuit": {"sensor-keeps-the-blower", "float-stops-the-unit"},
    "balance-point": {"straight-line-model", "hold-aux-off", "kit-needs-airflow"},
}


@pytest.mark.parametrize("calculator", list(BESIDE))
def test_cautions_stand_beside(trade: Trade, calculator: str) -> None:
    (found,) = [c for c in trade.bundle.calculators if c.id == calculator]
    assert BESIDE[calculator] <= set(found.cautions)


@pytest.mark.parametrize(
    ("quantity", "word"),
    # Taken for something else, each of these gives a wrong number that nothing can notice.
    [("drain.fall", "trap"), ("cabinet.static_at_drain", "external static"),
     ("duct.total_effective_length", "One leg alone"), ("heater.amps_measured", "blower"),
     ("rise.heater_power", "208 V"), ("static.after_coil", "wet"), ("load.zero_temperature", "65"),
     ("running.plate_amps", "MCA"), ("pan.least_width", "not on each side"), ("load.design", "tons"),
     ("pairing.connected_capacity", "shared"),
     ("nameplate.mca", "add nothing"), ("supply.length", "once"), ("load.current", "MCA"),
     ("supply.insulation_rating", "wet rating"),
     ("service.heating_load", "run together"), ("service.added_load", "taken out"),
     ("control.leg_current", "sum of the loads"), ("trend.coil_then", "Wet both times")],
)  # fmt: skip
def test_the_field_says_what_to_read_off(trade: Trade, quantity: str, word: str) -> None:
    (found,) = [q for q in trade.bundle.quantities if q.id == quantity]
    assert word in found.note
