"""A technician who walks a checklist with given readings, and goes no further than its steps let him."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kneewall.bundle import Checklist, Step, Value
from kneewall.engine import Answer
from tests.trade.asking import Trade


@dataclass(frozen=True)
class Walk:
    """What applies in a visit, and how far one gets."""

    applies: set[str]
    """Steps that are shown."""
    done: list[str]
    """In the order in which they could be done."""

    @property
    def held(self) -> set[str]:
        return self.applies - set(self.done)


def steps_of(trade: Trade, checklist: str) -> dict[str, Step]:
    return {step.id: step for step in _checklist(trade, checklist).steps}


def walk(trade: Trade, checklist: str, given: Mapping[str, str | list[str]]) -> Walk:
    """Do every step that applies, earliest first, as long as one is free.

    `given` as people type it; a list has an entry for each member of the collection, and there are as many members
    as the longest list has entries.
    """
    answer = asked(trade, given)
    shown = [
        step
        for step in _checklist(trade, checklist).steps
        if step.when is None or answer.holds(step.when) is not False
    ]
    applies = {step.id for step in shown}
    done: list[str] = []
    while True:
        free = next(
            (
                step.id
                for step in shown
                if step.id not in done
                and applies.intersection(step.after).issubset(done)
                and (step.needs is None or answer.holds(step.needs) is True)
            ),
            None,
        )
        if free is None:
            return Walk(applies, done)
        done.append(free)


def asked(trade: Trade, given: Mapping[str, str | list[str]]) -> Answer:
    count = max((len(texts) for texts in given.values() if isinstance(texts, list)), default=1)
    members = {name: [str(n + 1) for n in range(count)] for name in trade.bundle.collections}
    values: dict[str, Value | dict[str, Value]] = {}
    for name, typed in given.items():
        quantity = trade.bundle.quantities[trade.engine.slots[name]]
        if quantity.scope in trade.bundle.collections:
            texts = typed if isinstance(typed, list) else [typed] * count
            values[name] = {
                str(n + 1): trade.edges.parse(quantity, text).si for n, text in enumerate(texts)
            }
        else:
            assert isinstance(typed, str), f"{name} has one value"
            values[name] = trade.edges.parse(quantity, typed).si
    return trade.engine.evaluate(values, members)


def _checklist(trade: Trade, name: str) -> Checklist:
    (found,) = [checklist for checklist in trade.bundle.checklists if checklist.id == name]
    return found
