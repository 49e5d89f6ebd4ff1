"""The envelope of a record and the body of every kind: what a phone and the office write.

A record is serialised once, on the device that made it, as one line of JSON in UTF-8 without a
line break. Those bytes are hashed, stored, sent and kept; nobody serialises them again. The hash
of a record is the SHA-256 of its line without the newline; `prev` is the hash of the record
before it in the same device and epoch, null for the first.

`seq` counts from 1 without gaps per device and epoch. An epoch is one life of a device's
database: whenever the database is made anew, or found to be behind what it once was, a new epoch
begins, again at 1. The order of a device's records is `seq`, never a clock.

`site`, `system` and `visit` name what the record is about. The record that adds a site, a system
or a visit names it there too: the id is made by whoever adds it.

    kind            about                  in effect
    site-added      site                   the site exists
    system-added    site, system           the system exists
    member-added    site, system           a collection (`indoor`, `circuit`) has one more member
    visit-opened    site, system, visit    the visit exists, planned for a day
    assigned        site, system, visit    the visit is for that device; null: for any
    value-set       site, system, visit    a reading, a choice, a nameplate figure
    step-done       site, system, visit    a checklist step: done, not applicable, skipped
    timer-started   site, system, visit    a timed step runs
    timer-read      site, system, visit    a reading taken while it runs
    timer-stopped   site, system, visit    the timed step ended
    photo           site, system, visit    a picture, by the hash of its bytes
    note            site, system, visit    free text
    corrected       as the one it names    the named record's figure or text was another
    voided          as the one it names    the named record counts no longer; cannot be undone
    edition-moved   site, system, visit    the visit goes on under the edition of this record
    signed          site, system, visit    a person put a name under the visit
    closed          site, system, visit    the visit is over
    same-as         site, or site, system  two sites or two systems are one; `keep` stays
    commented       any of them            the office or a phone says something about it
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StrictBool,
    StrictFloat,
    StrictInt,
    StrictStr,
    TypeAdapter,
    model_validator,
)

RECORD_VERSION = 1
"""Version of the envelope and of all bodies in this module."""

LINE_LIMIT = 256 * 1024
"""Longest record line, in bytes. Photos travel apart."""

Uuid = Annotated[
    str, Field(pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")
]
Uuid7 = Annotated[
    str, Field(pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$")
]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Day = Annotated[str, Field(pattern=r"^\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$")]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Text = Annotated[str, Field(max_length=10_000)]
RuleId = Annotated[str, Field(min_length=1, max_length=200)]
"""Id of a quantity, check, checklist, step, calculator or collection in the edition."""

Number = StrictInt | StrictFloat
SiValue = (
    StrictBool | Number | StrictStr | list[Number] | list[tuple[Number, Number]] | list[StrictStr]
)
"""A value as the engine takes it: a number in SI base units, a choice or text, a flag, a date
("2026-11-25"), a list of numbers, a series of [x, y], or a list of texts (results only)."""

Verdict = Literal["pass", "caution", "fail", "unknown", "not-applicable"]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class At(_Part):
    """When, as the device knew it. Nothing here is ever rewritten."""

    wall: Annotated[
        str,
        Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)$"),
    ]
    """Wall clock, ISO 8601 with its offset."""
    offset_min: Annotated[int, Field(ge=-960, le=960)]
    """Offset from UTC of the device's time zone, minutes east."""
    mono_ms: Annotated[float, Field(ge=0)]
    """Monotonic reading since the app started, ms."""
    server_offset_ms: float | None
    """Office clock minus device clock at the last contact, ms; null before the first."""


class CheckOutcome(_Part):
    id: RuleId
    member: Uuid | None = None
    verdict: Verdict


class ResultOutcome(_Part):
    quantity: RuleId
    member: Uuid | None = None
    si: SiValue | None
    why: str | None = None
    """Why `si` is null: missing, outside, domain, not-applicable."""


class ResultSnapshot(_Part):
    """What the device's engine found, so that the office's second look can tell a difference."""

    results: list[ResultOutcome] = []
    checks: list[CheckOutcome] = []


# --- bodies ---------------------------------------------------------------------------------


