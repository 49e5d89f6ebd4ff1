"""Duct friction and sizes against fluids and Huebscher's formula, and the known traps."""

from __future__ import annotations

import math
from itertools import product

import pytest
from fluids import friction_factor
from scipy.optimize import brentq

from tests.trade.asking import Trade

FOOT, INCH = 0.3048, 0.0254
CFM = FOOT**3 / 60
STANDARD = 0.075 * 0.45359237 / FOOT**3
IN_WC = 249.08891
VISCOSITY = 1.622e-4 * FOOT**2 * STANDARD
"""Of standard air, ASHRAE Fundamentals."""


def thinner(feet: float) -> float:
    return float((1 - 6.8754e-6 * feet) ** 5.2559)


def friction(cfm: float, inches: float, feet: float = 0, roughness: float = 0.0003) -> float:
    """in w.c. per 100 ft."""
    density, diameter = STANDARD * thinner(feet), inches * INCH
    velocity = cfm * CFM / (math.pi * diameter**2 / 4)
    factor = friction_factor(density * velocity * diameter / VISCOSITY, roughness * FOOT / diameter)
    pascals = factor / diameter * density * velocity**2 / 2 * 100 * FOOT
    return float(pascals / IN_WC)


def huebscher(width: float, height: float) -> float:
    return float(1.30 * (width * height) ** 0.625 / (width + height) ** 0.25)


def duct(cfm: float, feet: float = 0, **more: str) -> dict[str, str]:
    given = {
        "duct.flow": f"{cfm} cfm",
        "duct.length": "50 ft",
        "site.altitude": f"{feet} ft",
    }
    return given | {f"duct.{name}": value for name, value in more.items()}


@pytest.mark.parametrize("feet", [0, 2500, 5280, 8000])
def test_friction_of_round_ducts(trade: Trade, feet: int) -> None:
    """Within 2 % of fluids; half a percent in fact."""
    for diameter, velocity, roughness in product(
        (4, 6, 10, 16, 24), (300, 700, 1500), (0.0001, 0.0003, 0.003)
    ):
        cfm = velocity * math.pi * (diameter / 24) ** 2
        asked = trade.ask(duct(cfm, feet, diameter=f"{diameter} in", roughness=f"{roughness} ft"))
        expected = friction(cfm, diameter, feet, roughness)
        assert asked.number("duct.friction") == pytest.approx(expected, rel=0.005)
        assert asked.number("duct.drop", "in w.c.") == pytest.approx(expected / 2, rel=0.005)
        assert asked.number("duct.velocity", "ft/min") == pytest.approx(velocity)


@pytest.mark.parametrize(
    ("diameter", "cfm", "printed"),
    # Galvanized round duct, standard air.
    [(5, 60, 0.080), (6, 100, 0.083), (7, 150, 0.082), (8, 220, 0.085), (9, 300, 0.085),
     (10, 400, 0.085), (12, 650, 0.085), (14, 1000, 0.088), (16, 1400, 0.085), (18, 1900, 0.084)],
)  # fmt: skip
def test_printed_table(trade: Trade, diameter: int, cfm: int, printed: float) -> None:
    asked = trade.ask(duct(cfm, diameter=f"{diameter} in"))
    assert asked.number("duct.friction") == pytest.approx(printed, abs=0.0006)


@pytest.mark.parametrize("width", [6, 8, 14, 20, 30])
def test_rectangular_friction_at_the_equivalent_diameter(trade: Trade, width: int) -> None:
    for height, cfm in product((6, 8, 12), (300, 700, 1500)):
        asked = trade.ask(duct(cfm, width=f"{width} in", height=f"{height} in"))
        equivalent = huebscher(width, height)
        assert asked.number("duct.equivalent_diameter", "in") == pytest.approx(equivalent)
        assert asked.number("duct.friction") == pytest.approx(friction(cfm, equivalent), rel=0.005)
        assert asked.number("duct.velocity", "ft/min") == pytest.approx(cfm / width / height * 144)


def test_velocity_is_that_of_the_real_area(trade: Trade) -> None:
    """700 cfm in 20 × 8 in: 630 ft/min, and 706 in the equivalent round duct."""
    asked = trade.ask(duct(700, width="20 in", height="8 in"))
    assert asked.number("duct.velocity", "ft/min") == pytest.approx(630)
    equivalent = asked.number("duct.equivalent_diameter", "ft")
    assert 700 / (math.pi * equivalent**2 / 4) == pytest.approx(706, abs=1)


def test_either_round_or_rectangular(trade: Trade) -> None:
    assert trade.ask(duct(700)).why("duct.friction") == ("missing", ["duct.diameter"])
    assert trade.ask(duct(700, width="20 in")).why("duct.friction") == ("missing", ["duct.height"])
    both = trade.ask(duct(700, diameter="12 in", width="20 in", height="8 in"))
    assert both.number("duct.equivalent_diameter", "in") == pytest.approx(12)


def test_altitude_must_be_known_for_a_friction(trade: Trade) -> None:
    given = duct(700, diameter="12 in")
    del given["site.altitude"]
    assert trade.ask(given).why("duct.friction") == ("missing", ["site.altitude"])


def test_creeping_air_gives_no_number(trade: Trade) -> None:
    asked = trade.ask(duct(3, diameter="8 in"))
    assert asked.why("duct.friction")[0] == "outside"
    assert asked.number("duct.velocity", "ft/min") == pytest.approx(8.6, abs=0.1)


