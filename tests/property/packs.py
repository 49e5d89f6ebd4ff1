"""Random rule packs, well typed: every type, scope and call of the language, units from the real list.

They are drawn from a seed and not by hypothesis: a pack is too large to be shrunk, and an even choice among forms
finds more in the same time. A seed is its own recipe.
"""

from __future__ import annotations

from typing import Any, Final

from tests.property.formulas import FormulaWriter
from tests.property.kinds import DATE, DAYS, FLAG, NUMBERS, TEXTS, Kind, Sight
from tests.property.units import UNITS


class Author(FormulaWriter):
    """Writes one pack."""

    def write(self) -> None:
        """Choices, collections and calendar, then derived quantities and checks over what they need."""
        self.pack["choices"] = {
            "grade": {"ordered": True, "values": ["low", "mid", "high"][: self.whole(2, 3)], "source": "demo"},
            "colour": {"values": ["red", "green", "blue"][: self.whole(2, 3)], "source": "demo"},
            "edition": {"ordered": True, "values": ["2020", "2023", "2026"], "source": "demo"},
        }  # fmt: skip
        for name in ["room", "duct"][: self.whole(0, 2)]:
            self.pack["collections"][name] = {"label": name, "plural": f"{name}s"}
        self.declare("visit.day", DATE, "visit", {"type": "date"})
        self.declare("site.edition", Kind("choice", choices="edition"), "site", {"type": "edition"})
        for choices in ("grade", "colour"):
            name = f"visit.{choices}"
            self.declare(name, Kind("choice", choices=choices), "visit", {"type": choices})
        for _ in range(self.whole(3, 10)):
            self.derived()
        for _ in range(self.whole(1, 3)):
            self.check()
        self.use_up()
        formulas = self.pack["quantities"]
        entered = [
            n for n, form in formulas.items() if "formula" not in form and "cases" not in form
        ]
        self.pack["calculators"] = {
            "all": {"title": "All", "topic": "demo", "enter": entered, "show": list(formulas),
                    "checks": list(self.pack["checks"])}
        }  # fmt: skip

    def use_up(self) -> None:
        """What a discarded formula asked for is used after all, for nothing may stand unused."""
        for name in self.pack["collections"]:
            if name not in {scope for _, scope in self.kinds.values()}:
                self.entered(self.number_kind(), name)
        uses = []
        for name, (parameters, _) in self.signatures.items():
            args = ", ".join(self.leaf(kind, Sight("visit"), told=True) for kind in parameters)
            uses.append(f"known({name}({args}))")
        for name, columns in self.columns.items():
            test = " and ".join(f"{column} == {column}" for column in columns)
            uses.append(f"known(rows({name}, {test}).out)")
        asked = str(self.pack)
        for name, table in self.pack["tables"].items():
            if f"interpolate({name}," not in asked:
                table.pop("transform", None)
        while uses:
            now, uses = uses[:15], uses[15:]
            form = {"type": "flag", "formula": " or ".join(now), "source": "demo"}
            self.declare(self.name("use"), FLAG, "visit", form)

    def derived(self) -> None:
        kind, scope = self.any_kind(), self.one(self.scopes())
        if kind.base == "list" and self.chance(25):
            kind = TEXTS
        sight = Sight(scope)
        form = self.typed(kind, wide=self.chance(85))
        if self.chance(10):
            form["when"] = self.flag(sight, 1)
        if self.chance(8):
            form["holds"] = self.holds()
        if self.chance(10):
            cases = [
                {"holds": self.holds(), "formula": self.top(kind, sight), "source": "demo"}
                for _ in range(self.whole(1, 2))
            ]
            last = {"formula": self.top(kind, sight), "source": "demo"}
            form["cases"] = [*cases, last] if self.chance(60) else cases
        else:
            form |= {"formula": self.top(kind, sight), "source": "demo"}
        self.declare(self.name("out"), kind, scope, form)

    def check(self) -> None:
        scope = self.one(self.scopes())
        sight = Sight(scope)
        keys = self.one([["fail"], ["caution"], ["fail", "caution"], ["when", "caution"]])
        form: dict[str, Any] = {"label": "check", "scope": scope, "source": "demo"}
        form |= {key: self.flag(sight, 2) for key in keys}
        if self.chance(10):
            form["holds"] = self.holds()
        form["says"] = {"pass": "Fine."} | {key: "Look." for key in keys if key != "when"}
        self.pack["checks"][f"c.n{len(self.pack['checks'])}"] = form


SHIFTS: Final = (0.0, 0.0, 0.0, 0.0, 1e-10, -1e-10, 1e-9, -1e-9, 5e-9, -5e-9, 1e-12)


def visit(author: Author) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """SI values as records hold them, some of them missing, and the members of each collection."""
    chance = author.one([100, 100, 97, 90, 60])

    def given() -> bool:
        return author.chance(chance)

    def value(kind: Kind, form: dict[str, Any]) -> Any:
        if kind.base == "number":
            marks = author.marks.get(kind.group)
            if marks and author.chance(50):
                return author.one(marks) * (1 + author.one(SHIFTS))
            number = float(author.one(NUMBERS)) * author.one([1, 1, 1, -1])
            unit = form["unit"]
            return UNITS[unit].to_si(number) if unit else number
        if kind.base == "list":
            assert kind.item is not None
            return [value(kind.item, form) for _ in range(author.whole(0, 3))]
        if kind.base == "series":
            times = sorted(author.random.sample(range(900), author.whole(0, 4)))
            return [[60.0 * t, float(author.one(NUMBERS))] for t in times]
        if kind.base == "flag":
            return author.chance(50)
        if kind.base == "date":
            return author.one(DAYS)
        if kind.base == "text":
            return author.one(["one", "two", "three"])
        known = author.pack["choices"][kind.choices]["values"]
        return author.one([*known, *known, *known, "gone"])

    members = {name: ["α", "b", "c"][: author.whole(0, 3)] for name in author.pack["collections"]}
    values: dict[str, Any] = {}
    for name, (kind, scope) in author.kinds.items():
        form = author.pack["quantities"][name]
        if "formula" in form or "cases" in form:
            continue
        if scope in members:
            values[name] = {key: value(kind, form) for key in members[scope] if given()}
        elif given():
            values[name] = value(kind, form)
    return values, members
