"""What records amount to: sites, systems, visits and all that was done on them. Made by `fold`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from kneewall.records.envelope import Note


@dataclass(frozen=True)
class When:
    """A device's wall time, corrected, and how far it can be trusted."""

    corrected: datetime
    offset_min: int
    doubtful: bool
    """The device never met the office, or its clock was more than two minutes off."""

    @property
    def local(self) -> datetime:
        return self.corrected + timedelta(minutes=self.offset_min)


@dataclass(frozen=True)
class Source:
    """Who wrote a record, and when."""

    record: str
    device: str
    when: When


@dataclass(frozen=True)
class Correction:
    source: Source
    text: str
    unit: str | None
    si: Any
    reason: str


@dataclass(frozen=True)
class Reading:
    """What a quantity was said to be. `corrections` are all of them, the one that counts last;
    `text`, `unit` and `si` are as corrected. `conflicts` are other devices' standing values."""

    source: Source
    quantity: str
    member: str | None
    text: str
    unit: str | None
    si: Any
    origin: str
    corrections: tuple[Correction, ...] = ()
    conflicts: tuple[Reading, ...] = ()
    earlier: tuple[Reading, ...] = ()


@dataclass(frozen=True)
class StepState:
    source: Source
    checklist: str
    step: str
    member: str | None
    outcome: str
    reason: str


@dataclass(frozen=True)
class TimerState:
    timer: str
    started: Source | None
    stopped: Source | None
    checklist: str | None
    step: str | None
    target_s: float | None
    elapsed_s: float | None
    observed: bool | None
    asleep_s: float
    clock_changed: bool
    readings: tuple[tuple[float, str, str | None], ...]
    """Elapsed s, text, unit."""


@dataclass(frozen=True)
class NoteState:
    source: Source
    text: str
    body: Note
    corrections: tuple[Correction, ...]


@dataclass(frozen=True)
class Kept:
    """A photo, a signature, a comment or a closing as it was recorded."""

    source: Source
    body: Any


@dataclass(frozen=True)
class VoidState:
    source: Source
    record: str
    kind: str
    reason: str


Key = tuple[str, str | None]


@dataclass
class Site:
    id: str
    name: str = ""
    address: str = ""
    also: tuple[str, ...] = ()
    """Ids of sites that were found to be this one."""


@dataclass
class Member:
    collection: str
    id: str
    label: str


@dataclass
class System:
    id: str
    site: str
    label: str = ""
    members: list[Member] = field(default_factory=list)
    also: tuple[str, ...] = ()


@dataclass
class Visit:
    id: str
    site: str
    system: str
    title: str = ""
    visit_kind: str | None = None
    date: str | None = None
    checklists: list[str] = field(default_factory=list)
    opened: Source | None = None
    assigned_to: str | None = None
    edition: str | None = None
    """Fixed by the first field record, changed by edition-moved."""
    readings: dict[Key, Reading] = field(default_factory=dict)
    steps: dict[tuple[str, str, str | None], StepState] = field(default_factory=dict)
    timers: list[TimerState] = field(default_factory=list)
    notes: list[NoteState] = field(default_factory=list)
    photos: list[Kept] = field(default_factory=list)
    signatures: list[Kept] = field(default_factory=list)
    comments: list[Kept] = field(default_factory=list)
    voids: list[VoidState] = field(default_factory=list)
    closed: Kept | None = None
    calculators: frozenset[str] = frozenset()
    """Calculators that readings were entered in."""
    devices: tuple[str, ...] = ()
    """Devices with field records, in the order they began."""
    first: When | None = None
    last: When | None = None
    """Of the field records."""

    @property
    def state(self) -> str:
        if self.closed:
            return "closed"
        return "in work" if self.first else "planned"


@dataclass(frozen=True)
class Findings:
    """SI values of a visit by quantity and member, and its verdicts by check and member."""

    values: dict[Key, float]
    verdicts: dict[Key, str]


@dataclass
class Ledger:
    """All that the records amount to. Ids of merged sites and systems lead to the one kept."""

    sites: dict[str, Site]
    systems: dict[str, System]
    visits: dict[str, Visit]
    looked_back: dict[tuple[str, str], Findings] = field(default_factory=dict, compare=False)
    """What visits found, for later ones that look back under an edition: made once, as many rules may be needed."""

    def values(
        self, visit: Visit, carries: Callable[[str], str]
    ) -> dict[str, dict[str | None, Reading]]:
        """The readings a visit rests on, by quantity and member.

        Args:
            carries: for a quantity "site" or "system" when it is kept with the site or with the
                system from visit to visit, "visit" when each visit asks anew.
        """
        found: dict[str, dict[str | None, Reading]] = defaultdict(dict)
        until = visit.last.corrected if visit.last else None
        for other in sorted(self.visits.values(), key=_visit_order):
            if other.id == visit.id or other.site != visit.site:
                continue
            if until is not None and (other.last is None or other.last.corrected > until):
                continue
            for (quantity, member), reading in other.readings.items():
                kept_with = carries(quantity)
                if kept_with == "site" or (kept_with == "system" and other.system == visit.system):
                    found[quantity][member] = reading
        for (quantity, member), reading in visit.readings.items():
            found[quantity][member] = reading
        return {
            quantity: standing
            for quantity, of_members in found.items()
            if (standing := {m: r for m, r in of_members.items() if r.si is not None})
        }


def _visit_order(visit: Visit) -> tuple[datetime, str]:
    return (visit.last.corrected if visit.last else datetime.max.replace(tzinfo=UTC)), visit.id
