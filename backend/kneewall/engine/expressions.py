"""Expression trees to closures over numbered slots: one evaluator, always traced.

`Compiler.build` turns a tree of `kneewall.bundle` into a function of an `Env`. A value is a float, bool, str, a list
(whose items may be unknown), or `Unknown`.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Sequence
from functools import reduce
from typing import Any, Final, NamedTuple

from kneewall.bundle import Bundle, Expr, bare
from kneewall.engine import numbers
from kneewall.engine.root import find_root
from kneewall.engine.tables import Cells, Finder, along, outside
from kneewall.engine.unknown import Unknown, domain, merge

Thunk = Callable[["Env"], Any]
LARGEST: Final = numbers.LARGEST
FAR: Final = 2 * numbers.EQUAL
"""Of both magnitudes together: beyond it two numbers are neither equal nor near the edge of it."""


class Env:
    """What an evaluation reads and writes: slots, member positions, bound values, the row under test, the trace.

    Behind the slots lie the constants. `rows` are (table, row) that were read, kept when a result is opened.
    """

    __slots__ = ("at", "bound", "cells", "edge", "row", "rows", "sizes", "trace", "values")

    def __init__(self, sizes: Sequence[int] = ()) -> None:
        self.values: list[Any] = []
        self.sizes = sizes
        self.at = [0] * len(sizes)
        self.bound: list[Any] = []
        self.cells: Sequence[Sequence[Any]] = ()
        self.row = 0
        self.rows: list[tuple[int, int]] | None = None
        self.trace: list[Any] = []
        self.edge = False


class Place(NamedTuple):
    """Where a tree stands: whose members it sees, where its bound values start, what is free."""

    scope: str
    base: int = 0
    free: int = 0


def _power(a: float, b: float) -> float:
    if a < 0 and b != math.floor(b):
        raise ArithmeticError("fractional-power-of-negative")
    return float(a**b)


def _entry(items: list[Any], n: float) -> Any:
    """Entry n, counted from 1; between two entries there is none."""
    place = numbers.nearest(n)
    if 1 <= place <= len(items) and numbers.close(place, n):
        return items[int(place) - 1]
    return domain("no-such-entry")


def _extreme(pick: Callable[[Sequence[float]], float]) -> Callable[[Sequence[float]], Any]:
    return lambda values: pick(values) if values else domain("empty-list")


ARITHMETIC: Final[dict[str, Callable[[float, float], float]]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
    "//": lambda a, b: numbers.floor(a / b),
    "%": lambda a, b: a - b * numbers.floor(a / b),
    "**": _power,
    "round": lambda a, step: numbers.nearest(a / step) * step,
    "floor": lambda a, step: numbers.floor(a / step) * step,
    "ceil": lambda a, step: numbers.ceil(a / step) * step,
}
STRICT: Final[dict[str, Callable[..., Any]]] = {
    "neg": operator.neg,
    "not": operator.not_,
    "abs": abs,
    "sqrt": lambda a: math.sqrt(a) if a >= 0 else domain("root-of-negative"),
    "exp": math.exp,
    "ln": lambda a: math.log(a) if a > 0 else domain("log-of-nothing"),
    "log10": lambda a: math.log10(a) if a > 0 else domain("log-of-nothing"),
    "min": min,
    "max": max,
    "at": _entry,
    "count": lambda items: float(len(items)),
}
"""Operators that need all their operands."""
FOLD: Final = {
    # Left to right, as the other engine does; no compensated summation.
    "sum": lambda values: reduce(operator.add, values, 0.0),
    "lmin": _extreme(min),
    "lmax": _extreme(max),
}
COMPARE: Final = {"<": 1, "==": 2, "<=": 3, ">": 4, "!=": 5, ">=": 6}
"""The outcomes that satisfy a comparison: 1 less, 2 equal, 4 more."""


def refused(error: ArithmeticError | ValueError) -> Unknown:
    codes: dict[type, str] = {ZeroDivisionError: "division-by-zero", ArithmeticError: str(error)}
    return domain(codes.get(type(error), "overflow"))


def strict(f: Callable[..., Any], parts: Sequence[Thunk]) -> Thunk:
    """f over parts, unknown as soon as one of them is."""

    def run(e: Env) -> Any:
        values = [part(e) for part in parts]
        if Unknown in map(type, values):
            return merge(values)
        try:
            value = f(*values)
        except (ArithmeticError, ValueError) as error:
            return refused(error)
        return (
            domain("overflow") if value.__class__ is float and not abs(value) <= LARGEST else value
        )

    return run


def whole(value: Any) -> Any:
    """A list with an unknown item is unknown as a whole."""
    return merge(value) if value.__class__ is list and Unknown in map(type, value) else value


class Compiler:
    """Builds the closures of one bundle; tables are indexed once and shared."""

    def __init__(self, bundle: Bundle, collections: dict[str, int], cells: list[Cells]) -> None:
        self.bundle = bundle
        self.collections = collections
        self.cells = cells
        self.finders: dict[tuple[int, ...], Finder] = {}
        self.constants: dict[float, int] = {}
        self.frame = 0
        """How many bound values there are places for."""

    def build(self, tree: Expr | None, scope: str) -> Thunk:
        return self._make(tree, Place(scope))

    def fit(self, env: Env) -> Env:
        """Gives an `Env` room for all that has been built."""
        slots = len(self.bundle.quantities)
        env.values += [None] * (slots - len(env.values))
        env.values += list(self.constants)[len(env.values) - slots :]
        env.bound += [None] * (self.frame - len(env.bound))
        return env

    def _make(self, tree: Any, place: Place) -> Thunk:
        tree = bare(tree)
        if not isinstance(tree, list):
            return lambda e: tree
        head, args = str(tree[0]), tree[1:]
        special = getattr(self, "_" + head, None)
        if special is not None:
            built: Thunk = special(args, place)
            return built
        if head in ("first", "last", "rows"):
            return self._search(head, args, place)
        if head in ("row", "interp"):
            return self._keyed(head, args, place)
        parts = [self._make(arg, place) for arg in args]
        if head in COMPARE or head in ARITHMETIC:
            a, b = parts
            i, j = (self._ready(arg, place) for arg in args)
            return (compare if head in COMPARE else arithmetic)(head, a, b, i, j)
        if head in ("and", "or"):
            return lambda e: decided((part(e) for part in parts), head == "or")
        if head in ("any", "all"):
            return strict(lambda values: decided(values, head == "any"), parts)
        if head in FOLD:
            return strict(FOLD[head], [lambda e: whole(parts[0](e))])
        return strict(STRICT[head], parts)

    # -- references

    def _member_of(self, slot: int, place: Place) -> int | None:
        """The collection of whose member at hand a quantity is read; None: it is read as it lies."""
        scope = self.bundle.quantities[slot].scope
        return self.collections.get(scope) if scope == place.scope else None

    def _ready(self, tree: Any, place: Place) -> int:
        """The slot where a value lies ready, or -1: reading there saves a call."""
        tree = bare(tree)
        if tree.__class__ is float:
            end = len(self.bundle.quantities) + len(self.constants)
            return self.constants.setdefault(tree, end)
        slot = int(tree[1]) if isinstance(tree, list) and tree[0] == "q" else -1
        return slot if slot >= 0 and self._member_of(slot, place) is None else -1

    def _q(self, args: Sequence[Any], place: Place) -> Thunk:
        slot = int(args[0])
        home = self._member_of(slot, place)
        if home is None:
            return lambda e: e.values[slot]
        return lambda e: e.values[slot][e.at[home]]

    def _p(self, args: Sequence[Any], place: Place) -> Thunk:
        depth = place.base + int(args[0])
        return lambda e: e.bound[depth]

    def _c(self, args: Sequence[Any], place: Place) -> Thunk:
        column, empty = int(args[0]), Unknown("outside", (), {"code": "empty-cell"})

        def run(e: Env) -> Any:
            cell = e.cells[column][e.row]
            return empty if cell is None else cell

        return run

    def _size(self, args: Sequence[Any], place: Place) -> Thunk:
        home = self.collections[str(args[0])]
        return lambda e: float(e.sizes[home])

    # -- choice

    def _if(self, args: Sequence[Any], place: Place) -> Thunk:
        trace = int(args[0])
        condition, then, otherwise = (self._make(arg, place) for arg in args[1:])

        def run(e: Env) -> Any:
            c = condition(e)
            if c.__class__ is Unknown:
                return c
            if trace >= 0:
                e.trace[trace] = c
            return then(e) if c else otherwise(e)

        return run

    def _known(self, args: Sequence[Expr], place: Place) -> Thunk:
        a = self._make(args[0], place)
        return lambda e: whole(a(e)).__class__ is not Unknown

    def _na(self, args: Sequence[Expr], place: Place) -> Thunk:
        refusal = Unknown("not-applicable", (), {"code": "says", "text": args[0]})
        return lambda e: refusal

    # -- what binds names

    def _bind(self, depth: int, tree: Any, place: Place) -> tuple[int, Thunk]:
        """A body that sees up to two values bound from `depth` on, and where the first of them is."""
        at = place.base + depth
        self.frame = max(self.frame, at + 2)
        return at, self._make(tree, place._replace(free=max(place.free, at + 2)))

    def _fn(self, args: Sequence[Any], place: Place) -> Thunk:
        """A function's frame starts where nothing of the caller is; its arguments are all there before one is bound."""
        base, end = place.free, place.free + len(args) - 1
        parts = [self._make(arg, place) for arg in args[1:]]
        self.frame = max(self.frame, end)
        body = self._make(self.bundle.functions[int(args[0])].tree, Place("", base, end))

        def run(e: Env) -> Any:
            e.bound[base:end] = [part(e) for part in parts]
            return body(e)

        return run

    def _root(self, args: Sequence[Any], place: Place) -> Thunk:
        at, body = self._bind(int(args[0]), args[3], place)
        ends = [self._make(arg, place) for arg in args[1:3]]

        def run(e: Env) -> Any:
            kept = len(e.rows or ())

            def f(x: float) -> Any:
                e.bound[at] = x
                if e.rows:
                    del e.rows[kept:]
                return body(e)

            return strict(lambda low, high: find_root(f, low, high), ends)(e)

        return run

    def _each(self, args: Sequence[Any], place: Place) -> Thunk:
        items = self._make(args[1], place)
        at, body = self._bind(int(args[0]), args[2], place)

        def run(e: Env) -> Any:
            source = items(e)
            if source.__class__ is Unknown:
                return source
            values = []
            for position, item in enumerate(source, 1):
                e.bound[at : at + 2] = item, float(position)
                values.append(body(e))
            return values

        return run

    def _members(self, args: Sequence[Any], place: Place) -> Thunk:
        name = str(args[0])
        home = self.collections[name]
        at, body = self._bind(int(args[1]), args[2], place._replace(scope=name))

        def run(e: Env) -> Any:
            saved, values = e.at[home], []
            for position in range(e.sizes[home]):
                e.at[home], e.bound[at + 1] = position, float(position + 1)
                values.append(body(e))
            e.at[home] = saved
            return values

        return run

    # -- tables

    def _search(self, head: str, args: Sequence[Any], place: Place) -> Thunk:
        index, source, table = self._source(args[0], place)
        trace, out, condition = int(args[1]), int(args[2]), self._make(args[3], place)

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
            read = [keep(e, trace, index, table, row, cells[out][row]) for row in found]
            if head == "rows":
                return read
            return read[0] if read else outside("no-row-satisfies", table)

        return run

    def _source(self, node: Any, place: Place) -> tuple[int, Thunk, str]:
        """The table or -1, the columns of the table or of a series, and the table's name."""
        if not isinstance(node, list):
            index, cells = int(node), self.cells[int(node)]
            return index, lambda e: cells, self.bundle.tables[index].id
        series = self._make(node, place)
        return -1, strict(lambda points: [[p[k] for p in points] for k in (0, 1)], [series]), ""

    def _keyed(self, head: str, args: Sequence[Any], place: Place) -> Thunk:
        if isinstance(args[0], list):
            return self._along(args, place)
        index, trace, out = (int(arg) for arg in args[:3])
        key = (index, *map(int, args[3::2]))
        if key not in self.finders:
            self.finders[key] = Finder(self.bundle.tables[index], self.cells[index], key[1:])
        finder, table = self.finders[key], self.bundle.tables[index].id
        find: Callable[..., Any] = finder.row if head == "row" else finder.between
        parts = [self._make(arg, place) for arg in args[4::2]]

        def run(e: Env) -> Any:
            values = [part(e) for part in parts]
            if Unknown in map(type, values):
                return merge(values)
            found = find(values, out)
            return found if isinstance(found, Unknown) else keep(e, trace, index, table, *found)

        return run

    def _along(self, args: Sequence[Any], place: Place) -> Thunk:
        trace, series = int(args[1]), self.bundle.quantities[int(args[0][1])].id
        parts = [self._make(args[k], place) for k in (0, 4)]
        find = strict(lambda points, x: along(points, x, series), parts)

        def run(e: Env) -> Any:
            found = find(e)
            return found if isinstance(found, Unknown) else keep(e, trace, -1, "", 0, found)

        return run


