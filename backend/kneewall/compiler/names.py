"""What formulas may name, and what a checked part of a formula is."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kneewall.bundle import Expr
from kneewall.compiler.errors import Place, nearest
from kneewall.compiler.types import Type
from kneewall.compiler.units import Units
from kneewall.reading import Edges

if TYPE_CHECKING:
    from kneewall.compiler.calendar import Calendar
    from kneewall.compiler.formula import Formula


@dataclass
class TableInfo:
    """A table as formulas see it: columns by name with their place, type and shown unit or choice list."""

    index: int
    columns: dict[str, tuple[int, Type, str]]
    keys: list[str]
    transform: dict[str, str]
    name: str = ""


@dataclass(frozen=True)
class Interpolation:
    """A use to be proven against the rows: these columns must give one value for every point between."""

    table: str
    columns: tuple[str, ...]
    out: str
    place: Place


@dataclass
class Uses:
    """What of the declarations is used, found while formulas and views are read."""

    quantities: set[str] = field(default_factory=set)
    functions: set[str] = field(default_factory=set)
    columns: set[tuple[str, str]] = field(default_factory=set)
    """Table and column."""
    sources: set[str] = field(default_factory=set)
    exact: set[str] = field(default_factory=set)
    """Tables that some formula asks for a row by its keys, so these must be unique."""
    interpolations: list[Interpolation] = field(default_factory=list)

    def add(self, more: Uses) -> None:
        self.quantities |= more.quantities
        self.functions |= more.functions
        self.columns |= more.columns
        self.sources |= more.sources
        self.exact |= more.exact
        self.interpolations += more.interpolations


@dataclass
class Names:
    units: Units
    edges: Edges
    collections: set[str]
    quantities: dict[str, tuple[int, Type, str]]
    tables: dict[str, TableInfo]
    functions: dict[str, tuple[int, list[Type], Type]]
    calendar: Calendar
    uses: Uses = field(default_factory=Uses)
    former: dict[str, str] = field(default_factory=dict)
    """Quantities by the names they had before."""

    def called(self, name: str) -> str:
        """A hint naming the quantity that had this name, or has the nearest one."""
        now = self.former.get(name)
        return f"its name is {now} now" if now else nearest(name, self.quantities)

    @contextmanager
    def recording(self) -> Iterator[Uses]:
        """What is used inside, apart; afterwards it counts with the rest."""
        before, self.uses = self.uses, Uses()
        try:
            yield self.uses
        finally:
            before.add(self.uses)
            self.uses = before

    def choices_of(self, slot: int) -> str:
        """The choice list of the quantity at a slot."""
        return next(found.choices for at, found, _ in self.quantities.values() if at == slot)

    @property
    def date_type(self) -> Type:
        return Type(dimension=self.units.dimensions["s"], kind="date")


@dataclass
class Node:
    """A checked part: its tree, its type, and its text for faults."""

    tree: Expr
    type: Type
    text: str = ""


@dataclass
class Frame:
    """What bare names mean here, and whether a trace is kept (not inside anything that repeats)."""

    scope: str
    local: dict[str, tuple[int, Type]] = field(default_factory=dict)
    columns: dict[str, tuple[int, Type]] = field(default_factory=dict)
    depth: int = 0
    traced: bool = True


Call = tuple[int, int, Callable[["Formula", ast.Call, Frame, "Type | None"], Node]]
"""A function of the language: how many arguments it takes at least and at most, and who reads a call of it."""
