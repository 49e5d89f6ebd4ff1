"""The fold: records in, what they amount to out. Pure, and the same for any order of the input.

    fold(records) -> Ledger: sites, systems with members, visits with all that was done on them

Order. Within one epoch of a device `seq` says which came first, whatever its clock did. Between
devices, and between epochs, the corrected time decides (wall time plus the last known offset to
the office's clock), then the record's id.

Readings. Of one device's values for a quantity and member in a visit the last one stands. Of
several devices' standing values the latest is shown; one that was neither on the screen when a
later one was entered (`replaces`) nor corrected nor voided, and that says something else, is
listed as its conflict. A timer reading that names a quantity is a reading like any other.

A correction changes what the named record says and keeps its place; the last one that is not
itself voided counts. A void takes the named record out; a void cannot be voided.

Kept with the system. What a quantity is worth on a visit if nobody entered it there is decided by
`Ledger.values`: a quantity of the site or of the system is taken from the last earlier visit
that has it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from kneewall.records import envelope as e
from kneewall.records.ledger import (
    Correction,
    Kept,
    Key,
    Ledger,
    Member,
    NoteState,
    Reading,
    Site,
    StepState,
    System,
    TimerState,
    Visit,
    VoidState,
)
from kneewall.records.order import clock, in_order, last_words, of_sort, source, when

FOLD_VERSION = 1


def fold(records: Iterable[e.Record]) -> Ledger:
    every = sorted(records, key=lambda record: record.id)
    voided = {r.body.record for r in every if isinstance(r, e.VoidedRecord)}
    voids = {r.id for r in every if isinstance(r, e.VoidedRecord)}
    standing = [r for r in every if r.id not in voided or r.id in voids]
    one_site = _merged(standing, "site")
    one_system = _merged(standing, "system")
    corrections = _corrections(standing)
    ledger = Ledger({}, {}, {})
    _sites(ledger, standing, one_site)
    _systems(ledger, standing, one_site, one_system)
    by_visit: dict[str, list[e.Record]] = defaultdict(list)
    for record in every:
        if record.visit is not None:
            by_visit[record.visit].append(record)
    for visit, of_visit in by_visit.items():
        ledger.visits[visit] = _visit(of_visit, voided - voids, corrections, one_site, one_system)
    return ledger


# --- sites and systems -------------------------------------------------------------------------


def _merged(records: Sequence[e.Record], sort: str) -> Callable[[str], str]:
    """Leads from any id to the one kept. Where merges contradict each other (a is b, b is a)
    the smallest id of the circle is kept."""
    leads: dict[str, str] = {}
    same = [r for r in of_sort(records, e.SameAsRecord) if r.body.sort == sort]
    for record in sorted(same, key=clock):
        leads[record.body.other] = record.body.keep

    def one(start: str) -> str:
        seen = [start]
        while (after := leads.get(seen[-1])) is not None:
            if after in seen:
                return min(seen[seen.index(after) :])
            seen.append(after)
        return seen[-1]

    return one


def _sites(ledger: Ledger, records: Sequence[e.Record], one_site: Callable[[str], str]) -> None:
    also: dict[str, set[str]] = defaultdict(set)
    for record in records:
        if record.site is not None:
            kept = one_site(record.site)
            ledger.sites.setdefault(kept, Site(kept))
            also[kept] |= {record.site} - {kept}
    for kept, site in ledger.sites.items():
        site.also = tuple(sorted(also[kept]))
        added = of_sort(records, e.SiteAddedRecord)
        named = [r for r in added if r.site == kept] or [
            r for r in added if one_site(r.site) == kept
        ]
        if named:
            last = last_words(named)[-1]
            site.name, site.address = last.body.name, last.body.address


def _systems(
    ledger: Ledger,
    records: Sequence[e.Record],
    one_site: Callable[[str], str],
    one_system: Callable[[str], str],
) -> None:
    about: dict[str, list[e.Record]] = defaultdict(list)
    for record in records:
        if record.system is not None:
            about[one_system(record.system)].append(record)
    for kept, those in about.items():
        own = [r for r in those if r.system == kept] or those
        site = next((r.site for r in sorted(own, key=clock) if r.site is not None), "")
        system = System(kept, one_site(site))
        system.also = tuple(sorted({str(r.system) for r in those} - {kept}))
        named = of_sort(own, e.SystemAddedRecord) or of_sort(those, e.SystemAddedRecord)
        if named:
            system.label = last_words(named)[-1].body.label
        by_member: dict[str, list[e.MemberAddedRecord]] = defaultdict(list)
        for record in of_sort(those, e.MemberAddedRecord):
            by_member[record.body.member].append(record)
        order = {id_: in_order(rs)[0] for id_, rs in by_member.items()}
        for first_added in in_order(order.values()):
            body = last_words(by_member[first_added.body.member])[-1].body
            system.members.append(Member(body.collection, body.member, body.label))
        ledger.systems[kept] = system


# --- visits ------------------------------------------------------------------------------------


def _visit(
    records: Sequence[e.Record],
    voided: set[str],
    corrections: dict[str, list[e.CorrectedRecord]],
    one_site: Callable[[str], str],
    one_system: Callable[[str], str],
) -> Visit:
    first = min(records, key=clock)
    located = [r for r in sorted(records, key=clock) if r.site is not None and r.system is not None]
    place = located[0] if located else first
    visit = Visit(str(first.visit), one_site(place.site or ""), one_system(place.system or ""))
    standing = [r for r in records if r.id not in voided]
    opened = of_sort(standing, e.VisitOpenedRecord)
    if opened:
        plan = last_words(opened)[-1]
        visit.title, visit.visit_kind = plan.body.title, plan.body.visit_kind
        visit.date, visit.checklists = plan.body.date, list(plan.body.checklists)
        visit.opened = source(plan)
        visit.site, visit.system = one_site(plan.site), one_system(plan.system)
    assigned = of_sort(standing, e.AssignedRecord)
    if assigned:
        visit.assigned_to = last_words(assigned)[-1].body.to
    _field_work(visit, records)
    _readings(visit, standing, corrections)
    _steps(visit, standing)
    _timers(visit, standing)
    visit.notes = [
        _note(record, corrections) for record in in_order(of_sort(standing, e.NoteRecord))
    ]
    visit.photos = [Kept(source(r), r.body) for r in in_order(of_sort(standing, e.PhotoRecord))]
    visit.signatures = [
        Kept(source(r), r.body) for r in in_order(of_sort(standing, e.SignedRecord))
    ]
    visit.comments = [
        Kept(source(r), r.body) for r in in_order(of_sort(standing, e.CommentedRecord))
    ]
    closings = of_sort(standing, e.ClosedRecord)
    if closings:
        last = last_words(closings)[-1]
        visit.closed = Kept(source(last), last.body)
    kinds = {r.id: r.kind for r in records}
    visit.voids = [
        VoidState(source(r), r.body.record, kinds.get(r.body.record, "?"), r.body.reason)
        for r in in_order(of_sort(records, e.VoidedRecord))
    ]
    return visit


def _field_work(visit: Visit, records: Sequence[e.Record]) -> None:
    """Edition, devices and times. A voided record was written all the same and fixes them too."""
    field_records = in_order(r for r in records if r.kind in e.FIELD_KINDS)
    if field_records:
        visit.first, visit.last = when(field_records[0]), when(field_records[-1])
        visit.edition = next((r.edition for r in field_records if r.edition is not None), None)
        visit.devices = tuple(dict.fromkeys(r.device for r in field_records))
    moves = of_sort(records, e.EditionMovedRecord)
    if moves:
        visit.edition = last_words(moves)[-1].edition


def _corrections(records: Sequence[e.Record]) -> dict[str, list[e.CorrectedRecord]]:
    """By the record that is corrected in the end: a correction of a correction counts for it."""
    all_of = of_sort(records, e.CorrectedRecord)
    names = {r.id: r.body.record for r in all_of}
    by_root: dict[str, list[e.CorrectedRecord]] = defaultdict(list)
    for record in all_of:
        root, seen = record.body.record, {record.id}
        while root in names and root not in seen:
            seen.add(root)
            root = names[root]
        by_root[root].append(record)
    return by_root


def _corrected_by(
    record_id: str, corrections: dict[str, list[e.CorrectedRecord]]
) -> tuple[Correction, ...]:
    of_record = corrections.get(record_id, [])
    if not of_record:
        return ()
    last = last_words(of_record)[-1]
    order = [r for r in in_order(of_record) if r.id != last.id] + [last]
    return tuple(
        Correction(source(r), r.body.text, r.body.unit, r.body.si, r.body.reason) for r in order
    )


def _readings(
    visit: Visit,
    records: Sequence[e.Record],
    corrections: dict[str, list[e.CorrectedRecord]],
) -> None:
    by_key: dict[Key, list[e.ValueSetRecord | e.TimerReadRecord]] = defaultdict(list)
    for record in records:
        if isinstance(record, e.ValueSetRecord | e.TimerReadRecord) and record.body.quantity:
            by_key[record.body.quantity, record.body.member].append(record)
    visit.calculators = frozenset(
        r.body.calculator
        for r in of_sort(records, e.ValueSetRecord)
        if r.body.calculator is not None
    )
    for key, of_key in by_key.items():
        by_device: dict[str, list[e.ValueSetRecord | e.TimerReadRecord]] = defaultdict(list)
        for record in of_key:
            by_device[record.device].append(record)
        replaced = {
            r.body.replaces for r in of_key if isinstance(r, e.ValueSetRecord) and r.body.replaces
        }
        last = sorted((last_words(own)[-1] for own in by_device.values()), key=clock)
        heads = [r for r in last if r.id not in replaced] or last
        shown = _reading(heads[-1], corrections)
        others = [_reading(r, corrections) for r in heads[:-1]]
        conflicts = tuple(other for other in others if other.si != shown.si)
        listed = {heads[-1].id, *(other.source.record for other in conflicts)}
        visit.readings[key] = replace(
            shown,
            conflicts=conflicts,
            earlier=tuple(_reading(r, corrections) for r in in_order(of_key) if r.id not in listed),
        )


def _reading(
    record: e.ValueSetRecord | e.TimerReadRecord,
    corrections: dict[str, list[e.CorrectedRecord]],
) -> Reading:
    body = record.body
    reading = Reading(
        source=source(record),
        quantity=str(body.quantity),
        member=body.member,
        text=body.text,
        unit=body.unit,
        si=body.si,
        origin=body.origin if isinstance(body, e.ValueSet) else "timer",
        corrections=_corrected_by(record.id, corrections),
    )
    if not reading.corrections:
        return reading
    last = reading.corrections[-1]
    return replace(reading, text=last.text, unit=last.unit, si=last.si)


def _note(record: e.NoteRecord, corrections: dict[str, list[e.CorrectedRecord]]) -> NoteState:
    made = _corrected_by(record.id, corrections)
    return NoteState(source(record), made[-1].text if made else record.body.text, record.body, made)


def _steps(visit: Visit, records: Sequence[e.Record]) -> None:
    by_step: dict[tuple[str, str, str | None], list[e.StepDoneRecord]] = defaultdict(list)
    for record in of_sort(records, e.StepDoneRecord):
        by_step[record.body.checklist, record.body.step, record.body.member].append(record)
    for key, of_step in sorted(by_step.items(), key=lambda item: (item[0][0], item[0][1])):
        last = last_words(of_step)[-1]
        if last.body.outcome != "open-again":
            visit.steps[key] = StepState(source(last), *key, last.body.outcome, last.body.reason)


def _timers(visit: Visit, records: Sequence[e.Record]) -> None:
    by_timer: dict[str, list[e.TimerStartedRecord | e.TimerReadRecord | e.TimerStoppedRecord]]
    by_timer = defaultdict(list)
    for record in records:
        if isinstance(record, e.TimerStartedRecord | e.TimerReadRecord | e.TimerStoppedRecord):
            by_timer[record.body.timer].append(record)
    for timer, of_timer in by_timer.items():
        starts, stops = (
            of_sort(of_timer, e.TimerStartedRecord),
            of_sort(of_timer, e.TimerStoppedRecord),
        )
        start = min(starts, key=clock) if starts else None
        stop = last_words(stops)[-1] if stops else None
        reads = sorted(
            of_sort(of_timer, e.TimerReadRecord), key=lambda r: (r.body.elapsed_s, *clock(r))
        )
        visit.timers.append(
            TimerState(
                timer=timer,
                started=source(start) if start else None,
                stopped=source(stop) if stop else None,
                checklist=start.body.checklist if start else None,
                step=start.body.step if start else None,
                target_s=start.body.target_s if start else None,
                elapsed_s=stop.body.elapsed_s if stop else None,
                observed=stop.body.observed if stop else None,
                asleep_s=stop.body.asleep_s if stop else 0,
                clock_changed=stop.body.clock_changed if stop else False,
                readings=tuple((r.body.elapsed_s, r.body.text, r.body.unit) for r in reads),
            )
        )
    visit.timers.sort(
        key=lambda t: (
            t.started.when.corrected if t.started else datetime.max.replace(tzinfo=UTC),
            t.timer,
        )
    )
