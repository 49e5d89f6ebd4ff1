"""Tables read over again from their text: rows by key, rows that satisfy, and between rows."""

from __future__ import annotations

import ast
import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Final

from tests.property.reckoning import EQUAL, STEP, Choice, N, Reckoning, U, merged, some_unknown
from tests.property.units import UNITS, twelve

EPOCH: Final = date(1970, 1, 1)


def day(text: str) -> N:
    return N((date.fromisoformat(text) - EPOCH).days * 86400.0)


@dataclass(frozen=True)
class Env:
    scope: str
    at: Mapping[str, int]
    locals: Mapping[str, Any] = field(default_factory=dict)
    columns: Mapping[str, Any] = field(default_factory=dict)


class Lookup(Reckoning, ABC):
    """Comparing, and finding rows."""

    def __init__(self, pack: Mapping[str, Any], calendar: tuple[str, str]) -> None:
        super().__init__()
        self.pack = pack
        self.calendar = calendar

    @abstractmethod
    def ev(self, node: ast.AST, env: Env) -> Any:
        """The value of a part of a formula."""

    @abstractmethod
    def seen(self, name: str, at: int) -> Any:
        """The value of a quantity, which what is worked out now rests on."""

    def coerced(self, value: Any, kind: str) -> Any:
        """A text as the choice it stands for."""
        kind = kind.removeprefix("list of ")
        if isinstance(value, list):
            return [self.coerced(item, kind) for item in value]
        if isinstance(value, str) and kind in self.pack["choices"]:
            options = list(self.pack["choices"][kind]["values"])
            return Choice(kind, options.index(value)) if value in options else U("outside")
        return value

    def compare(self, sign: str, a: Any, b: Any) -> Any:
        if isinstance(a, Choice):
            b = self.coerced(b, a.list)
        elif isinstance(b, Choice):
            a = self.coerced(a, b.list)
        if some_unknown((a, b)):
            return merged((a, b))
        if isinstance(a, N):
            size = max(abs(a.x), abs(b.x))
            self.edge |= size > 0 and abs(abs(a.x - b.x) - EQUAL * size) <= 0.99e-11 * size
            way = self.order(a, b)
        elif isinstance(a, Choice):
            way = (a.place > b.place) - (a.place < b.place)
        else:
            way = int(a != b)
        return {
            "==": way == 0,
            "!=": way != 0,
            "<": way < 0,
            "<=": way <= 0,
            ">": way > 0,
            ">=": way >= 0,
        }[sign]

    def same(self, a: Any, b: Any) -> bool:
        if isinstance(a, N):
            return self.order(a, b) == 0
        return bool(a == b)

    def table(self, name: str) -> tuple[list[str], list[dict[str, Any]], Mapping[str, Any]]:
        """Column names, rows of values, and the form of a table."""
        form = self.pack["tables"][name]
        lines = [[cell.strip() for cell in line.split(",")] for line in form["rows"].splitlines()]
        names = [head.split(" [")[0] for head in lines[0]]
        kinds = [head.split(" [")[1].rstrip("]") for head in lines[0]]
        rows = [
            {n: self.cell(text, kind) for n, kind, text in zip(names, kinds, line, strict=True)}
            for line in lines[1:]
        ]
        return names, rows, form

    def cell(self, text: str, kind: str) -> Any:
        if not text:
            return U("outside")
        if kind == "flag":
            return text == "yes"
        if kind == "text":
            return text
        if kind == "date":
            return day(text)
        if kind in self.pack["choices"]:
            return self.coerced(text, kind)
        return N(twelve(float(text)) if kind == "number" else UNITS[kind].to_si(float(text)))

    def access(self, call: ast.Call, column: str, env: Env) -> Any:
        name = call.func.id  # type: ignore[attr-defined]
        if isinstance(call.args[0], ast.Name):
            names, rows, form = self.table(call.args[0].id)
        else:
            series = self.ev(call.args[0], env)
            if isinstance(series, U):
                return merged([series, *(self.ev(word.value, env) for word in call.keywords)])
            quantity = ast.unparse(call.args[0])
            names = list(self.pack["quantities"][quantity]["columns"])
            rows, form = [dict(zip(names, point, strict=True)) for point in series], {}
        keys = {word.arg: self.ev(word.value, env) for word in call.keywords}
        if name == "interpolate":
            return self.strictly(
                lambda *k: self.between(names, rows, form, dict(zip(keys, k, strict=True)), column),
                *keys.values(),
            )
        dated = [n for n in names if n in ("holds_from", "holds_to", "from_edition", "to_edition")]
        if name == "row" and not dated and some_unknown(keys.values()):
            return merged(keys.values())
        found = []
        for row in reversed(rows) if name == "last" else rows:
            tests = [self.key_equal(row[str(key)], value) for key, value in keys.items()]
            tests += [self.row_holds(key, row[key]) for key in dated]
            tests += [self.ev(arg, replace(env, columns=row)) for arg in call.args[1:]]
            held = self.every(tests, decides=False)
            if held is not False and name != "rows":
                return held if isinstance(held, U) else row[column]
            if held is not False:
                found.append((held, row[column]))
        if name == "rows":
            tests = [held for held, _ in found]
            return merged(tests) if some_unknown(tests) else [value for _, value in found]
        return U("outside")

    def key_equal(self, cell: Any, value: Any) -> Any:
        if isinstance(cell, Choice):
            value = self.coerced(value, cell.list)
        return value if isinstance(value, U) else self.same(cell, value)

    def row_holds(self, key: str, cell: Any) -> Any:
        if isinstance(cell, U):
            return True
        now = self.seen(self.calendar[0 if key.startswith("holds") else 1], -1)
        return self.compare(">=" if key in ("holds_from", "from_edition") else "<=", now, cell)

    def between(
        self, names: list[str], rows: list[dict[str, Any]], form: Mapping[str, Any], keys: dict[Any, Any], column: str
    ) -> Any:  # fmt: skip
        exact = {k: v for k, v in keys.items() if not isinstance(v, N)}
        numbers = {k: v for k, v in keys.items() if isinstance(v, N)}
        mine = [row for row in rows if all(self.key_equal(row[k], v) for k, v in exact.items())]
        if not mine:
            return U("outside")
        for key, value in numbers.items():
            axis = [row[key] for row in mine]
            if self.order(value, N(min(cell.x for cell in axis))) < 0:
                return U("outside")
            if self.order(value, N(max(cell.x for cell in axis))) > 0:
                return U("outside")
        middle = self.surface(mine, form, list(numbers.items()), column)
        if isinstance(middle, U):
            return middle
        size = max(abs(row[column].x) for row in mine if isinstance(row[column], N))
        err = STEP * size
        for key, value in numbers.items():
            axis = sorted(row[key].x for row in mine)
            for moved in (max(value.x - value.err, axis[0]), min(value.x + value.err, axis[-1])):
                other = self.surface(mine, form, list((numbers | {key: N(moved)}).items()), column)
                err += abs(other.x - middle.x) if isinstance(other, N) else 0
        return self.number(middle.x, err)

    def surface(
        self,
        rows: list[dict[str, Any]],
        form: Mapping[str, Any],
        keys: list[tuple[str, N]],
        column: str,
    ) -> Any:
        """Linear along the first key between what its two neighbouring rows give along the next."""
        if not keys:
            return rows[0][column]
        key, value = keys[0]
        cells = sorted({row[key].x for row in rows})
        on = [cell for cell in cells if self.order(N(cell), value) == 0]
        if on:
            return self.surface(
                [row for row in rows if row[key].x == on[0]], form, keys[1:], column
            )
        below = max((cell for cell in cells if cell < value.x), default=cells[0])
        above = min((cell for cell in cells if cell > value.x), default=cells[-1])
        ends = [
            self.surface([row for row in rows if row[key].x == cell], form, keys[1:], column)
            for cell in (below, above)
        ]
        if some_unknown(ends):
            return merged(ends)
        transform = form.get("transform", {})
        there, back = _scales(transform.get(column, ""))
        scale, _ = _scales(transform.get(key, ""))
        share = (scale(value.x) - scale(below)) / (scale(above) - scale(below))
        y = [there(end.x) for end in ends]
        return N(back(y[0] + (y[1] - y[0]) * share))


def _scales(name: str) -> tuple[Callable[[float], float], Callable[[float], float]]:
    if name == "ln":
        return math.log, math.exp
    if name == "reciprocal":
        return (lambda x: 1 / x), (lambda x: 1 / x)
    return float, float
