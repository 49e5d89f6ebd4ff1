"""Expression trees to closures over numbered slots: one evaluator, always traced.

`Compiler.build` turns a tree of `kneewall.bundle` into a function of an `Env`. A value is a float, bool, str, a list
(whose items may be unknown), or `Unknown`.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Sequence
from typing import Any, Final

from kneewall.bundle import Bundle, Expr
from kneewall.engine import numbers
from kneewall.engine.root import find_root
from kneewall.engine.tables import Cells, Finder, outside
from kneewall.engine.unknown import Unknown, domain, merge

Thunk = Callable[["Env"], Any]
FRAME: Final = 32
"""Places for bound values: parameters, items, positions, root variables."""


class Env:
    """What an evaluation reads and writes: slots, member positions, bound values, the row under test, the trace."""

    __slots__ = ("at", "bound", "cells", "edge", "row", "sizes", "trace", "values")

    def __init__(self, slots: int, sizes: list[int]) -> None:
        self.values: list[Any] = [None] * slots
        self.sizes = sizes
        self.at = [0] * len(sizes)
        self.bound: list[Any] = [None] * FRAME
        self.cells: Sequence[Sequence[Any]] = ()
        self.row = 0
        self.trace: list[Any] = []
        self.edge = False


def _power(a: float, b: float) -> Any:
    if a == 0 and b < 0:
        return domain("division-by-zero")
    if a < 0 and b != math.floor(b):
        return domain("fractional-power-of-negative")
    return a**b


def _entry(items: list[Any], n: float) -> Any:
    """Entry n, counted from 1; between two entries there is none."""
    place = numbers.nearest(n)
    if 1 <= place <= len(items) and numbers.close(place, n):
        return items[int(place) - 1]
    return domain("no-such-entry")


def _add_up(*values: float) -> float:
    """Left to right, as the other engine does; no compensated summation."""
    total = 0.0
    for value in values:
        total = total + value
    return total


def _extreme(pick: Callable[[Sequence[float]], float]) -> Callable[..., Any]:
    return lambda *values: pick(values) if values else domain("empty-list")


STRICT: Final[dict[str, Callable[..., Any]]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
    "//": lambda a, b: numbers.floor(a / b),
    "%": lambda a, b: a - b * numbers.floor(a / b),
    "**": _power,
    "neg": operator.neg,
    "not": operator.not_,
    "abs": abs,
    "sqrt": lambda a: math.sqrt(a) if a >= 0 else domain("root-of-negative"),
    "exp": math.exp,
    "ln": lambda a: math.log(a) if a > 0 else domain("log-of-nothing"),
    "log10": lambda a: math.log10(a) if a > 0 else domain("log-of-nothing"),
    "round": lambda a, step: numbers.nearest(a / step) * step,
    "floor": lambda a, step: numbers.floor(a / step) * step,
    "ceil": lambda a, step: numbers.ceil(a / step) * step,
    "min": _extreme(min),
    "max": _extreme(max),
    "at": _entry,
    "count": lambda items: float(len(items)),
}
"""Operators that need all their operands."""
OVER_LIST: Final = {"sum": _add_up, "lmin": _extreme(min), "lmax": _extreme(max)}
COMPARE: Final[dict[str, Callable[[float, float, bool], bool]]] = {
    "==": lambda a, b, same: same,
    "!=": lambda a, b, same: not same,
    "<": lambda a, b, same: a < b and not same,
    "<=": lambda a, b, same: a < b or same,
    ">": lambda a, b, same: a > b and not same,
    ">=": lambda a, b, same: a > b or same,
}


def calculate(f: Callable[..., Any], *values: Any) -> Any:
    """f of values that are all known; a refusal where the arithmetic has no answer."""
    try:
        value = f(*values)
    except ZeroDivisionError:
        return domain("division-by-zero")
    except (OverflowError, ValueError):
        return domain("overflow")
    if isinstance(value, float) and not abs(value) <= numbers.LARGEST:
        return domain("overflow")
    return value


def strict(f: Callable[..., Any], parts: Sequence[Thunk]) -> Thunk:
    """f over parts, unknown as soon as one of them is."""
    if len(parts) == 2:
        a, b = parts

        def pair(e: Env) -> Any:
            x, y = a(e), b(e)
            if x.__class__ is Unknown or y.__class__ is Unknown:
                return merge((x, y))
            return calculate(f, x, y)

        return pair

    def run(e: Env) -> Any:
        values = [part(e) for part in parts]
        for value in values:
            if value.__class__ is Unknown:
                return merge(values)
        return calculate(f, *values)

    return run


def whole(value: Any) -> Any:
    """A list with an unknown item is unknown as a whole."""
    if isinstance(value, list) and any(item.__class__ is Unknown for item in value):
        return merge(value)
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
        special = getattr(self, "_" + head, None)
        if special is not None:
            built: Thunk = special(args, scope)
            return built
        if head in ("first", "last", "rows"):
            return self._search(head, args, scope)
        parts = [self.build(arg, scope) for arg in args]
        if head in COMPARE:
            return self._compare(COMPARE[head], *parts)
        if head in ("and", "or"):
            return self._logic(parts, head == "or")
        if head in ("any", "all"):
            return self._every(parts[0], head == "any")
        if head in OVER_LIST:
            items = parts[0]
            return strict(lambda values: OVER_LIST[head](*values), [lambda e: whole(items(e))])
        return strict(STRICT[head], parts)

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
        column, empty = int(args[0]), Unknown("outside", (), {"code": "empty-cell"})

        def run(e: Env) -> Any:
            cell = e.cells[column][e.row]
            return empty if cell is None else cell

        return run

    def _size(self, args: Sequence[Any], scope: str) -> Thunk:
        home = self.collections[str(args[0])]
        return lambda e: float(e.sizes[home])

    # -- logic

    def _compare(self, f: Callable[[float, float, bool], bool], a: Thunk, b: Thunk) -> Thunk:
        def run(e: Env) -> Any:
            x, y = a(e), b(e)
            if x.__class__ is Unknown or y.__class__ is Unknown:
                return merge((x, y))
            if isinstance(x, str | bool):
                return f(x, y, x == y)  # type: ignore[arg-type]
            if numbers.near_edge(x, y):
                e.edge = True
            return f(x, y, numbers.close(x, y))

        return run

    def _logic(self, parts: list[Thunk], decides: bool) -> Thunk:
        def run(e: Env) -> Any:
            unknown = []
            for part in parts:
                value = part(e)
                if value is decides:
                    return decides
                if value.__class__ is Unknown:
                    unknown.append(value)
            return merge(unknown) if unknown else not decides

        return run

    def _every(self, items: Thunk, decides: bool) -> Thunk:
        def run(e: Env) -> Any:
            values = items(e)
            if isinstance(values, list) and decides in values:
                return decides
            values = whole(values)
            return values if isinstance(values, Unknown) else not decides

        return run

    def _if(self, args: Sequence[Any], scope: str) -> Thunk:
        trace = int(args[0])
        condition, then, otherwise = (self.build(arg, scope) for arg in args[1:])

        def run(e: Env) -> Any:
            c = condition(e)
            if c.__class__ is Unknown:
                return c
            if trace >= 0:
                e.trace[trace] = (1 if c else 0, None)
            return then(e) if c else otherwise(e)

        return run

    def _known(self, args: Sequence[Expr], scope: str) -> Thunk:
        a = self.build(args[0], scope)
        return lambda e: not isinstance(whole(a(e)), Unknown)

    def _na(self, args: Sequence[Expr], scope: str) -> Thunk:
        refusal = Unknown("not-applicable", (), {"code": "says", "text": args[0]})
        return lambda e: refusal

    # -- what binds names

    def _fn(self, args: Sequence[Any], scope: str) -> Thunk:
        index = int(args[0])
        parts = [self.build(arg, scope) for arg in args[1:]]

        def run(e: Env) -> Any:
            frame = [part(e) for part in parts]
            if index not in self.functions:
                self.functions[index] = self.build(self.bundle.functions[index].tree, "")
            saved, e.bound = e.bound, frame + [None] * (FRAME - len(frame))
            value = self.functions[index](e)
            e.bound = saved
            return value

        return run

    def _root(self, args: Sequence[Any], scope: str) -> Thunk:
        depth, body = int(args[0]), self.build(args[3], scope)

        def run(e: Env) -> Any:
            def f(x: float) -> Any:
                e.bound[depth] = x
                return body(e)

            return strict(lambda low, high: find_root(f, low, high), ends)(e)

        ends = [self.build(arg, scope) for arg in args[1:3]]
        return run

    def _each(self, args: Sequence[Any], scope: str) -> Thunk:
        depth = int(args[0])
        items, body = self.build(args[1], scope), self.build(args[2], scope)

        def run(e: Env) -> Any:
            source = items(e)
            if source.__class__ is Unknown:
                return source
            values = []
            for position, item in enumerate(source, 1):
                e.bound[depth : depth + 2] = item, float(position)
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

    # -- tables

    def _search(self, head: str, args: Sequence[Any], scope: str) -> Thunk:
        source, table = self._source(args[0], scope)
        trace, out, condition = int(args[1]), int(args[2]), self.build(args[3], scope)

        def run(e: Env) -> Any:
            cells = source(e)
            if cells.__class__ is Unknown:
                return cells
            saved = e.cells, e.row
            e.cells, rows = cells, range(len(cells[0]))
            found: list[int] = []
            unknown: list[Unknown] = []
            for row in reversed(rows) if head == "last" else rows:
                e.row = row
                holds = condition(e)
                if holds is True:
                    found.append(row)
                elif holds is not False:
                    unknown.append(holds)
                if (found or unknown) and head != "rows":
                    break
            e.cells, e.row = saved
            if unknown:
                return merge(unknown)
            if head == "rows":
                return [
                    outside("empty-cell", table) if cells[out][r] is None else cells[out][r]
                    for r in found
                ]
            if not found:
                return outside("no-row-satisfies", table)
            return keep(e, trace, found[0], cells[out][found[0]], table)

        return run

    def _source(self, node: Any, scope: str) -> tuple[Thunk, str]:
        """The columns of a table, or of a series, and the table's name."""
        if not isinstance(node, list):
            cells = self.cells[int(node)]
            return (lambda e: cells), self.bundle.tables[int(node)].id
        series = self.build(node, scope)
        return strict(lambda points: [[p[k] for p in points] for k in (0, 1)], [series]), ""

    def _keyed(self, args: Sequence[Any], scope: str, between: bool) -> Thunk:
        index, trace, out = (int(arg) for arg in args[:3])
        columns = [int(c) for c in args[3::2]]
        key = (index, *columns)
        if key not in self.finders:
            self.finders[key] = Finder(self.bundle.tables[index], self.cells[index], columns)
        finder, table = self.finders[key], self.bundle.tables[index].id
        parts = [self.build(arg, scope) for arg in args[4::2]]
        find = strict(lambda *v: finder.between(v, out) if between else finder.row(v, out), parts)

        def run(e: Env) -> Any:
            found = find(e)
            return (
                found if found.__class__ is Unknown else keep(e, trace, found[0], found[1], table)
            )

        return run

    def _row(self, args: Sequence[Any], scope: str) -> Thunk:
        return self._keyed(args, scope, between=False)

    def _interp(self, args: Sequence[Any], scope: str) -> Thunk:
        return self._keyed(args, scope, between=True)


def keep(e: Env, trace: int, row: int, value: Any, table: str) -> Any:
    """A value read from a row, noted in the trace."""
    if value is None:
        return outside("empty-cell", table)
    if trace >= 0:
        e.trace[trace] = (row, value)
    return value
