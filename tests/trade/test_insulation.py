"""Insulated lines against the same physics solved apart from the rules, with other air properties."""

from __future__ import annotations

from itertools import product
from math import log, pi

import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from fluids.atmosphere import ATMOSPHERE_1976
from scipy.optimize import brentq

from tests.trade.asking import Trade

OUTSIDE = {
    "1/4 in": 0.25, "3/8 in": 0.375, "1/2 in": 0.5, "5/8 in": 0.625, "3/4 in": 0.75, "7/8 in": 0.875,
    "1-1/8 in": 1.125,
}  # fmt: skip
INCH = 0.0254
W_PER_M_K = 0.1442279
"""Of one Btu·in/(h·ft²·°F)."""
BTU_PER_H_FT = 0.961_519
"""W/m of one Btu/(h·ft)."""


def kelvin(fahrenheit: float) -> float:
    return (fahrenheit + 459.67) / 1.8


def film(surface: float, air: float, diameter: float, emissivity: float, pressure: float) -> float:
    """W/m²K of still air at a horizontal cylinder: Churchill and Chu with CoolProp's air, and radiation. K, m, Pa."""
    mean = (surface + air) / 2
    density, viscosity, conductivity, prandtl = (
        PropsSI(name, "T", mean, "P", pressure, "Air") for name in ("D", "V", "L", "PRANDTL")
    )
    grashof = 9.80665 / mean * abs(air - surface) * diameter**3 / (viscosity / density) ** 2
    nusselt = (
        0.60
        + 0.387 * (grashof * prandtl) ** (1 / 6) / (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
    ) ** 2
    radiation = emissivity * 5.670374e-8 * (air**2 + surface**2) * (air + surface)
    return float(nusselt * conductivity / diameter + radiation)


def surface(
    tube: str, thickness: float, line: float, air: float, k: float = 0.27,
    emissivity: float = 0.9, pressure: float = 101325,
) -> float:  # fmt: skip
    """°F of the insulation's surface; thickness in, temperatures °F."""
    inner = OUTSIDE[tube] * INCH / 2
    outer = inner + thickness * INCH

    def excess(at: float) -> float:
        through = 2 * pi * k * W_PER_M_K * (at - kelvin(line)) / log(outer / inner)
        h = film(at, kelvin(air), 2 * outer, emissivity, pressure)
        return float(through - h * 2 * pi * outer * (kelvin(air) - at))

    ends = sorted((kelvin(line), kelvin(air)))
    return float(brentq(excess, ends[0], ends[1], xtol=1e-6) * 1.8 - 459.67)


def dew_point(dry_bulb: float, percent: float) -> float:
    psychrolib.SetUnitSystem(psychrolib.IP)
    return float(psychrolib.GetTDewPointFromRelHum(dry_bulb, percent / 100))


def pipe(**more: str) -> dict[str, str]:
    given = {
        "tube.size": "3/4 in", "line.surface_temperature": "45 °F", "insulation.thickness": "3/4 in",
        "air.dry_bulb": "80 °F", "air.relative_humidity": "85 %",
    }  # fmt: skip
    return given | {key.replace("__", "."): value for key, value in more.items()}


@pytest.mark.parametrize("tube", ["1/4 in", "3/4 in", "1-1/8 in"])
@pytest.mark.parametrize("thickness", [0.375, 0.5, 0.75, 1, 2])
def test_surface_over_the_whole_range(trade: Trade, tube: str, thickness: float) -> None:
    """Within 1 °F of the same physics solved with scipy; it is within 0.15 °F."""
    for line, air in product((20, 45, 110), (60, 80, 130)):
        asked = trade.ask(
            pipe(
                tube__size=tube,
                insulation__thickness=f"{thickness} in",
                line__surface_temperature=f"{line} °F",
                air__dry_bulb=f"{air} °F",
            )
        )
        found = asked.number("insulation.surface_temperature", "degF")
        assert found == pytest.approx(surface(tube, thickness, line, air), abs=0.15), (line, air)


@pytest.mark.parametrize(("line", "air"), [(20, 60), (45, 80), (45, 130), (110, 60)])
def test_air_is_that_of_the_standard_atmosphere(trade: Trade, line: int, air: int) -> None:
    """Viscosity and conductivity as fluids has them, 1006 J/(kg·K), 287.05 J/(kg·K): within 0.001 °F."""
    outer = (0.375 + 0.75) * INCH

    def excess(at: float) -> float:
        mean = (at + kelvin(air)) / 2
        viscosity = ATMOSPHERE_1976.viscosity(mean)
        conductivity = ATMOSPHERE_1976.thermal_conductivity(mean)
        prandtl = 1006 * viscosity / conductivity
        density = 101325 / (287.05 * mean)
        rayleigh = (
            9.80665 / mean * abs(kelvin(air) - at) * (2 * outer) ** 3 * prandtl
            * (density / viscosity) ** 2
        )  # fmt: skip
        nusselt = (
            0.6 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
        ) ** 2
        convected = pi * conductivity * nusselt * (kelvin(air) - at)
        radiant = pi * 2 * outer * 0.9 * 5.67037442e-8 * (kelvin(air) ** 4 - at**4)
        through = 2 * pi * 0.27 * W_PER_M_K * (at - kelvin(line)) / log(outer / (0.375 * INCH))
        return float(through - convected - radiant)

    ends = sorted((kelvin(line), kelvin(air)))
    expected = brentq(excess, ends[0], ends[1], xtol=1e-9) * 1.8 - 459.67
    given = pipe(line__surface_temperature=f"{line} °F", air__dry_bulb=f"{air} °F")
    found = trade.ask(given).number("insulation.surface_temperature", "degF")
    assert found == pytest.approx(expected, abs=0.001)


def test_heat_of_dry_air() -> None:
    assert PropsSI("C", "T", 300, "P", 101325, "Air") == pytest.approx(1006, rel=0.001)


@pytest.mark.parametrize("k", [0.2, 0.27, 0.35])
@pytest.mark.parametrize("emissivity", [0.1, 0.9])
@pytest.mark.parametrize("feet", [None, 0, 5280, 8000])
def test_surface_by_material_and_altitude(
    trade: Trade, k: float, emissivity: float, feet: int | None
) -> None:
    more = {} if feet is None else {"site__altitude": f"{feet} ft"}
    asked = trade.ask(
        pipe(insulation__conductivity=f"{k}", insulation__emissivity=f"{emissivity}", **more)
    )
    pressure = 101325 * (1 - 6.8754e-6 * (feet or 0)) ** 5.2559
    expected = surface("3/4 in", 0.75, 45, 80, k, emissivity, pressure)
    found = asked.number("insulation.surface_temperature", "degF")
    assert found == pytest.approx(expected, abs=0.15)


@pytest.mark.parametrize("tube", ["3/8 in", "5/8 in", "3/4 in", "7/8 in"])
@pytest.mark.parametrize(("air", "humidity"), [(75, 70), (80, 70), (80, 80), (80, 85), (80, 90)])
def test_least_thickness_brings_the_surface_to_the_dew_point(
    trade: Trade, tube: str, air: int, humidity: int
) -> None:
    dew = dew_point(air, humidity)
    asked = trade.ask(
        pipe(
            tube__size=tube,
            air__dry_bulb=f"{air} °F",
            air__relative_humidity=f"{humidity} %",
        )
    )
    assert asked.number("air.dew_point", "degF") == pytest.approx(dew, abs=0.02)
    for name, margin in (("least_thickness", 0), ("thickness_with_margin", 1)):
        thickness = asked.number(f"insulation.{name}", "in")
        found = surface(tube, thickness, 45, air)
        assert found == pytest.approx(dew + margin, abs=0.1), name


@pytest.mark.parametrize(
    ("tube", "row"),
    # Minimum wall in inches, 45 °F line, computed apart from these rules.
    [
        ("3/8 in", (0.06, 0.20, 0.24, 0.41, 0.58, 0.88, 0.80)),
        ("5/8 in", (0.07, 0.23, 0.27, 0.47, 0.66, 1.01, 0.91)),
        ("3/4 in", (0.07, 0.24, 0.28, 0.49, 0.69, 1.05, 0.95)),
        ("7/8 in", (0.07, 0.25, 0.29, 0.51, 0.72, 1.10, 0.99)),
    ],
)
def test_printed_least_walls(trade: Trade, tube: str, row: tuple[float, ...]) -> None:
    weather = [(75, 50), (75, 70), (80, 70), (80, 80), (80, 85), (80, 90), (75, 90)]
    for (air, humidity), printed in zip(weather, row, strict=True):
        asked = trade.ask(
            pipe(
                tube__size=tube,
                air__dry_bulb=f"{air} °F",
                air__relative_humidity=f"{humidity} %",
            )
        )
        found = asked.number("insulation.least_thickness", "in")
        assert found == pytest.approx(printed, abs=0.015), (air, humidity)


@pytest.mark.parametrize(
    ("tube", "row"),
    # Radial R by wall 3/8, 1/2, 3/4 and 1 in, k 0.27, printed.
    [
        ("3/8 in", (2.29, 3.31, 5.59, 8.12)),
        ("1/2 in", (2.12, 3.05, 5.13, 7.45)),
        ("5/8 in", (2.01, 2.88, 4.82, 6.98)),
        ("3/4 in", (1.93, 2.75, 4.58, 6.62)),
        ("7/8 in", (1.86, 2.65, 4.39, 6.33)),
        ("1-1/8 in", (1.77, 2.50, 4.12, 5.91)),
    ],
)
def test_radial_r_value(trade: Trade, tube: str, row: tuple[float, ...]) -> None:
    for wall, printed in zip(("3/8 in", "1/2 in", "3/4 in", "1 in"), row, strict=True):
        asked = trade.ask(pipe(tube__size=tube, insulation__thickness=wall))
        found = asked.number("insulation.r_value", "h ft2 degF/Btu")
        assert found == pytest.approx(printed, abs=0.0051)


def test_flat_r_value_would_understate(trade: Trade) -> None:
    asked = trade.ask(pipe(tube__size="7/8 in", insulation__thickness="3/4 in"))
    assert asked.number("insulation.r_value", "h ft2 degF/Btu") > 0.75 / 0.27 + 1.5
    assert asked.verdict("insulation.r_as_asked") == "pass"
    thin = trade.ask(pipe(tube__size="7/8 in", insulation__thickness="1/2 in"))
    assert thin.verdict("insulation.r_as_asked") == "caution"


def test_a_hot_attic_does_not_make_it_sweat(trade: Trade) -> None:
    """130 °F with a dew point of 75 °F; printed: 120.9 and 116.4 °F, 391 and 477 Btu/h over 40 ft."""
    for wall, printed, gain in (("3/4 in", 120.9, 391), ("1/2 in", 116.4, 477)):
        asked = trade.ask(
            pipe(
                insulation__thickness=wall,
                air__dry_bulb="130 °F",
                air__relative_humidity="19.3 %",
                insulation__run="40 ft",
            )
        )
        found = asked.number("insulation.surface_temperature", "degF")
        assert found == pytest.approx(printed, abs=0.2)
        assert asked.number("insulation.heat_gain_of_run", "Btu/h") == pytest.approx(gain, abs=3)
        assert asked.verdict("insulation.stays_dry") == "pass"
        through = asked.number("insulation.heat_gain", "Btu/(h ft)") * BTU_PER_H_FT
        outer = (0.375 + {"3/4 in": 0.75, "1/2 in": 0.5}[wall]) * INCH
        expected = 2 * pi * 0.27 * W_PER_M_K * (found - 45) / 1.8 / log(outer / (0.375 * INCH))
        assert through == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("wall", "verdict"), [("1/2 in", "fail"), ("3/4 in", "caution"), ("1 in", "pass")]
)
def test_a_humid_night_does(trade: Trade, wall: str, verdict: str) -> None:
    asked = trade.ask(pipe(insulation__thickness=wall))
    assert asked.verdict("insulation.stays_dry") == verdict
    assert asked.number("insulation.next_size", "in") == pytest.approx(0.75)
    assert asked.number("insulation.next_size_with_margin", "in") == pytest.approx(1)


