"""The office's second look: a visit's readings through the office's engine.

The values are the SI values as recorded, under the edition the visit was done under or under any
other. What the phone found itself travels in `closed` and `signed`; a verdict that is another
here, or a number further off than 1e-9 of itself, is a difference and shown.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from typing import Any

from kneewall.bundle import Bundle, Quantity
from kneewall.engine import Answer, CheckResult, Engine, Unknown
from kneewall.records.editions import Editions
from kneewall.records.envelope import ResultSnapshot
from kneewall.records.errors import EditionError
from kneewall.records.ledger import Ledger, Reading, Visit

CLOSE = 1e-9
DEFINITE = frozenset({"pass", "caution", "fail"})

Verdicts = Mapping[tuple[str, str | None], str]
"""By check and member."""

log = logging.getLogger("kneewall.review")

_NO_MEMBER = ""
"""Key of the one member of a collection when the records name none."""


@dataclass(frozen=True)
class Found:
    """A result: its SI value, or why there is none."""

    si: Any
    why: str | None = None


@dataclass(frozen=True)
class Difference:
    """Something two looks at one visit do not agree on: a verdict, or what a quantity is worth.

    None where one of them has no such check or quantity.
    """

    what: str
    """Id of the check or quantity."""
    member: str | None
    before: str | Found | None
    """As the phone found it, or under the first edition."""
    after: str | Found | None
    """As the office finds it, or under the second edition."""


@dataclass(frozen=True)
class Review:
    """A visit under one edition. Not to be kept beyond one request: `answer` shares the engine."""

    edition: str
    engine: Engine
    answer: Answer
    values: Mapping[str, Mapping[str | None, Reading]]
    members: Mapping[str, list[str]]
    checks: list[CheckResult]
    ignored: list[str]
    """Quantities recorded that this edition does not know, or with a value of another type."""
    differences: list[Difference]
    compared: bool
    """The phone sent what it found, and it was compared."""

    @property
    def bundle(self) -> Bundle:
        return self.engine.bundle

    def quantity(self, quantity_id: str) -> Quantity | None:
        slot = self.engine.slots.get(self.engine.former.get(quantity_id, quantity_id))
        return None if slot is None else self.bundle.quantities[slot]


def review(ledger: Ledger, visit: Visit, editions: Editions, edition: str) -> Review:
    """Evaluate a visit under an edition.

    Raises:
        EditionError: there is no such edition here.
    """
    engine, lock = editions.engine(edition)
    return review_with(ledger, visit, engine, lock, edition)


def review_with(
    ledger: Ledger, visit: Visit, engine: Engine, lock: threading.Lock, edition: str
) -> Review:
    """Evaluate a visit with an engine, whose edition need not be published.

    Raises:
        EditionError: the engine failed.
    """
    values, members, given, ignored = _stands_on(ledger, visit, engine)
    with lock, _guarded(visit, edition):
        answer = engine.evaluate(given, members)
        answer.settle()
        checks = answer.checks()
    snapshot = _snapshot(visit) if edition == visit.edition else None
    return Review(
        edition=edition,
        engine=engine,
        answer=answer,
        values=values,
        members=members,
        checks=checks,
        ignored=sorted(ignored),
        differences=_differences(engine, answer, checks, snapshot) if snapshot else [],
        compared=snapshot is not None,
    )


def verdicts(
    ledger: Ledger,
    visit: Visit,
    engine: Engine,
    lock: threading.Lock,
    checks: Collection[str],
) -> Verdicts:
    """What an engine says of a visit by these checks. Nothing else is computed.

    Raises:
        EditionError: the engine failed.
    """
    _, members, given, _ = _stands_on(ledger, visit, engine)
    with lock, _guarded(visit, engine.bundle.hash):
        found = engine.evaluate(given, members).checks(list(checks))
    return {(check.id, check.member or None): check.verdict for check in found}


@contextmanager
def _guarded(visit: Visit, edition: str) -> Iterator[None]:
    """A fault of ours in one visit must not take its page or the list away."""
    try:
        yield
    except Exception:
        log.exception("visit %s cannot be evaluated under %s", visit.id, edition)
        raise EditionError("The office's engine failed on this visit; its log says more.") from None


def answered(
    ledger: Ledger, visit: Visit, engine: Engine
) -> tuple[Answer, Mapping[str, list[str]]]:
    """What a visit comes to, computed as it is asked, and its members. The engine's lock is held meanwhile."""
    _, members, given, _ = _stands_on(ledger, visit, engine)
    return engine.evaluate(given, members), members


def asked_again(found: Review, quantity: str, member: str | None, si: float) -> Answer:
    """The same visit with another value of one quantity. The engine's lock is held meanwhile."""
    given, _ = _given(found.engine, found.values)
    if found.engine.bundle.quantities[found.engine.slots[quantity]].scope in found.members:
        given[quantity] = {**given.get(quantity, {}), member or _NO_MEMBER: si}
    else:
        given[quantity] = si
    return found.engine.evaluate(given, found.members)


def _stands_on(
    ledger: Ledger, visit: Visit, engine: Engine
) -> tuple[dict[str, dict[str | None, Reading]], dict[str, list[str]], dict[str, Any], list[str]]:
    """A visit's readings, its members, the values as the engine takes them, and what it cannot take."""
    values = ledger.values(visit, lambda quantity: _carried(engine, quantity))
    members = _members(engine, ledger, visit, values)
    return values, members, *_given(engine, values)


