"""The printed tables of wire, cell by cell, against a copy typed anew. Their inner laws stand in test_electrical."""

from __future__ import annotations

from math import sqrt
from typing import Final

import pytest

from kneewall.bundle import Table
from tests.trade import wiring
from tests.trade.asking import Trade

SIZES: Final = ["18 AWG", "16 AWG", *wiring.SIZES]

# NFPA 70-2017 chapter 9 table 8, dc ohm per 1000 ft at 75 °C; solid wire ends at 8 AWG.
RESISTANCE: Final = {
    ("copper", "solid"): [7.77, 4.89, 3.07, 1.93, 1.21, 0.764],
    ("copper", "stranded"): [
        7.95, 4.99, 3.14, 1.98, 1.24, 0.778, 0.491, 0.308, 0.245, 0.194, 0.154, 0.122, 0.0967, 0.0766, 0.0608, 0.0515,
        0.0429, 0.0367, 0.0321, 0.0258,
    ],
    ("aluminum", "solid"): [12.8, 8.05, 5.06, 3.18, 2.00, 1.26],
    ("aluminum", "stranded"): [
        13.1, 8.21, 5.17, 3.25, 2.04, 1.28, 0.808, 0.508, 0.403, 0.319, 0.253, 0.201, 0.159, 0.126, 0.100, 0.0847,
        0.0707, 0.0605, 0.0529, 0.0424,
    ],
}  # fmt: skip
# The same table, circular mils.
AREA: Final = [
    1620, 2580, 4110, 6530, 10380, 16510, 26240, 41740, 52620, 66360, 83690, 105600, 133100, 167800, 211600, 250000,
    300000, 350000, 400000, 500000,
]  # fmt: skip

# NFPA 70-2008 chapter 9 table 9, ohm to neutral per 1000 ft at 75 °C and 60 Hz, from 14 AWG; aluminum begins at 12 AWG.
REACTANCE: Final = {
    "pvc": [0.058, 0.054, 0.050, 0.052, 0.051, 0.048, 0.047, 0.045, 0.046, 0.044, 0.043, 0.042, 0.041, 0.041, 0.041,
            0.040, 0.040, 0.039],
    "steel": [0.073, 0.068, 0.063, 0.065, 0.064, 0.060, 0.059, 0.057, 0.057, 0.055, 0.054, 0.052, 0.051, 0.052, 0.051,
              0.050, 0.049, 0.048],
}  # fmt: skip
AC_RESISTANCE: Final = {
    ("copper", "pvc"): [3.1, 2.0, 1.2, 0.78, 0.49, 0.31, 0.25, 0.19, 0.15, 0.12, 0.10, 0.077, 0.062, 0.052, 0.044,
                        0.038, 0.033, 0.027],
    ("copper", "steel"): [3.1, 2.0, 1.2, 0.78, 0.49, 0.31, 0.25, 0.20, 0.16, 0.12, 0.10, 0.079, 0.063, 0.054, 0.045,
                          0.039, 0.035, 0.029],
    ("aluminum", "pvc"): [0, 3.2, 2.0, 1.3, 0.81, 0.51, 0.40, 0.32, 0.25, 0.20, 0.16, 0.13, 0.10, 0.085, 0.071, 0.061,
                          0.054, 0.043],
    ("aluminum", "steel"): [0, 3.2, 2.0, 1.3, 0.81, 0.51, 0.40, 0.32, 0.25, 0.20, 0.16, 0.13, 0.10, 0.086, 0.072,
                            0.063, 0.055, 0.045],
}  # fmt: skip


def table(trade: Trade, name: str) -> Table:
    (found,) = [table for table in trade.bundle.tables if table.id == name]
    return found


def in_unit(trade: Trade, value: object, unit: str) -> float:
    return trade.edges.from_si(float(str(value)), unit)


def test_direct_current_resistance(trade: Trade) -> None:
    cells = {
        (str(size), str(metal), str(stranding)): in_unit(trade, ohms, "ohm/kft")
        for size, metal, stranding, ohms in zip(
            *table(trade, "conductor_resistance").cells, strict=True
        )
    }
    printed = {
        (size, metal, stranding): ohms
        for (metal, stranding), column in RESISTANCE.items()
        for size, ohms in zip(SIZES, column, strict=False)
    }
    assert cells == pytest.approx(printed, rel=1e-9)


def test_areas(trade: Trade) -> None:
    cells = dict(zip(*table(trade, "conductor_areas").cells, strict=True))
    assert cells == dict(zip(SIZES, AREA, strict=True))


def test_alternating_current_resistance_and_reactance(trade: Trade) -> None:
    resistances, reactances = {}, {}
    for size, metal, raceway, r, x in zip(*table(trade, "conductor_impedance").cells, strict=True):
        resistances[str(size), str(metal), str(raceway)] = in_unit(trade, r, "ohm/kft")
        reactances[str(size), str(metal), str(raceway)] = in_unit(trade, x, "ohm/kft")
    printed = {
        (size, metal, raceway): ohms
        for (metal, raceway), column in AC_RESISTANCE.items()
        for size, ohms in zip(wiring.SIZES, column, strict=True)
        if ohms
    }
    assert resistances == pytest.approx(printed, rel=1e-9)
    of = {
        (size, raceway): ohms
        for raceway, column in REACTANCE.items()
        for size, ohms in zip(wiring.SIZES, column, strict=True)
    }
    assert reactances == pytest.approx({key: of[key[0], key[2]] for key in printed}, rel=1e-9)


def test_ambient_factors(trade: Trade) -> None:
    """NFPA 70-2023 Table 310.15(B)(1)(1): each cell is its law, rounded to two places, and none is missing."""
    cells = {
        (round(in_unit(trade, to, "degF")), str(rating)): factor
        for to, rating, factor in zip(*table(trade, "ambient_factors").cells, strict=True)
    }
    tops = [10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80, 85]
    printed = {
        (round(1.8 * top + 32), rating): round(
            sqrt((int(rating) - top) / (int(rating) - 30)) + wiring.HAIR, 2
        )
        for top in tops
        for rating in ("60", "75", "90")
        if top < int(rating)
    }
    assert cells == printed


def test_grounds(trade: Trade) -> None:
    """NFPA 70-2023 Table 250.122."""
    cells = list(zip(*table(trade, "ground_sizes").cells, strict=True))
    printed = [(most, "copper", copper) for most, copper, _ in wiring.GROUND]
    printed += [(most, "aluminum", aluminum) for most, _, aluminum in wiring.GROUND]
    assert sorted(cells, key=str) == sorted(printed, key=str)
