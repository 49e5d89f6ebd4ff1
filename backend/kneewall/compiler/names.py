"""What formulas may name, and what a checked part of a formula is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kneewall.bundle import Expr, Piece
from kneewall.compiler.errors import Place
from kneewall.compiler.types import Type
from kneewall.compiler.units import Units
from kneewall.reading import Edges

if TYPE_CHECKING:
    from kneewall.compiler.calendar import Calendar


@dataclass
class TableInfo:
    """A table as formulas see it: columns by name with their place, type and shown unit or choice list."""

    index: int
    columns: dict[str, tuple[int, Type, str]]
    keys: list[str]
    transform: dict[str, str]
    used: set[str] = field(default_factory=set)
    exact: bool = False
    """Some formula asks for a row by its keys, so they must be unique."""


@dataclass(frozen=True)
class Interpolation:
    """A use to be proven against the rows: these columns must give one value for every point between."""

    table: str
    columns: tuple[str, ...]
    out: str
    place: Place


@dataclass
class Names:
    units: Units
    edges: Edges
    collections: set[str]
    quantities: dict[str, tuple[int, Type, str]]
    tables: dict[str, TableInfo]
    functions: dict[str, tuple[int, list[Type], Type]]
    calendar: Calendar
    interpolations: list[Interpolation] = field(default_factory=list)
    functions_used: set[str] = field(default_factory=set)

    def choices_of(self, slot: int) -> str:
        """The choice list of the quantity at a slot."""
        return next(found.choices for at, found, _ in self.quantities.values() if at == slot)

    @property
    def date_type(self) -> Type:
        return Type(dimension=self.units.dimensions["s"], kind="date")


@dataclass
class Node:
    """A checked part: its tree, its type, what is shown of it, how tightly it binds."""

    tree: Expr
    type: Type
    pieces: list[Piece]
    binds: int = 10
    text: str = ""


@dataclass
class Frame:
    """What bare names mean here, and whether a trace is kept (not inside anything that repeats)."""

    scope: str
    local: dict[str, tuple[int, Type]] = field(default_factory=dict)
    columns: dict[str, tuple[int, Type]] = field(default_factory=dict)
    depth: int = 0
    traced: bool = True
