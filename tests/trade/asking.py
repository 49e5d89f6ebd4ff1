"""A way to ask rules as a technician would."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from kneewall.bundle import Bundle, Value
from kneewall.engine import Answer, Engine, Unknown
from kneewall.reading import Edges, edges_of

RULES = Path(__file__).parents[2] / "rules"
MAKER = Path(__file__).parents[2] / "demo" / "packs" / "maker"
HOUSE = Path(__file__).parents[2] / "demo" / "packs" / "house"


@dataclass(frozen=True)
class Asked:
    """The results for one set of typed values, one member in each collection."""

    answer: Answer
    edges: Edges

    def __getitem__(self, quantity: str) -> Value | Unknown:
        """A result in SI, a choice's text, or unknown."""
        return self.answer.value(quantity)

    def number(self, quantity: str, unit: str = "") -> float:
        """A numeric result in `unit`, or as a bare number. Fails when it is unknown."""
        value = self[quantity]
        assert isinstance(value, float), f"{quantity} is {value!r}"
        return self.edges.from_si(value, unit) if unit else value

    def why(self, quantity: str) -> tuple[str, list[str]]:
        """Why a result is unknown, and what it needs."""
        value = self[quantity]
        assert isinstance(value, Unknown), f"{quantity} is {value!r}"
        return value.why, [name for name, _ in self.answer.needs(value)]

    def verdict(self, check: str) -> str:
        (result,) = self.answer.checks([check])
        return result.verdict


class Trade:
    """The compiled trade pack and its engine."""

    def __init__(self, bundle: Bundle) -> None:
        self.bundle = bundle
        self.engine = Engine(bundle)
        self.edges = edges_of(bundle)

    def caution_beside(self, calculator: str, caution: str) -> str:
        """The words of a caution, which must stand beside this calculator."""
        (found,) = [each for each in self.bundle.calculators if each.id == calculator]
        assert caution in found.cautions
        (text,) = [each.text for each in self.bundle.cautions if each.id == caution]
        return text

    def ask(self, given: Mapping[str, str]) -> Asked:
        """Results for values typed as people write them."""
        values: dict[str, Value | dict[str, Value]] = {}
        for name, text in given.items():
            quantity = self.bundle.quantities[self.engine.slots[name]]
            si = self.edges.parse(quantity, text).si
            values[name] = {"1": si} if quantity.scope in self.bundle.collections else si
        members = {name: ["1"] for name in self.bundle.collections}
        return Asked(self.engine.evaluate(values, members), self.edges)
