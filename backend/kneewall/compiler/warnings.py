"""What compiles, and still deserves a look: numbered, with its place, in one line each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from kneewall.bundle import (
    Calculator,
    Check,
    Checklist,
    Expr,
    Holds,
    Piece,
    Quantity,
    Step,
    Verdict,
)
from kneewall.compiler.errors import Fault, Place
from kneewall.compiler.languages import missing
from kneewall.compiler.link import Compiled
from kneewall.compiler.packs import Item
from kneewall.compiler.reach import Reach
from kneewall.compiler.rows import Rows, paused, pauses, span

WARNINGS: Final = {
    "W101": "the condition can never hold",
    "W102": "the step waits for one that never applies together with it",
    "W103": "the check does not say what to do",
    "W104": "no worked example comes from outside the project",
    "W105": "there are fewer than two worked examples",
    "W106": "combinations of keys have no row",
    "W107": "no row holds between two that do",
    "W108": "the keys do not tell the rows apart",
    "W109": "two results have the same label",
    "W110": "texts have no words in a language that was begun",
    "W111": "a later pack overrules a worked example",
    "W112": "no table is filled from this file",
    "W113": "a message repeats an amount of its check",
    "W114": "a default has no source",
    "W115": "a worked example is content with almost anything",
}
"""Every number with its meaning; a fixture for each is in the tests."""
INSIDE: Final = ("demo", "memory")
"""Kinds of source that come from the project itself."""
LOOSE: Final = 0.2
"""Of the value expected."""
_OF_THE_PACK: Final = re.compile(r"units\.csv|[a-z]{2}(-[A-Z]{2})?\.(seen|terms)\.csv")
"""Files beside the rules that fill no table."""
_AFTER_STOP: Final = re.compile(r"[.!?][\"”)]?\s+[\"“(]?(\w)")


def warnings_of(compiled: Compiled) -> list[Fault]:
    """All warnings about rules that compile, in the order of their places."""
    return sorted({*compiled.overruled, *_Look(compiled).all()})


class _Look:
    """One pass over everything that is compiled."""

    def __init__(self, compiled: Compiled) -> None:
        self.bundle = compiled.bundle
        self.items = compiled.items
        self.reach = Reach(compiled.bundle)

    def all(self) -> Iterator[Fault]:
        for quantity in self.bundle.quantities:
            yield from self._quantity(quantity)
        for check in self.bundle.checks:
            yield from self._verdicts(check)
            yield from self._remedy(check)
            yield from self._repeated(check)
        for checklist in self.bundle.checklists:
            yield from self._steps(checklist)
        for calculator in self.bundle.calculators:
            yield from self._examples(calculator)
            yield from self._labels(calculator)
        yield from self._tolerances()
        yield from self._languages()
        for table in self.bundle.tables:
            place = self.items.tables[table.id].key_place()
            yield from (Fault(place, *found) for found in Rows(self.bundle, table).found())
        yield from self._idle_files()

    def _idle_files(self) -> Iterator[Fault]:
        sheets: list[Item[Any]] = [*self.items.tables.values(), *self.items.rows.values()]
        named = {Path(item.document.file).parent / item.form.file for item in sheets}
        for folder in sorted({item.folder for item in sheets}):
            for path in sorted(folder.rglob("*.csv")):
                if path not in named and not _OF_THE_PACK.fullmatch(path.name):
                    what = f"no table names the file {path.name}"
                    mend = "name it under file, or take it away"
                    yield Fault(Place(path.as_posix(), 1, 1), "W112", what, mend)

    # -- conditions

    def _quantity(self, quantity: Quantity) -> Iterator[Fault]:
        item = self.items.quantities[quantity.id]
        if not self.reach.can_hold([quantity.when], quantity.scope):
            yield _never(_condition_place(item), f"{quantity.id} never applies")
        if quantity.default is not None and quantity.source is None:
            what = f"the default of {quantity.id} has no source"
            yield Fault(item.place("default"), "W114", what, "say under source what it rests on")
        earlier: list[Expr] = []
        tree: Any = quantity.tree
        for index in range(len(quantity.cases)):
            condition, rest = tree[2], tree[4]
            if not self.reach.can_hold([*earlier, condition], quantity.scope):
                what = f"case {index + 1} of {quantity.id} is never reached"
                yield _never(item.place("cases", index), what)
            earlier.append(["not", condition])
            tree = rest
        found = list(self._pauses(quantity))
        if found:
            yield Fault(item.place("cases"), *paused(quantity.id, "case", found))

    def _pauses(self, quantity: Quantity) -> Iterator[str]:
        """Days and editions between two cases on which none holds."""
        holds = [case.holds or Holds() for case in quantity.cases]
        edition = self.items.quantities.get(self.items.edition_quantity)
        names = [""]
        if edition and any(h.editions for h in holds):
            names = [o.value for o in self.bundle.choices[edition.form.type].options]
        return pauses(
            {
                name: [span(h.since, h.until) for h in holds if name in (h.editions or names)]
                for name in names
            }
        )

    def _verdicts(self, check: Check) -> Iterator[Fault]:
        item = self.items.checks[check.id]
        if not self.reach.can_hold([check.when], check.scope):
            yield _never(_condition_place(item), f"{check.id} never applies")
            return
        passed = [check.when]
        for verdict, condition in (("fail", check.fail), ("caution", check.caution)):
            if condition is None:
                continue
            if not self.reach.can_hold([*passed, condition], check.scope):
                yield _never(item.place(verdict), f"{check.id} never gives {verdict}")
            passed.append(["not", condition])
        if not self.reach.can_hold(passed, check.scope):
            what = f"{check.id} never gives pass"
            mend = "one of its conditions always holds; mend it"
            yield Fault(item.place("says", "pass"), "W101", what, mend)

    def _steps(self, checklist: Checklist) -> Iterator[Fault]:
        steps = {step.id: step for step in checklist.steps}
        never = {s.id for s in checklist.steps if not self.reach.can_hold([s.when])}
        for step in checklist.steps:
            item, path = self._written(checklist, step)
            if step.id in never:
                yield _never(_condition_place(item, *path), f"the step {step.id} never applies")
                continue
            if step.needs is not None and not self.reach.can_hold([step.when, step.needs]):
                yield _never(
                    item.place(*path, "needs"), f"the step {step.id} is held back for ever"
                )
            for index, name in enumerate(step.after):
                if name not in never and not self.reach.can_hold([step.when, steps[name].when]):
                    what = f"{step.id} comes after {name}, but the two never apply together"
                    place = item.place(*path, "after", index)
                    yield Fault(place, "W102", what, "name the step that comes before it")

    def _written(self, checklist: Checklist, step: Step) -> tuple[Item[Any], tuple[str | int, ...]]:
        """The item a step is written in, and where in that item."""
        amended = self.items.steps.get(f"{checklist.id}/{step.id}")
        if amended is not None:
            return amended, ()
        item = self.items.checklists[checklist.id]
        return item, ("steps", [form.id for form in item.form.steps].index(step.id))

    # -- words and examples

    def _remedy(self, check: Check) -> Iterator[Fault]:
        """A sentence that says what is wrong, and one that says what to do."""
        verdicts: tuple[tuple[Verdict, Expr | None], ...] = (
            ("fail", check.fail),
            ("caution", check.caution),
        )
        for verdict, condition in verdicts:
            if condition is not None and _sentences(check.says[verdict]) < 2:
                what = f"{check.id} says what is wrong, but not what to do about it"
                place = self.items.checks[check.id].place("says", verdict)
                yield Fault(place, "W103", what, "add a sentence that says it")

    def _repeated(self, check: Check) -> Iterator[Fault]:
        """An amount said as it stands in the condition: in one system of units, and untrue once it is changed there."""
        amounts = [*self._amounts(check.fail), *self._amounts(check.caution)]
        for verdict, pieces in check.says.items():
            said = "{}".join(piece for piece in pieces if isinstance(piece, str))
            for figure, unit in amounts:
                if re.search(rf"(?<![\d.,]){re.escape(f'{figure} {unit}')}(?!\w)", said):
                    what = f"the message repeats the {figure} {unit} of its condition"
                    place = self.items.checks[check.id].place("says", verdict)
                    yield Fault(place, "W113", what, "give it a quantity, and name that in braces")

    def _amounts(self, tree: Expr | None) -> Iterator[tuple[str, str]]:
        if not isinstance(tree, list):
            return
        if tree[0] == "quantity" and isinstance(tree[1], float | int):
            unit = self.bundle.units[str(tree[2])]
            yield f"{(tree[1] - unit.offset) / unit.scale:.10g}", unit.label
        for part in tree:
            yield from self._amounts(part)

    def _languages(self) -> Iterator[Fault]:
        """At most one line a language, at its first file."""
        places = {file.language: file.document.place(()) for file in reversed(self.items.words)}
        for language, paths in missing(self.bundle).items():
            if paths:
                count = f"{len(paths)} text{'s' * (len(paths) != 1)}"
                what = f"{language} has no words for {count}, the first is {paths[0]}"
                yield Fault(places[language], "W110", what, "kneewall words lists them all")

    def _labels(self, calculator: Calculator) -> Iterator[Fault]:
        """Two results that nobody could tell apart."""
        labels = {quantity.id: quantity.label.casefold() for quantity in self.bundle.quantities}
        before: dict[str, str] = {}
        for index, name in enumerate(calculator.show):
            other = before.setdefault(labels[name], name)
            if other != name:
                place = self.items.calculators[calculator.id].place("show", index)
                yield Fault(place, "W109", f"{name} has the label of {other}", "say which is which")

    def _tolerances(self) -> Iterator[Fault]:
        """An example that allows a good part of what it expects proves little."""
        written = {
            (item.pack, item.form.calculator or item.form.checklist, item.form.name): item
            for item in self.items.examples.values()
        }
        for example in self.bundle.examples:
            item = written[example.pack, example.calculator or example.checklist, example.name]
            for expected in example.expect:
                value = expected.value
                if isinstance(value, float) and expected.within > LOOSE * abs(value) > 0:
                    key = next(k for k in item.form.expect if k.startswith(expected.quantity))
                    what = f"{example.name}: {expected.quantity} may be {expected.within / abs(value):.0%} off"
                    yield Fault(
                        item.place("expect", key), "W115", what, "write a narrower tolerance"
                    )

    def _examples(self, calculator: Calculator) -> Iterator[Fault]:
        place = self.items.calculators[calculator.id].key_place()
        found = [e.source for e in self.bundle.examples if e.calculator == calculator.id]
        inside = [
            source.mark == "from memory" or self.bundle.sources[source.of].kind in INSIDE
            for source in found
        ]
        if found and all(inside):
            what = f"no worked example of {calculator.id} comes from outside the project"
            yield Fault(place, "W104", what, "add one from a published source")
        if len(found) < 2:
            count = "one worked example" if found else "no worked example"
            yield Fault(place, "W105", f"{calculator.id} has {count}", "two are the least")


def _never(place: Place, what: str) -> Fault:
    mend = "no values make its condition true; mend the condition or leave it out"
    return Fault(place, "W101", what, mend)


def _condition_place(item: Item[Any], *path: str | int) -> Place:
    """Where the condition of an item, or of a step in it, is written."""
    form = item.form
    for part in path:
        form = form[part] if isinstance(part, int) else getattr(form, part)
    return item.place(*path, "when" if form.when else "holds")


def _sentences(says: list[Piece]) -> int:
    """How many there are; one begins with a capital or a placeholder."""
    text = "".join(piece if isinstance(piece, str) else "X" for piece in says)
    return 1 + len([letter for letter in _AFTER_STOP.findall(text) if letter.isupper()])
