"""Saturation, superheat and subcooling against CoolProp, and the traps of reading them off a gauge."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from math import exp, log
from pathlib import Path
from types import ModuleType

import pytest
from CoolProp.CoolProp import PropsSI

from kneewall.explain import Explainer
from tests.trade.asking import RULES, Trade

PSI = 0.45359237 * 9.80665 / 0.0254**2
FLUIDS = {"R-32": "R32", "R-454B": "R454B.mix", "R-410A": "R410A", "R-22": "R22"}
GRID = [-40 + 0.8 * step for step in range(126)]
"""°C, from −40 to 60."""


def air(feet: float) -> float:
    """Air pressure in Pa, ASHRAE Fundamentals in its inch-pound form."""
    return float(14.696 * PSI * (1 - 6.8754e-6 * feet) ** 5.2559)


def line(fluid: str, quality: int) -> list[tuple[float, float]]:
    """°C and Pa of a saturation line, where CoolProp finds it."""
    found = []
    for celsius in GRID:
        try:
            pressure = PropsSI("P", "T", celsius + 273.15, "Q", quality, fluid)
        except ValueError:
            continue
        found.append((celsius, float(pressure)))
    return found


def script() -> ModuleType:
    path = Path(__file__).parents[2] / "backend" / "tables" / "saturation.py"
    spec = importlib.util.spec_from_file_location("saturation", path)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_table_is_what_its_script_writes() -> None:
    written = (RULES / "refrigerant" / "saturation.csv").read_text().splitlines()
    assert written == list(script().lines())


@pytest.mark.parametrize("refrigerant", FLUIDS)
@pytest.mark.parametrize(("name", "quality"), [("dew", 1), ("bubble", 0)])
def test_both_ways_over_the_whole_range(
    trade: Trade, refrigerant: str, name: str, quality: int
) -> None:
    """Within 0.1 K of CoolProp from −40 to 60 °C, pressure to temperature and back."""
    points = line(FLUIDS[refrigerant], quality)
    # The mixture has no answer at some temperatures; without these it is still a dense grid.
    assert len(points) > 0.93 * len(GRID)
    given = {"system.refrigerant": refrigerant, "site.altitude": "0 ft"}
    for celsius, pascal in points:
        psig = (pascal - 101325) / PSI
        there = trade.ask(given | {"sat.pressure": f"{psig:.6f} psi"})
        assert there.number(f"sat.{name}_temperature", "degC") == pytest.approx(celsius, abs=0.02)
        back = trade.ask(given | {"sat.temperature": f"{celsius:.6f} °C"})
        found = back.number(f"sat.{name}_pressure", "psi") * PSI + 101325
        # A kelvin is about 3 % of the pressure.
        assert log(found / pascal) / 0.03 == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize(("name", "quality"), [("dew", 1), ("bubble", 0)])
def test_r410a_as_a_mixture_says_the_same(trade: Trade, name: str, quality: int) -> None:
    for celsius, pascal in line("R410A.mix", quality)[::6]:
        psig = (pascal - 101325) / PSI
        asked = trade.ask(
            {
                "system.refrigerant": "R-410A",
                "site.altitude": "0 ft",
                "sat.pressure": f"{psig:.6f} psi",
            }
        )
        assert asked.number(f"sat.{name}_temperature", "degC") == pytest.approx(celsius, abs=0.1)


def test_a_row_that_coolprop_cannot_give_comes_from_its_neighbours() -> None:
    """A made-up line that fails at one temperature gives the same as the line itself."""
    tables = script()

    def clausius(fluid: str, kelvin: float) -> float:
        return exp(20 - 2500 / kelvin)

    def failing(width: float) -> Callable[[str, float], float]:
        def values(fluid: str, kelvin: float) -> float:
            if abs(kelvin - 300) < width:
                raise ValueError("no convergence")
            return clausius(fluid, kelvin)

        return values

    assert tables.found(failing(0.1), "", 300) == pytest.approx(clausius("", 300), rel=1e-12)
    assert tables.found(failing(0.9), "", 300) == pytest.approx(clausius("", 300), rel=1e-12)
    with pytest.raises(ValueError, match="no point within"):
        tables.found(failing(1.1), "", 300)
    values = [clausius("", 280 + 5 * step) for step in range(9)]
    assert tables.smooth(values, 1e-4) == values
    with pytest.raises(ValueError, match="off the curve"):
        tables.smooth([*values[:4], values[4] * 1.003, *values[5:]], 1e-4)


def suction(**more: str) -> dict[str, str]:
    given = {
        "system.refrigerant": "R-454B", "site.altitude": "0 ft", "sat.pressure": "118 psi", "line.temperature": "56 °F",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


def test_superheat_counts_from_dew(trade: Trade) -> None:
    asked = trade.ask(suction())
    assert asked.number("sat.dew_temperature", "degC") == pytest.approx(7.14, abs=0.02)
    assert asked.number("sat.bubble_temperature", "degC") == pytest.approx(5.65, abs=0.02)
    assert asked.number("superheat.value", "delta_degF") == pytest.approx(11.15, abs=0.05)


def test_subcooling_counts_from_bubble(trade: Trade) -> None:
    asked = trade.ask(suction(sat__pressure="340 psi", line__temperature="97 °F"))
    assert asked.number("sat.bubble_temperature", "degC") == pytest.approx(42.32, abs=0.02)
    assert asked.number("sat.dew_temperature", "degC") == pytest.approx(43.77, abs=0.02)
    assert asked.number("subcooling.value", "delta_degF") == pytest.approx(11.18, abs=0.05)


@pytest.mark.parametrize("feet", [0, 1000, 5280, 8000])
@pytest.mark.parametrize("refrigerant", FLUIDS)
def test_gauge_pressure_at_altitude(trade: Trade, feet: int, refrigerant: str) -> None:
    fluid = FLUIDS[refrigerant]
    for psig in (60, 120, 200, 350):
        asked = trade.ask(
            {
                "system.refrigerant": refrigerant,
                "site.altitude": f"{feet} ft",
                "sat.pressure": f"{psig} psi",
                "line.temperature": "100 °F",
            }
        )
        kelvin = PropsSI("T", "P", psig * PSI + air(feet), "Q", 1, fluid)
        found = asked.number("sat.dew_temperature", "degC")
        assert found == pytest.approx(kelvin - 273.15, abs=0.03), psig
        found = asked.number("superheat.value", "delta_degC")
        assert found == pytest.approx(100 / 1.8 - 32 / 1.8 - (kelvin - 273.15), abs=0.03)


def test_without_the_altitude_nothing_is_known(trade: Trade) -> None:
    given = suction()
    del given["site.altitude"]
    assert trade.ask(given).why("superheat.value") == ("missing", ["site.altitude"])
    high = trade.ask(
        suction(
            system__refrigerant="R-32",
            sat__pressure="120 psi",
            site__altitude="5280 ft",
        )
    )
    assert high.number("sat.dew_temperature", "degC") == pytest.approx(3.59, abs=0.02)


def test_one_of_pressure_and_temperature_is_enough(trade: Trade) -> None:
    given = {"system.refrigerant": "R-32", "site.altitude": "0 ft"}
    by_pressure = trade.ask(given | {"sat.pressure": "120 psi"})
    assert by_pressure.why("sat.dew_pressure")[0] == "not-applicable"
    by_temperature = trade.ask(given | {"sat.temperature": "40 °F"})
    assert by_temperature.why("sat.bubble_temperature")[0] == "not-applicable"
    nothing = trade.ask(given)
    assert nothing.why("sat.dew_pressure") == ("missing", ["sat.temperature"])
    assert nothing.why("sat.dew_temperature") == ("missing", ["sat.pressure"])


@pytest.mark.parametrize(
    ("given", "quantity"),
    [
        ({"sat.temperature": "65.1 °C"}, "sat.dew_pressure"),
        ({"sat.temperature": "-45.1 °C"}, "sat.bubble_pressure"),
        ({"sat.pressure": "622 psi"}, "sat.dew_temperature"),
        ({"sat.pressure": "5 psi"}, "sat.dew_temperature"),
    ],
)
def test_outside_the_table_is_refused(trade: Trade, given: dict[str, str], quantity: str) -> None:
    asked = trade.ask({"system.refrigerant": "R-32", "site.altitude": "0 ft"} | given)
    assert asked.why(quantity)[0] == "outside"


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({}, ""),
        ({"metering__place": "indoor-unit", "run__mode": "cooling"}, ""),
        ({"metering__place": "outdoor-unit", "run__mode": "heating"}, ""),
        ({"metering__place": "outdoor-unit", "run__mode": "cooling"}, "not-applicable"),
        ({"metering__place": "outdoor-unit"}, "missing"),
        (
            {
                "metering__place": "outdoor-unit",
                "run__mode": "cooling",
                "subcooling__place": "line-at-indoor-unit",
            },
            "not-applicable",
        ),
        (
            {
                "metering__place": "outdoor-unit",
                "run__mode": "cooling",
                "subcooling__place": "in-outdoor-unit",
            },
            "",
        ),
    ],
)
def test_no_subcooling_on_a_line_that_holds_no_liquid(
    trade: Trade, more: dict[str, str], why: str
) -> None:
    asked = trade.ask(suction(sat__pressure="340 psi", line__temperature="97 °F", **more))
    if why:
        assert asked.why("subcooling.value")[0] == why
    else:
        assert asked.number("subcooling.value", "delta_degF") == pytest.approx(11.18, abs=0.05)


def test_an_inverter_is_judged_only_in_test_mode(trade: Trade) -> None:
    wrong = {"superheat__target": "20 delta_degF", "subcooling__target": "2 delta_degF"}
    for more, judged, verdict in (
        ({}, "caution", "not-applicable"),
        ({"compressor__drive": "fixed-speed"}, "caution", "not-applicable"),
        ({"compressor__drive": "inverter"}, "not-applicable", "caution"),
        (
            {"compressor__drive": "inverter", "run__in_test_mode": "no"},
            "not-applicable",
            "caution",
        ),
        ({"compressor__drive": "inverter", "run__in_test_mode": "yes"}, "caution", "pass"),
    ):
        asked = trade.ask(suction(**wrong, **more))
        assert asked.verdict("superheat.as_asked") == judged, more
        assert asked.verdict("charge.judged_in_test_mode") == verdict, more


def test_liquid_in_the_suction_line_fails(trade: Trade) -> None:
    assert trade.ask(suction(line__temperature="44 °F")).verdict("superheat.is_gas") == "fail"
    hot = suction(sat__pressure="340 psi", line__temperature="110 °F")
    assert trade.ask(hot).verdict("subcooling.is_liquid") == "fail"


def test_the_mixture_says_what_it_rests_on(trade: Trade) -> None:
    answer = trade.ask(suction()).answer
    ((table, row),) = Explainer(answer).step("sat.dew_temperature").rows
    (found,) = [t for t in trade.bundle.tables if t.id == table]
    source = found.marks[str(row)].source
    assert source
    assert source.of == "r454b-mixture-model"
    assert not trade.bundle.sources[source.of].confirmed


def test_the_mixture_agrees_with_the_printed_end_of_a_chart(trade: Trade) -> None:
    """A published chart of R-454B begins with 8.8 psi at −40 °F; the model is taken as good to 0.5 K."""
    given = {"system.refrigerant": "R-454B", "site.altitude": "0 ft", "sat.pressure": "8.8 psi"}
    dew = trade.ask(given).number("sat.dew_temperature", "degC")
    assert dew == pytest.approx(-40, abs=0.5)
