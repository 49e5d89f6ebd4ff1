"""Worked examples that a later pack overrules: they show what held before something they rest on was replaced."""

from __future__ import annotations

from typing import Any

from kneewall.bundle import Bundle, Check, Example, Function, Part, Quantity, Table
from kneewall.compiler.errors import Fault
from kneewall.compiler.examples import Ground
from kneewall.compiler.packs import Item, Items


class Overruled:
    """Tells a fault from an amendment that does what it says."""

    def __init__(self, items: Items, bundle: Bundle) -> None:
        self.items = items
        self.ground = Ground(bundle)
        self.ranks = {pack.id: rank for rank, pack in enumerate(bundle.packs)}

    def warning(self, example: Example, what: str) -> Fault | None:
        """At the item that overrules an example which no longer holds; None where none does, so that it is a fault."""
        for part in self.ground.of(example):
            item = self._later(part, self.ranks[example.pack])
            if item is not None:
                said = f"{item.id} overrules a worked example of {example.pack}, {what}"
                mend = "see whether that is meant, and add an example of what holds now"
                return Fault(item.key_place(), "W111", said, mend)
        return None

    def _later(self, part: Part, rank: int) -> Item[Any] | None:
        """The item of a later pack that this part is, or that has put a row into it."""
        items = self.items
        match part:
            case Quantity() if self.ranks[part.pack] > rank:
                return items.quantities[part.id]
            case Check() if self.ranks[part.pack] > rank:
                return items.checks[part.id]
            case Function() if self.ranks[part.pack] > rank:
                return items.functions[part.id]
            case Table() if self.ranks[part.pack] > rank:
                return items.tables[part.id]
            case Table():
                packs = [mark.pack for mark in part.marks.values() if mark.pack]
                later = [pack for pack in packs if self.ranks[pack] > rank]
                return items.rows[f"{later[-1]} {part.id}"] if later else None
        return None
