"""Pressure drop of a line set against CoolProp and the friction factor of fluids, and the traps of the estimate."""

from __future__ import annotations

import importlib.util
import math
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from types import ModuleType

import pytest
from CoolProp.CoolProp import PropsSI
from fluids import friction_factor

from tests.trade.asking import RULES, Asked, Trade

FLUIDS = {"R-32": "R32", "R-454B": "R454B.mix", "R-410A": "R410A", "R-22": "R22"}
BORE = {"3/8 in": 0.311, "1/2 in": 0.436, "5/8 in": 0.555, "3/4 in": 0.680, "7/8 in": 0.785}
"""Inside diameters printed with ASTM B280, in inches."""
BTU_H = 1055.05585262 / 3600
ZERO = 273.15


def script() -> ModuleType:
    path = Path(__file__).parents[2] / "backend" / "tables" / "line_properties.py"
    spec = importlib.util.spec_from_file_location("line_properties", path)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["vapor", "liquid"])
def test_tables_are_what_their_script_writes(name: str) -> None:
    written = (RULES / "refrigerant" / f"line_{name}.csv").read_text().splitlines()
    assert written == list(getattr(script(), name)())


@dataclass(frozen=True)
class Line:
    """Cooling through one vapor line; temperatures in °C, length in m."""

    refrigerant: str = "R-32"
    capacity: float = 24000
    size: str = "5/8 in"
    length: float = 15
    dew: float = 8
    vapor: float = 16
    bubble: float = 40
    liquid: float = 35
    elbows: int = 0
    lift: float = 0

    def ask(self, trade: Trade) -> Asked:
        return trade.ask(
            {
                "system.refrigerant": self.refrigerant,
                "indoor.capacity": f"{self.capacity} Btu/h",
                "tube.vapor_size": self.size,
                "tube.liquid_size": "3/8 in",
                "line.length": f"{self.length} m",
                "line.elbows": str(self.elbows),
                "line.lift": f"{self.lift} m",
                "line.evaporating": f"{self.dew} degC",
                "line.vapor_temperature": f"{self.vapor} degC",
                "line.condensing": f"{self.bubble} degC",
                "line.liquid_temperature": f"{self.liquid} degC",
            }
        )

    def expected(self) -> tuple[float, float, float]:
        """Velocity in m/s, drop in Pa, penalty in K, straight from the equations."""
        fluid = FLUIDS[self.refrigerant]
        low = saturation(fluid, 1, self.dew)
        high = saturation(fluid, 0, self.bubble)
        gas = {key: PropsSI(key, "T", self.vapor + ZERO, "P", low, fluid) for key in "DHV"}
        liquid = PropsSI("H", "T", self.liquid + ZERO, "P", high, fluid)
        flow = self.capacity * BTU_H / (gas["H"] - liquid)
        bore = BORE[self.size] * 0.0254
        velocity = flow / gas["D"] / (math.pi / 4 * bore**2)
        factor = friction_factor(gas["D"] * velocity * bore / gas["V"], 1.5e-6 / bore)
        reach = self.length + 30 * self.elbows * bore
        drop = factor * reach / bore * gas["D"] * velocity**2 / 2
        return velocity, drop, self.dew - dew_temperature(fluid, low - drop, self.dew)


def saturation(fluid: str, quality: int, celsius: float) -> float:
    """Pa; the mixture fails at scattered temperatures, and there the mean of its neighbours serves."""
    try:
        return float(PropsSI("P", "T", celsius + ZERO, "Q", quality, fluid))
    except ValueError:
        beside = [PropsSI("P", "T", celsius + ZERO + d, "Q", quality, fluid) for d in (-0.1, 0.1)]
        return float(math.sqrt(beside[0] * beside[1]))


def dew_temperature(fluid: str, pressure: float, near: float) -> float:
    low, high = near - 15.0, near
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if saturation(fluid, 1, middle) < pressure else (low, middle)
    return (low + high) / 2


CASES = [
    Line(refrigerant, capacity, size, dew=dew, vapor=dew + superheat, bubble=bubble, liquid=bubble - 7)
    for refrigerant in FLUIDS
    for (capacity, size), (dew, superheat, bubble) in product(
        [(12000, "1/2 in"), (36000, "3/4 in")], [(3, 4, 32), (8, 8, 45), (13, 20, 55)]
    )
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=str)
def test_drop_as_by_the_equations(trade: Trade, case: Line) -> None:
    velocity, drop, penalty = case.expected()
    asked = case.ask(trade)
    assert asked.number("line.vapor_velocity", "m/s") == pytest.approx(velocity, rel=0.005)
    assert asked.number("line.vapor_drop", "Pa") == pytest.approx(drop, rel=0.005)
    assert asked.number("line.saturation_penalty", "delta_degC") == pytest.approx(
        penalty, rel=0.02, abs=0.005
    )
    loss = asked.number("line.capacity_loss", "percent")
    assert loss == pytest.approx(3 * penalty, rel=0.02, abs=0.02)


@pytest.mark.parametrize("refrigerant", FLUIDS)
def test_a_kelvin_is_three_percent_of_the_vapor(refrigerant: str) -> None:
    """Vapor follows its pressure: d ln p / dT of the dew line at 8 °C, by CoolProp 3.00 to 3.06 % for each K."""
    above, below = (saturation(FLUIDS[refrigerant], 1, celsius) for celsius in (8.5, 7.5))
    assert math.log(above / below) == pytest.approx(0.03, abs=0.001)


