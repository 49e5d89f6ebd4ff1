"""The arithmetic both engines share where IEEE 754 leaves a choice. Sources: rules/LANGUAGE.md section 6."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import ROUND_HALF_UP, Context
from typing import Final

EQUAL: Final = 1e-9
EDGE: Final = 1e-11
LARGEST: Final = 1.7976931348623157e308
POWERS: Final = [float(f"1e{k}") for k in range(23)]
_TWELVE: Final = Context(prec=12, rounding=ROUND_HALF_UP)


def round12(x: float) -> float:
    """x to 12 significant digits, half away from zero."""
    size = abs(x)
    if 1e-10 < size < 1e11:
        # Powers to 10^22 are exact. Digits are off by less than 0.0002, so only near a half are they in doubt;
        # the quotient of two exact numbers is the float nearest to it.
        scale = POWERS[11 - math.floor(math.log10(size))]
        digits = size * scale
        whole = math.floor(digits + 0.5)
        if 1e11 <= digits < 1e12 and abs(digits - whole) < 0.499:
            return math.copysign(whole / scale, x)
    return float(_TWELVE.create_decimal_from_float(x))


def close(x: float, y: float) -> bool:
    """Equal within 1e-9 of the larger magnitude."""
    return abs(x - y) <= EQUAL * max(abs(x), abs(y))


def near_edge(x: float, y: float) -> bool:
    """So near to where equal becomes unequal that two engines may differ."""
    size = max(abs(x), abs(y))
    return abs(abs(x - y) - EQUAL * size) <= EDGE * size and size > 0


def nearest(x: float) -> float:
    """The nearest whole number, half away from zero."""
    return math.copysign(math.floor(abs(x) + 0.5), x) + 0.0


def floor(x: float, by: Callable[[float], int] = math.floor) -> float:
    """The whole number below (above, by `math.ceil`), unless x is one within 1e-9."""
    whole = nearest(x)
    return whole if close(x, whole) else float(by(x))
