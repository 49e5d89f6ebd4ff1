"""Write the properties that pressure drop in a line set rests on.

    python backend/tables/line_properties.py vapor > rules/refrigerant/line_vapor.csv
    python backend/tables/line_properties.py liquid > rules/refrigerant/line_liquid.csv

Vapor by dew temperature and superheat, liquid by bubble temperature and subcooling, by CoolProp: R-32, R-22 and R-410A
by their reference equations of state, R-454B as a mixture of R-32 and R-1234yf. The density of vapor runs between the
rows along ln over 1/T, the rest straight; all are within 0.3 % of the equations.

CoolProp's viscosity of the liquid mixture is wrong by two thirds; in its place stands the blend of the logarithms of
the two liquids by their molar shares.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from typing import Final

from CoolProp.CoolProp import PropsSI

FLUIDS: Final = {"R-32": "R32", "R-454B": "R454B.mix", "R-410A": "R410A", "R-22": "R22"}
SOURCES: Final = {"R-454B": "r454b-mixture-model uncertain by 0.5 K (computed)"}
"""Of the rows that do not rest on the table's own source."""
BLENDED: Final = {"R-454B": (("R32", 0.8292), ("R1234yf", 0.1708))}
"""Molar shares of the parts."""
DEWS: Final = range(-20, 21, 10)
SUPERHEATS: Final = (0, 5, 15, 30)
BUBBLES: Final = (20, 30, 40, 45, 50, 55, 60)
SUBCOOLINGS: Final = (0, 5, 10, 20)
"""°C and K."""
ZERO: Final = 273.15
STEP: Final = 0.25
"""K beside a temperature at which CoolProp fails."""


def at_or_beside(line: Callable[[float], float], kelvin: float) -> float:
    """A point of a line, or the mean of two beside it where CoolProp finds no answer."""
    try:
        return line(kelvin)
    except ValueError:
        return (line(kelvin - STEP) + line(kelvin + STEP)) / 2


def saturation_pressure(fluid: str, quality: int, kelvin: float) -> float:
    """Pa, of the dew line at quality 1, of the bubble line at 0."""
    return math.exp(
        at_or_beside(lambda t: math.log(PropsSI("P", "T", t, "Q", quality, fluid)), kelvin)
    )


def point(fluid: str, quality: int, saturated: float, kelvin: float) -> list[float]:
    """Density in kg/m³, enthalpy in kJ/kg and viscosity in µPa·s beside the saturation line or on it."""
    pressure = saturation_pressure(fluid, quality, saturated)

    def found(key: str) -> float:
        if kelvin == saturated:
            return at_or_beside(lambda t: float(PropsSI(key, "T", t, "Q", quality, fluid)), kelvin)
        return float(PropsSI(key, "T", kelvin, "P", pressure, fluid))

    return [found("D"), found("H") / 1e3, found("V") * 1e6]


def blended_viscosity(name: str, kelvin: float) -> float:
    """µPa·s of the saturated liquid, by the logarithms of its parts."""
    parts = BLENDED[name]
    return 1e6 * math.exp(
        sum(share * math.log(PropsSI("V", "T", kelvin, "Q", 0, part)) for part, share in parts)
    )


def vapor() -> Iterator[str]:
    """The lines of the CSV file for vapor."""
    yield (
        "refrigerant [refrigerant],dew [degC],superheat [delta_degC],"
        "density [kg/m3],enthalpy [kJ/kg],viscosity [number],source"
    )
    for name, fluid in FLUIDS.items():
        for dew in DEWS:
            for superheat in SUPERHEATS:
                found = point(fluid, 1, dew + ZERO, dew + ZERO + superheat)
                yield row(name, dew, superheat, found)


def liquid() -> Iterator[str]:
    """The lines of the CSV file for liquid."""
    yield (
        "refrigerant [refrigerant],bubble [degC],subcooling [delta_degC],"
        "density [kg/m3],enthalpy [kJ/kg],viscosity [number],source"
    )
    for name, fluid in FLUIDS.items():
        for bubble in BUBBLES:
            for subcooling in SUBCOOLINGS:
                kelvin = bubble + ZERO - subcooling
                density, enthalpy, viscosity = point(fluid, 0, bubble + ZERO, kelvin)
                if name in BLENDED:
                    viscosity = blended_viscosity(name, kelvin)
                yield row(name, bubble, subcooling, [density, enthalpy, viscosity])


def row(name: str, saturated: int, beside: int, found: list[float]) -> str:
    density, enthalpy, viscosity = found
    source = SOURCES.get(name, "")
    return f"{name},{saturated},{beside},{density:.3f},{enthalpy:.3f},{viscosity:.3f},{source}"


if __name__ == "__main__":
    written = {"vapor": vapor, "liquid": liquid}[sys.argv[1]]
    sys.stdout.writelines(f"{line}\n" for line in written())
