"""Rounding to 12 digits, taken the short way, beside the same by decimal arithmetic."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Context

from hypothesis import given
from hypothesis import strategies as st

from kneewall.engine.numbers import round12

TWELVE = Context(prec=12, rounding=ROUND_HALF_UP)
FINITE = st.floats(allow_nan=False, allow_infinity=False)
EXPONENTS = st.integers(-30, 12)


def same(x: float) -> bool:
    wanted, found = float(TWELVE.create_decimal_from_float(x)), round12(x)
    return found == wanted and math.copysign(1, found) == math.copysign(1, wanted)


@given(FINITE | st.floats(-1e7, 1e7))
def test_any_number(x: float) -> None:
    assert same(x)


@given(st.integers(10**11, 10**12 - 1), EXPONENTS, st.sampled_from((-1, 0, 1)), st.booleans())
def test_halves_and_their_neighbours(digits: int, exponent: int, step: int, minus: bool) -> None:
    x = float(f"{digits}.5e{exponent}")
    x = math.nextafter(x, math.inf * step) if step else x
    assert same(-x if minus else x)


@given(EXPONENTS, st.integers(-20_000, 20_000))
def test_around_powers_of_ten(exponent: int, steps: int) -> None:
    power = float(f"1e{exponent}")
    assert same(power + steps * math.ulp(power))


@given(st.integers(-(10**12), 10**12), EXPONENTS)
def test_what_has_twelve_digits_stays(digits: int, exponent: int) -> None:
    x = float(f"{digits}e{exponent}")
    assert round12(x) == x
