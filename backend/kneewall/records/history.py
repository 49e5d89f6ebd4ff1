"""What each visit on a system found, the oldest first: by its own rules, or as its phone sent it.

The twin of the phone's `history.ts`.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from kneewall.bundle import OVER_VISITS, Bundle, Calculator, Chart, Quantity, Verdict
from kneewall.engine import Answer, Engine, Unknown
from kneewall.records.editions import Editions
from kneewall.records.envelope import ResultSnapshot
from kneewall.records.errors import EditionError
from kneewall.records.ledger import Findings, Ledger, Reading, Visit
from kneewall.records.review import Review, answered

BASELINE = ("install", "commissioning")
WORST: tuple[Verdict, ...] = ("fail", "unknown", "caution", "pass")

log = logging.getLogger("kneewall.history")


@dataclass(frozen=True)
class Then:
    """One visit as it was found then."""

    at: datetime
    """When its work began, by the clock of the phone that began it."""
    baseline: bool
    other_rules: bool
    """Its rules were not those of the visit that looks back."""
    findings: Findings

    def verdict(self, checks: Iterable[str], member: str | None) -> str:
        """The worst of these checks; empty where none was judged."""
        found = {
            verdict
            for check in checks
            for (name, of), verdict in self.findings.verdicts.items()
            if name == check and (not of or not member or of == member)
        }
        return next((verdict for verdict in WORST if verdict in found), "")


def over_visits(bundle: Bundle) -> list[tuple[Calculator, Chart]]:
    """The charts that go from visit to visit."""
    return [
        (calculator, chart)
        for calculator in bundle.calculators
        for chart in calculator.charts
        if chart.over == OVER_VISITS
    ]


def history_of(ledger: Ledger, visit: Visit, found: Review, editions: Editions) -> list[Then]:
    """The visits on the system up to this one, which comes last.

    Args:
        found: the visit under the rules that look back; what they draw over visits is looked up.
    """
    if visit.first is None:
        return []
    asked = _Asked(found)
    until = visit.first.corrected
    earlier = [
        (each.first, each)
        for each in ledger.visits.values()
        if each.id != visit.id
        and each.system == visit.system
        and each.first is not None
        and each.first.corrected < until
    ]
    history = []
    for first, each in sorted(earlier, key=lambda pair: (pair[0].corrected, pair[1].id)):
        key = each.id, found.edition
        if key not in ledger.looked_back:
            ledger.looked_back[key] = asked.of(ledger, each, editions)
        other = each.edition != found.edition
        then = Then(first.local, each.visit_kind in BASELINE, other, ledger.looked_back[key])
        history.append(then)
    present = asked.in_answer(found.engine, found.answer, found.members)
    history.append(Then(visit.first.local, visit.visit_kind in BASELINE, False, present))
    return history


class _Asked:
    """The quantities and checks that one bundle draws over visits, looked up in others."""

    def __init__(self, found: Review) -> None:
        charts = over_visits(found.bundle)
        names = dict.fromkeys(name for _, chart in charts for name in chart.show)
        self.bundle = found.bundle
        self.quantities = [q for name in names if (q := found.quantity(name)) is not None]
        self.checks = {check for calculator, _ in charts for check in calculator.checks}

    def of(self, ledger: Ledger, visit: Visit, editions: Editions) -> Findings:
        """Without its rules a visit is what was read there, and what its phone found when it was signed or closed."""
        if visit.edition is not None:
            try:
                engine, lock = editions.engine(visit.edition)
                with lock:
                    answer, members = answered(ledger, visit, engine)
                    return self.in_answer(engine, answer, members)
            except EditionError:
                pass
            except Exception:
                # A fault of ours in one visit must not take the page of another away.
                log.exception("visit %s cannot be evaluated under %s", visit.id, visit.edition)
        return self._sent(visit)

    def in_answer(
        self, engine: Engine, answer: Answer, members: Mapping[str, list[str]]
    ) -> Findings:
        values: dict[tuple[str, str | None], float] = {}
        for quantity in self.quantities:
            names = (quantity.id, *quantity.formerly)
            now = [engine.former.get(name, name) for name in names]
            then = next((name for name in now if name in engine.slots), None)
            if then is None:
                continue
            known = engine.bundle.quantities[engine.slots[then]]
            if _sort(self.bundle, quantity) != _sort(engine.bundle, known):
                continue
            for member in members.get(known.scope, [None]):
                value = answer.value(then, member)
                if not isinstance(value, Unknown | bool) and isinstance(value, int | float):
                    values[quantity.id, member or None] = value
        known_checks = [check.id for check in engine.bundle.checks if check.id in self.checks]
        judged = answer.checks(known_checks)
        return Findings(values, {(each.id, each.member or None): each.verdict for each in judged})

    def _sent(self, visit: Visit) -> Findings:
        values: dict[tuple[str, str | None], float] = {}
        sent = _still_true(visit) or ResultSnapshot()
        for quantity in self.quantities:
            names = (quantity.id, *quantity.formerly)
            told: list[tuple[str, str | None, object]] = (
                [(name, member, r.si) for (name, member), r in visit.readings.items()]
                if quantity.tree is None
                else [(r.quantity, r.member, r.si) for r in sent.results]
            )
            for name, member, si in told:
                if name in names and isinstance(si, int | float) and not isinstance(si, bool):
                    values[quantity.id, member or None] = si
        return Findings(values, {(c.id, c.member or None): c.verdict for c in sent.checks})


def _sort(bundle: Bundle, quantity: Quantity) -> tuple[str, str, str]:
    """A quantity may have been another thing under other rules: such a figure belongs on no common line."""
    unit = bundle.units.get(quantity.unit)
    return quantity.type, unit.dimension if unit else "", unit.kind if unit else ""


def _still_true(visit: Visit) -> ResultSnapshot | None:
    """What its phone sent last, unless a value was written, corrected or taken out since."""
    sent = [(kept.source.when.corrected, kept.body.results) for kept in visit.signatures]
    if visit.closed:
        sent.append((visit.closed.source.when.corrected, visit.closed.body.results))
    known = [(time, results) for time, results in sent if results is not None]
    if not known:
        return None
    until, results = max(known, key=lambda pair: pair[0])
    changed = [time for reading in visit.readings.values() for time in _times(reading)]
    changed += [void.source.when.corrected for void in visit.voids]
    return results if all(time <= until for time in changed) else None


def _times(reading: Reading) -> list[datetime]:
    sources = [reading.source, *(made.source for made in reading.corrections)]
    return [source.when.corrected for source in sources]
