"""Rules that hold from a day, to a day, or for an adopted code edition, as conditions on two quantities."""

from __future__ import annotations

from dataclasses import dataclass

from kneewall.bundle import Expr, Holds
from kneewall.compiler.errors import Place, RuleFault, nearest
from kneewall.compiler.names import Names, TableInfo
from kneewall.compiler.schema import HoldsForm
from kneewall.engine.engine import seconds

ROW_CONDITIONS = {"holds_from": ">=", "holds_to": "<=", "from_edition": ">=", "to_edition": "<="}
"""Columns of a table that say when a row holds, and how the day or edition compares with them."""


@dataclass(frozen=True)
class Calendar:
    """The quantities that days and editions are compared with; "" where no pack names one."""

    date: str
    edition: str

    def slot(self, names: Names, what: str, place: Place) -> int:
        """The slot of the day ("date") or of the code edition ("edition"). Raises `RuleFault`."""
        name = self.date if what == "date" else self.edition
        if not name:
            mend = f"write {what}_quantity: topic.name in pack.yaml"
            raise RuleFault(place, "E105", f"no pack names its {what}_quantity", mend)
        if name not in names.quantities:
            raise RuleFault(
                place, "E201", f"no quantity is called {name}", nearest(name, names.quantities)
            )
        slot, found, scope = names.quantities[name]
        meant = "date" if what == "date" else "choice"
        if meant not in (found.base, found.kind) or scope in names.collections:
            shown = f"{name}, the {what}_quantity, is {found}"
            raise RuleFault(place, "E404", shown, f"name a {meant} that is no member's")
        return slot

    def condition(
        self, names: Names, form: HoldsForm, place: Place, inputs: set[int]
    ) -> tuple[Expr, Holds]:
        """The condition under which a rule holds, and the same for people to read."""
        parts: list[Expr] = []
        for day, head in ((form.since, ">="), (form.until, "<=")):
            if day:
                slot = self.slot(names, "date", place)
                inputs.add(slot)
                parts.append([head, ["q", slot], ["date", _day(day, place)]])
        if form.since and form.until and _day(form.since, place) > _day(form.until, place):
            what = f"the last day, {form.until}, is before the first, {form.since}"
            raise RuleFault(place, "E306", what, "write the earlier day under from")
        if form.editions:
            slot = self.slot(names, "edition", place)
            inputs.add(slot)
            choices = names.choices_of(slot)
            options = [o.value for o in names.edges.choices[choices].options]
            for edition in form.editions:
                if edition not in options:
                    what = f"{edition!r} is not in the choice list {choices}"
                    raise RuleFault(place, "E405", what, nearest(edition, options))
            either: list[Expr] = [
                ["==", ["q", slot], ["option", options.index(e), choices]] for e in form.editions
            ]
            parts.append(either[0] if len(either) == 1 else ["or", *either])
        if not parts:
            raise RuleFault(place, "E105", "holds says nothing", "write from, to or editions")
        holds = Holds(since=form.since, until=form.until, editions=form.editions)
        return parts[0] if len(parts) == 1 else ["and", *parts], holds

    def row_condition(
        self, names: Names, info: TableInfo, place: Place, inputs: set[int]
    ) -> list[Expr]:
        """Conditions on the row under test, one for each column that says when it holds."""
        parts: list[Expr] = []
        for name, head in ROW_CONDITIONS.items():
            if name in info.columns:
                column = info.columns[name][0]
                slot = self.slot(names, "date" if name.startswith("holds") else "edition", place)
                inputs.add(slot)
                cell: Expr = ["c", column]
                parts.append(["or", ["not", ["known", cell]], [head, ["q", slot], cell]])
        return parts


def _day(text: str, place: Place) -> float:
    try:
        return seconds(text)
    except ValueError:
        raise RuleFault(place, "E306", f"{text!r} is not a date like 2026-11-25") from None
