"""Trees of a bundle as they could be written: names for slots, and amounts in units instead of SI."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any, Final

from kneewall.bundle import Column, Quantity
from kneewall.engine.engine import EPOCH
from kneewall.tools.words import Words

BINDS: Final = {"or": 1, "and": 2, "not": 3, "==": 4, "!=": 4, "<": 4, "<=": 4, ">": 4, ">=": 4,
                "+": 5, "-": 5, "*": 6, "/": 6, "//": 6, "%": 6, "neg": 7, "**": 8}  # fmt: skip
CALLED: Final = {
    "lmin": "min",
    "lmax": "max",
    "na": "not_applicable",
    "interp": "interpolate",
    "size": "count",
}

Tree = Any


@dataclass(frozen=True)
class Meant:
    """What a bare number stands for: an amount in a unit, a choice, or a day."""

    unit: str = ""
    choices: str = ""
    day: bool = False


@dataclass(frozen=True)
class Here:
    """What surrounds a part: what its numbers stand for, the columns of the row under test, the names bound."""

    meant: Meant = Meant()
    columns: Sequence[Column] = ()
    bound: dict[int, str] = field(default_factory=dict)


def written(words: Words, tree: Tree, of: Quantity | None = None) -> str:
    """A tree as text, nothing for none; `of` is the quantity it gives."""
    return _text(words, tree, of, exact=False)


def exactly(words: Words, tree: Tree, of: Quantity | None = None) -> str:
    """The same with numbers in SI to the last digit: equal texts compute the same from what they name."""
    return _text(words, tree, of, exact=True)


def _text(words: Words, tree: Tree, of: Quantity | None, *, exact: bool) -> str:
    here = Here(_of_quantity(of)) if of else Here()
    return "" if tree is None else _Writer(words, exact=exact).part(tree, here, 0)


class _Writer:
    def __init__(self, words: Words, *, exact: bool) -> None:
        self.words = words
        self.exact = exact
        self.bundle = words.bundle

    def part(self, tree: Tree, here: Here, binds: int) -> str:
        """A part, in brackets where it binds less tightly than what surrounds it."""
        if not isinstance(tree, list):
            return self._literal(tree, here.meant)
        head, parts = str(tree[0]), tree[1:]
        if head in BINDS:
            text, own = self._infix(head, parts, here), BINDS[head]
        elif head == "if":
            condition, then, other = (self.part(part, here, 1) for part in parts[1:])
            text, own = f"{then} if {condition} else {other}", 0
        else:
            text, own = self._call(head, parts, here), 10
        return f"({text})" if own < binds else text

    def _literal(self, value: Any, meant: Meant) -> str:
        if isinstance(value, bool):
            return str(value)
        if isinstance(value, str):
            return f'"{value}"'
        if meant.choices:
            return f'"{self.bundle.choices[meant.choices].options[int(value)].value}"'
        if meant.day:
            return (EPOCH + timedelta(seconds=value)).isoformat()
        return repr(float(value)) if self.exact else self.words.number(value, meant.unit)

    def _infix(self, head: str, parts: Sequence[Tree], here: Here) -> str:
        own = BINDS[head]
        if len(parts) == 1:
            return ("not " if head == "not" else "\u2212") + self.part(parts[0], here, own)
        if own >= 4:
            here = replace(here, meant=self._common(parts, here))
        if own >= 6:
            here = replace(here, meant=Meant())
        return f" {head} ".join(
            self.part(part, here, own + (place > 0)) for place, part in enumerate(parts)
        )

    def _call(self, head: str, parts: Sequence[Tree], here: Here) -> str:
        match head:
            case "q":
                return self.words.name(parts[0])
            case "p":
                return here.bound.get(int(parts[0]), "it")
            case "c":
                return here.columns[int(parts[0])].name
            case "size":
                return f"count({parts[0]})"
            case "fn":
                name, arguments = self.bundle.functions[int(parts[0])].id, parts[1:]
                return f"{name}({self._list(arguments, replace(here, meant=Meant()))})"
            case "each" | "members":
                over, depth, body = (
                    (parts[1], int(parts[0]), parts[2])
                    if head == "each"
                    else (None, int(parts[1]), parts[2])
                )
                inside = replace(here, bound={**here.bound, depth: "item", depth + 1: "position"})
                source = str(parts[0]) if over is None else self.part(over, here, 0)
                return f"each({source}, {self.part(body, inside, 0)})"
            case "root":
                inside = replace(here, bound={**here.bound, int(parts[0]): "x"})
                return f"root(x, {self._list(parts[1:3], here)}, {self.part(parts[3], inside, 0)})"
            case "row" | "interp" | "first" | "last" | "rows":
                return self._access(head, parts, here)
        if head in ("min", "max", "round", "floor", "ceil"):
            here = replace(here, meant=self._common(parts, here))
        return f"{CALLED.get(head, head)}({self._list(parts, here)})"

    def _list(self, parts: Sequence[Tree], here: Here) -> str:
        return ", ".join(self.part(part, here, 0) for part in parts)

    def _access(self, head: str, parts: Sequence[Tree], here: Here) -> str:
        source, columns = self._source(parts[0], here)
        if head in ("row", "interp"):
            pairs = [
                (columns[int(c)], value) for c, value in zip(parts[3::2], parts[4::2], strict=True)
            ]
            arguments = ", ".join(
                f"{column.name}={self.part(value, replace(here, meant=_of_column(column)), 0)}"
                for column, value in pairs
            )
        else:
            arguments = self.part(parts[3], replace(here, columns=columns, meant=Meant()), 0)
        out = columns[int(parts[2])].name
        return f"{CALLED.get(head, head)}({source}, {arguments}).{out}"

    def _source(self, tree: Tree, here: Here) -> tuple[str, Sequence[Column]]:
        """A table, or a series that a quantity holds, and its columns."""
        if not isinstance(tree, list):
            table = self.bundle.tables[int(tree)]
            return table.id, table.columns
        held = self.bundle.quantities[int(tree[1])].columns if tree[0] == "q" else []
        return self.part(tree, here, 0), held or [Column(name=f"column {n}") for n in (1, 2)]

    def _common(self, parts: Sequence[Tree], here: Here) -> Meant:
        """What these parts are all amounts of, as far as one of them says."""
        meant = (self._meant(part, here) for part in parts)
        return next((one for one in meant if one != Meant()), here.meant)

    def _meant(self, tree: Tree, here: Here) -> Meant:
        """What a part is an amount of, as far as it says."""
        if not isinstance(tree, list):
            return Meant()
        match str(tree[0]):
            case "q":
                return _of_quantity(self.bundle.quantities[int(tree[1])])
            case "c":
                return _of_column(here.columns[int(tree[1])])
            case "row" | "interp" | "first" | "last" if not isinstance(tree[1], list):
                return _of_column(self.bundle.tables[int(tree[1])].columns[int(tree[3])])
            case "+" | "-" | "neg" | "abs" | "min" | "max":
                return self._common(tree[1:], replace(here, meant=Meant()))
        return Meant()


def _of_quantity(quantity: Quantity) -> Meant:
    return Meant(quantity.unit, quantity.choices, quantity.type == "date")


def _of_column(column: Column) -> Meant:
    return Meant(column.unit, column.choices, column.type == "date")
