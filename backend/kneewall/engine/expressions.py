"""Expression trees to closures over numbered slots: one evaluator, always traced.

`Compiler.build` turns a tree of `kneewall.bundle` into a function of an `Env`. A value is a float, bool, str, a list
(whose items may be unknown), or `Unknown`. Operators try the arithmetic first: an unknown operand raises `TypeError`.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Sequence
from typing import Any, Final

from kneewall.bundle import Bundle, Expr
from kneewall.engine import numbers
from kneewall.engine.tables import Cells, Finder, outside
from kneewall.engine.unknown import Unknown, domain, merge

Thunk = Callable[["Env"], Any]


class Env:
    """What an evaluation reads and writes: slots, member positions, bound values, the row under test, the trace."""

    __slots__ = ("at", "bound", "cells", "edge", "row", "sizes", "trace", "values")

    def __init__(self, slots: int, sizes: list[int]) -> None:
        self.values: list[Any] = [None] * slots
        self.sizes = sizes
        self.at = [0] * len(sizes)
        self.bound: list[Any] = [None] * 32
        self.cells: Sequence[Sequence[Any]] = ()
        self.row = 0
        self.trace: list[Any] = []
        self.edge = False


ARITHMETIC: Final[dict[str, Callable[[Any, Any], Any]]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
    "//": lambda a, b: numbers.floor(a / b),
    "%": lambda a, b: a - b * numbers.floor(a / b),
    "round": lambda a, step: numbers.nearest(a / step) * step,
    "floor": lambda a, step: numbers.floor(a / step) * step,
    "ceil": lambda a, step: numbers.ceil(a / step) * step,
}
SINGLE: Final[dict[str, Callable[[float], float]]] = {
    "neg": operator.neg,
    "abs": abs,
    "sqrt": math.sqrt,
    "exp": math.exp,
    "ln": math.log,
    "log10": math.log10,
}
SINGLE_REFUSAL: Final = {
    "sqrt": "root-of-negative",
    "ln": "log-of-nothing",
    "log10": "log-of-nothing",
}
COMPARE: Final[dict[str, Callable[[float, float, bool], bool]]] = {
    "==": lambda a, b, same: same,
    "!=": lambda a, b, same: not same,
    "<": lambda a, b, same: a < b and not same,
    "<=": lambda a, b, same: a < b or same,
    ">": lambda a, b, same: a > b and not same,
    ">=": lambda a, b, same: a > b or same,
}


def _power(a: float, b: float) -> float | Unknown:
    if a == 0 and b < 0:
        return domain("division-by-zero")
    if a < 0 and b != math.floor(b):
        return domain("fractional-power-of-negative")
    return float(a**b)


def _sound(value: Any) -> Any:
    """A finite number, anything that is no number, or a refusal."""
    if isinstance(value, float) and not abs(value) <= numbers.LARGEST:
        return domain("overflow")
    return value


class Compiler:
    """Builds the closures of one bundle; tables are indexed once and shared."""

    def __init__(self, bundle: Bundle, collections: dict[str, int], cells: list[Cells]) -> None:
        self.bundle = bundle
        self.collections = collections
        self.cells = cells
        self.finders: dict[tuple[int, ...], Finder] = {}
        self.functions: dict[int, Thunk] = {}

    def build(self, tree: Expr | None, scope: str) -> Thunk:
        if not isinstance(tree, list):
            return lambda e: tree
        head, args = str(tree[0]), tree[1:]
        special = getattr(self, "_" + head.replace("-", "_"), None)
        if special is not None:
            built: Thunk = special(args, scope)
            return built
        parts = [self.build(arg, scope) for arg in args]
        if head in SINGLE:
            return self._one(head, parts[0])
        if head in ARITHMETIC:
            return self._two(head, ARITHMETIC[head], *parts)
        if head == "**":
            return self._two(head, _power, *parts)
        if head in COMPARE:
            return self._compare(COMPARE[head], *parts)
        return self._list(head, parts)

    # -- operators

    def _one(self, head: str, a: Thunk) -> Thunk:
        f, refusal = SINGLE[head], SINGLE_REFUSAL.get(head, "overflow")

        def run(e: Env) -> Any:
            x = a(e)
            try:
                return _sound(f(x))
            except TypeError:
                return merge((x,))
            except (ValueError, OverflowError):
                return domain(refusal)

        return run

    def _two(self, head: str, f: Callable[[Any, Any], Any], a: Thunk, b: Thunk) -> Thunk:
        largest = numbers.LARGEST

        def run(e: Env) -> Any:
            x, y = a(e), b(e)
            try:
                value = f(x, y)
                return value if -largest <= value <= largest else domain("overflow")
            except TypeError:
                return value if isinstance(x, float) and isinstance(y, float) else merge((x, y))
            except ZeroDivisionError:
                return domain("division-by-zero")
            except (OverflowError, ValueError):
                return domain("overflow")

        return run

    def _compare(self, f: Callable[[float, float, bool], bool], a: Thunk, b: Thunk) -> Thunk:
        def run(e: Env) -> Any:
            x, y = a(e), b(e)
            if isinstance(x, Unknown) or isinstance(y, Unknown):
                return merge((x, y))
            if isinstance(x, str | bool):
                return f(x, y, x == y)  # type: ignore[arg-type]
            if numbers.near_edge(x, y):
                e.edge = True
            return f(x, y, numbers.close(x, y))

        return run

    def _and(self, args: Sequence[Expr], scope: str) -> Thunk:
        return self._logic([self.build(arg, scope) for arg in args], decides=False)

    def _or(self, args: Sequence[Expr], scope: str) -> Thunk:
        return self._logic([self.build(arg, scope) for arg in args], decides=True)

    def _logic(self, parts: list[Thunk], decides: bool) -> Thunk:
        def run(e: Env) -> Any:
            unknown = []
            for part in parts:
                value = part(e)
                if value is decides:
                    return decides
                if isinstance(value, Unknown):
                    unknown.append(value)
            return merge(unknown) if unknown else not decides

        return run

    def _not(self, args: Sequence[Expr], scope: str) -> Thunk:
        a = self.build(args[0], scope)

        def run(e: Env) -> Any:
            x = a(e)
            return x if isinstance(x, Unknown) else not x

        return run

    def _if(self, args: Sequence[Any], scope: str) -> Thunk:
        trace = int(args[0])
        condition, then, otherwise = (self.build(arg, scope) for arg in args[1:])

        def run(e: Env) -> Any:
            c = condition(e)
            if isinstance(c, Unknown):
                return c
            if trace >= 0:
                e.trace[trace] = (1 if c else 0, None)
            return then(e) if c else otherwise(e)

        return run

    # -- references

    def _q(self, args: Sequence[Any], scope: str) -> Thunk:
        slot = int(args[0])
        home = self.collections.get(self.bundle.quantities[slot].scope)
        if home is None or scope != self.bundle.quantities[slot].scope:
            return lambda e: e.values[slot]
        return lambda e: e.values[slot][e.at[home]]

    def _p(self, args: Sequence[Any], scope: str) -> Thunk:
        depth = int(args[0])
        return lambda e: e.bound[depth]

    def _c(self, args: Sequence[Any], scope: str) -> Thunk:
        column = int(args[0])

        def run(e: Env) -> Any:
            cell = e.cells[column][e.row]
            return Unknown("outside", (), {"code": "empty-cell"}) if cell is None else cell

        return run

    def _known(self, args: Sequence[Expr], scope: str) -> Thunk:
        a = self.build(args[0], scope)
        return lambda e: not isinstance(whole(a(e)), Unknown)

    def _na(self, args: Sequence[Expr], scope: str) -> Thunk:
        reason = args[0]
        return lambda e: Unknown("not-applicable", (), {"code": "says", "text": reason})

    def _fn(self, args: Sequence[Any], scope: str) -> Thunk:
        index = int(args[0])
        parts = [self.build(arg, scope) for arg in args[1:]]

        def run(e: Env) -> Any:
            values = [part(e) for part in parts]
            saved = e.bound
            e.bound = [*values, *([None] * 16)]
            body = self.functions.get(index)
            if body is None:
                body = self.functions[index] = self.build(self.bundle.functions[index].tree, "")
            value = body(e)
            e.bound = saved
            return value

        return run

    def _root(self, args: Sequence[Any], scope: str) -> Thunk:
        depth = int(args[0])
        low, high, body = (self.build(arg, scope) for arg in args[1:])

        def run(e: Env) -> Any:
            a, b = low(e), high(e)
            if isinstance(a, Unknown) or isinstance(b, Unknown):
                return merge((a, b))

            def f(x: float) -> Any:
                e.bound[depth] = x
                return body(e)

            return find_root(f, a, b)

        return run

    # -- lists

    def _each(self, args: Sequence[Any], scope: str) -> Thunk:
        depth = int(args[0])
        items, body = self.build(args[1], scope), self.build(args[2], scope)

        def run(e: Env) -> Any:
            source = items(e)
            if isinstance(source, Unknown):
                return source
            values = []
            for position, item in enumerate(source, 1):
                e.bound[depth], e.bound[depth + 1] = item, float(position)
                values.append(body(e))
            return values

        return run

    def _members(self, args: Sequence[Any], scope: str) -> Thunk:
        name, depth = str(args[0]), int(args[1])
        home, body = self.collections[name], self.build(args[2], name)

        def run(e: Env) -> Any:
            saved, values = e.at[home], []
            for position in range(e.sizes[home]):
                e.at[home], e.bound[depth + 1] = position, float(position + 1)
                values.append(body(e))
            e.at[home] = saved
            return values

        return run

    def _size(self, args: Sequence[Any], scope: str) -> Thunk:
        home = self.collections[str(args[0])]
        return lambda e: float(e.sizes[home])

    def _at(self, args: Sequence[Expr], scope: str) -> Thunk:
        items, place = self.build(args[0], scope), self.build(args[1], scope)

        def run(e: Env) -> Any:
            source, n = items(e), place(e)
            if isinstance(source, Unknown) or isinstance(n, Unknown):
                return merge((source, n))
            return source[int(n) - 1] if 1 <= n <= len(source) else domain("no-such-entry")

        return run

    def _any(self, args: Sequence[Expr], scope: str) -> Thunk:
        return self._every(self.build(args[0], scope), decides=True)

    def _all(self, args: Sequence[Expr], scope: str) -> Thunk:
        return self._every(self.build(args[0], scope), decides=False)

    def _every(self, items: Thunk, decides: bool) -> Thunk:
        def run(e: Env) -> Any:
            source = items(e)
            if isinstance(source, Unknown):
                return source
            if any(item is decides for item in source):
                return decides
            return (
                merge(source) if any(isinstance(item, Unknown) for item in source) else not decides
            )

        return run

    def _list(self, head: str, parts: list[Thunk]) -> Thunk:
        if head == "count":
            items = parts[0]
            return lambda e: (lambda x: x if isinstance(x, Unknown) else float(len(x)))(items(e))
        single = head in ("sum", "lmin", "lmax")
        folds: dict[str, Callable[[list[Any]], Any]] = {
            "sum": add_up,
            "lmin": min,
            "lmax": max,
            "min": min,
            "max": max,
        }
        fold = folds[head]

        def run(e: Env) -> Any:
            values = parts[0](e) if single else [part(e) for part in parts]
            values = whole(values)
            if isinstance(values, Unknown):
                return values
            if not values and head != "sum":
                return domain("empty-list")
            return _sound(fold(values))

        return run

    # -- tables

    def _source(self, node: Any, scope: str) -> tuple[Thunk, Callable[[str], Unknown]]:
        """The columns of a table, or of a series, and the refusal that names it."""
        if isinstance(node, list):
            series = self.build(node, scope)

            def read(e: Env) -> Any:
                points = series(e)
                return (
                    points
                    if isinstance(points, Unknown)
                    else [[p[k] for p in points] for k in (0, 1)]
                )

            return read, lambda code: Unknown("outside", (), {"code": code})
        table, cells = self.bundle.tables[int(node)], self.cells[int(node)]
        return (lambda e: cells), (lambda code: outside(code, table))

    def _search(self, head: str, args: Sequence[Any], scope: str) -> Thunk:
        source, refuse = self._source(args[0], scope)
        trace, out, condition = int(args[1]), int(args[2]), self.build(args[3], scope)

        def run(e: Env) -> Any:
            cells = source(e)
            if isinstance(cells, Unknown):
                return cells
            saved = e.cells, e.row
            e.cells = cells
            rows = range(len(cells[0]))
            found: list[int] = []
            unknown: list[Unknown] = []
            for row in reversed(rows) if head == "last" else rows:
                e.row = row
                holds = condition(e)
                if isinstance(holds, Unknown):
                    unknown.append(holds)
                elif holds:
                    found.append(row)
                if (found or unknown) and head != "rows":
                    break
            e.cells, e.row = saved
            if unknown:
                return merge(unknown)
            if head == "rows":
                return [cells[out][row] for row in found]
            if not found:
                return refuse("no-row-satisfies")
            return keep(e, trace, found[0], cells[out][found[0]], refuse)

        return run

    def _first(self, args: Sequence[Any], scope: str) -> Thunk:
        return self._search("first", args, scope)

    def _last(self, args: Sequence[Any], scope: str) -> Thunk:
        return self._search("last", args, scope)

    def _rows(self, args: Sequence[Any], scope: str) -> Thunk:
        return self._search("rows", args, scope)

    def _keyed(self, args: Sequence[Any], scope: str) -> tuple[Finder, list[Thunk], int, int]:
        index, trace, out = (int(arg) for arg in args[:3])
        columns = tuple(int(c) for c in args[3::2])
        key = (index, *columns)
        if key not in self.finders:
            self.finders[key] = Finder(self.bundle.tables[index], self.cells[index], columns)
        return self.finders[key], [self.build(arg, scope) for arg in args[4::2]], trace, out

    def _row(self, args: Sequence[Any], scope: str) -> Thunk:
        finder, parts, trace, out = self._keyed(args, scope)

        def run(e: Env) -> Any:
            values = [part(e) for part in parts]
            if any(isinstance(value, Unknown) for value in values):
                return merge(values)
            row = finder.row(values)
            if isinstance(row, Unknown):
                return row
            return keep(
                e, trace, row, finder.cells[out][row], lambda code: outside(code, finder.table)
            )

        return run

    def _interp(self, args: Sequence[Any], scope: str) -> Thunk:
        finder, parts, trace, out = self._keyed(args, scope)

        def run(e: Env) -> Any:
            values = [part(e) for part in parts]
            if any(isinstance(value, Unknown) for value in values):
                return merge(values)
            found = finder.between(values, out)
            if isinstance(found, Unknown):
                return found
            return keep(
                e, trace, found[0], _sound(found[1]), lambda code: outside(code, finder.table)
            )

        return run


def keep(e: Env, trace: int, row: int, value: Any, refuse: Callable[[str], Unknown]) -> Any:
    if value is None:
        return refuse("empty-cell")
    if trace >= 0:
        e.trace[trace] = (row, value)
    return value


def whole(value: Any) -> Any:
    """A list with an unknown item is unknown as a whole."""
    if isinstance(value, list) and any(isinstance(item, Unknown) for item in value):
        return merge(value)
    return value


def add_up(values: list[float]) -> float:
    """Left to right, as the other engine does; no compensated summation."""
    total = 0.0
    for value in values:
        total = total + value
    return total


def find_root(f: Callable[[float], Any], low: float, high: float) -> Any:
    """The x in [low, high] where f changes sign, to 1e-13 of the larger end (Chandrupatla 1997)."""
    fa, fb = f(low), f(high)
    if isinstance(fa, Unknown) or isinstance(fb, Unknown):
        return merge((fa, fb))
    if fa == 0:
        return low
    if fb == 0:
        return high
    if (fa > 0) == (fb > 0):
        return domain("no-root")
    least = 1e-13 * max(abs(low), abs(high))
    a, b, c, fc, t = high, low, high, fb, 0.5
    fa, fb = fb, fa
    for _ in range(200):
        x = a + t * (b - a)
        fx = f(x)
        if isinstance(fx, Unknown):
            return fx
        if (fx > 0) == (fa > 0):
            c, fc = a, fa
        else:
            c, fc, b, fb = b, fb, a, fa
        a, fa = x, fx
        best, f_best = (a, fa) if abs(fa) < abs(fb) else (b, fb)
        span = abs(b - a)
        if f_best == 0 or span <= least:
            return best
        xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
        if phi**2 < xi and (1 - phi) ** 2 < 1 - xi:
            t = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (
                fc - fb
            )
        else:
            t = 0.5
        edge = 0.5 * least / span
        t = min(1 - edge, max(edge, t))
    return domain("no-root")
