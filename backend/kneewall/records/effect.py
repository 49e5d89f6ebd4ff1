"""What rules would change about visits that were recorded: verdicts that become others."""

from __future__ import annotations

import threading
from dataclasses import dataclass

from kneewall.engine import Engine
from kneewall.records.alike import Pair
from kneewall.records.editions import Editions
from kneewall.records.errors import EditionError
from kneewall.records.ledger import Ledger, Visit
from kneewall.records.present import VERDICTS
from kneewall.records.review import Difference
from kneewall.records.view import View


@dataclass(frozen=True)
class VerdictChange:
    label: str
    member: str
    before: str
    """The verdict; empty where the rules have no such check."""
    after: str


@dataclass(frozen=True)
class VisitChange:
    visit: Visit
    site: str
    changes: list[VerdictChange]
    """What becomes worst first."""


@dataclass(frozen=True)
class Effect:
    looked_at: int
    left_out: bool
    """There are older visits that were not looked at."""
    visits: list[VisitChange]
    failed: list[str]
    """Ids of visits that could not be evaluated."""


def effect(
    view: View, editions: Editions, before: str, after: Engine, lock: threading.Lock, most: int
) -> Effect:
    """Judge the latest visits with readings under an edition and under another engine.

    Args:
        before: hash of the edition to compare with.
        lock: held while `after` evaluates.
        most: so many visits are looked at.

    Raises:
        EditionError: the edition to compare with is not here.
    """
    engine, own_lock = editions.engine(before)
    labels = {check.id: check.label for check in (*engine.bundle.checks, *after.bundle.checks)}
    pair = Pair(engine, own_lock, after, lock)
    looked_at, changed, failed = 0, [], []
    rows = view.visit_rows(most + 1)
    for row in rows[:most]:
        ledger = view.of_site(row.site)[1]
        visit = ledger.visits.get(row.visit)
        if visit is None or visit.first is None:
            continue
        try:
            found = pair.changed(ledger, visit)
        except EditionError:
            failed.append(visit.id)
            continue
        looked_at += 1
        if found:
            site = ledger.sites.get(visit.site)
            changes = [_change(one, labels, ledger, visit) for one in found]
            changes.sort(key=lambda one: VERDICTS.index(one.after or VERDICTS[-1]))
            changed.append(VisitChange(visit, site.name if site else "", changes))
    return Effect(looked_at, len(rows) > most, changed, failed)


def _change(
    found: Difference, labels: dict[str, str], ledger: Ledger, visit: Visit
) -> VerdictChange:
    system = ledger.systems.get(visit.system)
    members = {member.id: member.label for member in system.members} if system else {}
    member = members.get(found.member, found.member[:8]) if found.member else ""
    before, after = (str(side) if side else "" for side in (found.before, found.after))
    return VerdictChange(labels[found.what], member, before, after)
