"""A visit put into lines for a reader: verdicts, results, readings, steps."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from kneewall.bundle import Calculator, Checklist, Quantity, SourceRef
from kneewall.engine import CheckResult, Unknown
from kneewall.explain import Explainer
from kneewall.reading import ReadingError, edges_of
from kneewall.records.editions import Editions
from kneewall.records.errors import EditionError
from kneewall.records.ledger import Ledger, Reading, StepState, Visit
from kneewall.records.review import Found, Review, fits, review
from kneewall.records.told import calculators_begun, checklists_of, told_checks

VERDICTS = ("fail", "caution", "unknown", "pass", "not-applicable")


@dataclass(frozen=True)
class VerdictLine:
    check: str
    verdict: str
    label: str
    member: str
    message: str
    source: str
    disputed: str
    """The figures in dispute that it rests on."""
    borderline: bool
    until: str
    """The last day of the check."""
    phone: str | None
    """What the phone found, where that is something else."""


@dataclass(frozen=True)
class ResultLine:
    label: str
    member: str
    value: str
    """With its unit; empty when unknown."""
    why: str
    off: bool
    """It does not apply here."""
    filled: str
    source: str
    disputed: str
    pack: str
    defaults: list[str]
    phone: str | None


@dataclass(frozen=True)
class CalculatorBlock:
    calculator: Calculator
    results: list[ResultLine]

    @property
    def answered(self) -> bool:
        return any(line.value for line in self.results)


@dataclass(frozen=True)
class ReadingLine:
    label: str
    member: str
    reading: Reading
    typed: str
    shown: str
    """In the declared unit, where that differs from what was typed."""
    here: bool
    """Recorded on this visit; else kept with the site or system from an earlier one."""
    known: bool
    """The edition knows the quantity."""
    fits: bool
    """The value has the quantity's type."""


@dataclass(frozen=True)
class StepLine:
    sign: str
    title: str
    member: str
    state: StepState | None


@dataclass(frozen=True)
class ChecklistBlock:
    title: str
    steps: list[StepLine]
    done: int
    skipped: int
    all: int
    """Steps that apply, or may."""


@dataclass(frozen=True)
class Summary:
    """A visit in one line of the list."""

    verdicts: Mapping[str, int]
    differences: int
    conflicts: int
    trouble: str
    """Why it could not be evaluated."""

    @property
    def sign(self) -> str:
        return next((v for v in VERDICTS[:4] if self.verdicts.get(v)), "todo")


