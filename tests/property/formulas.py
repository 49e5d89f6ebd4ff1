"""Random formulas: conditions, lists, table access, functions, around the arithmetic."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from tests.property.kinds import BARE_NUMBER, DAYS, DEEPEST, FLAG, NUMBERS, POINTS, Kind, Sight
from tests.property.sums import SumWriter


class FormulaWriter(SumWriter):
    """Any formula of any kind, to a bounded depth."""

    def top(self, kind: Kind, sight: Sight) -> str:
        text = self.part(kind, sight, 0, told=True)
        return text if len(text) <= 1900 else self.part(kind, sight, DEEPEST, told=True)

    def part(
        self, kind: Kind, sight: Sight, depth: int, *, told: bool = False, strict: bool = False
    ) -> str:
        if depth >= DEEPEST or (depth > 0 and self.chance(20)):
            return self.leaf(kind, sight, told=told)
        forms = [self.conditional, self.cell, self.cell, self.entry, self.application, self.extreme]
        if kind.base == "number":
            forms += [*[self.arithmetic] * 6, self.counted]
            forms += [self.root] if kind.group[1] == "" and not strict else []
        elif kind.base == "date":
            forms += [self.arithmetic] * 2
        elif kind.base == "list":
            forms = [self.conditional, self.listed, self.listed, self.listed]
        elif kind == FLAG:
            forms += [self.condition] * 8
        text = self.one(forms)(kind, sight, depth + 1, told, strict)
        return self.leaf(kind, sight, told=told) if text is None else text

    def leaf(self, kind: Kind, sight: Sight, *, told: bool = False) -> str:
        name = self.named(kind, sight) if self.chance(75) or kind.base in ("list", "text") else None
        if name is not None:
            return name
        match kind.base:
            case "number":
                return self.literal(kind.group)
            case "date":
                return f'date("{self.one(DAYS)}")'
            case "flag":
                return self.one(["True", "False"])
            case "text":
                return f'"{self.one(["one", "two"])}"'
            case "choice" if told:
                return f'"{self.one(self.pack["choices"][kind.choices]["values"])}"'
            case "choice":
                return self.choice_cell(kind)
        assert kind.item is not None
        return f"rows({self.search_table(kind.item)}, False).out"

    def choice_cell(self, kind: Kind) -> str:
        """A choice where its text alone would not be understood."""
        return f"first({self.search_table(kind)}, True).out"

    def conditional(self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool) -> str:
        test = self.flag(sight, depth)
        then = self.part(kind, sight, depth, told=told, strict=strict)
        if self.chance(7):
            then = 'not_applicable("it does not apply")'
        return f"({then} if {test} else {self.part(kind, sight, depth, told=told, strict=strict)})"

    def extreme(self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool) -> str | None:
        if kind.base not in ("number", "date") and kind != Kind("choice", choices="grade"):
            return None
        name = self.one(["min", "max"])
        if self.chance(40):
            return f"{name}({self.part(Kind('list', item=kind), sight, depth)})"
        parts = [self.part(kind, sight, depth, strict=strict) for _ in range(self.whole(2, 3))]
        return f"{name}({', '.join(parts)})"

    def counted(self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool) -> str | None:
        """A sum or count over a list, or how many members there are."""
        if kind == BARE_NUMBER and self.chance(60):
            collections = list(self.pack["collections"])
            if collections and self.chance(50):
                return f"count({self.one(collections)})"
            items = self.one([self.number_kind(), self.choice_kind()])
            return f"count({self.part(Kind('list', item=items), sight, depth)})"
        if kind.group[1] in POINTS:
            return None
        return f"sum({self.part(Kind('list', item=kind), sight, depth)})"

    def entry(self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool) -> str | None:
        if kind.base in ("flag", "date"):
            return None
        place = self.one(["1", "2", "3", "item_place"])
        if place == "item_place":
            place = self.part(BARE_NUMBER, sight, DEEPEST)
            if place in NUMBERS and not re.fullmatch(r"[1-9]\d*", place):
                place = "1"
        return f"at({self.part(Kind('list', item=kind), sight, depth)}, {place})"

    def condition(self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool) -> str:
        match self.one(
            [
                "compare",
                "compare",
                "compare",
                "logic",
                "logic",
                "not",
                "known",
                "each",
                "chain",
                "in",
            ]
        ):
            case "logic":
                word = self.one([" and ", " or "])
                return f"({word.join(self.flag(sight, depth) for _ in range(self.whole(2, 3)))})"
            case "not":
                return f"(not {self.flag(sight, depth)})"
            case "known":
                return f"known({self.part(self.any_kind(), sight, max(depth, 2))})"
            case "each":
                return f"{self.one(['any', 'all'])}({self.part(Kind('list', item=FLAG), sight, depth)})"
            case "chain":
                number = self.number_kind()
                a, b, c = (
                    self.part(number, sight, depth, strict=number.group[1] in POINTS)
                    for _ in range(3)
                )
                return f"({a} {self.sign()} {b} {self.sign()} {c})"
            case "in":
                choice = self.choice_kind()
                options = self.pack["choices"][choice.choices]["values"]
                listed = ", ".join(
                    f'"{option}"' for option in options[: self.whole(1, len(options))]
                )
                return f"({self.leaf(choice, sight)} {self.one(['in', 'not in'])} ({listed},))"
        return self.comparison(sight, depth)

    def sign(self) -> str:
        return self.one(["<", "<=", ">", ">=", "==", "!="])

    def comparison(self, sight: Sight, depth: int) -> str:
        kind = self.any_kind()
        if kind.base in ("list", "flag", "text"):
            kind = self.number_kind()
        if kind.base == "choice":
            sign = self.sign() if kind.choices == "grade" else self.one(["==", "!="])
            return f"({self.part(kind, sight, depth)} {sign} {self.leaf(kind, sight, told=True)})"
        return f"({self.part(kind, sight, depth)} {self.sign()} {self.part(kind, sight, depth)})"

    def listed(self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool) -> str | None:
        item = kind.item
        assert item is not None
        match self.one(["members", "rows", "each", "over", "series"]):
            case "members":
                return self.members(item, sight)
            case "rows":
                table = self.search_table(item)
                columns = self.columns[table]
                inside = replace(sight, columns=columns)
                return f"rows({table}, {self.flag(inside, depth)}).out"
            case "each" if not sight.columns:
                source = self.one([self.number_kind(), self.choice_kind()])
                bound = sight.locals | {"item": source, "position": BARE_NUMBER}
                over = self.part(Kind("list", item=source), sight, DEEPEST)
                return f"each({over}, {self.part(item, replace(sight, locals=bound), depth, told=told)})"
            case "over" if (
                self.pack["collections"] and not sight.inside_function and not sight.columns
            ):
                name = self.one(list(self.pack["collections"]))
                bound = {k: v for k, v in sight.locals.items() if k != "item"} | {
                    "position": BARE_NUMBER
                }
                inside = replace(sight, scope=name, locals=bound)
                return f"each({name}, {self.part(item, inside, depth, told=told)})"
            case "series" if item.base == "number" and not sight.inside_function:
                series = self.series_of(item)
                if series:
                    inside = replace(
                        sight, columns={"time": self.series[series][0], "reading": item}
                    )
                    return f"rows({series}, {self.flag(inside, depth)}).reading"
        return None

    def cell(self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool) -> str | None:
        if kind.base == "list":
            return None
        match self.one(["row", "row", "interpolate", "first", "series"]):
            case "row":
                table = self.row_table(kind, dated=not sight.inside_function)
                keys = {n: k for n, k in self.columns[table].items() if n.startswith("k")}
                given = [
                    f"{name}={self.part(key, sight, max(depth, 2), told=True, strict=key.group[1] in POINTS)}"
                    for name, key in keys.items()
                ]
                return f"row({table}, {', '.join(given)}).out"
            case "interpolate" if kind.base == "number":
                table = self.grid(kind)
                keys = {n: k for n, k in self.columns[table].items() if n.startswith("k")}
                given = [
                    f"{name}={self.part(key, sight, max(depth, 2), told=True, strict=key.group[1] in POINTS)}"
                    for name, key in keys.items()
                ]
                return f"interpolate({table}, {', '.join(given)}).out"
            case "first":
                table = self.search_table(kind)
                inside = replace(sight, columns=self.columns[table])
                return f"{self.one(['first', 'last'])}({table}, {self.flag(inside, depth)}).out"
            case "series" if kind.base == "number" and not sight.inside_function:
                series = self.series_of(kind)
                if series:
                    if kind == BARE_NUMBER and self.chance(30):
                        return f"count({series})"
                    if self.chance(40):
                        along = self.series[series][0]
                        at = self.part(along, sight, max(depth, 2), strict=along.group[1] in POINTS)
                        return f"interpolate({series}, time={at}).reading"
                    inside = replace(
                        sight, columns={"time": self.series[series][0], "reading": kind}
                    )
                    return f"{self.one(['first', 'last'])}({series}, {self.flag(inside, depth)}).reading"
        return None

    def application(
        self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool
    ) -> str | None:
        if kind.base in ("list", "text", "date") or sight.inside_function:
            return None
        known = [name for name, (_, result) in self.signatures.items() if result == kind]
        name = self.one(known) if known and self.chance(70) else self.function(kind)
        parameters, _ = self.signatures[name]
        args = [
            self.part(p, sight, max(depth, 2), told=True, strict=p.group[1] in POINTS)
            for p in parameters
        ]
        return f"{name}({', '.join(args)})"

    def function(self, result: Kind) -> str:
        kinds = [
            self.one([self.number_kind(), self.choice_kind(), FLAG])
            for _ in range(self.whole(1, 2))
        ]
        names = {f"p{n}": kind for n, kind in enumerate(kinds)}
        sight = Sight("", dict(names), inside_function=True)
        formula = self.part(result, sight, 1, told=True)
        names = {n: kind for n, kind in names.items() if re.search(rf"\b{n}\b", formula)}
        name = f"f{len(self.signatures)}"
        parameters = {
            n: k.choices or (self.unit(k.group) if k.base == "number" else k.base)
            for n, k in names.items()
        }
        head: dict[str, Any] = {
            "unit": self.unit(result.group)
            if result.base == "number"
            else result.choices or result.base
        }
        self.pack["functions"][name] = head | {
            "parameters": parameters,
            "formula": formula,
            "source": "demo",
        }
        self.signatures[name] = [*names.values()], result
        return name
