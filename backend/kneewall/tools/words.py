"""What a bundle says in numbers and slots, in words: values with their units, messages with their names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from kneewall.bundle import (
    Bundle,
    Chart,
    Column,
    Holds,
    Piece,
    Quantity,
    Replaced,
    SourceRef,
    Table,
)
from kneewall.compiler.command import shown_source
from kneewall.reading import edges_of

DIGITS: Final = 10
"""Shown of a number; conversion leaves noise in the twelfth."""


class Words:
    """One bundle in words. `names` are newer names of quantities that go by another one here."""

    def __init__(self, bundle: Bundle, names: Mapping[str, str] | None = None) -> None:
        self.bundle = bundle
        self.edges = edges_of(bundle)
        self.names = names or {}
        self.quantities = {quantity.id: quantity for quantity in bundle.quantities}

    # -- values

    def number(self, si: float, unit: str, digits: int = DIGITS) -> str:
        """A number with its unit, not rounded to what a result shows."""
        x = self.edges.from_si(si, unit) if unit else si
        text = format(Decimal(f"{x:.{digits}g}"), "f").replace("-", "\u2212")
        return f"{text} {self.edges.units[unit].label}" if unit else text

    def value(self, quantity: Quantity, value: Any, digits: int = DIGITS) -> str:
        """A value as records hold it."""
        if quantity.type == "series" and isinstance(value, list):
            units = [column.unit for column in quantity.columns]
            points = [
                ": ".join(
                    self.number(x, unit, digits) for x, unit in zip(point, units, strict=True)
                )
                for point in value
            ]
            return ", ".join(points)
        if isinstance(value, list):
            return ", ".join(self.value(quantity, item, digits) for item in value)
        return self._plain(value, quantity.unit, digits)

    def cell(self, column: Column, value: Any, digits: int = DIGITS) -> str:
        return "nothing" if value is None else self._plain(value, column.unit, digits)

    def _plain(self, value: Any, unit: str, digits: int) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        return value if isinstance(value, str) else self.number(value, unit, digits)

    def span(self, quantity: Quantity, span: Sequence[float], digits: int = DIGITS) -> str:
        """Limits, or what is usual."""
        unit = quantity.columns[1].unit if quantity.columns else quantity.unit
        return " to ".join(self.number(end, unit, digits) for end in span)

    def ends(self, chart: Chart) -> str:
        """From where to where a chart is drawn."""
        return self.span(self.quantities[chart.over], chart.ends, 12) if chart.ends else ""

    def amount(self, quantity: Quantity, si: float) -> str:
        """A tolerance: an amount even where the quantity is a point on a scale."""
        unit = self.edges.units.get(quantity.unit)
        text = self.number(si / unit.scale if unit else si, "", 12)
        return f"{text} {unit.label}" if unit else text

    def row(self, table: Table, row: int) -> str:
        """A row by its keys, or by its place where there are none."""
        if not table.keys:
            return f"row {row + 1}"
        return " ".join(self.cell(table.columns[key], table.cells[key][row]) for key in table.keys)

    # -- sayings

    def name(self, slot: float) -> str:
        """The newest known name of the quantity at a slot."""
        here = self.bundle.quantities[int(slot)].id
        return self.names.get(here, here)

    def pieces(self, pieces: Sequence[Piece]) -> str:
        """A message as it is written."""
        return "".join(
            f"{{{self.name(piece[1])}}}" if isinstance(piece, list) else str(piece)  # type: ignore[arg-type]
            for piece in pieces
        )

    @staticmethod
    def holds(holds: Holds | None) -> str:
        if holds is None:
            return ""
        parts = [
            f"from {holds.since}" if holds.since else "",
            f"to {holds.until}" if holds.until else "",
            f"under {', '.join(holds.editions)}" if holds.editions else "",
        ]
        return " ".join(filter(None, parts))

    @staticmethod
    def source(source: SourceRef | None) -> str:
        return shown_source(source)

    @staticmethod
    def replaced(replaced: Replaced | None) -> str:
        return f"in place of the one of {replaced.pack}: {replaced.because}" if replaced else ""
