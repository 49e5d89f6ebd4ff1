"""Arithmetic that knows how far two honest engines may be apart, and unknown as a value."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

ORDER: Final = ("not-applicable", "outside", "domain", "missing")
STEP: Final = 1e-12
EQUAL: Final = 1e-9


@dataclass(frozen=True)
class U:
    """Unknown: why, and which (quantity, member position) it needs."""

    why: str
    needs: frozenset[tuple[str, int]] = frozenset()


@dataclass(frozen=True)
class N:
    """A number and how far an honest engine may be from it."""

    x: float
    err: float = 0.0


@dataclass(frozen=True)
class Choice:
    list: str
    place: int


def merged(values: Iterable[Any]) -> U:
    unknown = [value for value in values if isinstance(value, U)]
    why = min((value.why for value in unknown), key=ORDER.index)
    return U(why, frozenset().union(*(value.needs for value in unknown)))


def some_unknown(values: Iterable[Any]) -> bool:
    return any(isinstance(value, U) for value in values)


def whole(value: Any) -> Any:
    return merged(value) if isinstance(value, list) and some_unknown(value) else value


class Reckoning:
    """Every step adds 1e-12 of its largest operand and passes on what its operands bring.

    Where such a difference could decide something (a comparison, a row, a floor), `soft` is set. `edge` is set where a
    comparison lies where equal becomes unequal.
    """

    def __init__(self) -> None:
        self.soft = False
        self.edge = False

    def strictly(self, f: Callable[..., Any], *values: Any) -> Any:
        return merged(values) if some_unknown(values) else f(*values)

    def every(self, parts: Iterable[Any], decides: bool) -> Any:
        """`and` where false decides, `or` where true does."""
        unknown = []
        for part in parts:
            if part is decides:
                return decides
            if isinstance(part, U):
                unknown.append(part)
        return merged(unknown) if unknown else not decides

    def over(self, items: Any, f: Callable[[list[Any]], Any]) -> Any:
        items = whole(items)
        return items if isinstance(items, U) else f(items)

    def order(self, a: N, b: N) -> int:
        """-1, 0, 1; equal within 1e-9 of the larger magnitude."""
        size = max(abs(a.x), abs(b.x))
        distance = abs(abs(a.x - b.x) - EQUAL * size)
        if distance <= a.err + b.err and a.err + b.err > 0:
            self.soft = True
        if abs(a.x - b.x) <= EQUAL * size:
            return 0
        return -1 if a.x < b.x else 1

    def number(self, x: float, err: float) -> Any:
        return N(x, err) if math.isfinite(x) and math.isfinite(err) else U("domain")

    def arithmetic(self, op: str, a: N, b: N) -> Any:
        x, y = a.x, b.x
        size = STEP * max(abs(x), abs(y))
        if op in ("Add", "Sub"):
            return self.number(x + y if op == "Add" else x - y, a.err + b.err + size)
        if op == "Mult":
            err = abs(x) * b.err + abs(y) * a.err + a.err * b.err
            return self.number(x * y, err + STEP * max(abs(x * y), abs(x), abs(y)))
        if op == "Pow":
            return self.power(a, b)
        if abs(y) <= b.err:
            self.soft |= b.err > 0
            return U("domain")
        ratio = self.number(x / y, (a.err + abs(x / y) * b.err) / abs(y) + STEP * abs(x / y))
        if op == "Div" or isinstance(ratio, U):
            return ratio
        lower = self.floor(ratio)
        if op == "FloorDiv":
            return lower
        return self.number(
            x - y * lower.x, a.err + b.err * abs(lower.x) + STEP * max(abs(x), abs(y))
        )

    def power(self, a: N, b: N) -> Any:
        x, y = a.x, b.x
        whole_power = y == math.floor(y) and b.err == 0
        self.soft |= (0 < a.err >= abs(x)) and not (whole_power and y > 0)
        self.soft |= b.err > 0 and (x <= 0 or abs(y) <= b.err)
        if (x == 0 and y < 0) or (x < 0 and not whole_power):
            return U("domain")
        try:
            value = x**y
            slope = abs(y) * (abs(x) + a.err) ** (y - 1) if x else a.err ** max(y - 1, 0)
            err = slope * a.err + (abs(math.log(abs(x)) * value) * b.err if x else 0)
        except OverflowError:
            return U("domain")
        return self.number(value, err + STEP * max(abs(value), abs(x)))

    def floor(self, a: N) -> N:
        nearest = self.nearest(a, halves=False)
        gap = abs(abs(a.x - nearest) - EQUAL * max(abs(a.x), abs(nearest)))
        self.soft |= gap <= a.err and a.err > 0
        if abs(a.x - nearest) <= EQUAL * max(abs(a.x), abs(nearest)):
            return N(nearest, abs(nearest) * STEP)
        return N(float(math.floor(a.x)), abs(a.x) * STEP)

    def nearest(self, a: N, *, halves: bool = True) -> float:
        size = math.floor(abs(a.x) + 0.5)
        if halves:
            self.soft |= abs(abs(a.x) % 1 - 0.5) <= a.err + 1e-15 * abs(a.x) and a.err > 0
        return float(-size if a.x < 0 else size)

    def step(self, name: str, a: N, step: N) -> Any:
        ratio = self.arithmetic("Div", a, step)
        if isinstance(ratio, U):
            return ratio
        if name == "round":
            found = N(self.nearest(ratio))
        elif name == "floor":
            found = self.floor(ratio)
        else:
            below = self.floor(N(-ratio.x, ratio.err))
            found = N(-below.x, below.err)
        return self.arithmetic("Mult", found, step)

    def single(self, name: str, a: N) -> Any:
        x = a.x
        if name == "abs":
            return N(abs(x), a.err)
        least = 0 if name == "sqrt" else math.ulp(0)
        if name != "exp":
            self.soft |= 0 < a.err >= abs(x)
            if x < least:
                return U("domain")
        try:
            value = {"sqrt": math.sqrt, "exp": math.exp, "ln": math.log, "log10": math.log10}[name](
                x
            )
        except OverflowError:
            return U("domain")
        if name == "exp":
            err = value * math.expm1(min(a.err, 700))
        elif name == "sqrt":
            err = a.err / (2 * value) if value else math.sqrt(a.err)
        else:
            err = a.err / x
        return self.number(value, err + STEP * max(abs(value), abs(x)))

    def total(self, items: list[N]) -> Any:
        found: Any = N(0.0)
        for item in items:
            found = found if isinstance(found, U) else self.arithmetic("Add", found, item)
        return found

    def bisect(self, f: Callable[[float], Any], low: N, high: N) -> Any:
        a, b = f(low.x), f(high.x)
        if some_unknown((a, b)):
            return merged((a, b))
        self.soft |= any(0 < end.err >= abs(end.x) for end in (a, b))
        for end, value in ((low, a), (high, b)):
            if value.x == 0:
                return end
        if (a.x > 0) == (b.x > 0):
            return U("domain")
        near, far = low.x, high.x
        for _ in range(200):
            middle = near + (far - near) / 2
            value = f(middle)
            if isinstance(value, U):
                self.soft = True
                return value
            if value.x == 0:
                break
            near, far = (near, middle) if (value.x > 0) != (a.x > 0) else (middle, far)
        width = abs(high.x - low.x)
        end_size = max(abs(low.x), abs(high.x))
        sides = f(middle - 1e-7 * width), f(middle + 1e-7 * width), f(middle)
        if some_unknown(sides) or sides[0].x == sides[1].x:
            self.soft = True
            return N(middle)
        slope = abs(sides[1].x - sides[0].x) / (2e-7 * width)
        return N(
            middle,
            3e-13 * end_size + STEP * abs(middle) + 2 * sides[2].err / slope + low.err + high.err,
        )
