"""Which results can feel a change: all that is downstream of it, by the calculator or checklist that shows it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from kneewall.bundle import FROM_ROWS, Bundle, Step, Table
from kneewall.tools.change import Change, Touch


@dataclass(frozen=True)
class Result:
    """A derived quantity, check or step that can come out differently; `by` are the ids of the items changed."""

    of: Literal["quantity", "check", "step"]
    id: str
    label: str
    by: tuple[str, ...]


@dataclass(frozen=True)
class Felt:
    """Results of one calculator (also those on the way to what it shows), of one checklist, or of neither ("")."""

    view: Literal["calculator", "checklist", ""]
    id: str
    title: str
    results: list[Result]


def felt(
    old: Bundle, new: Bundle, names: Mapping[str, str], changes: Iterable[Change]
) -> list[Felt]:
    """What the changes reach of what was there before; `names` are newer names of quantities by older ones."""
    touched: dict[Touch, set[str]] = {}
    for change in changes:
        for touch in change.touches:
            touched.setdefault(touch, set()).add(change.id)
    there: set[Touch] = {("quantity", names.get(q.id, q.id)) for q in old.quantities}
    there |= {("check", check.id) for check in old.checks}
    there |= {("step", f"{c.id}/{step.id}") for c in old.checklists for step in c.steps}
    return list(_Reach(new, touched).views(there))


class _Reach:
    def __init__(self, bundle: Bundle, touched: dict[Touch, set[str]]) -> None:
        self.bundle = bundle
        self.touched = touched
        self.functions: dict[int, set[Touch]] = {}
        self.slots = {quantity.id: slot for slot, quantity in enumerate(bundle.quantities)}
        self.upstream: list[set[int]] = [set() for _ in bundle.quantities]
        self.by: list[set[str]] = [set() for _ in bundle.quantities]
        for slot in bundle.order:
            quantity = bundle.quantities[slot]
            own = {
                ("quantity", quantity.id),
                *self._names(quantity.tree),
                *self._names(quantity.when),
            }
            self.by[slot] = self._changed(own).union(*(self.by[i] for i in quantity.inputs))
            self.upstream[slot] = {slot}.union(*(self.upstream[i] for i in quantity.inputs))

    def views(self, there: set[Touch]) -> Iterator[Felt]:
        for view in self._views():
            reached = [r for r in view.results if r.by and (r.of, r.id) in there]
            if reached:
                yield replace(view, results=reached)

    def _views(self) -> Iterator[Felt]:
        checks = {check.id: check for check in self.bundle.checks}
        quantities_left = {slot for slot in self.bundle.order if self._derived(slot)}
        checks_left = dict.fromkeys(checks)
        for calculator in self.bundle.calculators:
            drawn = [name for chart in calculator.charts for name in (*chart.show, *chart.lines)]
            rests_on = {self.slots[name] for name in (*calculator.show, *drawn)}
            rests_on |= {i for name in calculator.checks for i in checks[name].inputs}
            slots = set().union(*(self.upstream[slot] for slot in rests_on))
            quantities_left -= slots
            for name in calculator.checks:
                checks_left.pop(name, None)
            results = [*self._quantities(slots), *map(self._check, calculator.checks)]
            yield Felt("calculator", calculator.id, calculator.title, results)
        for checklist in self.bundle.checklists:
            steps = [self._step(checklist.id, step) for step in checklist.steps]
            yield Felt("checklist", checklist.id, checklist.title, steps)
        results = [*self._quantities(quantities_left), *map(self._check, checks_left)]
        yield Felt("", "", "In no calculator", results)

    def _derived(self, slot: int) -> bool:
        return self.bundle.quantities[slot].tree is not None

    def _quantities(self, slots: set[int]) -> Iterator[Result]:
        for slot in sorted(slots):
            if self._derived(slot):
                quantity = self.bundle.quantities[slot]
                yield _result("quantity", quantity.id, quantity.label, self.by[slot])

    def _check(self, name: str) -> Result:
        check = next(check for check in self.bundle.checks if check.id == name)
        own = {("check", name)}.union(*map(self._names, (check.when, check.fail, check.caution)))
        by = self._changed(own).union(*(self.by[slot] for slot in check.inputs))
        return _result("check", name, check.label, by)

    def _step(self, checklist: str, step: Step) -> Result:
        """A step feels what its conditions and its least time rest on; what it shows stands with the calculators."""
        name = f"{checklist}/{step.id}"
        least = {self.slots[step.least]} if step.least in self.slots else set()
        by = self._changed({("step", name), *self._names(step.when), *self._names(step.needs)})
        by = by.union(*(self.by[slot] for slot in _slots(step.when) | _slots(step.needs) | least))
        return _result("step", name, step.title, by)

    def _changed(self, touches: Iterable[Touch]) -> set[str]:
        return set().union(*(self.touched.get(touch, set()) for touch in touches))

    def _names(self, tree: Any, table: Table | None = None) -> set[Touch]:
        """Functions, tables and columns that a tree reads."""
        if not isinstance(tree, list):
            return set()
        head, parts = str(tree[0]), tree[1:]
        if head == "c" and table is not None:
            return {("column", f"{table.id}.{table.columns[int(parts[0])].name}")}
        if head == "fn":
            return self._function(int(parts[0])).union(*(self._names(p, table) for p in parts[1:]))
        if head in FROM_ROWS:
            return self._access(head, parts, table)
        return set().union(*(self._names(part, table) for part in parts))

    def _function(self, index: int) -> set[Touch]:
        if index not in self.functions:
            function = self.bundle.functions[index]
            self.functions[index] = {("function", function.id), *self._names(function.tree)}
        return self.functions[index]

    def _access(self, head: str, parts: Any, around: Table | None) -> set[Touch]:
        """The table, the column read, the columns looked in, and what these are compared with."""
        if isinstance(parts[0], list):
            inside = around if head == "interp" else None
            return self._names(parts[0], around) | self._names(parts[-1], inside)
        table = self.bundle.tables[int(parts[0])]
        found: set[Touch] = {("table", table.id), self._column(table, parts[2])}
        if head in ("row", "interp"):
            found |= {self._column(table, column) for column in parts[3::2]}
            return found.union(*(self._names(value, around) for value in parts[4::2]))
        return found | self._names(parts[3], table)

    @staticmethod
    def _column(table: Table, place: float) -> Touch:
        return ("column", f"{table.id}.{table.columns[int(place)].name}")


def _slots(tree: Any) -> set[int]:
    if not isinstance(tree, list):
        return set()
    if tree[0] == "q":
        return {int(tree[1])}
    return set().union(*map(_slots, tree[1:]))


def _result(of: Any, name: str, label: str, by: set[str]) -> Result:
    return Result(of, name, label, tuple(sorted(by)))
