"""The database behind the records: opened, brought up to date, read and written.

One writer at a time, on SQLite and on PostgreSQL alike, so that positions are given in the order
of commit and a cursor over them never skips what commits later.
"""

from __future__ import annotations

import secrets
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import event
from sqlalchemy.engine import Connection, Engine, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from kneewall.records import schema
from kneewall.records.clock import stamp
from kneewall.records.errors import FolderError

PRAGMAS = ["journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"]
"""Of every SQLite connection. FULL: a commit is on disk when it returns, also in WAL mode."""

_WRITE_LOCK = 0x6B6E6565  # any fixed number; names the advisory lock on PostgreSQL


class Store:
    """Open with `Store.open(url)`; close with `close()`."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    @classmethod
    def open(cls, url: str) -> Store:
        """Open a database and bring its tables up to date.

        Raises:
            FolderError: it cannot be opened, or a newer Kneewall has written it.
        """
        try:
            engine = _engine(url)
            store = cls(engine)
            store._migrate()
            store._begin()
        except (ArgumentError, NoSuchModuleError, ModuleNotFoundError) as error:
            raise FolderError(
                f"{_shown(url)}: not a database address that can be used here ({error}). "
                "Write sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME."
            ) from None
        except SQLAlchemyError as error:
            cause = str(getattr(error, "orig", None) or error).splitlines()[0]
            raise FolderError(
                f"{_shown(url)}: the database cannot be opened ({cause}). "
                "Check the address, or restore a backup into an empty folder."
            ) from None
        return store

    def close(self) -> None:
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One consistent look at the database."""
        with self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """The only writer. Commits at the end; on an exception nothing has happened."""
        with self.engine.connect() as plain:
            connection = plain.execution_options(kneewall_writes=True)
            with connection.begin():
                if connection.dialect.name == "postgresql":
                    connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_WRITE_LOCK)))
                yield connection

    def meta(self, connection: Connection, key: str) -> str:
        value = connection.execute(
            sa.select(schema.meta.c.value).where(schema.meta.c.key == key)
        ).scalar_one()
        return str(value)

    def known_meta(self, connection: Connection, key: str) -> str:
        """Like `meta`, and empty where the key was never set."""
        value = connection.execute(
            sa.select(schema.meta.c.value).where(schema.meta.c.key == key)
        ).scalar()
        return str(value or "")

    def set_meta(self, connection: Connection, key: str, value: str) -> None:
        row = schema.meta.c.key == key
        if connection.execute(sa.update(schema.meta).where(row).values(value=value)).rowcount == 0:
            connection.execute(sa.insert(schema.meta).values(key=key, value=value))

    def renew_generation(self, connection: Connection) -> None:
        """After a restore: phones must offer again what they kept, and the office's own records
        begin a new epoch, because phones may hold later ones of the old."""
        self.set_meta(connection, "store_generation", secrets.token_hex(8))
        self.set_meta(connection, "office_epoch", str(uuid.uuid4()))

    def _migrate(self) -> None:
        config = Config()
        config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
        config.set_main_option("path_separator", "os")
        known = ScriptDirectory.from_config(config)
        with self.writing() as connection:
            found = MigrationContext.configure(connection).get_current_revision()
            if found == known.get_current_head():
                return
            if found is not None and found not in {s.revision for s in known.walk_revisions()}:
                raise FolderError(
                    f"{_shown(str(self.engine.url))}: written by a newer Kneewall "
                    f"(version {found} of its tables). Install that release."
                )
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def _begin(self) -> None:
        with self.writing() as connection:
            if connection.execute(sa.select(schema.meta.c.key).limit(1)).first():
                return
            office = str(uuid.uuid4())
            connection.execute(
                sa.insert(schema.device).values(
                    id=office, sort="office", name="Office", enrolled=stamp()
                )
            )
            self.set_meta(connection, "office_device", office)
            self.set_meta(connection, "office_name", "Office")
            self.renew_generation(connection)


def _engine(url: str) -> Engine:
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite":
        return sa.create_engine(parsed, pool_pre_ping=True)
    engine = sa.create_engine(parsed, connect_args={"timeout": 30})

    # The driver's own transaction handling would begin late and break savepoints; SQLAlchemy's
    # documented way round it is to switch that off and begin by hand.
    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: object) -> None:
        connection.isolation_level = None
        for pragma in PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("kneewall_writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _shown(url: str) -> str:
    """The address without a password."""
    try:
        return make_url(url).render_as_string(hide_password=True)
    except ArgumentError:
        return url.split("@")[-1]
