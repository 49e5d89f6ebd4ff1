"""Expression trees to closures over numbered slots: one evaluator, always traced.

`Compiler.build` turns a tree of `kneewall.bundle` into a function of an `Env`. A value is a float, bool, str, a list
(whose items may be unknown), or `Unknown`.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial, reduce
from typing import Any, Final, NamedTuple

from kneewall.bundle import Bundle, Expr, bare
from kneewall.engine import numbers
from kneewall.engine.numbers import LARGEST
from kneewall.engine.root import find_root
from kneewall.engine.tables import EMPTY, Find, Finder, Rows, along, outside
from kneewall.engine.unknown import Unknown, domain, either, merge

Thunk = Callable[["Env"], Any]
Made = tuple[int, Thunk]
"""A place and what is put there first."""
LEAST: Final = -LARGEST
UNDER: Final = 1 - 4 * numbers.EQUAL
OVER: Final = 1 + 4 * numbers.EQUAL
"""Of a number: farther out another one is neither equal to it nor near the edge of it."""
OVERFLOW: Final = domain("overflow")


@dataclass(slots=True)
class Env:
    """What an evaluation reads and writes.

    Behind the slots of `values` lie, each in a place of its own, constants, arguments and what a loop binds, the cells
    of the row under test, the values of the member at hand, and what a loop keeps. `rows` are (table, row) that were
    read, kept when a result is opened.
    """

    sizes: Sequence[int] = ()
    values: list[Any] = field(default_factory=list)
    rows: list[tuple[int, int]] | None = None
    trace: list[Any] = field(default_factory=lambda: [None])
    """Of a formula, and one more for what is not in its trace."""
    edge: bool = False


class Here(NamedTuple):
    """Where a tree stands: whose members it sees, and in which places lies what it reads besides quantities."""

    scope: str
    own: dict[int, int]
    """Of the member at hand: slot to place."""
    bound: Mapping[int, int] = {}
    columns: Mapping[int, int] = {}


def _power(a: float, b: float) -> float:
    if a < 0 and b != math.floor(b):
        raise ArithmeticError("fractional-power-of-negative")
    return float(a**b)


def _entry(items: list[Any], n: float) -> Any:
    """Entry n, counted from 1; between two entries there is none."""
    place = numbers.nearest(n)
    there = 1 <= place <= len(items) and numbers.close(place, n)
    return items[int(place) - 1] if there else domain("no-such-entry")


def _unknown(values: list[Any]) -> Unknown | None:
    """What is unknown among these, which is true where anything is."""
    return merge(values) if Unknown in map(type, values) else None


ARITHMETIC: Final[dict[str, Callable[[float, float], float]]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
    "//": lambda a, b: numbers.floor(a / b),
    "%": lambda a, b: a - b * numbers.floor(a / b),
    "**": _power,
    "min": min,
    "max": max,
    "round": lambda a, step: numbers.nearest(a / step) * step,
    "floor": lambda a, step: numbers.floor(a / step) * step,
    "ceil": lambda a, step: numbers.floor(a / step, math.ceil) * step,
}
STRICT: Final[dict[str, Callable[..., Any]]] = {
    "neg": operator.neg,
    "not": operator.not_,
    "abs": abs,
    "sqrt": lambda a: math.sqrt(a) if a >= 0 else domain("root-of-negative"),
    "exp": math.exp,
    "ln": lambda a: math.log(a) if a > 0 else domain("log-of-nothing"),
    "log10": lambda a: math.log10(a) if a > 0 else domain("log-of-nothing"),
    "at": _entry,
    "count": lambda items: float(len(items)),
    "any": lambda values: True in values or _unknown(values) or False,
    "all": lambda values: False not in values and (_unknown(values) or True),
    # Left to right, as the other engine does; no compensated summation.
    "sum": lambda values: _unknown(values) or reduce(operator.add, values, 0.0),
    "lmin": lambda values: _unknown(values) or (min(values) if values else domain("empty-list")),
    "lmax": lambda values: _unknown(values) or (max(values) if values else domain("empty-list")),
}
"""Operators that need all their operands."""
COMPARE: Final = {"<": 1, "==": 2, "<=": 3, ">": 4, "!=": 5, ">=": 6}
"""The outcomes that satisfy a comparison: 1 less, 2 equal, 4 more."""


def refused(error: ArithmeticError | ValueError) -> Unknown:
    told = error.args[0]
    codes: dict[type, Any] = {ZeroDivisionError: "division-by-zero", ArithmeticError: told}
    return told if isinstance(told, Unknown) else domain(codes.get(type(error), "overflow"))


def strict(f: Callable[..., Any], places: Sequence[int], made: Sequence[Made]) -> Thunk:
    """f over what lies in these places, unknown as soon as one of it is."""
    get, single = operator.itemgetter(*places), len(places) == 1

    def run(e: Env) -> Any:
        for at, part in made:
            e.values[at] = part(e)
        values = get(e.values)
        if values.__class__ is Unknown:
            return values
        if not single and Unknown in map(type, values):
            return merge(values)
        try:
            value = f(values) if single else f(*values)
        except (ArithmeticError, ValueError) as error:
            return refused(error)
        return value if value.__class__ is not float or abs(value) <= LARGEST else OVERFLOW

    return run


def whole(value: Any) -> Any:
    """A list with an unknown item is unknown as a whole."""
    return merge(value) if value.__class__ is list and Unknown in map(type, value) else value


class Compiler:
    """Builds the closures of one bundle; tables are indexed once and shared."""

    def __init__(self, bundle: Bundle, collections: dict[str, int], tables: Sequence[Rows]) -> None:
        self.bundle = bundle
        self.collections = collections
        self.tables = tables
        self.finders: dict[tuple[int, ...], Finder] = {}
        self.places: list[Any] = [None] * len(bundle.quantities)
        """The slots, and what lies behind them: constants, and None where something will."""
        self.own: dict[int, int] = {}
        """Slots of collections to where the value of the member at hand is read; whoever evaluates puts it there."""

    def build(self, tree: Expr | None, scope: str) -> Thunk:
        return self._part(tree, Here(scope, self.own))[1]

    def fit(self, env: Env) -> Env:
        """Gives an `Env` room for all that has been built."""
        env.values += self.places[len(env.values) :]
        return env

    def _place(self, *held: Any) -> int:
        """The first of new places, which hold these."""
        self.places += held
        return len(self.places) - len(held)

    def _part(self, tree: Any, here: Here) -> Made:
        """Where a value lies ready, or -1, and what gives it: reading it there saves a call."""
        tree = bare(tree)
        if not isinstance(tree, list):
            place = self._place(tree)
        elif tree[0] == "q":
            place = int(tree[1])
            if self.bundle.quantities[place].scope == here.scope in self.collections:
                if place not in here.own:
                    here.own[place] = self._place(None)
                place = here.own[place]
        elif tree[0] in ("p", "c"):
            place = (here.bound if tree[0] == "p" else here.columns)[int(tree[1])]
        else:
            return -1, self._computed(str(tree[0]), tree[1:], here)
        return place, lambda e: e.values[place]

    def _computed(self, head: str, args: Sequence[Any], here: Here) -> Any:
        if head in ("first", "last", "rows"):
            return self._search(head, args, here)
        if head in ("row", "interp"):
            return self._keyed(head, args, here)
        if special := getattr(self, "_" + head, None):
            return special(args, here)
        if head in ("min", "max") and len(args) > 2:
            return self._part([head, args[0], [head, *args[1:]]], here)[1]
        if head in STRICT:
            return strict(STRICT[head], *self._placed(args, here))
        parts = [self._part(arg, here) for arg in args]
        if head in ("and", "or"):
            return decided([part for _, part in parts], head == "or")
        (i, a), (j, b) = parts
        return (compare if head in COMPARE else arithmetic)(head, a, b, i, j)

    # -- references

    def _placed(self, args: Sequence[Any], here: Here) -> tuple[list[int], list[Made]]:
        """Where arguments lie; what does not lie ready gets a place of its own."""
        places, made = [], []
        for arg in args:
            place, part = self._part(arg, here)
            if place < 0:
                place = self._place(None)
                made.append((place, part))
            places.append(place)
        return places, made

    def _size(self, args: Sequence[Any], here: Here) -> Thunk:
        home = self.collections[str(args[0])]
        return lambda e: float(e.sizes[home])

    # -- choice

    def _if(self, args: Sequence[Any], here: Here) -> Thunk:
        trace = int(args[0])
        condition, then, otherwise = (self._part(arg, here)[1] for arg in args[1:])

        def run(e: Env) -> Any:
            c = condition(e)
            if c.__class__ is Unknown:
                return c
            e.trace[trace] = c
            return then(e) if c else otherwise(e)

        return run

    def _known(self, args: Sequence[Expr], here: Here) -> Thunk:
        a = self._part(args[0], here)[1]
        return lambda e: whole(a(e)).__class__ is not Unknown

    def _na(self, args: Sequence[Expr], here: Here) -> Thunk:
        refusal = Unknown("not-applicable", (), {"code": "says", "text": args[0]})
        return lambda e: refusal

    # -- what binds names

    def _within(self, here: Here, depth: int) -> tuple[int, Here]:
        """Where a body finds two values bound from `depth` on, and where the first of them lies."""
        at = self._place(None, None)
        return at, here._replace(bound={**here.bound, depth: at, depth + 1: at + 1})

    def _fn(self, args: Sequence[Any], here: Here) -> Thunk:
        """Every call has places of its own; an argument that lies ready is read where it lies."""
        places, made = self._placed(args[1:], here)
        inside = Here("", {}, dict(enumerate(places)))
        body = self._part(self.bundle.functions[int(args[0])].tree, inside)[1]

        def run(e: Env) -> Any:
            for at, part in made:
                e.values[at] = part(e)
            return body(e)

        return run if made else body

    def _root(self, args: Sequence[Any], here: Here) -> Thunk:
        at, inside = self._within(here, int(args[0]))
        body = self._part(args[3], inside)[1]
        ends = self._placed(args[1:3], here)

        def run(e: Env) -> Any:
            read = len(e.rows or ())

            def f(x: float) -> Any:
                e.values[at] = x
                if e.rows:
                    del e.rows[read:]
                return body(e)

            return strict(lambda low, high: find_root(f, low, high), *ends)(e)

        return run

    def _each(self, args: Sequence[Any], here: Here) -> Thunk:
        return self._loop(self._part(args[1], here)[1], args[0], args[2], here, {})

    def _members(self, args: Sequence[Any], here: Here) -> Thunk:
        name = str(args[0])
        home, inside = self.collections[name], here._replace(scope=name, own={})
        return self._loop(lambda e: range(e.sizes[home]), args[1], args[2], inside, inside.own)

    def _loop(self, items: Thunk, depth: Any, tree: Any, here: Here, own: dict[int, int]) -> Thunk:
        at, inside = self._within(here, int(depth))
        body = self._part(tree, inside)[1]

        def run(e: Env) -> Any:
            source, values, found = items(e), e.values, []
            if source.__class__ is Unknown:
                return source
            for position, item in enumerate(source):
                values[at : at + 2] = item, position + 1.0
                for slot, place in own.items():
                    values[place] = values[slot][position]
                found.append(body(e))
            return found

        return run

    # -- tables

    def _search(self, head: str, args: Sequence[Any], here: Here) -> Thunk:
        trace, out, index, table, count = int(args[1]), int(args[2]), -1, "", 2
        source, _ = self._part(args[0], here)
        if not isinstance(args[0], list):
            index, source = int(args[0]), self._place(self.tables[int(args[0])])
            table, count = self.bundle.tables[index].id, len(self.bundle.tables[index].columns)
        first = self._place(*[None] * count)
        columns = {column: first + column for column in range(count)}
        holds = self._part(args[3], here._replace(columns=columns))[1]

        def run(e: Env) -> Any:
            values, rows = e.values, e.values[source]
            if rows.__class__ is Unknown:
                return rows
            told: list[tuple[int, Any]] = []
            for n in range(len(rows))[:: -1 if head == "last" else 1]:
                values[first : first + count] = rows[n]
                held = holds(e)
                if held is not False:
                    told.append((n, held))
                    if head != "rows":
                        break
            unknown = [held for _, held in told if held is not True]
            if unknown:
                return merge(unknown)
            got = [keep(e, trace, index, table, n, rows[n][out]) for n, _ in told]
            if head == "rows":
                return got
            return got[0] if got else outside("no-row-satisfies", table=table)

        return run

    def _keyed(self, head: str, args: Sequence[Any], here: Here) -> Thunk:
        trace, out, index, table, keys = int(args[1]), int(args[2]), -1, "", args[4::2]
        if isinstance(args[0], list):
            find: Find = partial(along, self.bundle.quantities[int(args[0][1])].id)
            keys = [args[0], *keys]
        else:
            index, between = int(args[0]), head == "interp"
            used = self.bundle.tables[index]
            table, key = used.id, (between and bool(used.transform), index, *map(int, args[3::2]))
            if key not in self.finders:
                self.finders[key] = Finder(used, self.tables[index], key[2:], between)
            find = self.finders[key].between(out) if between else self.finders[key].row(out)
        search = strict(find, *self._placed(keys, here))
        if not any(isinstance(bare(key), list) for key in keys):
            always = search(self.fit(Env()))
            search = lambda e: always  # noqa: E731

        def run(e: Env) -> Any:
            found = search(e)
            return found if found.__class__ is Unknown else keep(e, trace, index, table, *found)

        return run


def keep(e: Env, trace: int, index: int, table: str, row: int, value: Any) -> Any:
    """A value read from a row, noted in the trace."""
    if value is EMPTY:
        return outside("empty-cell", table=table)
    if e.rows is not None and index >= 0:
        e.rows.append((index, row))
    e.trace[trace] = value
    return value


def arithmetic(head: str, a: Thunk, b: Thunk, i: int, j: int) -> Thunk:
    f = ARITHMETIC[head]

    def run(e: Env) -> Any:
        x = a(e) if i < 0 else e.values[i]
        y = b(e) if j < 0 else e.values[j]
        if x.__class__ is Unknown or y.__class__ is Unknown:
            return either(x, y)
        try:
            z = f(x, y)
        except (ArithmeticError, ValueError) as error:
            return refused(error)
        return z if LEAST <= z <= LARGEST else OVERFLOW

    return run


def compare(head: str, a: Thunk, b: Thunk, i: int, j: int) -> Thunk:
    less, same, more = (COMPARE[head] & way != 0 for way in (1, 2, 4))

    def run(e: Env) -> Any:
        x = a(e) if i < 0 else e.values[i]
        y = b(e) if j < 0 else e.values[j]
        if x.__class__ is Unknown or y.__class__ is Unknown:
            return either(x, y)
        if x == y:
            return same
        if x.__class__ is float:
            least, most = (y * UNDER, y * OVER) if y >= 0 else (y * OVER, y * UNDER)
            if least <= x <= most:
                e.edge = e.edge or numbers.near_edge(x, y)
                if numbers.close(x, y):
                    return same
        return less if x < y else more

    return run


def decided(parts: Sequence[Thunk], decides: bool) -> Thunk:
    """What the first part that decides says; else unknown where one is."""

    def run(e: Env) -> Any:
        unknown = None
        for part in parts:
            value = part(e)
            if value is decides:
                return decides
            if value.__class__ is Unknown:
                unknown = value if unknown is None else either(unknown, value)
        return not decides if unknown is None else unknown

    return run