def test_foil_makes_the_surface_colder(trade: Trade) -> None:
    foam, foil = (
        trade.ask(pipe(insulation__emissivity=e)).number("insulation.surface_temperature", "degF")
        for e in ("0.9", "0.1")
    )
    assert foil < foam - 1


def test_saturated_air_has_no_wall_thick_enough(trade: Trade) -> None:
    asked = trade.ask(pipe(air__relative_humidity="100 %"))
    assert asked.why("insulation.least_thickness")[0] == "domain"
    assert asked.why("insulation.next_size_with_margin")[0] == "domain"
    assert asked.verdict("insulation.stays_dry") == "fail"


def test_thicker_than_anything_in_stock_is_outside(trade: Trade) -> None:
    asked = trade.ask(pipe(air__relative_humidity="97 %"))
    assert asked.number("insulation.least_thickness", "in") > 2
    assert asked.why("insulation.next_size")[0] == "outside"


def test_a_line_warmer_than_the_dew_point_needs_no_wall(trade: Trade) -> None:
    warm = trade.ask(pipe(line__surface_temperature="76.5 °F"))
    assert warm.number("insulation.least_thickness", "in") == 0
    assert warm.number("insulation.thickness_with_margin", "in") == 0
    hot = trade.ask(pipe(line__surface_temperature="120 °F"))
    found = hot.number("insulation.surface_temperature", "degF")
    assert 80 < found < 120
    assert hot.number("insulation.heat_gain", "Btu/(h ft)") < 0


def test_a_row_of_the_list_counts_before_the_figures(trade: Trade) -> None:
    by_row = trade.ask(
        pipe(insulation__product="Elastomeric foam", insulation__conductivity="0.35")
    )
    plain = trade.ask(pipe())
    for name in ("surface_temperature", "r_value"):
        assert by_row[f"insulation.{name}"] == plain[f"insulation.{name}"]
    unknown = trade.ask(pipe(insulation__product="something else"))
    assert unknown.why("insulation.surface_temperature")[0] == "outside"


@pytest.mark.parametrize("percent", [1, 10, 30, 50, 70, 90, 100])
@pytest.mark.parametrize("dry_bulb", [0, 20, 32, 45, 75, 95, 130])
def test_dew_point(trade: Trade, dry_bulb: int, percent: int) -> None:
    asked = trade.ask(pipe(air__dry_bulb=f"{dry_bulb} °F", air__relative_humidity=f"{percent} %"))
    found = asked.number("air.dew_point", "degF")
    assert found == pytest.approx(dew_point(dry_bulb, percent), abs=0.05)
