"""Evaluate a bundle over the values of one visit. Public: `Engine`, `Answer`, `CheckResult`."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, partial
from math import isfinite
from threading import Lock
from typing import Any, Final, NamedTuple

from kneewall.bundle import Bundle, Check, Column, Expr, Quantity, Value, Verdict, slots_in
from kneewall.engine.expressions import Compiler, Env, Thunk, whole
from kneewall.engine.numbers import close, round12
from kneewall.engine.tables import EMPTY
from kneewall.engine.unknown import Unknown

EPOCH: Final = date(1970, 1, 1)
DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")

Values = Mapping[str, Value | Mapping[str, Value]]
"""Quantity id to its SI value, or for a quantity of a collection member key to SI value."""


class CheckResult(NamedTuple):
    """The verdict of one check for one member; `needs` and `detail` when it is unknown."""

    id: str
    member: str | None
    verdict: Verdict
    borderline: bool
    unknown: Unknown | None


@dataclass(frozen=True, slots=True)
class Plan:
    """How one quantity gets its value. `home` is the place of its collection; None: it has one value."""

    slot: int
    quantity: Quantity
    home: int | None
    when: Thunk | None
    tree: Thunk | None
    low: float
    high: float
    own: Sequence[tuple[int, int]]
    """Slots that it reads of the member at hand, and the place where."""
    read: Callable[[Any], Any]
    """A recorded value as formulas compute with it; None where it is none of this quantity."""
    direct: bool
    """Nothing but the formula decides the value."""


@dataclass(frozen=True, slots=True)
class Judge:
    """A check made ready; `feeds` are all slots it rests on."""

    check: Check
    home: int | None
    inputs: Sequence[int]
    tried: Sequence[tuple[Verdict, bool, Thunk]]
    """In turn: the verdict of a condition, and what it must say for that."""
    own: Sequence[tuple[int, int]]
    feeds: frozenset[int]


class Opened(NamedTuple):
    """What a formula went through: its trace, and the (table, row) it read, in turn."""

    trace: list[Any]
    rows: list[tuple[int, int]]


def seconds(day: str) -> float:
    """Seconds from 1970-01-01 to `2026-11-25`. Raises ValueError."""
    if not DAY.fullmatch(day):
        raise ValueError(day)
    return (date.fromisoformat(day) - EPOCH).total_seconds()


class Engine:
    """A bundle made ready: trees compiled to closures, tables indexed. Reusable, by several threads at once."""

    def __init__(self, bundle: Bundle) -> None:
        self.bundle = bundle
        self.slots = {q.id: slot for slot, q in enumerate(bundle.quantities)}
        self.former = {old: q.id for q in bundle.quantities for old in q.formerly}
        self._named = self.slots | {old: self.slots[name] for old, name in self.former.items()}
        self.collections = {name: index for index, name in enumerate(bundle.collections)}
        self.options = {
            name: {option.value: float(place) for place, option in enumerate(choices.options)}
            for name, choices in bundle.choices.items()
        }
        tables = [
            list(zip(*map(self._column, table.columns, table.cells), strict=True))
            for table in bundle.tables
        ]
        self._compiler = Compiler(bundle, self.collections, tables)
        self._plans = {slot: self._plan(slot) for slot in bundle.order}
        self.upstream = self._upstream()
        self._judges = [self._judge(check) for check in bundle.checks]
        self._paths: dict[int, list[Plan]] = {}
        self._scratch: list[Any] = [None] * (
            1 + max((q.traces for q in bundle.quantities), default=0)
        )
        """Where traces go that nobody reads."""
        self._building = Lock()
        self._conditions: dict[tuple[str, str], Thunk] = {}
        """What has been asked apart from quantities and checks; what is built once keeps its places."""

    def _tree(self, tree: Expr | None, scope: str) -> Thunk | None:
        return None if tree is None else self._compiler.build(tree, scope)

    def _plan(self, slot: int) -> Plan:
        q = self.bundle.quantities[slot]
        home = self.collections.get(q.scope)
        when, tree = self._tree(q.when, q.scope), self._tree(q.tree, q.scope)
        limited = q.limits is not None and q.type in ("number", "count", "list")
        low, high = q.limits if limited and q.limits else (-math.inf, math.inf)
        direct = home is None and when is None and tree is not None
        own = self._own(q.inputs, q.scope)
        return Plan(slot, q, home, when, tree, low, high, own, self._reader(q), direct)

    def _judge(self, check: Check) -> Judge:
        ways: tuple[tuple[Verdict, bool, Expr | None], ...] = (
            ("not-applicable", False, check.when),
            ("fail", True, check.fail),
            ("caution", True, check.caution),
        )
        tried = [
            (verdict, said, self._compiler.build(tree, check.scope))
            for verdict, said, tree in ways
            if tree is not None
        ]
        feeds = frozenset().union(*(self.upstream[slot] for slot in check.inputs))
        home, own = self.collections.get(check.scope), self._own(check.inputs, check.scope)
        return Judge(check, home, check.inputs, tried, own, feeds)

    def _own(self, slots: Iterable[int], scope: str) -> list[tuple[int, int]]:
        """Of the slots of this collection, where trees read what the member at hand has there."""
        own, quantities = self._compiler.own, self.bundle.quantities
        return [
            (slot, own[slot]) for slot in slots if slot in own and quantities[slot].scope == scope
        ]

    def _condition(self, tree: Expr, scope: str, env: Env) -> Thunk:
        key = repr(tree), scope
        with self._building:
            if key not in self._conditions:
                self._conditions[key] = self._compiler.build(tree, scope)
            self._compiler.fit(env)
        return self._conditions[key]

    def _upstream(self) -> list[frozenset[int]]:
        """Every slot that each slot rests on, itself included."""
        reach: list[frozenset[int]] = [frozenset()] * len(self.bundle.quantities)
        for slot in self.bundle.order:
            inputs = self.bundle.quantities[slot].inputs
            reach[slot] = frozenset([slot]).union(*(reach[i] for i in inputs))
        return reach

    def path(self, slot: int) -> list[Plan]:
        """What to compute, in turn, for one slot to have its value."""
        if slot not in self._paths:
            self._paths[slot] = [p for s, p in self._plans.items() if s in self.upstream[slot]]
        return self._paths[slot]

    def _column(self, column: Column, cells: Sequence[Any]) -> list[Any]:
        return [
            EMPTY if cell is None else self._inner(cell, column.type, column.choices)
            for cell in cells
        ]

    def _inner(self, value: object, kind: str, choices: str) -> Any:
        """A value as records hold it to a value as formulas compute with it; None where it is no such value."""
        if kind in ("flag", "text"):
            return value if isinstance(value, bool if kind == "flag" else str) else None
        if isinstance(value, str):
            if kind == "choice":
                return self.options[choices].get(value)
            try:
                return seconds(value) if kind == "date" else None
            except ValueError:
                return None
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or kind in ("choice", "date")
        ):
            return None
        try:
            return round12(float(value)) if isfinite(value) else None
        except OverflowError:
            return None

    def _reader(self, q: Quantity) -> Callable[[Any], Any]:
        if q.type in ("list", "series"):
            return partial(self._several, q)
        if q.type != "number":
            return partial(self._inner, kind=q.type, choices=q.choices)

        def number(value: Any) -> float | None:
            if value.__class__ is float and isfinite(value):
                return round12(value)
            inner: float | None = self._inner(value, "number", "")
            return inner

        return number

    def _several(self, q: Quantity, value: object) -> list[Any] | None:
        if not isinstance(value, list | tuple):
            return None
        found = []
        for item in value:
            if q.type == "list":
                inner = self._inner(item, "choice" if q.choices else "number", q.choices)
            elif isinstance(item, list | tuple) and len(item) == 2:
                inner = [self._inner(x, "number", "") for x in item]
                inner = None if None in inner else inner
            else:
                inner = None
            if inner is None:
                return None
            found.append(inner)
        return found

    def evaluate(
        self, values: Values, members: Mapping[str, Sequence[str]] | None = None
    ) -> Answer:
        """The results of these values, each computed when it is first asked for.

        Unknown quantity ids are passed over; a value of another type or out of limits is unknown.
        """
        names = [list((members or {}).get(name, ())) for name in self.bundle.collections]
        given: dict[int, Any] = {}
        for name, value in values.items():
            slot = self._named.get(name)
            if slot is None or value is None:
                continue
            if self._plans[slot].home is None:
                given[slot] = value
            elif value.__class__ is dict or isinstance(value, Mapping):
                given[slot] = {**given[slot], **value} if slot in given else value
        return Answer(self, names, given)


class Answer:
    """The results of one evaluation, read by quantity and member."""

    def __init__(self, engine: Engine, names: list[list[str]], given: dict[int, Any]) -> None:
        self.engine = engine
        self.names = names
        self.given = given
        self._env = Env([len(keys) for keys in names], engine._compiler.places.copy())
        self._env.trace = engine._scratch
        self.defaulted: set[tuple[int, int]] = set()
        self._edges: set[int] = set()

    # -- computing

    def _settle(self, slot: int) -> Any:
        """The value of a slot, of a collection the list over its members; computes what it rests on first."""
        values = self._env.values
        if values[slot] is None:
            own = self.engine._plans[slot]
            below = None in [values[i] for i in own.quantity.inputs]
            for plan in self.engine.path(slot) if below else (own,):
                if values[plan.slot] is None:
                    values[plan.slot] = self._compute(plan)
        return values[slot]

    def settle(self) -> None:
        """Compute everything now, so that whatever could go wrong goes wrong here."""
        env, values = self._env, self._env.values
        for slot, plan in self.engine._plans.items():
            if values[slot] is not None:
                continue
            if not plan.direct:
                values[slot] = self._compute(plan)
                continue
            # What `_compute` does, without two calls for each of the many formulas of a visit.
            env.edge = False
            value = plan.tree(env)  # type: ignore[misc]
            if value.__class__ is not float or not plan.low <= value <= plan.high:
                value = self._held(plan, value)
            values[slot] = value
            if env.edge:
                self._edges.add(slot)

    def _compute(self, plan: Plan) -> Any:
        env = self._env
        env.edge = False
        if plan.direct:
            value = self._held(plan, plan.tree(env))  # type: ignore[misc]
        elif plan.home is None:
            value = self._one(plan, self.given.get(plan.slot), -1)
        else:
            value, given, values = [], self.given.get(plan.slot), env.values
            for position, key in enumerate(self.names[plan.home]):
                for slot, place in plan.own:
                    values[place] = values[slot][position]
                value.append(self._one(plan, given.get(key) if given else None, position))
        if env.edge:
            self._edges.add(plan.slot)
        return value

    def _at(self, position: int, own: Sequence[tuple[int, int]]) -> None:
        """Puts what the member at this position has where trees read it."""
        values = self._env.values
        for slot, place in own:
            values[place] = values[slot][position]

    def _one(self, plan: Plan, given: Any, position: int) -> Any:
        if plan.when is not None:
            applies = plan.when(self._env)
            if applies is not True:
                return applies or Unknown("not-applicable", (), {"code": "when"})
        if plan.tree is not None:
            return self._held(plan, plan.tree(self._env))
        if given is None:
            given = plan.quantity.default
            if given is None:
                return missing(plan.slot, position)
            self.defaulted.add((plan.slot, position))
        value = plan.read(given)
        if value.__class__ is float and plan.low <= value <= plan.high:
            return value
        if value is None:
            return Unknown("outside", ((plan.slot, position),), {"code": "no-option"})
        return self._within(plan, value, ((plan.slot, position),))

    def _held(self, plan: Plan, value: Any) -> Any:
        """What a formula gives, within the limits of its quantity."""
        if value.__class__ is float and plan.low <= value <= plan.high:
            return value
        if value.__class__ is Unknown or value.__class__ is bool:
            return value
        return self._within(plan, whole(value), ())

    @staticmethod
    def _within(plan: Plan, value: Any, need: tuple[tuple[int, int], ...]) -> Any:
        """The value, or unknown where it is out of the limits of its quantity."""
        low, high = plan.low, plan.high
        if low == -math.inf:
            return value
        for x in value if plan.quantity.type == "list" and isinstance(value, list) else (value,):
            if x.__class__ is float and not (low <= x <= high or close(x, low) or close(x, high)):
                detail = {
                    "code": "limits",
                    "quantity": plan.quantity.id,
                    "edge": low if x < low else high,
                }
                return Unknown("outside", need, detail)
        return value

    def opened(self, slot: int, position: int) -> Opened:
        """How a value came about: the same closures over the same values take the same way again."""
        self._settle(slot)
        plan, env = self.engine._plans[slot], self._env
        self._at(position, plan.own)
        found = Opened([None] * (plan.quantity.traces + 1), [])
        if plan.tree is not None and (plan.when is None or plan.when(env) is True):
            env.trace, env.rows = found
            plan.tree(env)
            env.trace, env.rows = self.engine._scratch, None
        found.trace.pop()
        return found

    # -- reading

    def place(self, scope: str, member: str | None) -> int:
        """Position of a member in its collection; -1 where there is no collection. The first when none is named."""
        home = self.engine.collections.get(scope)
        return -1 if home is None else self.names[home].index(member) if member else 0

    def inner(self, slot: int, position: int) -> Any:
        """A value as formulas see it."""
        value = self._settle(slot)
        if position < 0 or self.engine._plans[slot].home is None:
            return value
        return value[position] if position < len(value) else missing(slot, position)

    def value(self, quantity: str, member: str | None = None) -> Value | Unknown:
        """A result as records hold it: SI number, choice text, flag, ISO date, list, series; or unknown."""
        slot = self.engine.slots[quantity]
        q = self.engine.bundle.quantities[slot]
        found = self._env.values[slot]
        if found is None:
            found = self._settle(slot)
        if found.__class__ is Unknown or (found.__class__ is float and q.type == "number"):
            direct: float | Unknown = found
            return direct
        found = self.inner(slot, self.place(q.scope, member))
        value: Value | Unknown = self.outer(whole(found), q.type, q.choices)
        return value

    def outer(self, value: Any, kind: str, choices: str) -> Any:
        if isinstance(value, Unknown):
            return value
        if isinstance(value, list):
            return [self.outer(item, kind, choices) for item in value]
        if choices:
            return self.engine.bundle.choices[choices].options[int(value)].value
        if kind == "date":
            return (EPOCH + timedelta(seconds=value)).isoformat()
        return value

    def needs(self, unknown: Unknown) -> list[tuple[str, str | None]]:
        """What an unknown needs, as (quantity, member)."""
        found = []
        for slot, position in unknown.needs:
            q = self.engine.bundle.quantities[slot]
            names = self.names[self.engine.collections[q.scope]] if position >= 0 else []
            found.append((q.id, names[position] if 0 <= position < len(names) else None))
        return found

    def checks(self, ids: Sequence[str] | None = None) -> list[CheckResult]:
        """Verdicts of these checks, or of all, for every member."""
        wanted = None if ids is None else set(ids)
        found: list[CheckResult] = []
        for judge in self.engine._judges:
            if wanted is None or judge.check.id in wanted:
                found += self._judge(judge)
        return found

    def holds(self, tree: Expr, scope: str = "visit", member: str | None = None) -> bool | Unknown:
        """Whether a condition of the bundle holds here."""
        slots = slots_in(tree)
        for slot in slots:
            self._settle(slot)
        condition = self.engine._condition(tree, scope, self._env)
        self._at(self.place(scope, member), self.engine._own(slots, scope))
        held: bool | Unknown = condition(self._env)
        return held

    def _judge(self, judge: Judge) -> list[CheckResult]:
        env, home, name, found = self._env, judge.home, judge.check.id, []
        values = env.values
        for slot in judge.inputs:
            if values[slot] is None:
                self._settle(slot)
        edge = not self._edges.isdisjoint(judge.feeds)
        for position, member in enumerate([None] if home is None else self.names[home]):
            for slot, place in judge.own:
                values[place] = values[slot][position]
            env.edge = False
            verdict: Verdict = "pass"
            unknown = None
            for way, said, condition in judge.tried:
                held = condition(env)
                if held is said:
                    verdict = way
                    break
                if held.__class__ is Unknown:
                    verdict = "not-applicable" if held.why == "not-applicable" else "unknown"
                    unknown = held
                    break
            found.append(CheckResult(name, member, verdict, edge or env.edge, unknown))
        return found


@cache
def missing(slot: int, position: int) -> Unknown:
    """One for all visits: what it is merged to is then looked up."""
    return Unknown("missing", ((slot, position),), {"code": "missing"})
