"""The root of a function on an interval, by one rule in both engines."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kneewall.engine.unknown import Unknown, domain, merge


def find_root(f: Callable[[float], Any], low: float, high: float) -> Any:
    """The x in [low, high] where f changes sign, to 1e-13 of the larger end (Chandrupatla 1997).

    Unknown where f is, and `no-root` without a change of sign.
    """
    f_low, f_high = f(low), f(high)
    if f_low.__class__ is Unknown or f_high.__class__ is Unknown:
        return merge((f_low, f_high))
    if f_low == 0 or f_high == 0:
        return low if f_low == 0 else high
    if (f_low > 0) == (f_high > 0):
        return domain("no-root")
    least = 1e-13 * max(abs(low), abs(high))
    a, fa, b, fb, c, fc, t = high, f_high, low, f_low, high, f_high, 0.5
    for _ in range(200):
        x = a + t * (b - a)
        fx = f(x)
        if fx.__class__ is Unknown:
            return fx
        c, fc, b, fb = (a, fa, b, fb) if (fx > 0) == (fa > 0) else (b, fb, a, fa)
        a, fa = x, fx
        best, f_best = (a, fa) if abs(fa) < abs(fb) else (b, fb)
        span = abs(b - a)
        if f_best == 0 or span <= least:
            return best
        xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
        t = 0.5
        if phi**2 < xi and (1 - phi) ** 2 < 1 - xi:
            t = fa / (fb - fa) * fc / (fb - fc)
            t += (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        t = min(1 - 0.5 * least / span, max(0.5 * least / span, t))
    return domain("no-root")