class VisitPage:
    """One visit under one edition, in lines."""

    def __init__(self, ledger: Ledger, visit: Visit, found: Review) -> None:
        self.ledger = ledger
        self.visit = visit
        self.found = found
        self.bundle = found.bundle
        self.explainer = Explainer(found.answer)
        self.edges = edges_of(self.bundle)
        self._differs = {(d.what, d.member): d for d in found.differences}
        self._labels = {
            member.id: member.label
            for system in ledger.systems.values()
            for member in system.members
        }

    def verdicts(self) -> list[VerdictLine]:
        """What is told of the visit; worst first."""
        checks = {check.id: check for check in self.bundle.checks}
        lines = []
        for result in self.told:
            check = checks[result.id]
            differs = self._differs.get((result.id, result.member or None))
            lines.append(
                VerdictLine(
                    result.id,
                    result.verdict,
                    check.label,
                    self.member(result.member),
                    self.explainer.message(result),
                    self.source(check.source),
                    self.sources(
                        [] if result.verdict == "unknown" else self.explainer.disputed_in(result)
                    ),
                    result.borderline,
                    self.explainer.last_day(result),
                    str(differs.before) if differs else None,
                )
            )
        return sorted(lines, key=lambda line: VERDICTS.index(line.verdict))

    @cached_property
    def results(self) -> list[CalculatorBlock]:
        """Of the calculators that somebody began."""
        blocks = []
        for calculator in self.calculators:
            lines = [
                self._result(quantity, member)
                for name in calculator.show
                if (quantity := self.found.quantity(name)) is not None
                for member in self._members(quantity)
            ]
            if lines:
                blocks.append(CalculatorBlock(calculator, lines))
        return blocks

    def readings(self) -> list[ReadingLine]:
        """Every reading the visit rests on, in the order the edition declares them."""
        lines = []
        for quantity_id, by_member in self.found.values.items():
            for member, reading in by_member.items():
                here = self.visit.readings.get((quantity_id, member))
                lines.append(self._reading(quantity_id, here or reading, here is not None))
        cleared = [
            self._reading(key[0], reading, here=True)
            for key, reading in self.visit.readings.items()
            if reading.si is None
        ]
        order = {q.id: place for place, q in enumerate(self.bundle.quantities)}
        return sorted(
            lines + cleared,
            key=lambda line: (order.get(line.reading.quantity, len(order)), line.member),
        )

    def checklists(self) -> list[ChecklistBlock]:
        known = {each.id: each for each in checklists_of(self.bundle, self.visit)}
        # Another edition's are shown as well.
        touched = dict.fromkeys([*self.visit.checklists, *(key[0] for key in self.visit.steps)])
        return [self._checklist(one, known.get(one)) for one in touched]

    def member(self, member: str | None) -> str:
        return self._labels.get(member, member[:8]) if member else ""

    def source(self, source: SourceRef | None) -> str:
        if source is None:
            return ""
        known = self.bundle.sources.get(source.of)
        title = f"{known.title} {known.edition}".strip() if known else source.of
        place = f", {source.place}" if source.place else ""
        mark = f" ({source.mark})" if source.mark else ""
        unconfirmed = "" if known is None or known.confirmed else ", not confirmed"
        return f"{title}{place}{mark}{unconfirmed}"

    def sources(self, sources: Iterable[SourceRef]) -> str:
        """Several in few words."""
        titles = (
            (
                self.bundle.sources[each.of].title if each.of in self.bundle.sources else each.of,
                each,
            )
            for each in sources
        )
        return "; ".join(
            f"{title}, {each.place}" if each.place else title for title, each in titles
        )

    def label(self, quantity_id: str) -> str:
        quantity = self.found.quantity(quantity_id)
        return quantity.label if quantity else quantity_id

    def summary(self) -> Summary:
        counts: dict[str, int] = {}
        for line in self.verdicts():
            counts[line.verdict] = counts.get(line.verdict, 0) + 1
        conflicts = sum(bool(reading.conflicts) for reading in self.visit.readings.values())
        return Summary(counts, len(self.found.differences), conflicts, "")

    def differences(self) -> list[tuple[str, str, str, str]]:
        """Label, member, what the phone found, what the office finds."""
        checks = {check.id: check.label for check in self.bundle.checks}
        return [
            (
                checks.get(one.what) or self.label(one.what),
                self.member(one.member),
                self._side(one.what, one.before),
                self._side(one.what, one.after),
            )
            for one in self.found.differences
        ]

    @cached_property
    def told(self) -> list[CheckResult]:
        return told_checks(self.found, self.visit)

    @cached_property
    def calculators(self) -> list[Calculator]:
        return calculators_begun(self.found, self.visit)

    # --- parts ---------------------------------------------------------------------------------

    def _members(self, quantity: Quantity) -> list[str | None]:
        members = self.found.members.get(quantity.scope)
        return [None] if members is None else list(members)

    def _result(self, quantity: Quantity, member: str | None) -> ResultLine:
        value = self.found.answer.value(quantity.id, member)
        known = not isinstance(value, Unknown)
        step = self.explainer.step(quantity.id, member)
        differs = self._differs.get((quantity.id, member or None))
        return ResultLine(
            label=quantity.label,
            member=self.member(member),
            value="" if isinstance(value, Unknown) else self.edges.show(quantity, value),
            why=self.explainer.why(value) if isinstance(value, Unknown) else "",
            off=isinstance(value, Unknown) and value.why == "not-applicable",
            filled=step.filled if known else "",
            source=self.source(step.source),
            disputed=self.sources(self.explainer.disputed(quantity.id, member) if known else []),
            pack=step.pack,
            defaults=[self.label(one) for one in step.defaults],
            phone=self._side(quantity.id, differs.before) if differs else None,
        )

    def _reading(self, quantity_id: str, reading: Reading, here: bool) -> ReadingLine:
        quantity = self.found.quantity(quantity_id)
        unit = self.bundle.units.get(reading.unit or "")
        typed = f"{reading.text} {unit.label if unit else reading.unit or ''}".strip()
        shown = self._shown(quantity_id, reading.si)
        return ReadingLine(
            label=quantity.label if quantity else quantity_id,
            member=self.member(reading.member),
            reading=reading,
            typed=typed or ("cleared" if reading.si is None else shown),
            shown="" if shown == typed or self._as_typed(quantity, reading) else shown,
            here=here,
            known=quantity is not None,
            fits=quantity is None or reading.si is None or fits(quantity, reading.si),
        )

    def _as_typed(self, quantity: Quantity | None, reading: Reading) -> bool:
        """A number typed in the declared unit reads as it was typed."""
        if quantity is None or quantity.type not in ("number", "count"):
            return False
        try:
            unit = self.edges.find_unit(reading.unit) if reading.unit else ""
        except ReadingError:
            return False
        return not unit or self.edges.fit_unit(unit, quantity.unit, quantity.kind) == quantity.unit

    def _shown(self, quantity_id: str, si: object) -> str:
        """An SI value in the declared unit; as it stands where it does not fit the quantity."""
        quantity = self.found.quantity(quantity_id)
        if si is None:
            return ""
        try:
            return self.edges.show(quantity, si) if quantity else f"{si} (SI)"  # type: ignore[arg-type]
        except (TypeError, ValueError, ArithmeticError):
            return f"{si} (SI)"

    def _side(self, quantity_id: str, side: str | Found | None) -> str:
        if side is None:
            return "absent"
        if isinstance(side, Found):
            return f"unknown ({side.why})" if side.why else self._shown(quantity_id, side.si)
        return side

    def _checklist(self, checklist_id: str, checklist: Checklist | None) -> ChecklistBlock:
        states = {key: s for key, s in self.visit.steps.items() if key[0] == checklist_id}
        lines: list[StepLine] = []
        for step in checklist.steps if checklist else []:
            applies = step.when is None or self.found.answer.holds(step.when) is not False
            sign = "todo" if applies else "not-applicable"
            found = [(key[2], state) for key, state in states.items() if key[1] == step.id]
            if not found:
                lines.append(StepLine(sign, step.title, "", None))
            for member, state in found:
                lines.append(StepLine(_step_sign(state), step.title, self.member(member), state))
        in_rules = {step.id for step in checklist.steps} if checklist else set()
        lines += [
            StepLine(_step_sign(state), key[1], self.member(key[2]), state)
            for key, state in states.items()
            if key[1] not in in_rules
        ]
        return ChecklistBlock(
            title=checklist.title if checklist else checklist_id,
            steps=lines,
            done=sum(line.sign != "caution" for line in lines if line.state),
            skipped=sum(line.sign == "caution" for line in lines if line.state),
            all=sum(line.state is not None or line.sign == "todo" for line in lines),
        )


