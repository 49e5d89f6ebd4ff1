"""units.csv read over again, plainly: what a definition says, as exact fractions."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from pathlib import Path
from typing import Final

Dimension = tuple[int, ...]
BASES: Final = ("m", "kg", "s", "K", "A")
TEXT: Final = (Path(__file__).parents[2] / "rules" / "units.csv").read_text(encoding="utf-8")
BARE: Final[Dimension] = (0, 0, 0, 0, 0)


@dataclass(frozen=True)
class Unit:
    """SI value = typed value × scale + offset."""

    id: str
    scale: Fraction
    offset: Fraction
    dimension: Dimension
    kind: str
    spellings: tuple[str, ...]

    def to_si(self, number: float) -> float:
        return twelve(number * float(self.scale) + float(self.offset))


def twelve(x: float) -> float:
    """To 12 significant digits, half away from zero."""
    exact = Decimal(x)
    if x == 0:
        return 0.0
    last = Decimal(10) ** (exact.adjusted() - 11)
    return float((exact / last).to_integral_value(ROUND_HALF_UP) * last)


def _defined(body: str, known: dict[str, Unit]) -> tuple[Fraction, Dimension]:
    """Products and quotients from left to right; a missing sign is a product."""
    scale, dimension, sign = Fraction(1), BARE, 1
    for token in re.findall(r"[*/]|[\d.]+|[A-Za-z]\w*(?:[*]{2}\d+)?", body):
        if token in "*/":
            sign = 1 if token == "*" else -1
            continue
        word, _, power = token.partition("**")
        factor = sign * int(power or 1)
        unit = known.get(word)
        scale *= (unit.scale if unit else Fraction(word)) ** factor
        own = unit.dimension if unit else BARE
        dimension = tuple(d + o * factor for d, o in zip(dimension, own, strict=True))
        sign = 1
    return scale, dimension


def _read() -> dict[str, Unit]:
    known: dict[str, Unit] = {}
    lines = [line for line in TEXT.splitlines() if line.strip() and not line.startswith("#")]
    for row in csv.DictReader(lines):
        name = row["unit"]
        body, _, shift = row["definition"].partition(";")
        if name in BASES:
            scale, dimension = Fraction(1), tuple(int(name == base) for base in BASES)
        else:
            scale, dimension = _defined(body, known)
        offset = Fraction(shift.split()[-1]) if shift else Fraction(0)
        spellings = [name, row["label"], *row["spellings"].split("|")]
        known[name] = Unit(
            name, scale, offset, dimension, row["kind"], tuple(s for s in spellings if s)
        )
    return known


UNITS: Final = _read()
