"""What was done on a visit, and which verdicts are told of it. The twin of the phone's `told.ts`.

A verdict is told where something asked for it, and a definite one also where it rests on what was
recorded here, whoever asked. What is not known yet is told only where a step of the visit's
checklists asks for it: a calculator that shares some of their readings was perhaps never meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from kneewall.bundle import Bundle, Calculator, Checklist, Quantity, Step, Verdict
from kneewall.engine import CheckResult, Unknown
from kneewall.records.ledger import Visit
from kneewall.records.review import Review

WORST: tuple[Verdict, ...] = ("fail", "caution", "unknown", "pass")


def checklists_of(bundle: Bundle, visit: Visit) -> list[Checklist]:
    """Those planned for the visit, and any other of which a step was dealt with."""
    touched = {*visit.checklists, *(checklist for checklist, _, _ in visit.steps)}
    return [each for each in bundle.checklists if each.id in touched]


def calculators_begun(found: Review, visit: Visit) -> list[Calculator]:
    """Calculators that somebody began on this visit, or whose answer is known from it.

    Half of what is asked makes a beginning: a value shared with others, such as the altitude, does not.
    """
    here = _current(
        found, (q for (q, _), reading in visit.readings.items() if reading.si is not None)
    )
    standing = _current(found, found.values)
    begun = []
    for calculator in found.bundle.calculators:
        if here.isdisjoint([*calculator.enter, *calculator.if_known]):
            continue
        asked = [each for each in calculator.enter if _default(found, each) is None]
        if 2 * len(standing.intersection(asked)) >= len(asked) or _answered(found, calculator):
            begun.append(calculator)
    return begun


def told_checks(found: Review, visit: Visit) -> list[CheckResult]:
    """The verdicts a report has, in the order of the rules."""
    listed = {check for step in _steps(found, visit) for check in step.checks}
    begun = {check for each in calculators_begun(found, visit) for check in each.checks}
    here = _current(found, (quantity for quantity, _ in visit.readings))
    slots = frozenset(found.engine.slots[each] for each in here)
    rests_here = {
        check.id for check in found.bundle.checks if _rests_on(found, check.inputs, slots)
    }
    definite = listed | begun | rests_here
    unknown = listed or begun
    return [
        result
        for result in found.checks
        if result.verdict != "not-applicable"
        and result.id in (unknown if result.verdict == "unknown" else definite)
    ]


def worst_on(
    found: Review, told: Sequence[CheckResult], quantity: Quantity, member: str | None
) -> Verdict | None:
    """The worst verdict that rests on a reading, of calculators that it can be entered in.

    None where there is none.
    """
    near = {
        check
        for each in found.bundle.calculators
        if quantity.id in (*each.enter, *each.if_known)
        for check in each.checks
    }
    inputs = {check.id: check.inputs for check in found.bundle.checks}
    slot = frozenset([found.engine.slots[quantity.id]])
    verdicts = {
        result.verdict
        for result in told
        if result.id in near
        and (not result.member or not member or result.member == member)
        and _rests_on(found, inputs[result.id], slot)
    }
    return next((verdict for verdict in WORST if verdict in verdicts), None)


def _rests_on(found: Review, inputs: Iterable[int], slots: frozenset[int]) -> bool:
    """Whether what has these inputs rests on one of the slots, however far back."""
    return any(not slots.isdisjoint(found.engine.upstream[slot]) for slot in inputs)


def _steps(found: Review, visit: Visit) -> Iterator[Step]:
    """Steps of the visit's checklists that apply, and those of which it is not known yet."""
    for checklist in checklists_of(found.bundle, visit):
        for step in checklist.steps:
            if step.when is None or found.answer.holds(step.when) is not False:
                yield step


def _current(found: Review, quantities: Iterable[str]) -> set[str]:
    """As this edition names them; those that it does not know are left out."""
    names = (found.quantity(each) for each in quantities)
    return {quantity.id for quantity in names if quantity}


def _default(found: Review, quantity_id: str) -> object:
    quantity = found.quantity(quantity_id)
    return quantity.default if quantity else None


def _answered(found: Review, calculator: Calculator) -> bool:
    first = found.quantity(calculator.show[0]) if calculator.show else None
    if first is None:
        return False
    members = found.members.get(first.scope)
    return any(
        not isinstance(found.answer.value(first.id, member), Unknown)
        for member in ([None] if members is None else members)
    )
