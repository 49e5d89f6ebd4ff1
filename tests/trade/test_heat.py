"""Electric heat and its air, from mass flow and specific heat, and the known traps."""

from __future__ import annotations

from itertools import product

import pytest

from tests.trade.asking import Trade

BTU_PER_WATT_HOUR = 3.412141633
FEET = (0, 2500, 5280, 8000)


def heat_carried(cfm: float, returning: float, rise: float, feet: float) -> float:
    """Btu/h by the gas law: dry air of 53.35 ft·lbf/(lb·°R) and 0.240 Btu/(lb·°F)."""
    pounds = 14.696 * (1 - 6.8754e-6 * feet) ** 5.2559 * 144 * cfm * 60
    return float(pounds / (53.35 * (returning + 459.67)) * 0.24 * rise)


def rise_reading(
    volts: float, amps: str, returning: float, supply: float, feet: float
) -> dict[str, str]:
    return {
        "heater.volts": f"{volts} V",
        "heater.amps_measured": amps,
        "air.return_temperature": f"{returning} °F",
        "air.supply_temperature": f"{supply} °F",
        "site.altitude": f"{feet} ft",
    }


@pytest.mark.parametrize("feet", FEET)
def test_airflow_by_rise_from_the_gas_law(trade: Trade, feet: int) -> None:
    for volts, amps, returning, rise in product((208, 240), (20, 60.5), (40, 70, 85), (12, 31, 60)):
        asked = trade.ask(
            rise_reading(volts, f"{amps / 2} A, {amps / 2} A", returning, returning + rise, feet)
        )
        found = asked.number("rise.airflow", "cfm")
        watts = volts * amps
        carried = heat_carried(found, returning, rise, feet)
        assert carried == pytest.approx(watts * BTU_PER_WATT_HOUR, rel=0.003)


@pytest.mark.parametrize("feet", FEET)
def test_rise_and_least_airflow_from_the_gas_law(trade: Trade, feet: int) -> None:
    for kilowatts, cfm, returning, hottest in product(
        (3, 7.51, 20), (400, 1000, 1800), (55, 70), (120, 160)
    ):
        asked = trade.ask(
            {
                "rise.heater_power": f"{kilowatts} kW",
                "air.flow": f"{cfm} cfm",
                "air.return_temperature": f"{returning} °F",
                "heater.most_leaving": f"{hottest} °F",
                "site.altitude": f"{feet} ft",
            }
        )
        heat = kilowatts * 1000 * BTU_PER_WATT_HOUR
        rise = asked.number("heat.rise", "delta_degF")
        assert heat_carried(cfm, returning, rise, feet) == pytest.approx(heat, rel=0.003)
        assert asked.number("heat.leaving_temperature", "degF") == pytest.approx(returning + rise)
        least = asked.number("heat.least_airflow", "cfm")
        carried = heat_carried(least, returning, hottest - returning, feet)
        assert carried == pytest.approx(heat, rel=0.003)
        enough = "pass" if cfm >= least else "fail"
        assert asked.verdict("heat.airflow_enough") == enough


@pytest.mark.parametrize("feet", FEET)
def test_output_and_cop_from_the_gas_law(trade: Trade, feet: int) -> None:
    for cfm, returning, rise, watts in product((400, 1200), (60, 72), (15, 35), (1500, 4000)):
        asked = trade.ask(
            {
                "air.flow": f"{cfm} cfm",
                "air.return_temperature": f"{returning} °F",
                "air.supply_temperature": f"{returning + rise} °F",
                "heating.input_power": f"{watts} W",
                "site.altitude": f"{feet} ft",
            }
        )
        output = heat_carried(cfm, returning, rise, feet)
        assert asked.number("heating.output", "Btu/h") == pytest.approx(output, rel=0.003)
        cop = output / BTU_PER_WATT_HOUR / watts
        assert asked.number("heating.cop") == pytest.approx(cop, rel=0.003)
        assert asked.verdict("heating.cop_believable") == ("pass" if 1 < cop < 6 else "caution")


def test_sea_level_reads_a_sixth_too_little_at_5000_feet(trade: Trade) -> None:
    low = trade.ask(rise_reading(240, "40 A", 70, 101, 0)).number("rise.airflow", "cfm")
    high = trade.ask(rise_reading(240, "40 A", 70, 101, 5000)).number("rise.airflow", "cfm")
    assert low == pytest.approx(978, abs=1)
    assert high == pytest.approx(1176, abs=1)


