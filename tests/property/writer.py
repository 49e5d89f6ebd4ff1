"""What every part of the author of random packs draws on: chance, names, entered quantities, literals."""

from __future__ import annotations

import random
from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Any, TypeVar

from tests.property.kinds import (
    BARE_NUMBER,
    DAYS,
    DEEPEST,
    FLAG,
    GROUPS,
    NUMBERS,
    PLACES,
    Group,
    Kind,
    Sight,
)
from tests.property.units import BARE, UNITS

T = TypeVar("T")


class Writer(ABC):
    """The sections of one pack as they grow. `kinds` has the kind and scope of every quantity."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.pack: dict[str, Any] = {
            "choices": {}, "collections": {}, "quantities": {}, "tables": {}, "functions": {}, "checks": {},
        }  # fmt: skip
        self.kinds: dict[str, tuple[Kind, str]] = {}
        self.marks: dict[Group, list[float]] = {}
        """SI values that stand in literals and tables: something turns there."""
        self.columns: dict[str, dict[str, Kind]] = {}
        self.uses: dict[str, str] = {}
        """What each table is for: row, interpolate or search."""
        self.signatures: dict[str, tuple[list[Kind], Kind]] = {}
        self.series: dict[str, tuple[Kind, Kind]] = {}
        self.roots = 0
        """How many there are: each looks for something of another name."""

    def one(self, options: Sequence[T]) -> T:
        return self.random.choice(options)

    def chance(self, percent: int) -> bool:
        return self.random.random() * 100 < percent

    def whole(self, low: int, high: int) -> int:
        return self.random.randint(low, high)

    def subset(self, options: Sequence[T], least: int, most: int) -> list[T]:
        return self.random.sample(options, self.whole(least, most))

    def scopes(self) -> list[str]:
        return [*PLACES, *self.pack["collections"]]

    def declare(self, name: str, kind: Kind, scope: str, form: dict[str, Any]) -> str:
        head = {"label": name.replace("_", " "), "scope": scope}
        self.pack["quantities"][name] = head | form
        self.kinds[name] = kind, scope
        return name

    def name(self, topic: str) -> str:
        return f"{topic}.n{len(self.pack['quantities'])}"

    def any_kind(self) -> Kind:
        base = self.one(["number", "number", "number", "flag", "choice", "date", "list", "text"])
        if base == "list":
            return Kind("list", item=self.one([self.number_kind(), self.choice_kind()]))
        return self.of_base(base)

    def of_base(self, base: str) -> Kind:
        if base == "number":
            return self.number_kind()
        return self.choice_kind() if base == "choice" else Kind(base)

    def number_kind(self) -> Kind:
        return BARE_NUMBER if self.chance(30) else Kind("number", self.one(list(GROUPS)))

    def choice_kind(self) -> Kind:
        return Kind("choice", choices=self.one(["grade", "colour"]))

    def typed(self, kind: Kind, *, wide: bool) -> dict[str, Any]:
        """`type`, `unit`, `kind` and `limits` of a quantity of this kind."""
        if kind.base in ("flag", "date", "text"):
            return {"type": kind.base}
        if kind.base == "choice":
            return {"type": kind.choices}
        if kind.base == "list":
            assert kind.item is not None
            inner = self.typed(kind.item, wide=wide)
            return inner | {
                "type": "list"
                if kind.item.base == "number"
                else f"list of {kind.item.choices or 'text'}"
            }
        unit, named = self.unit(kind.group), {}
        plain = GROUPS.get((kind.group[0], ""))
        if (
            kind.group[1]
            and kind.group[1] not in ("temperature", "share")
            and plain
            and self.chance(25)
        ):
            unit, named = self.one(plain), {"kind": kind.group[1]}
        narrow = [("-1000", "1000"), ("0", "100"), ("-5", "5"), ("2.5", "7.25")]
        ends = ("-1e12", "1e12") if wide or self.chance(70) else self.one(narrow)
        limits = [UNITS[unit].to_si(float(end)) if unit else float(end) for end in ends]
        written = " to ".join(f"{end} {unit}".strip() for end in ends)
        return {"unit": unit, "limits": written, "limits si": limits} | named

    def unit(self, group: Group) -> str:
        return self.one(GROUPS[group])

    def holds(self) -> dict[str, Any]:
        keys = self.one(
            [["from"], ["to"], ["editions"], ["from", "editions"], ["from", "to", "editions"]]
        )
        editions = ["2020", "2023", "2026"][self.whole(0, 1) : self.whole(2, 3)]
        first, last = sorted(self.one(DAYS) for _ in range(2))
        whole = {"from": first, "to": last, "editions": editions}
        return {key: whole[key] for key in keys}

    def entered(self, kind: Kind, scope: str) -> str:
        form = self.typed(kind, wide=self.chance(80))
        if kind.base == "number" and self.chance(15):
            text = self.one(NUMBERS)
            unit = form["unit"]
            si = UNITS[unit].to_si(float(text)) if unit else float(text)
            low, high = form["limits si"]
            if low <= si <= high:
                form |= {"default": f"{text} {unit}".strip(), "default si": si}
        if kind == BARE_NUMBER and "default" not in form and self.chance(15):
            form["type"] = "count"
        if self.chance(5):
            form["when"] = self.flag(Sight(scope), DEEPEST)
        return self.declare(self.name("given"), kind, scope, form)

    def named(self, kind: Kind, sight: Sight) -> str | None:
        """A quantity of this kind that stands for one value here, perhaps a new one."""
        near = [name for name, found in (sight.columns | sight.locals).items() if found == kind]
        if near and self.chance(70):
            return self.one(near)
        if sight.inside_function:
            return None
        scopes = [scope for scope in self.scopes() if scope in PLACES or scope == sight.scope]
        known = [
            name for name, (found, scope) in self.kinds.items() if found == kind and scope in scopes
        ]
        enters = not kind.item or kind.item.base in ("number", "choice")
        if known and (self.chance(75) or not enters):
            return self.one(known)
        return self.entered(kind, self.one(scopes)) if enters else None

    def members(self, item: Kind, sight: Sight) -> str | None:
        """A quantity of another collection: here the list over its members."""
        scopes = [scope for scope in self.pack["collections"] if scope != sight.scope]
        if not scopes or sight.inside_function:
            return None
        known = [
            name for name, (found, scope) in self.kinds.items() if found == item and scope in scopes
        ]
        return (
            self.one(known) if known and self.chance(70) else self.entered(item, self.one(scopes))
        )

    def literal(self, group: Group, numbers: Sequence[str] = NUMBERS) -> str:
        text = self.one(numbers)
        if group == (BARE, ""):
            self.mark(group, "", text)
            return text
        text, unit = ("-" if self.chance(15) else "") + text, self.unit(group)
        self.mark(group, unit, text)
        return f'quantity({text}, "{unit}")'

    def mark(self, group: Group, unit: str, text: str) -> None:
        number = float(text)
        self.marks.setdefault(group, []).append(UNITS[unit].to_si(number) if unit else number)

    def flag(self, sight: Sight, depth: int) -> str:
        return self.part(FLAG, sight, depth)

    @abstractmethod
    def part(
        self, kind: Kind, sight: Sight, depth: int, *, told: bool = False, strict: bool = False
    ) -> str:
        """A formula of this kind.

        `told`: a choice may be written out here; `strict`: the kind must be named, not computed.
        """
