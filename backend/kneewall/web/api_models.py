"""The phones' API, version 1: what travels beside the records themselves.

All under `/api/1`. A phone says who it is with `Authorization: Bearer TOKEN` and sends
`X-Kneewall: 1` with every POST and PUT. Answers are JSON; an error is a `Problem` with its HTTP
status. 401: not enrolled here. 403: revoked. 409: not now, `mend` says why. 413: too large.
415: wrong content type. 429: wait for `Retry-After` seconds; nothing was judged.

    POST /api/1/enrol                 EnrolRequest -> EnrolReply; no token needed
    GET  /api/1/edition               EditionPointer of the live edition; 404 while there is none; open to all
    GET  /api/1/editions/HASH         the bundle's bytes, immutable; SHA-256 of them is HASH
    POST /api/1/reports               PhoneReport -> ReportReply; first call of a round of sync
    POST /api/1/records               application/x-ndjson, a record a line (at most 500 lines and
                                      4 MiB) -> BatchReply
    GET  /api/1/records?after=CURSOR&limit=N
                                      RecordsPage: what concerns this phone, oldest first, written
                                      by others; no `after`: from the start; `own=1`: its own too
    GET  /api/1/photos/HASH/parts     PhotoParts: what of a photo is held
    PUT  /api/1/photos/HASH/parts/N   application/octet-stream, part N (from 0) of 256 KiB, the
                                      last one shorter; again is harmless -> 204
    POST /api/1/photos/HASH           PhotoCommit -> 204 when the bytes hash to HASH; 409 with the
                                      missing parts in `mend` otherwise
    PUT  /api/1/photos/HASH           the whole photo at once, at most 1 MiB -> 204
    HEAD /api/1/photos/HASH           200 when held, 404 when not
    GET  /api/1/photos/HASH           the photo's bytes
    GET  /health                      {"ok": true}; no token needed

A revoked phone may still POST records (each is quarantined) and reports; everything else is 403.

A cursor is opaque. It follows the order of commit at the office, so nothing committed later is
ever missed. After the office was restored from a backup `store_generation` changes: an older
cursor starts again from the beginning, and the phone offers everything it has kept.

Each line of a batch is answered for itself: `stored`, `duplicate` (the very bytes are held) or
`quarantined` (kept and shown at the office with the reason; it does not block the others). All
three mean: held at the office, committed to disk.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from kneewall.records.envelope import Sha256, Text, Uuid

PART_SIZE = 256 * 1024
BATCH_LINES = 500
BATCH_BYTES = 4 * 1024 * 1024
PHOTO_BYTES = 12 * 1024 * 1024
WHOLE_PHOTO_BYTES = 1024 * 1024


class _Message(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Problem(_Message):
    error: str
    """What is wrong, one sentence."""
    mend: str
    """What to do about it, one sentence."""


class Signature(_Message):
    alg: Literal["ECDSA-P256-SHA256"]
    key: str
    """Name of the key."""
    value: str
    """Raw r and s, 64 bytes, base64."""


class EditionPointer(_Message):
    """The small document beside an edition; the bundle's own bytes carry none of this."""

    number: Annotated[int, Field(ge=1)]
    """Rises by one with each publication, also when an older edition is published again."""
    hash: Sha256
    size: Annotated[int, Field(ge=1)]
    """Bytes."""
    format: Annotated[int, Field(ge=1)]
    """Format of the bundle; a phone refuses one it does not know."""
    date: str
    """When it was published, ISO 8601 with offset."""
    author: str
    note: str
    least_app: str
    """Least app release that can use it, as dotted numbers."""
    signature: Signature | None


class EnrolRequest(_Message):
    code: Annotated[str, Field(min_length=1, max_length=40)]
    """Ten letters and figures from the office; spaces, hyphens and case do not matter."""
    name: Annotated[str, Field(min_length=1, max_length=80)]
    """Whose phone it is."""
    app: Annotated[str, Field(min_length=1, max_length=40)]


class EnrolReply(_Message):
    device: Uuid
    token: str
    """Given once; the office keeps its hash alone."""
    office: str
    """The office's name."""
    office_device: Uuid
    """The device id of the office's own records."""
    store_generation: str
    server_time: str


class Head(_Message):
    """How far one epoch of a device has come."""

    epoch: Uuid
    seq: Annotated[int, Field(ge=0)]
    """Highest seq written."""
    count: Annotated[int, Field(ge=0)]
    """Records the phone finds in its database for this epoch (fewer than seq: some were lost or
    let go after the office held them)."""
    hash: Sha256 | None
    """Hash of the record at `seq`."""


class Held(_Message):
    """What the office holds of one epoch of a device."""

    device: Uuid
    epoch: Uuid
    contiguous_through: Annotated[int, Field(ge=0)]
    """Everything up to this seq is held."""
    highest: Annotated[int, Field(ge=0)]
    holes: list[tuple[int, int]]
    """Missing ranges below `highest`, first and last seq; at most 100."""


class LineAnswer(_Message):
    line: Annotated[int, Field(ge=0)]
    """Place in the batch, from 0; empty lines are not counted."""
    id: str | None
    """The record's id where the line could be read that far."""
    hash: Sha256
    status: Literal["stored", "duplicate", "quarantined"]
    reason: str | None
    """Why it is quarantined."""


class BatchReply(_Message):
    records: list[LineAnswer]
    held: list[Held]
    """For each device and epoch in the batch."""
    missing_photos: list[Sha256]
    """Photos this phone's records name and the office does not hold."""
    server_time: str
    store_generation: str


class RecordsPage(_Message):
    lines: list[str]
    """Record lines as their devices wrote them."""
    next: str
    """Cursor for the next call; ask again later with it when `more` is false."""
    more: bool
    store_generation: str
    server_time: str


class PhoneEvent(_Message):
    """Something the office should know. The phone repeats an event until a report is answered;
    the same `id` again changes nothing."""

    id: Uuid
    kind: Literal[
        "edition-refused",
        "self-test-failed",
        "witness-alarm",
        "install-failed",
        "storage-full",
        "write-failed",
        "fault",
    ]
    wall: Annotated[str, Field(max_length=60)]
    text: Text
    """One or two sentences as shown on the phone."""
    edition: Sha256 | None = None


class PhoneReport(_Message):
    app: Annotated[str, Field(min_length=1, max_length=40)]
    edition: Sha256 | None
    """The edition in use for new visits."""
    heads: list[Head]
    unsent: Annotated[int, Field(ge=0)]
    unsent_photos: Annotated[int, Field(ge=0)]
    persisted: bool | None
    """Answer of the browser to a request for storage that is not evicted; null: none yet."""
    standalone: bool | None
    """Installed on the home screen."""
    platform: Annotated[str, Field(max_length=400)] = ""
    events: list[PhoneEvent] = []


class ReportReply(_Message):
    held: list[Held]
    missing_photos: list[Sha256]
    server_time: str
    store_generation: str


class PhotoParts(_Message):
    complete: bool
    parts: list[int]


class PhotoCommit(_Message):
    size: Annotated[int, Field(ge=1, le=PHOTO_BYTES)]
    mime: Literal["image/jpeg", "image/png", "image/webp", "image/heic"]