def test_altitude_correction_of_the_chart(trade: Trade) -> None:
    """Friction goes with the pressure ratio to the 0.9: exponent 4.73 instead of 5.2559."""
    low = trade.ask(duct(700, diameter="12 in")).number("duct.friction")
    for feet in (2000, 5000, 8000):
        high = trade.ask(duct(700, feet, diameter="12 in")).number("duct.friction")
        assert high / low == pytest.approx((1 - 6.8754e-6 * feet) ** 4.73, rel=0.025)


@pytest.mark.parametrize(
    ("kind", "cfm", "verdict"),
    # 12 in round: 0.785 ft².
    [("supply-trunk", 700, "pass"), ("supply-trunk", 720, "caution"), ("return-trunk", 540, "pass"),
     ("return-branch", 560, "caution"), ("supply-branch", 560, "pass")],
)  # fmt: skip
def test_velocity_guide(trade: Trade, kind: str, cfm: int, verdict: str) -> None:
    asked = trade.ask(duct(cfm, diameter="12 in", kind=kind))
    assert asked.verdict("duct.velocity_guide") == verdict


def test_flat_ducts_are_pointed_out(trade: Trade) -> None:
    flat = trade.ask(duct(400, width="30 in", height="6 in"))
    assert flat.verdict("duct.not_too_flat") == "caution"
    tall = trade.ask(duct(400, width="6 in", height="24 in"))
    assert tall.verdict("duct.not_too_flat") == "pass"
    assert trade.ask(duct(400, diameter="9 in")).verdict("duct.not_too_flat") == "not-applicable"


@pytest.mark.parametrize("feet", [0, 5280])
def test_least_diameter(trade: Trade, feet: int) -> None:
    for cfm, rate in product((60, 400, 1200, 2000), (0.05, 0.08, 0.18)):
        asked = trade.ask(
            {
                "duct.flow": f"{cfm} cfm",
                "duct.friction_rate": str(rate),
                "site.altitude": f"{feet} ft",
            }
        )
        expected = brentq(lambda d, c=cfm, r=rate: friction(c, d, feet) - r, 1, 100)
        found = asked.number("duct.least_diameter", "in")
        assert found == pytest.approx(expected, rel=0.002)
        assert asked.number("duct.next_diameter", "in") == pytest.approx(math.ceil(found))


def test_size_without_altitude_says_that_it_is_at_sea_level(trade: Trade) -> None:
    given = {"duct.flow": "400 cfm", "duct.friction_rate": "0.08"}
    asked = trade.ask(given)
    assert asked.verdict("air.altitude_counted") == "caution"
    assert asked.number("duct.least_diameter") == pytest.approx(
        trade.ask(given | {"site.altitude": "0 ft"}).number("duct.least_diameter")
    )


@pytest.mark.parametrize("cfm", [100, 400, 900, 1600])
def test_rectangular_sizes_are_the_narrowest_that_serve(trade: Trade, cfm: int) -> None:
    asked = trade.ask({"duct.flow": f"{cfm} cfm", "duct.friction_rate": "0.08"})
    least = asked.number("duct.least_diameter", "in")
    expected = [
        f"{width} x {height} in"
        for height in range(6, 21, 2)
        for width in range(height, min(4 * height, 40) + 1, 2)
        if huebscher(width, height) >= least > huebscher(width - 2, height)
    ]
    assert asked["duct.rectangular_sizes"] == expected


def test_rectangular_table_says_what_its_sizes_say(trade: Trade) -> None:
    (table,) = [t for t in trade.bundle.tables if t.id == "rectangular_ducts"]
    sizes, widths, heights = table.cells
    for size, width, height in zip(sizes, widths, heights, strict=True):
        assert isinstance(width, float)
        assert isinstance(height, float)
        assert size == f"{width / INCH:.0f} x {height / INCH:.0f} in"


def rate(rated: float, drops: str, length: float) -> dict[str, str]:
    return {
        "blower.rated_static": f"{rated} in w.c.",
        "duct.device_drops": drops,
        "duct.total_effective_length": f"{length} ft",
    }


def test_friction_rate_by_hand(trade: Trade) -> None:
    for rated, drops, length in product((0.3, 0.5, 0.8), ((0.1,), (0.05, 0.12, 0.03)), (150, 420)):
        asked = trade.ask(rate(rated, "; ".join(str(d) for d in drops), length))
        left = rated - sum(drops)
        assert asked.number("duct.available_static", "in w.c.") == pytest.approx(left)
        found = left * 100 / length
        assert asked.number("duct.available_friction_rate") == pytest.approx(found)
        assert asked.verdict("duct.rate_in_window") == (
            "pass" if 0.06 <= found <= 0.18 else "caution"
        )


def test_one_leg_alone_makes_the_ducts_too_small(trade: Trade) -> None:
    both = trade.ask(rate(0.6, "0.36", 320)).number("duct.available_friction_rate")
    supply = trade.ask(rate(0.6, "0.36", 190)).number("duct.available_friction_rate")
    assert both == pytest.approx(0.075)
    sizes = [
        trade.ask({"duct.flow": "400 cfm", "duct.friction_rate": str(found)}).number(
            "duct.least_diameter", "in"
        )
        for found in (both, supply)
    ]
    assert sizes[1] < sizes[0] - 1


def test_devices_that_take_it_all(trade: Trade) -> None:
    asked = trade.ask(rate(0.3, "0.2; 0.1", 200))
    assert asked.verdict("duct.static_left") == "fail"
    over = trade.ask(rate(0.3, "0.2; 0.2", 200))
    assert over.why("duct.available_friction_rate")[0] == "outside"
