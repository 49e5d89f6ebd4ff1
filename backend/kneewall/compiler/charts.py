"""Charts of a calculator: a series, results over one entered number, or from visit to visit; limits as lines across."""

from __future__ import annotations

from kneewall.bundle import OVER_VISITS, Chart, Quantity
from kneewall.compiler import types
from kneewall.compiler.declare import Declared
from kneewall.compiler.errors import RuleFault
from kneewall.compiler.packs import Item
from kneewall.compiler.quantities import with_unit
from kneewall.compiler.schema import CalculatorForm
from kneewall.compiler.types import Mismatch, Type
from kneewall.engine.numbers import close
from kneewall.reading import ReadingError


def build_chart(
    there: Declared, quantities: list[Quantity], item: Item[CalculatorForm], index: int
) -> Chart:
    """The chart at this place of a calculator. Raises `RuleFault`."""
    return _Reading(there, quantities, item, index).chart()


class _Reading:
    """One chart, every name and unit in it proven."""

    def __init__(
        self, there: Declared, quantities: list[Quantity], item: Item[CalculatorForm], index: int
    ) -> None:
        self.there = there
        self.quantities = quantities
        self.item = item
        self.index = index
        self.form = item.form.charts[index]

    def chart(self) -> Chart:
        form = self.form
        if form.id in [chart.id for chart in self.item.form.charts[: self.index]]:
            raise self._fault("id", "E202", f"a chart {form.id} stands before", "use another name")
        if bool(form.series) == bool(form.over):
            what = f"the chart {form.id} has neither series nor over"
            what = f"the chart {form.id} has both series and over" if form.series else what
            raise self._fault("id", "E106", what, "write series: …, or over: … with show")
        self._one_collection()
        ends = None
        if form.over == OVER_VISITS:
            self._visits()
        elif form.over:
            ends = self._ends()
        self._alike(self._series() if form.series else None)
        kept = {key: getattr(form, key) for key in ("series", "over", "steps", "show", "lines")}
        return Chart(id=form.id, title=form.title, ends=ends, **kept)

    def _fault(self, key: str, number: str, what: str, mend: str = "") -> RuleFault:
        return RuleFault(self.item.place("charts", self.index, key), number, what, mend)

    def _entered(self, name: str, key: str) -> None:
        calculator = self.item.form
        if name not in (*calculator.enter, *calculator.if_known):
            what = f"{name} is not entered in {self.item.id}"
            raise self._fault(key, "E105", what, "add it to enter or to if_known")

    def _one_collection(self) -> None:
        """All it shows is of one member, or of none."""
        form, known = self.form, self.there.names.quantities
        over = "" if form.over == OVER_VISITS else form.over
        named = {
            "series": [form.series] if form.series else [],
            "over": [over] if over else [],
            "show": form.show,
            "lines": form.lines,
        }
        for key, names in named.items():
            self.there.exist(names, known, "quantity", self.item, "charts", self.index, key)
        shown = [name for names in named.values() for name in names]
        scopes = {known[name][2] for name in shown} & self.there.names.collections
        if len(scopes) > 1:
            what = f"the chart {form.id} speaks of {' and of '.join(sorted(scopes))}"
            raise self._fault("id", "E106", what, "show members of one collection")

    def _series(self) -> Type:
        """The type of what a series reads."""
        form = self.form
        self._without(("low", "high", "show"), "a chart of a series")
        found = self.there.names.quantities[form.series][1]
        if found.base != "series":
            what = f"{form.series} is {found}, a series is meant"
            raise self._fault("series", "E404", what, "write over: … to draw results over a number")
        self._entered(form.series, "series")
        return found.columns[1][1]

    def _visits(self) -> None:
        """Everything it shows is a number that a visit finds, and none that only stands in for one."""
        calculator = self.item.form
        self._without(("low", "high", "steps"), "a chart over visits")
        if not self.form.show:
            what = f"the chart {self.form.id} shows nothing"
            raise self._fault("over", "E105", what, "say under show what each visit found")
        for place, name in enumerate(self.form.show):
            quantity = self.quantities[self.there.names.quantities[name][0]]
            at = self.item.place("charts", self.index, "show", place)
            if quantity.default is not None:
                what = f"{name} has a default, which would be drawn as if it had been read"
                raise RuleFault(at, "E404", what, "show what is read or computed at each visit")
            # Of what was found then, a phone may have no more than what its calculators show.
            if name not in (*calculator.enter, *calculator.if_known, *calculator.show):
                what = f"{name} is neither entered nor shown in {self.item.id}"
                raise RuleFault(at, "E105", what, "add it to show of the calculator")

    def _without(self, keys: tuple[str, ...], sort: str) -> None:
        for key in keys:
            if key in self.form.model_fields_set:
                written = {"low": "from", "high": "to"}.get(key, key)
                raise self._fault(written, "E106", f"{sort} has no {written}", "leave it out")

    def _ends(self) -> tuple[float, float]:
        """First and last value of the number that is varied, in SI."""
        form, edges = self.form, self.there.edges
        quantity = self.quantities[self.there.names.quantities[form.over][0]]
        if quantity.type != "number" or quantity.one_of or quantity.tree is not None:
            what = f"{form.over} is not a number that is entered freely"
            raise self._fault("over", "E404", what, "draw over an entered number without one_of")
        self._entered(form.over, "over")
        if not (form.low and form.high and form.show):
            what = f"the chart {form.id} lacks from, to or show"
            raise self._fault("over", "E105", what, "say from where to where, and what it shows")
        found: list[float] = []
        for key, text in (("from", form.low), ("to", form.high)):
            if quantity.unit:
                place = self.item.place("charts", self.index, key)
                with_unit(text, edges.units[quantity.unit].label, place)
            try:
                found.append(edges.measure(text, quantity.unit, quantity.kind)[0])
            except ReadingError as error:
                number = "E301" if error.code == "unit" else "E302"
                raise self._fault(key, number, str(error)) from None
        low, high = found
        if not low < high:
            raise self._fault("from", "E306", f"{form.low} is not below {form.high}")
        least, most = quantity.limits or (low, high)
        for key, inside in (
            ("from", low >= least or close(low, least)),
            ("to", high <= most or close(high, most)),
        ):
            if not inside:
                what = f"the chart reaches outside the limits of {form.over}"
                raise self._fault(key, "E306", what, "draw inside the limits")
        return low, high

    def _alike(self, wanted: Type | None) -> None:
        """Everything it shows has one dimension and kind."""
        form, known = self.form, self.there.names.quantities
        first = f"the readings of {form.series}"
        for key in ("show", "lines"):
            for place, name in enumerate(getattr(form, key)):
                found = known[name][1]
                at = self.item.place("charts", self.index, key, place)
                try:
                    types.require_number(found, name)
                    if wanted is not None:
                        types.same(found, wanted, name, first)
                except Mismatch as mismatch:
                    mend = "a chart shows one kind of number, so make another one"
                    raise RuleFault(at, mismatch.number, mismatch.what, mend) from None
                if wanted is None:
                    wanted, first = found, name