def _given(
    engine: Engine, values: Mapping[str, Mapping[str | None, Reading]]
) -> tuple[dict[str, Any], list[str]]:
    """Values as the engine takes them, and the quantities it cannot take."""
    given: dict[str, Any] = {}
    ignored: list[str] = []
    for quantity_id, by_member in values.items():
        slot = engine.slots.get(engine.former.get(quantity_id, quantity_id))
        quantity = None if slot is None else engine.bundle.quantities[slot]
        fitting = {
            member: _as_lists(reading.si)
            for member, reading in by_member.items()
            if quantity is not None and fits(quantity, reading.si)
        }
        if len(fitting) < len(by_member):
            ignored.append(quantity_id)
        if quantity is not None and quantity.scope in engine.collections:
            given[quantity_id] = {m or _NO_MEMBER: si for m, si in fitting.items()}
        elif None in fitting:
            given[quantity_id] = fitting[None]
    return given, ignored


def fits(quantity: Quantity, si: object) -> bool:
    """Whether a recorded value has the type of its quantity. Limits are for the engine to judge."""
    match quantity.type:
        case "number" | "count":
            return _is_number(si)
        case "flag":
            return isinstance(si, bool)
        case "choice" | "text":
            return isinstance(si, str)
        case "date":
            return isinstance(si, str) and _is_day(si)
        case "list":
            wanted = (lambda x: isinstance(x, str)) if quantity.choices else _is_number
            return isinstance(si, list) and all(map(wanted, si))
        case "texts":
            return isinstance(si, list) and all(isinstance(one, str) for one in si)
        case "series":
            return isinstance(si, list) and all(
                isinstance(pair, list | tuple) and len(pair) == 2 and all(map(_is_number, pair))
                for pair in si
            )


def _as_lists(si: Any) -> Any:
    """A series as the engine takes it: pairs as lists."""
    if isinstance(si, list):
        return [list(pair) if isinstance(pair, tuple) else pair for pair in si]
    return si


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def changed_verdicts(old: Verdicts, new: Verdicts) -> list[Difference]:
    """Checks whose verdict is another under another edition; absent reads None.

    A check that says nothing definite in either is left out: a rule that is new and has nothing to
    judge on this visit changes nothing there.
    """
    return [
        Difference(check, member, old.get((check, member)), new.get((check, member)))
        for check, member in sorted(old.keys() | new.keys(), key=lambda key: (key[0], key[1] or ""))
        if old.get((check, member)) != new.get((check, member))
        and {old.get((check, member)), new.get((check, member))} & DEFINITE
    ]


def _carried(engine: Engine, quantity_id: str) -> str:
    slot = engine.slots.get(engine.former.get(quantity_id, quantity_id))
    if slot is None:
        return "visit"
    quantity = engine.bundle.quantities[slot]
    if quantity.each_visit or quantity.scope == "visit":
        return "visit"
    return "site" if quantity.scope == "site" else "system"


def _members(
    engine: Engine,
    ledger: Ledger,
    visit: Visit,
    values: Mapping[str, Mapping[str | None, Reading]],
) -> dict[str, list[str]]:
    """Members by collection: those added to the system, then any that only readings name."""
    members: dict[str, list[str]] = {name: [] for name in engine.collections}
    system = ledger.systems.get(visit.system)
    for member in system.members if system else []:
        if member.collection in members:
            members[member.collection].append(member.id)
    for quantity_id, by_member in values.items():
        slot = engine.slots.get(engine.former.get(quantity_id, quantity_id))
        scope = engine.bundle.quantities[slot].scope if slot is not None else ""
        if scope in members:
            for key in sorted(by_member, key=str):
                if (key or _NO_MEMBER) not in members[scope]:
                    members[scope].append(key or _NO_MEMBER)
    return members


def _snapshot(visit: Visit) -> ResultSnapshot | None:
    sent = [kept.body.results for kept in visit.signatures]
    if visit.closed:
        sent.append(visit.closed.body.results)
    found = [results for results in sent if results is not None]
    return found[-1] if found else None


def _differences(
    engine: Engine, answer: Answer, checks: list[CheckResult], sent: ResultSnapshot
) -> list[Difference]:
    here = {(check.id, check.member or None): check.verdict for check in checks}
    found = [
        Difference(check.id, check.member, check.verdict, here.get((check.id, check.member)))
        for check in sent.checks
        if here.get((check.id, check.member)) != check.verdict
    ]
    for result in sent.results:
        office = _value(engine, answer, result.quantity, result.member)
        phone = Found(result.si, result.why)
        if office is None or phone.why != office.why or not _same(phone.si, office.si):
            found.append(Difference(result.quantity, result.member, phone, office))
    return found


def _value(engine: Engine, answer: Answer, quantity_id: str, member: str | None) -> Found | None:
    name = engine.former.get(quantity_id, quantity_id)
    if name not in engine.slots:
        return None
    scope = engine.bundle.quantities[engine.slots[name]].scope
    key = None
    if scope in engine.collections:
        key = member or _NO_MEMBER
        if key not in answer.names[engine.collections[scope]]:
            return None
    value = answer.value(name, key)
    return Found(None, value.why) if isinstance(value, Unknown) else Found(value)


def _same(one: object, other: object) -> bool:
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= CLOSE * max(abs(one), abs(other))
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(_same, one, other))
    return one == other