def test_airflow_by_rise_asks_for_the_altitude(trade: Trade) -> None:
    given = rise_reading(240, "40 A", 70, 101, 0)
    del given["site.altitude"]
    assert trade.ask(given).why("rise.airflow") == ("missing", ["site.altitude"])


def test_a_rise_without_altitude_says_that_it_is_at_sea_level(trade: Trade) -> None:
    given = kit(most_leaving="150 °F")
    del given["site.altitude"]
    asked = trade.ask(given)
    assert asked.verdict("air.altitude_counted") == "caution"
    assert asked.number("heat.rise") == trade.ask(kit()).number("heat.rise")
    assert trade.ask(kit()).verdict("air.altitude_counted") == "pass"


def test_rise_and_airflow_are_each_others_inverse(trade: Trade) -> None:
    flow = trade.ask(rise_reading(240, "40 A", 65, 96, 4000)).number("rise.airflow", "cfm")
    back = trade.ask(
        {
            "rise.heater_power": "9.6 kW",
            "air.flow": f"{flow} cfm",
            "air.return_temperature": "65 °F",
            "site.altitude": "4000 ft",
        }
    )
    assert back.number("heat.rise", "delta_degF") == pytest.approx(31)


def test_every_heater_circuit_counts_once(trade: Trade) -> None:
    one = trade.ask(rise_reading(240, "60 A", 70, 110, 0)).number("rise.airflow")
    two = trade.ask(rise_reading(240, "40 A; 20 A", 70, 110, 0)).number("rise.airflow")
    assert two == pytest.approx(one)


def test_kilowatts_of_the_label_are_not_those_on_208_volts(trade: Trade) -> None:
    """A 10 kW element of 240 V has 5.76 Ω; on 208 V it makes 7.51 kW."""
    amps = 208 / (240**2 / 10_000)
    asked = trade.ask(rise_reading(208, f"{amps:.6f} A", 70, 100, 0))
    assert asked.number("rise.measured_power", "kW") == pytest.approx(7.511, abs=0.001)
    label = 10_000 * 3.412 / (1.08 * 30)
    assert label / asked.number("rise.airflow", "cfm") == pytest.approx(1.331, abs=0.001)


@pytest.mark.parametrize(("supply", "why"), [(70, "domain"), (65, "outside")])
def test_no_rise_is_no_airflow(trade: Trade, supply: float, why: str) -> None:
    assert trade.ask(rise_reading(240, "40 A", 70, supply, 0)).why("rise.airflow")[0] == why


def test_a_small_rise_is_pointed_out(trade: Trade) -> None:
    small = trade.ask(rise_reading(240, "40 A", 70, 79, 0))
    assert small.verdict("rise.large_enough") == "caution"


def kit(**more: str) -> dict[str, str]:
    given = {
        "rise.heater_power": "9.184 kW",
        "air.flow": "1000 cfm",
        "air.return_temperature": "70 °F",
        "site.altitude": "0 ft",
    }
    return given | {f"heater.{name}": value for name, value in more.items()}


def test_the_listed_airflow_wins(trade: Trade) -> None:
    asked = trade.ask(kit(most_leaving="150 °F", least_airflow_listed="1100 cfm"))
    assert asked.number("heat.least_airflow", "cfm") == pytest.approx(1100)
    assert asked.verdict("heat.airflow_enough") == "fail"
    lower = trade.ask(kit(most_leaving="90 °F", least_airflow_listed="900 cfm"))
    assert lower.verdict("heat.airflow_enough") == "pass"
    assert lower.verdict("heat.not_too_hot") == "caution"


def test_without_any_limit_the_least_airflow_is_unknown(trade: Trade) -> None:
    asked = trade.ask(kit())
    assert asked.why("heat.least_airflow") == ("missing", ["heater.most_leaving"])
    assert asked.verdict("heat.airflow_enough") == "unknown"
    assert asked.number("heat.rise", "delta_degF") == pytest.approx(29.0, abs=0.02)


def test_aux_heat_in_the_power_shows_in_the_cop(trade: Trade) -> None:
    asked = trade.ask(
        {
            "air.flow": "900 cfm",
            "air.return_temperature": "68 °F",
            "air.supply_temperature": "88 °F",
            "heating.input_power": "8200 W",
            "site.altitude": "0 ft",
        }
    )
    assert asked.verdict("heating.cop_believable") == "caution"
