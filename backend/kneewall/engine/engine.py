"""Evaluate a bundle over the values of one visit. Public: `Engine`, `Answer`, `CheckResult`."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from threading import Lock
from typing import Any, Final, NamedTuple

from kneewall.bundle import Bundle, Check, Column, Expr, Quantity, Value, Verdict, slots_in
from kneewall.engine.expressions import Compiler, Env, Thunk, whole
from kneewall.engine.numbers import close, round12
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
    direct: bool
    """Nothing but the formula decides the value."""


@dataclass(frozen=True, slots=True)
class Judge:
    """A check made ready; `feeds` are all slots it rests on."""

    check: Check
    home: int | None
    when: Thunk | None
    fail: Thunk | None
    caution: Thunk | None
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
        self.collections = {name: index for index, name in enumerate(bundle.collections)}
        self.options = {
            name: {option.value: float(place) for place, option in enumerate(choices.options)}
            for name, choices in bundle.choices.items()
        }
        cells = [
            [self._column(*pair) for pair in zip(table.columns, table.cells, strict=True)]
            for table in bundle.tables
        ]
        self._compiler = Compiler(bundle, self.collections, cells)
        self._plans = {slot: self._plan(slot) for slot in bundle.order}
        self.upstream = self._upstream()
        self._judges = [self._judge(check) for check in bundle.checks]
        self._paths: dict[int, list[Plan]] = {}
        self._scratch: list[Any] = [None] * max((q.traces for q in bundle.quantities), default=0)
        """Where traces go that nobody reads."""
        self._building = Lock()

    def _tree(self, tree: Expr | None, scope: str) -> Thunk | None:
        return None if tree is None else self._compiler.build(tree, scope)

    def _plan(self, slot: int) -> Plan:
        q = self.bundle.quantities[slot]
        home = self.collections.get(q.scope)
        when, tree = self._tree(q.when, q.scope), self._tree(q.tree, q.scope)
        limited = q.limits is not None and q.type in ("number", "count", "list")
        low, high = q.limits if limited and q.limits else (-math.inf, math.inf)
        direct = home is None and when is None and tree is not None
        return Plan(slot, q, home, when, tree, low, high, direct)

    def _judge(self, check: Check) -> Judge:
        when, fail, caution = (
            self._tree(tree, check.scope) for tree in (check.when, check.fail, check.caution)
        )
        feeds = frozenset().union(*(self.upstream[slot] for slot in check.inputs))
        return Judge(check, self.collections.get(check.scope), when, fail, caution, feeds)

    def _condition(self, tree: Expr, scope: str, env: Env) -> Thunk:
        with self._building:
            condition = self._compiler.build(tree, scope)
            self._compiler.fit(env)
        return condition

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
            None if cell is None else self._inner(cell, column.type, column.choices)
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
            return round12(float(value)) if math.isfinite(value) else None
        except OverflowError:
            return None

    def entered(self, q: Quantity, value: object) -> Any:
        """A recorded value as formulas compute with it; None where it is none of this quantity."""
        if value.__class__ is float and q.type == "number" and math.isfinite(value):
            return round12(value)
        if q.type not in ("list", "series"):
            return self._inner(value, q.type, q.choices)
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
            slot = self.slots.get(self.former.get(name, name))
            if slot is None or value is None:
                continue
            if self._plans[slot].home is None:
                given[slot] = value
            elif isinstance(value, Mapping):
                given.setdefault(slot, {}).update(value)
        return Answer(self, names, given)


class Answer:
    """The results of one evaluation, read by quantity and member."""

    def __init__(self, engine: Engine, names: list[list[str]], given: dict[int, Any]) -> None:
        self.engine = engine
        self.names = names
        self.given = given
        self._env = engine._compiler.fit(Env([len(keys) for keys in names]))
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
        values = self._env.values
        for slot, plan in self.engine._plans.items():
            if values[slot] is None:
                values[slot] = self._compute(plan)

    def _compute(self, plan: Plan) -> Any:
        env = self._env
        env.edge = False
        if plan.direct:
            value = self._formula(plan, env)
        elif plan.home is None:
            value = self._one(plan, self.given.get(plan.slot), -1)
        else:
            value, given = [], self.given.get(plan.slot)
            for position, key in enumerate(self.names[plan.home]):
                env.at[plan.home] = position
                value.append(self._one(plan, given.get(key) if given else None, position))
        if env.edge:
            self._edges.add(plan.slot)
        return value

    def _one(self, plan: Plan, given: Any, position: int) -> Any:
        if plan.when is not None:
            applies = plan.when(self._env)
            if applies is not True:
                return applies or Unknown("not-applicable", (), {"code": "when"})
        if plan.tree is not None:
            return self._formula(plan, self._env)
        if given is None:
            given = plan.quantity.default
            if given is None:
                return missing(plan.slot, position)
            self.defaulted.add((plan.slot, position))
        value = self.engine.entered(plan.quantity, given)
        if value.__class__ is float and plan.low <= value <= plan.high:
            return value
        need = ((plan.slot, position),)
        if value is None:
            return Unknown("outside", need, {"code": "no-option"})
        return self._within(plan, value, need)

    def _formula(self, plan: Plan, env: Env) -> Any:
        value = plan.tree(env)  # type: ignore[misc]
        if value.__class__ is float and plan.low <= value <= plan.high:
            return value
        return value if value.__class__ is Unknown else self._within(plan, whole(value), ())

    @staticmethod
    def _within(plan: Plan, value: Any, need: tuple[tuple[int, int], ...]) -> Any:
        """The value, or unknown where it is out of the limits of its quantity."""
        low, high = plan.low, plan.high
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
        if plan.home is not None:
            env.at[plan.home] = position
        found = Opened([None] * plan.quantity.traces, [])
        if plan.tree is not None and (plan.when is None or plan.when(env) is True):
            env.trace, env.rows = found
            plan.tree(env)
            env.trace, env.rows = self.engine._scratch, None
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
        return [
            result
            for judge in self.engine._judges
            if wanted is None or judge.check.id in wanted
            for result in self._judge(judge)
        ]

    def holds(self, tree: Expr, scope: str = "visit", member: str | None = None) -> bool | Unknown:
        """Whether a condition of the bundle holds here."""
        for slot in slots_in(tree):
            self._settle(slot)
        env = self._env
        home = self.engine.collections.get(scope)
        if home is not None:
            env.at[home] = self.place(scope, member)
        held: bool | Unknown = self.engine._condition(tree, scope, env)(env)
        return held

    def _judge(self, judge: Judge) -> Iterator[CheckResult]:
        check, env, home = judge.check, self._env, judge.home
        for slot in check.inputs:
            if env.values[slot] is None:
                self._settle(slot)
        for position, member in enumerate([None] if home is None else self.names[home]):
            if home is not None:
                env.at[home] = position
            env.edge = False
            verdict, unknown = _verdict(judge, env)
            borderline = env.edge or not self._edges.isdisjoint(judge.feeds)
            yield CheckResult(check.id, member, verdict, borderline, unknown)


def _verdict(judge: Judge, env: Env) -> tuple[Verdict, Unknown | None]:
    tried: tuple[tuple[Verdict, bool, Thunk | None], ...] = (
        ("not-applicable", False, judge.when),
        ("fail", True, judge.fail),
        ("caution", True, judge.caution),
    )
    for verdict, said, condition in tried:
        held = (not said) if condition is None else condition(env)
        if held is said:
            return verdict, None
        if held.__class__ is Unknown:
            return ("not-applicable" if held.why == "not-applicable" else "unknown"), held
    return "pass", None


@cache
def missing(slot: int, position: int) -> Unknown:
    """One for all visits: what it is merged to is then looked up."""
    return Unknown("missing", ((slot, position),), {"code": "missing"})
