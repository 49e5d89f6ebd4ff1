"""The handbook: every calculator in words, with its formulas, tables, checks, sources and worked examples."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from kneewall.bundle import (
    OVER_VISITS,
    Bundle,
    Calculator,
    Chart,
    Example,
    Expected,
    Function,
    Quantity,
    SourceRef,
    Table,
    read_by,
    rests_on,
)
from kneewall.engine.written import formulas
from kneewall.tools.sources import WHY, reasons
from kneewall.tools.trees import ruled, written
from kneewall.tools.words import Words


@dataclass(frozen=True)
class Cited:
    """A source as it is printed: title and edition, the place in it, and why it is in doubt, if it is."""

    title: str
    place: str
    doubt: str


@dataclass(frozen=True)
class Entry:
    """Something entered or found. `rules` are its formulas with their sources: several where it has cases."""

    id: str
    label: str
    unit: str
    hints: list[str]
    rules: list[tuple[str, Cited]]
    replaced: str


@dataclass(frozen=True)
class Grid:
    """A table: its head, its rows as text, where it is from."""

    label: str
    head: list[str]
    rows: list[list[str]]
    source: Cited
    replaced: str


@dataclass(frozen=True)
class Called:
    """A function that formulas call: `f(x, y)`, what it computes, where it is from."""

    head: str
    rule: str
    source: Cited
    replaced: str


@dataclass(frozen=True)
class Limit:
    label: str
    rule: str
    says: list[tuple[str, str]]
    source: Cited
    replaced: str


@dataclass(frozen=True)
class Worked:
    name: str
    given: list[tuple[str, str]]
    expect: list[tuple[str, str]]
    source: Cited


@dataclass(frozen=True)
class Chapter:
    """One calculator. `between` are the results on the way to those shown."""

    id: str
    title: str
    topic: str
    note: str
    entered: list[Entry]
    found: list[Entry]
    between: list[Entry]
    functions: list[Called]
    limits: list[Limit]
    tables: list[Grid]
    charts: list[str]
    cautions: list[tuple[str, Cited]]
    worked: list[Worked]


class Handbook:
    """The chapters of one bundle."""

    def __init__(self, bundle: Bundle) -> None:
        self.bundle = bundle
        self.words = Words(bundle)

    @cached_property
    def topics(self) -> dict[str, list[Calculator]]:
        """Calculators by topic, in the order of the bundle."""
        found: dict[str, list[Calculator]] = {}
        for calculator in self.bundle.calculators:
            found.setdefault(calculator.topic, []).append(calculator)
        return found

    def chapter(self, name: str) -> Chapter | None:
        """The chapter of a calculator, None when there is no such."""
        calculator = next((each for each in self.bundle.calculators if each.id == name), None)
        return self._chapter(calculator) if calculator else None

    def _chapter(self, calculator: Calculator) -> Chapter:
        known = self.words.quantities
        checks = [each for each in self.bundle.checks if each.id in calculator.checks]
        roots = [known[name] for name in calculator.show]
        roots += [self.bundle.quantities[slot] for check in checks for slot in check.inputs]
        below = self._below(roots)
        asked = [*calculator.enter, *calculator.if_known]
        between = [q for q in below if q.tree is not None and q.id not in calculator.show]
        return Chapter(
            calculator.id,
            calculator.title,
            calculator.topic,
            calculator.note,
            [self._entry(known[name]) for name in asked],
            [self._entry(known[name]) for name in calculator.show],
            [self._entry(q) for q in between],
            [self._called(function) for function in self._functions(below, checks)],
            [
                Limit(
                    check.label,
                    "; ".join(
                        f"{verdict} if {written(self.words, tree)}"
                        for verdict, tree in (
                            ("applies", check.when),
                            ("fail", check.fail),
                            ("caution", check.caution),
                        )
                        if tree is not None
                    ),
                    [
                        (verdict, self.words.pieces(pieces))
                        for verdict, pieces in check.says.items()
                    ],
                    self._cited(check.source),
                    Words.replaced(check.replaced),
                )
                for check in checks
            ],
            [self._grid(table) for table in self._tables(below, checks)],
            [self._chart(chart) for chart in calculator.charts],
            [
                (each.text, self._cited(each.source))
                for each in self.bundle.cautions
                if each.id in calculator.cautions
            ],
            [
                self._worked(each)
                for each in self.bundle.examples
                if each.calculator == calculator.id
            ],
        )

    def _below(self, roots: Iterable[Quantity]) -> list[Quantity]:
        """All that these rest on, themselves included, in the order of computing."""
        slots = {q.id: slot for slot, q in enumerate(self.bundle.quantities)}
        seen = rests_on(self.bundle, (slots[q.id] for q in roots))
        return [self.bundle.quantities[slot] for slot in self.bundle.order if slot in seen]

    def _tables(self, below: Iterable[Quantity], checks: Iterable[Any]) -> list[Table]:
        """Tables that any of these read, also through functions."""
        read = dict.fromkeys(self._read(below, checks))
        return [self.bundle.tables[place] for what, place in read if what == "table"]

    def _functions(self, below: Iterable[Quantity], checks: Iterable[Any]) -> list[Function]:
        """Functions that any of these call, also through functions."""
        read = dict.fromkeys(self._read(below, checks))
        return [self.bundle.functions[place] for what, place in read if what == "function"]

    def _read(self, below: Iterable[Quantity], checks: Iterable[Any]) -> Iterator[tuple[str, int]]:
        trees = [tree for q in below for tree in (q.tree, q.when)]
        trees += [tree for check in checks for tree in (check.when, check.fail, check.caution)]
        for tree in trees:
            yield from self._read_in(tree)

    def _read_in(self, tree: Any) -> Iterator[tuple[str, int]]:
        for what, place in read_by(tree):
            yield what, place
            if what == "function":
                yield from self._read_in(self.bundle.functions[place].tree)

    def _called(self, function: Function) -> Called:
        return Called(
            f"{function.id}({', '.join(function.parameters)})",
            ruled(self.words, function.tree, function.parameters),
            self._cited(function.source),
            Words.replaced(function.replaced),
        )

    def _entry(self, q: Quantity) -> Entry:
        texts = [ruled(self.words, tree) for tree in formulas(q)]
        rules = [
            (" ".join(filter(None, (Words.holds(case.holds), text))), case.source)
            for case, text in zip(q.cases, texts, strict=False)
        ]
        if texts and q.source and not rules:
            rules = [(texts[0], q.source)]
        hints = [q.note] if q.note else []
        if q.when is not None:
            hints.append(f"Only where {written(self.words, q.when)}.")
        if q.default is not None:
            hints.append(f"{self.words.value(q, q.default)} where nothing is entered.")
        if q.limits and q.tree is None:
            hints.append(f"Taken from {self.words.span(q, q.limits)}.")
        unit = self.bundle.units[q.unit].label if q.unit else ""
        cited = [(formula, self._cited(source)) for formula, source in rules]
        return Entry(q.id, q.label, unit, hints, cited, Words.replaced(q.replaced))

    def _grid(self, table: Table) -> Grid:
        head = [
            f"{column.label or column.name.replace('_', ' ')}"
            + (f", {self.bundle.units[column.unit].label}" if column.unit else "")
            for column in table.columns
        ]
        rows = [
            [
                "" if value is None else self._cell(table, place, value)
                for place, value in enumerate(row)
            ]
            for row in zip(*table.cells, strict=True)
        ]
        label = table.label or table.id.replace("_", " ")
        return Grid(label, head, rows, self._cited(table.source), Words.replaced(table.replaced))

    def _cell(self, table: Table, place: int, value: Any) -> str:
        """A cell without its unit, which stands in the head."""
        column = table.columns[place]
        text = self.words.cell(column, value, 6)
        unit = self.bundle.units[column.unit].label if column.unit else ""
        return text.removesuffix(f" {unit}") if unit else text

    def _chart(self, chart: Chart) -> str:
        if chart.series:
            return f"{chart.title}: {self.words.quantities[chart.series].label}"
        if chart.over == OVER_VISITS:
            shown = ", ".join(self.words.quantities[name].label for name in chart.show)
            return f"{chart.title}: {shown}, from visit to visit"
        over = self.words.quantities[chart.over].label
        return f"{chart.title}: over {over}, {self.words.ends(chart)}"

    def _worked(self, example: Example) -> Worked:
        known = self.words.quantities
        given = [
            (f"{known[name].label}{f', {member}' if member else ''}", text)
            for name, value in example.given.items()
            for member, text in self._given(known[name], value)
        ]
        expect = [(known[each.quantity].label, self._expected(each)) for each in example.expect]
        labels = {check.id: check.label for check in self.bundle.checks}
        expect += [(labels[name], verdict) for name, verdict in example.checks.items()]
        return Worked(example.name, given, expect, self._cited(example.source))

    def _given(self, q: Quantity, value: Any) -> Iterator[tuple[str, str]]:
        if isinstance(value, dict):
            for member, own in value.items():
                yield member, self.words.value(q, own)
        else:
            yield "", self.words.value(q, value)

    def _expected(self, expected: Expected) -> str:
        q = self.words.quantities[expected.quantity]
        if expected.value is None:
            return f"unknown: {expected.why}" if expected.why else "unknown"
        text = self.words.value(q, expected.value)
        return f"{text} within {self.words.amount(q, expected.within)}" if expected.within else text

    def _cited(self, ref: SourceRef) -> Cited:
        source = self.bundle.sources[ref.of]
        title = f"{source.title}, {source.edition}" if source.edition else source.title
        # A title that says itself that it is practice, memory or invention is not told twice.
        said = WHY.get(source.kind)
        return Cited(
            title, ref.place, ", ".join(why for why in reasons(source, ref) if why != said)
        )