def keep(e: Env, trace: int, index: int, table: str, row: int, value: Any) -> Any:
    """A value read from a row, noted in the trace."""
    if value is None:
        return outside("empty-cell", table)
    if e.rows is not None and index >= 0:
        e.rows.append((index, row))
    if trace >= 0:
        e.trace[trace] = value
    return value


def arithmetic(head: str, a: Thunk, b: Thunk, i: int, j: int) -> Thunk:
    """Numbers only: an unknown operand answers + - * / itself and has no other arithmetic; the known pay nothing."""
    f = ARITHMETIC[head]

    def run(e: Env) -> Any:
        x = a(e) if i < 0 else e.values[i]
        y = b(e) if j < 0 else e.values[j]
        try:
            value = f(x, y)
            return value if -LARGEST <= value <= LARGEST else domain("overflow")
        except TypeError:
            return merge((x, y))
        except (ArithmeticError, ValueError) as error:
            return refused(error)

    return run


def compare(head: str, a: Thunk, b: Thunk, i: int, j: int) -> Thunk:
    wanted = COMPARE[head]

    def run(e: Env) -> Any:
        x = a(e) if i < 0 else e.values[i]
        y = b(e) if j < 0 else e.values[j]
        if x.__class__ is Unknown or y.__class__ is Unknown:
            return merge((x, y))
        if x.__class__ is not float:
            same = x == y
        elif abs(x - y) > FAR * (abs(x) + abs(y)):
            same = False
        else:
            same = numbers.close(x, y)
            if numbers.near_edge(x, y):
                e.edge = True
        return wanted & (2 if same else 1 if x < y else 4) != 0

    return run


def decided(values: Iterable[Any], decides: bool) -> Any:
    """The first value that decides; else unknown where one is."""
    unknown = []
    for value in values:
        if value is decides:
            return decides
        if value.__class__ is Unknown:
            unknown.append(value)
    return merge(unknown) if unknown else not decides