class SiteAdded(_Part):
    name: Name
    address: Text = ""


class SystemAdded(_Part):
    label: Name


class MemberAdded(_Part):
    collection: RuleId
    member: Uuid
    label: Name


VisitKind = Literal["install", "commissioning", "maintenance", "fault"]


class VisitOpened(_Part):
    title: Name
    visit_kind: VisitKind
    date: Day
    """The planned day."""
    checklists: list[RuleId] = []


class Assigned(_Part):
    to: Uuid | None
    """The device the visit is for; null: any may take it."""


class ValueSet(_Part):
    quantity: RuleId
    member: Uuid | None = None
    text: Text
    """As typed or as shown when picked; empty when cleared."""
    unit: str | None = None
    """As typed; null where the value has none."""
    si: SiValue | None
    """Null: cleared."""
    origin: Literal["typed", "picked", "offered", "timer", "table"]
    calculator: RuleId | None = None
    replaces: Uuid7 | None = None
    """The record whose value was on the screen when this one was entered. A value of another
    phone that is neither replaced, corrected nor voided is shown as a conflict."""


class StepDone(_Part):
    checklist: RuleId
    step: RuleId
    member: Uuid | None = None
    outcome: Literal["done", "not-applicable", "skipped", "open-again"]
    reason: Text = ""

    @model_validator(mode="after")
    def _skipped_says_why(self) -> StepDone:
        if self.outcome == "skipped" and not self.reason.strip():
            raise ValueError("a skipped step needs a reason")
        return self


class TimerStarted(_Part):
    timer: Uuid
    checklist: RuleId | None = None
    step: RuleId | None = None
    quantity: RuleId | None = None
    member: Uuid | None = None
    target_s: Annotated[float, Field(ge=0)] | None = None


class TimerRead(_Part):
    timer: Uuid
    elapsed_s: Annotated[float, Field(ge=0)]
    quantity: RuleId | None = None
    member: Uuid | None = None
    text: Text = ""
    unit: str | None = None
    si: SiValue | None = None


class TimerStopped(_Part):
    timer: Uuid
    elapsed_s: Annotated[float, Field(ge=0)]
    """From wall-clock times, so that the phone's sleep counts."""
    observed: bool
    """The app was awake all the time."""
    asleep_s: Annotated[float, Field(ge=0)] = 0
    clock_changed: bool = False
    """Wall clock and monotonic clock went apart by more than 2 s while awake."""


class Photo(_Part):
    photo: Sha256
    mime: Literal["image/jpeg", "image/png", "image/webp", "image/heic"]
    size: Annotated[int, Field(ge=1)]
    caption: Text = ""
    checklist: RuleId | None = None
    step: RuleId | None = None
    quantity: RuleId | None = None
    member: Uuid | None = None


class Note(_Part):
    text: Annotated[Text, Field(min_length=1)]
    checklist: RuleId | None = None
    step: RuleId | None = None
    quantity: RuleId | None = None
    member: Uuid | None = None


class Corrected(_Part):
    """The named value-set, timer-read or note says this instead. A note takes `text` alone."""

    record: Uuid7
    text: Text
    unit: str | None = None
    si: SiValue | None = None
    reason: Text = ""


class Voided(_Part):
    record: Uuid7
    reason: Annotated[Text, Field(min_length=1)]


class EditionMoved(_Part):
    """The envelope's `edition` is the one moved to."""

    left: Sha256
    """The edition the visit had before."""
    reason: Text = ""


class Signed(_Part):
    name: Name
    statement: Annotated[Text, Field(min_length=1)]
    strokes: Annotated[str, Field(max_length=60_000, pattern=r"^[MLCQZmlcqz0-9 .,\-]*$")] | None = (
        None
    )
    """The drawn name as the `d` of an SVG path in a box 600 wide and 200 high."""
    results: ResultSnapshot | None = None


class Closed(_Part):
    note: Text = ""
    results: ResultSnapshot | None = None


class SameAs(_Part):
    sort: Literal["site", "system"]
    keep: Uuid
    other: Uuid

    @model_validator(mode="after")
    def _two(self) -> SameAs:
        if self.keep == self.other:
            raise ValueError("keep and other are the same")
        return self


