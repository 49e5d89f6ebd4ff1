"""The office's data folder: where everything of one company lies.

kneewall.sqlite     the database, unless another was named
packs/house/        the company's own rules
drafts/             rules being worked on
editions/HASH.json  every edition ever published; HASH.json.br is the same for the wire, made again where it lacks
photos/ab/HASH      photos by the hash of their bytes; photos/parts/ while they arrive
secrets/            what must not leak, readable by its owner alone
lock                held by the one server of this folder
"""

from __future__ import annotations

import os
import secrets
import sqlite3
from pathlib import Path

from kneewall.records.errors import FolderError

_PARTS = ("packs/house", "drafts", "editions", "photos", "secrets")


class DataFolder:
    def __init__(self, root: Path) -> None:
        self.root = root
        try:
            for part in _PARTS:
                (root / part).mkdir(parents=True, exist_ok=True)
            (root / "secrets").chmod(0o700)
        except OSError as error:
            raise FolderError(
                f"{root}: cannot be made or written ({error.strerror}). "
                "Name a folder this user may write."
            ) from None

    @property
    def database_url(self) -> str:
        return f"sqlite:///{self.root / 'kneewall.sqlite'}"

    def edition_file(self, digest: str) -> Path:
        return self.root / "editions" / f"{digest}.json"

    def packed_edition_file(self, digest: str) -> Path:
        return self.root / "editions" / f"{digest}.json.br"

    def photo_file(self, digest: str) -> Path:
        return self.root / "photos" / digest[:2] / digest

    def photo_parts(self, digest: str) -> Path:
        return self.root / "photos" / "parts" / digest

    def secret(self, name: str) -> bytes:
        """A secret of 32 random bytes, made when it is first asked for."""
        file = self.root / "secrets" / name
        try:
            handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            return file.read_bytes()
        with os.fdopen(handle, "wb") as out:
            out.write(secrets.token_bytes(32))
            out.flush()
            os.fsync(out.fileno())
        return file.read_bytes()

    def lock(self) -> sqlite3.Connection:
        """Taken for as long as the result is open; ends with the process, whatever ends it.

        SQLite's own file lock serves, since it is the same on every system.

        Raises:
            FolderError: another server has the folder.
        """
        held = sqlite3.connect(self.root / "lock", timeout=0, isolation_level=None)
        try:
            held.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError:
            held.close()
            raise FolderError(
                f"{self.root}: another server has this folder. Stop it, or name another folder."
            ) from None
        return held


def write_durably(file: Path, content: bytes) -> None:
    """All of the content under that name and on disk, or nothing."""
    file.parent.mkdir(parents=True, exist_ok=True)
    draft = file.with_name(f".{file.name}.{secrets.token_hex(6)}")
    try:
        with draft.open("xb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        draft.replace(file)
    finally:
        draft.unlink(missing_ok=True)
    if os.name == "posix":
        parent = os.open(file.parent, os.O_RDONLY)
        try:
            os.fsync(parent)
        finally:
            os.close(parent)