def _step_sign(state: StepState) -> str:
    return {"done": "pass", "skipped": "caution"}.get(state.outcome, "not-applicable")


def look_at(
    editions: Editions, ledger: Ledger, visit: Visit, edition: str | None = None
) -> VisitPage | None:
    """A visit under its edition, or under the live one before its first reading.

    None while there is no edition at all. Raises EditionError when its edition is not here.
    """
    live = editions.live()
    digest = edition or visit.edition or (live.hash if live else None)
    if digest is None:
        return None
    return VisitPage(ledger, visit, review(ledger, visit, editions, digest))


class Summaries:
    """Summaries of visits, made again only when something at their site changed."""

    _KEPT = 5000

    def __init__(self, editions: Editions) -> None:
        self.editions = editions
        self._guard = threading.Lock()
        self._made: OrderedDict[tuple[str, int, str | None], Summary] = OrderedDict()

    def of(self, version: int, ledger: Ledger, visit: Visit) -> Summary:
        key = (visit.id, version, visit.edition)
        with self._guard:
            if key in self._made:
                return self._made[key]
        try:
            page = look_at(self.editions, ledger, visit) if visit.first else None
            made = page.summary() if page else Summary({}, 0, 0, "")
        except EditionError as error:
            made = Summary({}, 0, 0, str(error))
        with self._guard:
            self._made[key] = made
            while len(self._made) > self._KEPT:
                self._made.popitem(last=False)
        return made
