"""A way to go through a checklist as a phone does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from kneewall.bundle import Checklist, Step, Value
from kneewall.engine import Answer
from tests.trade.asking import Trade

Given = Mapping[str, str | list[str]]
"""Values as people write them; a list has one for each member."""


@dataclass
class Walk:
    """A checklist in a visit, as a phone goes through it."""

    checklist: Checklist
    answer: Answer
    done: set[str] = field(default_factory=set)

    @cached_property
    def steps(self) -> dict[str, Step]:
        """Those that apply, or of which it is not known."""
        all_steps = self.checklist.steps
        return {
            s.id: s for s in all_steps if s.when is None or self.answer.holds(s.when) is not False
        }

    def surely(self) -> set[str]:
        """Those that are known to apply."""
        steps = self.checklist.steps
        return {s.id for s in steps if s.when is None or self.answer.holds(s.when) is True}

    def held(self, step: str) -> bool:
        """By a step that is not done, or by something that was not found."""
        asked = self.steps[step]
        waits = {*asked.after} & set(self.steps) - self.done
        return bool(waits) or self.lacking(step)

    def lacking(self, step: str) -> bool:
        """Held back by what it needs, whatever is done."""
        needs = self.steps[step].needs
        return needs is not None and self.answer.holds(needs) is not True

    def go(self) -> set[str]:
        """Do whatever can be done, until nothing more can."""
        while free := {s for s in self.steps if s not in self.done and not self.held(s)}:
            self.done |= free
        return self.done


def answer_to(trade: Trade, given: Given, indoor: int = 1, circuit: int = 1) -> Answer:
    """What follows from these values, with so many indoor units and circuits."""
    members = {
        "indoor": [str(n) for n in range(indoor)],
        "circuit": [str(n) for n in range(circuit)],
    }
    values: dict[str, Value | dict[str, Value]] = {}
    for name, text in given.items():
        quantity = trade.bundle.quantities[trade.engine.slots[name]]
        keys = members.get(quantity.scope)
        if keys is None:
            assert isinstance(text, str)
            values[name] = trade.edges.parse(quantity, text).si
        else:
            texts = text if isinstance(text, list) else [text] * len(keys)
            pairs = zip(keys, texts, strict=True)
            values[name] = {key: trade.edges.parse(quantity, each).si for key, each in pairs}
    return trade.engine.evaluate(values, members)


def walk(trade: Trade, checklist: str, given: Given, indoor: int = 1, circuit: int = 1) -> Walk:
    """A checklist with these values and nothing done."""
    (found,) = [c for c in trade.bundle.checklists if c.id == checklist]
    return Walk(found, answer_to(trade, given, indoor, circuit))
