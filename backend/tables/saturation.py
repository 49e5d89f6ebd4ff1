"""Write the saturation table that superheat, subcooling and charge rest on.

    python backend/tables/saturation.py > rules/refrigerant/saturation.csv

Bubble and dew pressure and the density of the liquid at its bubble pressure, every 5 K from −45 to 65 °C, by CoolProp:
R-32, R-22 and R-410A by their reference equations of state, R-454B as a mixture of R-32 and R-1234yf. Straight lines of
ln p over 1/T between these rows are within 0.01 K of the equations everywhere.

CoolProp finds no answer for the mixture at scattered temperatures. Such a row is a straight line of ln p over 1/T (of
density over T) between the nearest two temperatures, the same step below and above, at which it does; a step of more
than 1 K, or a row off the curve of its neighbours, stops the script.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from typing import Final

from CoolProp.CoolProp import PropsSI

FLUIDS: Final = {"R-32": "R32", "R-454B": "R454B.mix", "R-410A": "R410A", "R-22": "R22"}
"""Ours to CoolProp's. R410A is a pseudo-pure fluid with its own bubble and dew lines."""
SOURCES: Final = {"R-454B": "r454b-mixture-model uncertain by 0.5 K (computed)"}
"""Of the rows that do not rest on the table's own source."""
TEMPERATURES: Final = range(-45, 66, 5)
"""°C; one row below −40, so that a pressure read at −40 °C is not a hair outside."""
STEPS: Final = (0.25, 0.5, 0.75, 1.0)
"""K beside a temperature at which CoolProp fails."""
SMOOTH: Final = {"pressure": 1e-4, "density": 1.5e-3}
"""Most a value may lie off the cubic through its four neighbours, as a share of it; 1e-4 is 0.004 K."""


def bubble(fluid: str, kelvin: float) -> float:
    """Pa. Raises ValueError where CoolProp finds no answer."""
    return float(PropsSI("P", "T", kelvin, "Q", 0, fluid))


def dew(fluid: str, kelvin: float) -> float:
    """Pa. Raises ValueError where CoolProp finds no answer."""
    return float(PropsSI("P", "T", kelvin, "Q", 1, fluid))


def liquid_density(fluid: str, kelvin: float) -> float:
    """kg/m³ of the boiling liquid. Raises ValueError where CoolProp finds no answer."""
    return float(PropsSI("D", "T", kelvin, "Q", 0, fluid))


def found(line: Callable[[str, float], float], fluid: str, kelvin: float) -> float:
    """A point of a line, from its neighbours where CoolProp fails. Raises ValueError when these fail too."""
    try:
        return line(fluid, kelvin)
    except ValueError:
        pass
    for step in STEPS:
        try:
            below, above = line(fluid, kelvin - step), line(fluid, kelvin + step)
        except ValueError:
            continue
        if line is liquid_density:
            return (below + above) / 2
        share = (1 / (kelvin - step) - 1 / kelvin) / (1 / (kelvin - step) - 1 / (kelvin + step))
        return math.exp(math.log(below) + share * (math.log(above) - math.log(below)))
    raise ValueError(f"{fluid} has no point within {STEPS[-1]} K of {kelvin} K")


def smooth(values: list[float], most: float) -> list[float]:
    """The values. Raises ValueError when one lies off the cubic through its neighbours by more than a share `most`."""
    for a, b, x, c, d in zip(values, values[1:], values[2:], values[3:], values[4:], strict=False):
        expected = (4 * (b + c) - (a + d)) / 6
        if abs(x / expected - 1) > most:
            raise ValueError(f"{x} lies off the curve of its neighbours, {expected} is meant")
    return values


def lines() -> Iterator[str]:
    """The lines of the CSV file."""
    yield (
        "refrigerant [refrigerant],temperature [degC],bubble [kPa abs],dew [kPa abs],"
        "liquid_density [kg/m3],source"
    )
    kelvins = [celsius + 273.15 for celsius in TEMPERATURES]
    for name, fluid in FLUIDS.items():
        columns = [
            smooth([found(line, fluid, kelvin) for kelvin in kelvins], SMOOTH[kind])
            for line, kind in ((bubble, "pressure"), (dew, "pressure"), (liquid_density, "density"))
        ]
        source = SOURCES.get(name, "")
        for celsius, low, high, density in zip(TEMPERATURES, *columns, strict=True):
            yield f"{name},{celsius},{low / 1000:.3f},{high / 1000:.3f},{density:.2f},{source}"


if __name__ == "__main__":
    sys.stdout.writelines(f"{line}\n" for line in lines())
