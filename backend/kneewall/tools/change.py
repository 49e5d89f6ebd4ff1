"""One change between two bundles, and how changes are collected."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeVar

from kneewall.bundle import Bundle, Column
from kneewall.tools.words import DIGITS, Words

Kind = Literal["added", "removed", "changed", "renamed"]
Touch = tuple[str, str]
"""What a change reaches first: "quantity", "check", "step", "function", "table" or "column" with its id, which is
checklist/step of a step and table.column of a column."""

TOPICS: Final = (
    "Packs", "Names", "Tables", "Formulas", "Limits", "Defaults", "Conditions", "Checks", "Messages", "Cautions",
    "Choices", "Quantities", "Labels", "Calculators", "Checklists", "Sources", "Units", "Examples", "Languages",
    "Order",
)  # fmt: skip
"""In the order in which they are shown."""


@dataclass(frozen=True)
class Subject:
    """What a change is about: `table`, its id, and what people call it, up to what follows."""

    of: str
    id: str
    name: str
    then: str = ":"


@dataclass(frozen=True)
class Change:
    """One change in plain words. `old` and `new` are what stood and stands, where that is short of a whole item."""

    topic: str
    of: str
    id: str
    kind: Kind
    line: str
    old: str = ""
    new: str = ""
    touches: tuple[Touch, ...] = ()


Show = Callable[[Any, int], str]
"""A value as text, with so many digits."""
P = TypeVar("P")
R = TypeVar("R")


def both(read: Callable[[P], R], old: P, new: P) -> tuple[R, R]:
    """What is read of both."""
    return read(old), read(new)


def holding(column: Column) -> str:
    """What stands in a column of a table or series."""
    unit = f" in {column.unit}" if column.unit else ""
    return column.type + unit + (f" of {column.choices}" if column.choices else "")


def _said(topic: str, text: str) -> str:
    """What people read stands in quotes."""
    if not text:
        return "none"
    return f"“{text}”" if topic in ("Messages", "Cautions", "Labels") else text


def yes(value: object) -> str:
    return "yes" if value else "no"


class Changes:
    """Both bundles in words, and what was found different so far.

    `names` are newer names of quantities by older ones. Pairs are always the old and the new.
    """

    def __init__(self, old: Bundle, new: Bundle, names: dict[str, str]) -> None:
        self.old = Words(old, names)
        self.new = Words(new)
        self.names = names
        self.found: list[Change] = []

    def whole(
        self, topic: str, of: Subject, kind: Kind, what: str = "", touches: Iterable[Touch] = ()
    ) -> None:
        """An item that is new, gone, or of which `what` is said."""
        line = of.name + (what or f" {kind}")
        self.found.append(Change(topic, of.of, of.id, kind, line, touches=tuple(touches)))

    def text(
        self,
        topic: str,
        of: Subject,
        what: str,
        pair: tuple[str, str],
        touches: Iterable[Touch] = (),
    ) -> None:
        """A text or name that differs."""
        old, new = pair
        if old != new:
            line = f"{of.name}{of.then} {what} {_said(topic, old)} → {_said(topic, new)}"
            change = Change(topic, of.of, of.id, "changed", line, old, new, tuple(touches))
            self.found.append(change)

    def number(
        self,
        topic: str,
        of: Subject,
        what: str,
        values: tuple[Any, Any],
        show: tuple[Show, Show],
        touches: Iterable[Touch] = (),
    ) -> None:
        """Numbers that differ in SI, with as many digits as it takes to see it."""
        if values[0] == values[1]:
            return
        old = new = ""
        for digits in (DIGITS, 12, 17):
            old, new = (
                "" if value is None else to_text(value, digits)
                for value, to_text in zip(values, show, strict=True)
            )
            if old != new:
                break
        self.text(topic, of, what, (old, new), touches)

    def names_in(
        self,
        topic: str,
        of: Subject,
        what: str,
        pair: tuple[Sequence[str], Sequence[str]],
        touches: Iterable[Touch] = (),
    ) -> None:
        """A list of names that differs: what it gains and loses, or its order."""
        old, new = pair
        before = [self.names.get(name, name) for name in old]
        gained, lost = [n for n in new if n not in before], [n for n in before if n not in new]
        parts = [
            f"gains {', '.join(gained)}" if gained else "",
            f"loses {', '.join(lost)}" if lost else "",
        ]
        said = " and ".join(filter(None, parts))
        if not said and before != list(new):
            said = f"in another order: {', '.join(new)}"
        if said:
            line = f"{of.name}{of.then} {what} {said}"
            texts = ", ".join(before), ", ".join(new)
            change = Change(topic, of.of, of.id, "changed", line, *texts, tuple(touches))
            self.found.append(change)

    def renamed(self, of: Subject, old: str) -> None:
        line = f"{of.name} was called {old}"
        self.found.append(Change("Names", of.of, of.id, "renamed", line, old, of.id))
