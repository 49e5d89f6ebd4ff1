"""The database's tables as SQLAlchemy Core sees them; `migrations/` makes them.

A line is what a device sent, as it sent it; whatever else a row of `line` holds is read out of
it. No row of `line` is ever changed in `hash` and `raw`, and none is ever deleted.
"""

from __future__ import annotations

from typing import Any, TypeAlias

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Row,
    String,
    Table,
    Text,
    UniqueConstraint,
    text,
)

metadata = MetaData()

AnyRow: TypeAlias = Row[*tuple[Any, ...]]
"""A row whose columns are known by name."""

# SQLite counts rows only in a column declared INTEGER.
_Counter = BigInteger().with_variant(Integer(), "sqlite")

meta = Table(
    "meta",
    metadata,
    Column("key", String(40), primary_key=True),
    Column("value", Text, nullable=False),
)
"""store_generation, office_device, office_epoch, office_name."""

device = Table(
    "device",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("sort", String(10), nullable=False),  # office, phone
    Column("name", String(200), nullable=False),
    Column("token_hash", String(64), unique=True),
    Column("enrolled", String(40), nullable=False),
    Column("revoked", String(40)),
    Column("last_contact", String(40)),
    Column("report", Text),  # the last PhoneReport without its events
)

enrolment = Table(
    "enrolment",
    metadata,
    Column("selector", String(3), primary_key=True),
    Column("code_hash", String(64), nullable=False),
    Column("made_by", String(200), nullable=False),
    Column("expires", String(40), nullable=False),
    Column("tries", Integer, nullable=False),
    Column("used_by", String(36)),
)

line = Table(
    "line",
    metadata,
    Column("pos", _Counter, primary_key=True, autoincrement=True),
    Column("hash", String(64), nullable=False, unique=True),
    Column("raw", LargeBinary, nullable=False),
    Column("delivered_by", String(36), nullable=False),
    Column("received", String(40), nullable=False),
    Column("state", String(12), nullable=False),  # received, stored, quarantined
    Column("code", String(20)),  # why quarantined, for machines
    Column("reason", Text),  # why quarantined, for people
    Column("record", String(36)),
    Column("device", String(36)),
    Column("epoch", String(36)),
    Column("seq", BigInteger),
    Column("prev", String(64)),
    Column("kind", String(40)),
    Column("site", String(36)),
    Column("system", String(36)),
    Column("visit", String(36)),
    Column("photo", String(64)),
    Index(
        "line_record_once",
        "record",
        unique=True,
        sqlite_where=text("state = 'stored'"),
        postgresql_where=text("state = 'stored'"),
    ),
    Index("line_sequence", "device", "epoch", "seq"),
    Index("line_state", "state"),
    Index("line_site", "site"),
    Index("line_system", "system"),
    Index("line_visit", "visit"),
    Index("line_kind", "kind"),
    Index("line_photo", "photo"),
    sqlite_autoincrement=True,
)

alarm = Table(
    "alarm",
    metadata,
    Column("id", _Counter, primary_key=True, autoincrement=True),
    Column("raised", String(40), nullable=False),
    Column("device", String(36), nullable=False),
    Column("kind", String(20), nullable=False),  # fork, chain, same-id, behind
    Column("about", String(200), nullable=False),
    Column("detail", Text, nullable=False),
    Column("seen", String(40)),
    UniqueConstraint("device", "kind", "about"),
    sqlite_autoincrement=True,
)

concern = Table(
    "concern",
    metadata,
    Column("device", String(36), ForeignKey("device.id"), primary_key=True),
    Column("system", String(36), primary_key=True),
)

feed = Table(
    "feed",
    metadata,
    Column("pos", _Counter, primary_key=True, autoincrement=True),
    Column("device", String(36), ForeignKey("device.id"), nullable=False),
    Column("line", BigInteger, ForeignKey("line.pos"), nullable=False),
    UniqueConstraint("device", "line"),
    Index("feed_device", "device", "pos"),
    sqlite_autoincrement=True,
)

head = Table(
    "head",
    metadata,
    Column("device", String(36), ForeignKey("device.id"), primary_key=True),
    Column("epoch", String(36), primary_key=True),
    Column("seq", BigInteger, nullable=False),
    Column("kept", BigInteger, nullable=False),
    Column("hash", String(64)),
    Column("told", String(40), nullable=False),
)

event = Table(
    "event",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("device", String(36), ForeignKey("device.id"), nullable=False),
    Column("received", String(40), nullable=False),
    Column("kind", String(40), nullable=False),
    Column("wall", String(60), nullable=False),
    Column("text", Text, nullable=False),
    Column("edition", String(64)),
    Column("seen", String(40)),
)

publication = Table(
    "publication",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("hash", String(64), nullable=False),
    Column("size", Integer, nullable=False),
    Column("format", Integer, nullable=False),
    Column("date", String(40), nullable=False),
    Column("author", String(200), nullable=False),
    Column("note", Text, nullable=False),
    Column("least_app", String(40), nullable=False),
)

photo = Table(
    "photo",
    metadata,
    Column("hash", String(64), primary_key=True),
    Column("size", Integer, nullable=False),
    Column("mime", String(40), nullable=False),
    Column("device", String(36), nullable=False),
    Column("received", String(40), nullable=False),
)

person = Table(
    "person",
    metadata,
    Column("name", String(200), primary_key=True),
    Column("password_hash", String(200), nullable=False),
    Column("added", String(40), nullable=False),
    Column("barred", Boolean, nullable=False),
)

sitting = Table(
    "sitting",
    metadata,
    Column("token_hash", String(64), primary_key=True),
    Column("person", String(200), ForeignKey("person.name"), nullable=False),
    Column("form_token", String(64), nullable=False),
    Column("began", String(40), nullable=False),
    Column("last_used", String(40), nullable=False),
)
