"""An office in one file: a gzipped tar of the database, editions, photos, house rules and secrets.

The database inside is always SQLite's, taken by its own backup or copied table by table, so that
an office may move between databases through a backup. A restore goes into an empty place and
renews the store generation, upon which phones offer again what they have kept.
"""

from __future__ import annotations

import shutil
import sqlite3
import tarfile
import tempfile
from pathlib import Path
from typing import IO

import sqlalchemy as sa

from kneewall.records import schema
from kneewall.records.errors import FolderError
from kneewall.records.folder import DataFolder
from kneewall.records.store import Store

_DATABASE = "kneewall.sqlite"
_FOLDERS = ("editions", "photos", "packs", "drafts", "secrets")
_CHUNK = 1000


def back_up(store: Store, folder: DataFolder, file: Path) -> int:
    """Write a new file while the office may be running. Returns its size in bytes.

    Raises:
        FolderError: the file exists or cannot be written.
    """
    try:
        with file.open("xb") as out:
            try:
                _write(store, folder, out)
            except BaseException:
                file.unlink()
                raise
    except FileExistsError:
        raise FolderError(f"{file}: exists already. Name a new file.") from None
    except OSError as error:
        raise FolderError(f"{file}: cannot be written: {error.strerror}.") from None
    file.chmod(0o600)
    return file.stat().st_size


def restore(file: Path, data: Path, database: str | None = None) -> int:
    """Make an office from a backup. Returns the number of record lines in it.

    Raises:
        FolderError: no backup, or there is something where it should go; nothing is changed then.
    """
    if data.exists() and (not data.is_dir() or any(data.iterdir())):
        raise FolderError(f"{data}: is not empty. Name a new folder; a restore never writes over.")
    data.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=data.parent, prefix=".restoring-") as draft_name:
        draft = Path(draft_name)
        _unpack(file, draft)
        target = Store.open(database or f"sqlite:///{draft / _DATABASE}")
        try:
            if database is not None:
                _fill(target, draft / _DATABASE)
            with target.writing() as connection:
                target.renew_generation(connection)
                lines = connection.execute(
                    sa.select(sa.func.count()).select_from(schema.line)
                ).scalar_one()
        finally:
            target.close()
        if database is not None:
            (draft / _DATABASE).unlink()
        data.mkdir(exist_ok=True)
        for part in draft.iterdir():
            shutil.move(part, data / part.name)
    DataFolder(data)
    return int(lines)


def _write(store: Store, folder: DataFolder, out: IO[bytes]) -> None:
    with tempfile.TemporaryDirectory() as place:
        copy = Path(place) / _DATABASE
        # The database first: what it names by hash is on disk by then, and stays there.
        if store.engine.dialect.name == "sqlite":
            _copy_sqlite(Path(str(store.engine.url.database)), copy)
        else:
            _copy_tables(store, copy)
        with tarfile.open(fileobj=out, mode="w:gz", compresslevel=3) as archive:
            archive.add(copy, _DATABASE)
            for name in _FOLDERS:
                if (folder.root / name).is_dir():
                    archive.add(folder.root / name, name, filter=_lasting)


def _lasting(entry: tarfile.TarInfo) -> tarfile.TarInfo | None:
    """Files and folders by name alone, without drafts of files being written."""
    if entry.name.rsplit("/", 1)[-1].startswith("."):
        return None
    entry.uid = entry.gid = 0
    entry.uname = entry.gname = ""
    return entry if entry.isfile() or entry.isdir() else None


def _copy_sqlite(source: Path, target: Path) -> None:
    reading, writing = sqlite3.connect(source), sqlite3.connect(target)
    try:
        reading.backup(writing)
        writing.execute("PRAGMA journal_mode=DELETE")
    finally:
        reading.close()
        writing.close()


def _copy_tables(store: Store, target: Path) -> None:
    copy = Store.open(f"sqlite:///{target}")
    with store.reading() as source, copy.writing() as connection:
        _copy_rows(source, connection)
    copy.close()
    _settle(target)


def _fill(target: Store, source: Path) -> None:
    """Copy a backup's tables into another database, which must hold no records."""
    with target.reading() as connection:
        if (
            connection.execute(sa.select(schema.line.c.pos).limit(1)).first()
            or connection.execute(
                sa.select(schema.device.c.id).where(schema.device.c.sort == "phone").limit(1)
            ).first()
        ):
            raise FolderError("The database is not empty. A restore never writes over.")
    copy = Store.open(f"sqlite:///{source}")
    with copy.reading() as reading, target.writing() as connection:
        _copy_rows(reading, connection)
        if connection.dialect.name == "postgresql":
            for table in schema.metadata.sorted_tables:
                for column in table.primary_key:
                    if column.autoincrement is True:
                        _set_counter(connection, table, column)
    copy.close()


def _copy_rows(source: sa.Connection, target: sa.Connection) -> None:
    for table in reversed(schema.metadata.sorted_tables):
        target.execute(sa.delete(table))
    for table in schema.metadata.sorted_tables:
        rows = source.execute(sa.select(table)).mappings()
        while some := rows.fetchmany(_CHUNK):
            target.execute(sa.insert(table), [dict(row) for row in some])


def _set_counter(connection: sa.Connection, table: sa.Table, column: sa.Column[int]) -> None:
    last = connection.execute(sa.select(sa.func.max(column))).scalar() or 0
    sequence = sa.func.pg_get_serial_sequence(table.name, column.name)
    connection.execute(sa.select(sa.func.setval(sequence, last + 1, False)))


def _settle(file: Path) -> None:
    """One file, without a journal beside it."""
    database = sqlite3.connect(file)
    database.execute("PRAGMA journal_mode=DELETE")
    database.close()


def _unpack(file: Path, into: Path) -> None:
    try:
        with tarfile.open(file, "r:gz") as archive:
            for entry in archive:
                top = entry.name.split("/")[0]
                if top not in (*_FOLDERS, _DATABASE) or not (entry.isfile() or entry.isdir()):
                    raise FolderError(
                        f"{file}: holds {entry.name!r}, which no backup of ours does."
                    )
                archive.extract(entry, into, filter="data")
    except (OSError, tarfile.TarError, EOFError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FolderError(f"{file}: is not a backup that can be read ({reason}).") from None
    if not (into / _DATABASE).is_file():
        raise FolderError(f"{file}: has no database in it; it is not a backup of an office.")
    for secret in (into / "secrets").glob("*"):
        secret.chmod(0o600)