@pytest.mark.parametrize(
    ("refrigerant", "capacity", "size", "velocity", "per_metre", "lost"),
    # Worked apart from these rules for 15 m, 8 °C dew and 8 K, liquid of 35 °C from 40 °C.
    [
        ("R-32", 12000, "3/8 in", 10.20, 3.101, 1.51), ("R-32", 12000, "1/2 in", 5.19, 0.594, 0.28),
        ("R-410A", 24000, "1/2 in", 11.18, 3.224, 1.61), ("R-410A", 24000, "5/8 in", 6.90, 0.980, 0.48),
        ("R-454B", 36000, "5/8 in", 10.99, 1.881, 1.01), ("R-454B", 36000, "7/8 in", 5.49, 0.344, 0.18),
        ("R-454B", 48000, "3/4 in", 9.76, 1.182, 0.63), ("R-454B", 48000, "7/8 in", 7.33, 0.584, 0.31),
    ],
)  # fmt: skip
def test_gas_lines_worked_apart(
    trade: Trade, refrigerant: str, capacity: float, size: str, velocity: float, per_metre: float,
    lost: float,
) -> None:  # fmt: skip
    asked = Line(refrigerant, capacity, size).ask(trade)
    assert asked.number("line.vapor_velocity", "m/s") == pytest.approx(velocity, rel=0.005)
    assert asked.number("line.vapor_drop", "kPa") / 15 == pytest.approx(per_metre, rel=0.005)
    penalty = asked.number("line.saturation_penalty", "delta_degC")
    assert penalty == pytest.approx(lost, abs=0.015)


def test_elbows_count_by_the_bore_and_not_by_the_outside(trade: Trade) -> None:
    for size, bore in BORE.items():
        asked = Line(size=size, length=18, elbows=4).ask(trade)
        reach = asked.number("line.equivalent_length", "m")
        assert reach == pytest.approx(18 + 4 * 30 * bore * 0.0254, rel=1e-9)
    straight, bent = Line(length=18).ask(trade), Line(length=18, elbows=4).ask(trade)
    assert bent.number("line.vapor_drop", "Pa") == pytest.approx(
        straight.number("line.vapor_drop", "Pa") * bent.number("line.equivalent_length", "m") / 18
    )


@pytest.mark.parametrize("lift", [-20, -1, 0, 3, 12])
@pytest.mark.parametrize("refrigerant", FLUIDS)
def test_liquid_column_follows_the_sign_of_the_lift(
    trade: Trade, refrigerant: str, lift: float
) -> None:
    asked = Line(refrigerant, lift=lift).ask(trade)
    fluid = FLUIDS[refrigerant]
    density = PropsSI("D", "T", 35 + ZERO, "P", saturation(fluid, 0, 40), fluid)
    head = asked.number("line.liquid_head", "Pa")
    assert head == pytest.approx(density * 9.80665 * lift, rel=0.003)


def test_liquid_flashes_when_height_takes_more_than_the_subcooling(trade: Trade) -> None:
    """12 m of R-32 take 1.8 K of the subcooling; 5 K are enough, 1.5 K are not."""
    for liquid, verdict in ((35, "pass"), (38.5, "caution")):
        asked = Line(lift=12, liquid=liquid).ask(trade)
        assert asked.verdict("line.stays_liquid") == verdict
        spare = asked.number("line.subcooling_pressure", "kPa")
        assert spare == pytest.approx(60.4 * (40 - liquid), rel=0.06)


def test_the_liquid_line_of_a_mixture_is_not_taken_for_syrup(trade: Trade) -> None:
    """CoolProp's liquid viscosity of the mixture, 177 µPa·s at 35 °C, would show a fifth more drop."""
    asked = Line("R-454B", 36000, "3/4 in").ask(trade)
    bore = BORE["3/8 in"] * 0.0254
    flow = asked.number("line.mass_flow", "kg/h") / 3600
    density = 944.0
    factor = friction_factor(4 * flow / (math.pi * bore * 102.7e-6), 1.5e-6 / bore)
    drop = factor * 15 / bore * density * (flow / density / (math.pi / 4 * bore**2)) ** 2 / 2
    assert asked.number("line.liquid_drop", "Pa") == pytest.approx(drop, rel=0.005)


@pytest.mark.parametrize(
    "case", [Line(vapor=6), Line(vapor=40), Line(liquid=42), Line(liquid=15), Line(dew=8, bubble=40, liquid=41)]
)  # fmt: skip
def test_nothing_is_drawn_on_beyond_the_tables(trade: Trade, case: Line) -> None:
    assert case.ask(trade).why("line.mass_flow")[0] == "outside"


def test_verdicts_on_velocity_and_drop(trade: Trade) -> None:
    small, right = Line(capacity=36000, size="1/2 in").ask(trade), Line(size="5/8 in").ask(trade)
    slow = Line(capacity=6000, size="7/8 in").ask(trade)
    assert small.verdict("line.penalty_usual") == "caution"
    assert right.verdict("line.penalty_usual") == right.verdict("line.velocity_usual") == "pass"
    assert slow.verdict("line.velocity_usual") == "caution"
