"""What the charts of rules show of a visit, for office and paper. The twin of the phone's `charts.ts`."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from typing_extensions import TypeIs

from kneewall.bundle import OVER_VISITS, Calculator, Chart, Column, Quantity, Value
from kneewall.engine import Unknown
from kneewall.records.editions import Editions
from kneewall.records.history import Then, history_of
from kneewall.records.present import VisitPage
from kneewall.records.review import asked_again
from kneewall.records.wording import day

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Curve:
    label: str
    """Empty where there is only one."""
    points: list[tuple[float, float | None]]
    """A gap where there is no figure."""


@dataclass(frozen=True)
class Mark:
    x: float
    y: float
    said: str
    first: bool = False
    """What the others are held against."""


@dataclass(frozen=True)
class Limit:
    label: str
    said: str
    at: float


@dataclass(frozen=True)
class VisitLine:
    """One visit of a chart over visits; `at` is its day, counted."""

    at: float
    day: str
    baseline: bool
    other_rules: bool
    figures: list[tuple[str, str] | None]
    """By curve: value and verdict, if any; None where that visit knew none."""


@dataclass(frozen=True)
class Plot:
    """Figures in their declared units."""

    title: str
    across: str
    up: str
    curves: list[Curve]
    limits: list[Limit] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    visits: list[VisitLine] = field(default_factory=list)

    @property
    def known(self) -> list[tuple[float, float]]:
        return [(x, y) for curve in self.curves for x, y in curve.points if y is not None]


class Plotter:
    """Draws what the rules draw of one visit."""

    def __init__(self, page: VisitPage, editions: Editions) -> None:
        self.page = page
        self.found = page.found
        self.editions = editions
        self._history: list[Then] | None = None

    def over_visits(self) -> list[tuple[Calculator, Plot]]:
        """Of the calculators with a value of this visit: what it and at least one before it know."""
        return [
            (calculator, plot)
            for calculator, chart in self._drawn()
            if chart.over == OVER_VISITS
            for plot in self._of(calculator, chart)
        ]

    def curves(self) -> list[tuple[Calculator, Plot]]:
        """The same, and results over one entered number; a curve without its point says nothing of this visit."""
        return [
            (calculator, plot)
            for calculator, chart in self._drawn()
            if not chart.series
            for plot in self._of(calculator, chart)
        ]

    def series(self, quantity: Quantity, member: str | None, si: Any) -> Plot | None:
        """A series as it was read; None of fewer than two readings."""
        if quantity.type != "series" or not isinstance(si, list) or len(si) < 2:
            return None
        across, up = quantity.columns[:2]
        points = [(self._in(x, across.unit), self._in(y, up.unit)) for x, y in si]
        lines = dict.fromkeys(
            name
            for calculator in self.page.bundle.calculators
            for chart in calculator.charts
            if chart.series == quantity.id
            for name in chart.lines
        )
        x, y = points[-1]
        title = _with(quantity.label, self.page.member(member))
        limits = self._limits(list(lines), member, up.unit)
        mark = Mark(x, y, f"{y:.6g}")
        return Plot(
            title, self._column(across), self._column(up), [Curve("", [*points])], limits, [mark]
        )

    # --- which -----------------------------------------------------------------------------------

    def _drawn(self) -> Iterator[tuple[Calculator, Chart]]:
        readings = self.page.visit.readings
        here = {
            quantity.id
            for (name, _), reading in readings.items()
            if reading.si is not None and (quantity := self.found.quantity(name))
        }
        for calculator in self.page.bundle.calculators:
            if not here.isdisjoint([*calculator.enter, *calculator.if_known]):
                for chart in calculator.charts:
                    yield calculator, chart

    def _of(self, calculator: Calculator, chart: Chart) -> Iterator[Plot]:
        """The chart, for each member of what it speaks of."""
        over_visits = chart.over == OVER_VISITS
        first = self.found.quantity(chart.show[0] if over_visits else chart.over)
        if first is None:
            return
        for member in self.found.members.get(first.scope, [None]):
            plot = (
                self._visits(calculator, chart, member)
                if over_visits
                else self._curve(chart, member)
            )
            if plot is not None:
                yield replace(plot, title=_with(plot.title, self.page.member(member)))

    # --- over visits -----------------------------------------------------------------------------

    def _visits(self, calculator: Calculator, chart: Chart, member: str | None) -> Plot | None:
        if self._history is None:
            page = self.page
            self._history = history_of(page.ledger, page.visit, page.found, self.editions)
        history = self._history
        asked = [q for name in chart.show if (q := self.found.quantity(name)) is not None]
        columns = [(q, [self._then(then, q, member) for then in history]) for q in asked]
        shown = [(q, values) for q, values in columns if any(v is not None for v in values)]
        told = [
            at for at in range(len(history)) if any(values[at] is not None for _, values in shown)
        ]
        if len(told) < 2 or told[-1] != len(history) - 1:
            return None
        unit = shown[0][0].unit
        xs = [(then.at - EPOCH) / DAY for then in history]
        curves: list[Curve] = []
        marks: list[Mark] = []
        for quantity, values in shown:
            points = [
                (x, None if si is None else self._in(si, unit))
                for x, si in zip(xs, values, strict=True)
            ]
            curves.append(Curve(quantity.label if len(shown) > 1 else "", points))
            marks += self._marks(quantity, values, points, history)
        return Plot(
            chart.title,
            "",
            self._axis(shown[0][0], several=len(shown) > 1),
            curves,
            self._limits(chart.lines, member, unit),
            marks,
            [
                VisitLine(
                    x,
                    day(then.at.date().isoformat()),
                    then.baseline,
                    then.other_rules,
                    [self._figure(calculator, q, member, then, values[at]) for q, values in shown],
                )
                for at, (x, then) in enumerate(zip(xs, history, strict=True))
            ],
        )

    def _then(self, then: Then, quantity: Quantity, member: str | None) -> float | None:
        of = member if quantity.scope in self.found.members else None
        return then.findings.values.get((quantity.id, of or None))

    def _marks(
        self,
        quantity: Quantity,
        values: Sequence[float | None],
        points: Sequence[tuple[float, float | None]],
        history: Sequence[Then],
    ) -> Iterator[Mark]:
        """The latest with its value, and the one at which the system was put into service."""
        known = [
            (si, x, y, then)
            for si, (x, y), then in zip(values, points, history, strict=True)
            if si is not None and y is not None
        ]
        start = max((x for _, x, _, then in known if then.baseline), default=None)
        for si, x, y, _ in known:
            said = self.page.edges.show(quantity, si) if x in (known[-1][1], start) else ""
            yield Mark(x, y, f"{said} when new" if x == start else said, first=x == start)

    def _figure(
        self,
        calculator: Calculator,
        quantity: Quantity,
        member: str | None,
        then: Then,
        si: float | None,
    ) -> tuple[str, str] | None:
        """With the worst of the calculator's checks whose conditions name the quantity."""
        if si is None:
            return None
        slot = self.found.engine.slots[quantity.id]
        checks = [
            check.id
            for check in self.page.bundle.checks
            if check.id in calculator.checks and slot in check.inputs
        ]
        return self.page.edges.show(quantity, si), then.verdict(checks, member)

    # --- over one number -------------------------------------------------------------------------

    def _curve(self, chart: Chart, member: str | None) -> Plot | None:
        over = self.found.quantity(chart.over)
        shown = [q for name in chart.show if (q := self.found.quantity(name)) is not None]
        if over is None or not shown or chart.ends is None:
            return None
        marks = list(self._present(over, shown, member))
        if not marks:
            return None
        low, high = chart.ends
        asked = [low + (high - low) * n / chart.steps for n in range(chart.steps + 1)]
        with self._lock():
            answers = [
                asked_again(self.found, over.id, self._key(over, member), si) for si in asked
            ]
            found = [
                [answer.value(q.id, self._key(q, member)) for answer in answers] for q in shown
            ]
        unit = shown[0].unit
        curves = [
            Curve(
                q.label if len(shown) > 1 else "",
                [
                    (self._in(si, over.unit), self._in(v, unit) if _is_number(v) else None)
                    for si, v in zip(asked, values, strict=True)
                ],
            )
            for q, values in zip(shown, found, strict=True)
        ]
        up = self._axis(shown[0], several=len(shown) > 1)
        limits = self._limits(chart.lines, member, unit)
        return Plot(chart.title, self._axis(over), up, curves, limits, marks)

    def _present(
        self, over: Quantity, shown: Sequence[Quantity], member: str | None
    ) -> Iterator[Mark]:
        x = self._value(over, member)
        for quantity in shown:
            y = self._value(quantity, member)
            if x is not None and y is not None:
                said = self.page.edges.show(quantity, y)
                yield Mark(self._in(x, over.unit), self._in(y, quantity.unit), said)

    def _lock(self) -> threading.Lock:
        return self.editions.engine(self.found.edition)[1]

    # --- inside ----------------------------------------------------------------------------------

    def _key(self, quantity: Quantity, member: str | None) -> str | None:
        return member if quantity.scope in self.found.members else None

    def _value(self, quantity: Quantity, member: str | None) -> float | None:
        key = self._key(quantity, member)
        if key is None and quantity.scope in self.found.members:
            return None
        value = self.found.answer.value(quantity.id, key)
        return value if _is_number(value) else None

    def _limits(self, names: Sequence[str], member: str | None, unit: str) -> list[Limit]:
        """The limits that the rules draw across, where they are known."""
        limits = []
        for name in names:
            quantity = self.found.quantity(name)
            si = self._value(quantity, member) if quantity else None
            if quantity and si is not None:
                said = self.page.edges.show(quantity, si)
                limits.append(Limit(quantity.label, said, self._in(si, unit)))
        return limits

    def _in(self, si: float, unit: str) -> float:
        return self.page.edges.from_si(si, unit) if unit else si

    def _axis(self, quantity: Quantity, *, several: bool = False) -> str:
        return self._named("" if several else quantity.label, quantity.unit)

    def _column(self, column: Column) -> str:
        return self._named(column.label or column.name, column.unit)

    def _named(self, label: str, unit: str) -> str:
        known = self.page.bundle.units.get(unit)
        return ", ".join(part for part in (label, known.label if known else "") if part)


def _is_number(value: Value | Unknown | None) -> TypeIs[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _with(label: str, member: str) -> str:
    return f"{label} · {member}" if member else label
