"""Evaluate a whole bundle over the values of one visit. Public: `Engine`, `Answer`, `CheckResult`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from kneewall.bundle import Bundle, Check, Expr, Quantity, Value, Verdict
from kneewall.engine.expressions import Compiler, Env, Thunk, whole
from kneewall.engine.numbers import close, round12
from kneewall.engine.unknown import Unknown, merge

EPOCH: Final = date(1970, 1, 1)

Values = Mapping[str, Value | Mapping[str, Value]]
"""Quantity id to its SI value, or for a quantity of a collection member key to SI value."""


@dataclass(frozen=True)
class CheckResult:
    """The verdict of one check for one member; `needs` and `detail` when it is unknown."""

    id: str
    member: str | None
    verdict: Verdict
    borderline: bool
    unknown: Unknown | None


def seconds(day: str) -> float:
    """Seconds from 1970-01-01 to `2026-11-25`. Raises ValueError."""
    return (date.fromisoformat(day) - EPOCH).total_seconds()


class Engine:
    """A bundle made ready: trees compiled to closures, tables indexed. Reusable, one evaluation at a time."""

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
            [
                [
                    None if cell is None else self._inner(cell, column.type, column.choices)
                    for cell in list_
                ]
                for column, list_ in zip(table.columns, table.cells, strict=True)
            ]
            for table in bundle.tables
        ]
        self._compiler = Compiler(bundle, self.collections, cells)
        self._plan = [self._step(slot) for slot in bundle.order]
        self._checks = [
            (check, self._tree(check.when, check.scope), self._tree(check.fail, check.scope),
             self._tree(check.caution, check.scope))
            for check in bundle.checks
        ]  # fmt: skip
        self.upstream = self._upstream()

    def _tree(self, tree: Expr | None, scope: str) -> Thunk | None:
        return None if tree is None else self._compiler.build(tree, scope)

    def _step(self, slot: int) -> tuple[int, Quantity, int | None, Thunk | None, Thunk | None]:
        q = self.bundle.quantities[slot]
        return (
            slot,
            q,
            self.collections.get(q.scope),
            self._tree(q.when, q.scope),
            self._tree(q.tree, q.scope),
        )

    def _upstream(self) -> list[frozenset[int]]:
        """Every slot that each slot rests on, itself included."""
        reach: list[frozenset[int]] = [frozenset()] * len(self.bundle.quantities)
        for slot in self.bundle.order:
            inputs = self.bundle.quantities[slot].inputs
            reach[slot] = frozenset([slot]).union(*(reach[i] for i in inputs))
        return reach

    def _inner(self, value: Any, kind: str, choices: str) -> Any:
        """A value as records hold it to a value as formulas compute with it."""
        if isinstance(value, list):
            inner = [
                self._inner(item, "choice" if choices else "number", choices) for item in value
            ]
            return (
                Unknown("outside", (), {"code": "no-option"})
                if any(x is None for x in inner)
                else inner
            )
        if kind == "choice":
            return self.options[choices].get(str(value))
        if kind == "date":
            return seconds(str(value))
        return value if isinstance(value, bool | str) else round12(float(value))

    def evaluate(
        self, values: Values, members: Mapping[str, Sequence[str]] | None = None
    ) -> Answer:
        """All results of these values. Unknown quantity ids are ignored; a value out of limits is unknown."""
        names = [list((members or {}).get(name, ())) for name in self.bundle.collections]
        env = Env(len(self.slots), [len(keys) for keys in names])
        answer = Answer(self, env, names)
        given = {self.former.get(key, key): value for key, value in values.items()}
        for slot, q, home, when, tree in self._plan:
            entered = given.get(q.id)
            if home is None:
                env.values[slot] = self._value(answer, slot, q, when, tree, entered, -1)
            else:
                by_member = entered if isinstance(entered, Mapping) else {}
                row: list[Any] = []
                env.values[slot] = row
                for position, key in enumerate(names[home]):
                    env.at[home] = position
                    row.append(
                        self._value(answer, slot, q, when, tree, by_member.get(key), position)
                    )
        return answer

    def _value(
        self, answer: Answer, slot: int, q: Quantity, when: Thunk | None, tree: Thunk | None,
        entered: Any, position: int,
    ) -> Any:  # fmt: skip
        env = answer.env
        env.edge = False
        if when is not None:
            applies = when(env)
            if isinstance(applies, Unknown):
                return applies
            if not applies:
                return Unknown("not-applicable", (), {"code": "when"})
        if tree is not None:
            env.trace = [None] * q.traces
            value = whole(tree(env))
            answer.traces[slot, position] = env.trace
            if env.edge:
                answer.edges.add(slot)
        else:
            if entered is None and q.default is not None:
                answer.defaulted.add((slot, position))
                entered = q.default
            value = None if entered is None else self._read(entered, q)
            if value is None:
                return Unknown("missing", ((slot, position),), {"code": "missing"})
        return self._within(value, q)

    def _read(self, entered: Any, q: Quantity) -> Any:
        kind = "number" if q.type in ("list", "series") else q.type
        try:
            inner = self._inner(entered, kind, q.choices)
        except (TypeError, ValueError):
            inner = None
        return Unknown("outside", (), {"code": "no-option"}) if inner is None else inner

    def _within(self, value: Any, q: Quantity) -> Any:
        if (
            q.limits is None
            or q.type not in ("number", "count", "list")
            or isinstance(value, Unknown)
        ):
            return value
        low, high = q.limits
        for x in value if isinstance(value, list) else (value,):
            if not (low <= x <= high or close(x, low) or close(x, high)):
                return Unknown(
                    "outside",
                    (),
                    {"code": "limits", "quantity": q.id, "edge": low if x < low else high},
                )
        return value


class Answer:
    """The results of one evaluation, read by quantity and member."""

    def __init__(self, engine: Engine, env: Env, names: list[list[str]]) -> None:
        self.engine = engine
        self.env = env
        self.names = names
        self.traces: dict[tuple[int, int], list[Any]] = {}
        self.defaulted: set[tuple[int, int]] = set()
        self.edges: set[int] = set()

    def place(self, scope: str, member: str | None) -> int:
        """Position of a member in its collection; -1 where there is no collection. The first when none is named."""
        home = self.engine.collections.get(scope)
        return -1 if home is None else self.names[home].index(member) if member else 0

    def inner(self, slot: int, position: int) -> Any:
        """A value as formulas see it."""
        if position < 0 or self.engine.bundle.quantities[slot].scope not in self.engine.collections:
            return self.env.values[slot]
        return self.env.values[slot][position]

    def value(self, quantity: str, member: str | None = None) -> Value | Unknown:
        """A result as records hold it: SI number, choice text, flag, ISO date, list, series; or unknown."""
        slot = self.engine.slots[quantity]
        q = self.engine.bundle.quantities[slot]
        value: Value | Unknown = self.outer(
            whole(self.inner(slot, self.place(q.scope, member))), q.type, q.choices
        )
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
            home = self.engine.collections.get(q.scope)
            found.append((q.id, None if home is None else self.names[home][position]))
        return found

    def checks(self, ids: Sequence[str] | None = None) -> list[CheckResult]:
        """Verdicts of these checks, or of all, for every member."""
        return [
            r
            for entry in self.engine._checks
            if ids is None or entry[0].id in ids
            for r in self._judge(*entry)
        ]

    def holds(self, tree: Expr, scope: str = "visit", member: str | None = None) -> bool | Unknown:
        """Whether a condition of the bundle holds here."""
        home = self.engine.collections.get(scope)
        if home is not None:
            self.env.at[home] = self.place(scope, member)
        held: bool | Unknown = self.engine._compiler.build(tree, scope)(self.env)
        return held

    def _judge(
        self, check: Check, when: Thunk | None, fail: Thunk | None, caution: Thunk | None
    ) -> Iterator[CheckResult]:
        home = self.engine.collections.get(check.scope)
        feeds = frozenset().union(*(self.engine.upstream[slot] for slot in check.inputs))
        for member in [None] if home is None else self.names[home]:
            if home is not None:
                self.env.at[home] = self.place(check.scope, member)
            self.env.edge = False
            verdict, unknown = self._verdict(when, fail, caution)
            borderline = self.env.edge or not self.edges.isdisjoint(feeds)
            yield CheckResult(check.id, member, verdict, borderline, unknown)

    def _verdict(
        self, when: Thunk | None, fail: Thunk | None, caution: Thunk | None
    ) -> tuple[Verdict, Unknown | None]:
        applies = True if when is None else when(self.env)
        if applies is False:
            return "not-applicable", None
        pairs: tuple[tuple[Verdict, Thunk | None], ...] = (("fail", fail), ("caution", caution))
        found = [applies] if isinstance(applies, Unknown) else []
        for verdict, condition in pairs if not found else ():
            held = None if condition is None else condition(self.env)
            if isinstance(held, Unknown):
                found.append(held)
                break
            if held:
                return verdict, None
        if not found:
            return "pass", None
        unknown = merge(found)
        return ("not-applicable" if unknown.why == "not-applicable" else "unknown"), unknown
