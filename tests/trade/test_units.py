"""The list of units against scipy.constants and NIST SP 811."""

from __future__ import annotations

import pytest
from scipy import constants as c

from tests.trade.asking import Trade

SCALES = {
    "ft": c.foot, "in": c.inch, "ft2": c.foot**2, "cm2": c.centi**2, "gal": c.gallon, "L": c.liter,
    "lb": c.lb, "oz": c.oz, "oz/ft": c.oz / c.foot, "min": c.minute, "h": c.hour, "day": c.day,
    "lbf": c.lbf, "ft lbf": c.foot * c.lbf, "in lbf": c.inch * c.lbf, "psi": c.psi, "psia": c.psi, "psig": c.psi,
    "bar": c.bar, "Btu": c.Btu_IT, "Btu/h": c.Btu_IT / c.hour, "ton": 12000 * c.Btu_IT / c.hour,
    "cfm": c.foot**3 / c.minute, "ft/min": c.foot / c.minute, "gal/h": c.gallon / c.hour,
    "ohm/kft": 1 / (1000 * c.foot),
    "degF": c.degree_Fahrenheit, "delta_degF": c.degree_Fahrenheit, "percent": 0.01, "kft": 1000 * c.foot,
    # NIST SP 811 (2008) appendix B.8: conventional inch of water and micron of mercury, k-value of an inch-pound row.
    "in w.c.": 249.08891, "micron": 0.1333224, "Btu in/(h ft2 degF)": 0.1442279, "h ft2 degF/Btu": 0.1761102,
    "cfm/ton": 0.3048**3 / 60 / 3516.853,
}  # fmt: skip


@pytest.mark.parametrize("unit", list(SCALES))
def test_scale(trade: Trade, unit: str) -> None:
    assert trade.bundle.units[unit].scale == pytest.approx(SCALES[unit], rel=5e-7)


@pytest.mark.parametrize(
    ("text", "unit", "kelvin"),
    [
        ("32 °F", "degF", 273.15),
        ("212 degF", "degF", 373.15),
        ("-40 °C", "degC", 233.15),
        ("-40", "degF", 233.15),
    ],
)
def test_temperature_points(trade: Trade, text: str, unit: str, kelvin: float) -> None:
    assert trade.edges.measure(text, unit, "temperature")[0] == pytest.approx(kelvin)


@pytest.mark.parametrize("text", ["2 °F", "2 degF", "2 delta_degF", "2 delta °F", "2"])
def test_temperature_differences(trade: Trade, text: str) -> None:
    assert trade.edges.measure(text, "delta_degF", "temperature difference")[0] == pytest.approx(
        2 / 1.8
    )


def test_partners_are_of_the_other_system(trade: Trade) -> None:
    units = trade.bundle.units
    for name, unit in units.items():
        if unit.partner:
            partner = units[unit.partner]
            assert partner.dimension == unit.dimension, name
            assert partner.kind == unit.kind, name
            assert {unit.system, partner.system} != {unit.system} or "both" in (
                unit.system,
                partner.system,
            ), name
        else:
            assert unit.system == "both" or name == "K", name


def test_no_spelling_means_two_units(trade: Trade) -> None:
    """Only °F and °C are both a point and a difference; the quantity decides there."""
    seen: dict[str, str] = {}
    for name, unit in trade.bundle.units.items():
        for spelling in {name, unit.label, *unit.spellings}:
            other = seen.setdefault(spelling, name)
            assert other == name or spelling in ("°F", "°C"), (spelling, other, name)


@pytest.mark.parametrize(
    "text",
    [
        "1 in w.c.", "1 inH2O", "1 cfm", "1 fpm", "1 Btu/h", "1 kBtu/h", "1 ton", "1 psi", "1 psig", "1 micron",
        "1 oz/ft", "1 ft2", "1 ft**2", "1 m3", "1 °F", "1 degF", "1 delta_degF", "1 delta °F", "1 percent", "1 %",
        "1 ft lbf", "1 Btu in/(h ft2 degF)", "1 h ft2 degF/Btu", "1 micron/min", "1 cfm/ton", "1 gal/h", "1 lb/h",
        "1 VA", "1 kW", "1 h/day", "1 kPa", "1 feet", "1 inches", "1 amperes", "1 volts", "1 minutes",
    ],
)  # fmt: skip
def test_spelling_is_read(trade: Trade, text: str) -> None:
    number, _, spelling = text.partition(" ")
    assert number == "1"
    assert trade.edges.find_unit(spelling) in trade.bundle.units
