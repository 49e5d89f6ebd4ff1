"""NFPA 70-2023 by hand, apart from the rules: tables typed anew; the order of 110.14(C), 310.15 and 240.4."""

from __future__ import annotations

from math import sqrt
from typing import Final

SIZES: Final = [
    "14 AWG", "12 AWG", "10 AWG", "8 AWG", "6 AWG", "4 AWG", "3 AWG", "2 AWG", "1 AWG", "1/0 AWG", "2/0 AWG",
    "3/0 AWG", "4/0 AWG", "250 kcmil", "300 kcmil", "350 kcmil", "400 kcmil", "500 kcmil",
]  # fmt: skip
# Table 310.16: 60, 75 and 90 °C in the order of SIZES; aluminum begins at 12 AWG.
AMPACITY: Final = {
    ("copper", "60"): [15, 20, 30, 40, 55, 70, 85, 95, 110, 125, 145, 165, 195, 215, 240, 260, 280, 320],
    ("copper", "75"): [20, 25, 35, 50, 65, 85, 100, 115, 130, 150, 175, 200, 230, 255, 285, 310, 335, 380],
    ("copper", "90"): [25, 30, 40, 55, 75, 95, 115, 130, 145, 170, 195, 225, 260, 290, 320, 350, 380, 430],
    ("aluminum", "60"): [0, 15, 25, 35, 40, 55, 65, 75, 85, 100, 115, 130, 150, 170, 195, 210, 225, 260],
    ("aluminum", "75"): [0, 20, 30, 40, 50, 65, 75, 90, 100, 120, 135, 155, 180, 205, 230, 250, 270, 310],
    ("aluminum", "90"): [0, 25, 35, 45, 55, 75, 85, 100, 115, 135, 150, 175, 205, 230, 260, 280, 305, 350],
}  # fmt: skip
# 240.6(A), as far as these circuits go.
STANDARD: Final = [
    10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400, 450, 500,
]  # fmt: skip
# 240.4(D).
SMALL: Final = {
    ("copper", "14 AWG"): 15, ("copper", "12 AWG"): 20, ("copper", "10 AWG"): 30,
    ("aluminum", "12 AWG"): 15, ("aluminum", "10 AWG"): 25,
}  # fmt: skip
# Table 250.122: device up to, copper, aluminum.
GROUND: Final = [
    (15, "14 AWG", "12 AWG"), (20, "12 AWG", "10 AWG"), (60, "10 AWG", "8 AWG"), (100, "8 AWG", "6 AWG"),
    (200, "6 AWG", "4 AWG"), (300, "4 AWG", "2 AWG"), (400, "3 AWG", "1 AWG"), (500, "2 AWG", "1/0 AWG"),
    (600, "1 AWG", "2/0 AWG"), (800, "1/0 AWG", "3/0 AWG"),
]  # fmt: skip
CAPPED: Final = ("nm-cable", "uf-cable", "tc-er-jp-cable")
HAIR: Final = 1e-9


def standard_up(amps: float) -> int:
    return next(rating for rating in STANDARD if rating >= amps - HAIR)


def standard_down(amps: float) -> int:
    return [rating for rating in STANDARD if rating <= amps + HAIR][-1]


def heat(insulation: str, celsius: float) -> float:
    """Table 310.15(B)(1)(1) by its law, √((Tc − Ta)/(Tc − 30)) at the top of each band of 5 °C, to two places."""
    top = max(10, -(-celsius // 5) * 5)
    return round(sqrt((int(insulation) - top) / (int(insulation) - 30)) + HAIR, 2)


def usable(
    size: str, material: str, method: str, insulation: str, terminals: str, celsius: float, count: int
) -> float:  # fmt: skip
    """What may run through it: terminals without factors, insulation with them, the cable's cap."""
    insulation = {"nm-cable": "90", "uf-cable": "60"}.get(method, insulation)
    place = SIZES.index(size)
    bundle = next(f for most, f in ((3, 1), (6, 0.8), (9, 0.7), (20, 0.5)) if count <= most)
    limits = [
        AMPACITY[material, terminals][place],
        AMPACITY[material, insulation][place] * heat(insulation, celsius) * bundle,
    ]
    if method in CAPPED or (method == "se-cable" and place <= SIZES.index("10 AWG")):
        limits.append(AMPACITY[material, "60"][place])
    return min(limits)


def ground(rating: float, material: str, wire: str) -> str:
    """Table 250.122, never larger than the circuit's wires."""
    _, copper, aluminum = next(row for row in GROUND if rating <= row[0])
    return min(copper if material == "copper" else aluminum, wire, key=SIZES.index)