class Commented(_Part):
    text: Annotated[Text, Field(min_length=1)]
    record: Uuid7 | None = None


# --- envelopes ------------------------------------------------------------------------------


class _Envelope(_Part):
    id: Uuid7
    device: Uuid
    epoch: Uuid
    seq: Annotated[int, Field(ge=1)]
    prev: Sha256 | None
    version: Literal[1]
    app: Annotated[str, Field(min_length=1, max_length=40)]
    edition: Sha256 | None
    """The edition the device had in use for this visit; null where it had none."""
    at: At
    site: Uuid | None
    system: Uuid | None
    visit: Uuid | None

    @model_validator(mode="after")
    def _first_has_no_prev(self) -> _Envelope:
        if (self.seq == 1) != (self.prev is None):
            raise ValueError("prev is null for seq 1 and for no other")
        return self


class _OfSite(_Envelope):
    site: Uuid
    system: None = None
    visit: None = None


class _OfSystem(_Envelope):
    site: Uuid
    system: Uuid
    visit: None = None


class _OfVisit(_Envelope):
    site: Uuid
    system: Uuid
    visit: Uuid


class SiteAddedRecord(_OfSite):
    kind: Literal["site-added"]
    body: SiteAdded


class SystemAddedRecord(_OfSystem):
    kind: Literal["system-added"]
    body: SystemAdded


class MemberAddedRecord(_Envelope):
    kind: Literal["member-added"]
    site: Uuid
    system: Uuid
    body: MemberAdded


class VisitOpenedRecord(_OfVisit):
    kind: Literal["visit-opened"]
    body: VisitOpened


class AssignedRecord(_OfVisit):
    kind: Literal["assigned"]
    body: Assigned


class ValueSetRecord(_OfVisit):
    kind: Literal["value-set"]
    body: ValueSet


class StepDoneRecord(_OfVisit):
    kind: Literal["step-done"]
    body: StepDone


class TimerStartedRecord(_OfVisit):
    kind: Literal["timer-started"]
    body: TimerStarted


class TimerReadRecord(_OfVisit):
    kind: Literal["timer-read"]
    body: TimerRead


class TimerStoppedRecord(_OfVisit):
    kind: Literal["timer-stopped"]
    body: TimerStopped


class PhotoRecord(_OfVisit):
    kind: Literal["photo"]
    body: Photo


class NoteRecord(_OfVisit):
    kind: Literal["note"]
    body: Note


class CorrectedRecord(_Envelope):
    kind: Literal["corrected"]
    body: Corrected


class VoidedRecord(_Envelope):
    kind: Literal["voided"]
    body: Voided


class EditionMovedRecord(_OfVisit):
    kind: Literal["edition-moved"]
    edition: Sha256
    body: EditionMoved


class SignedRecord(_OfVisit):
    kind: Literal["signed"]
    body: Signed


class ClosedRecord(_OfVisit):
    kind: Literal["closed"]
    body: Closed


class SameAsRecord(_Envelope):
    kind: Literal["same-as"]
    body: SameAs


class CommentedRecord(_Envelope):
    kind: Literal["commented"]
    body: Commented


Record = Annotated[
    SiteAddedRecord
    | SystemAddedRecord
    | MemberAddedRecord
    | VisitOpenedRecord
    | AssignedRecord
    | ValueSetRecord
    | StepDoneRecord
    | TimerStartedRecord
    | TimerReadRecord
    | TimerStoppedRecord
    | PhotoRecord
    | NoteRecord
    | CorrectedRecord
    | VoidedRecord
    | EditionMovedRecord
    | SignedRecord
    | ClosedRecord
    | SameAsRecord
    | CommentedRecord,
    Field(discriminator="kind"),
]

RECORD: TypeAdapter[Record] = TypeAdapter(Record)
"""Reads a line: `RECORD.validate_json(line)`. Raises pydantic's ValidationError."""

FIELD_KINDS = frozenset(
    {
        "value-set",
        "step-done",
        "timer-started",
        "timer-read",
        "timer-stopped",
        "photo",
        "note",
    }
)
"""The first of these in a visit fixes the visit's edition."""
