"""Editions: bundle bytes by their hash, and the pointers that say which one is live.

Publishing never changes anything: it adds a file (unless these bytes were published before) and
the next number. Going back is publishing old bytes under a new number.
"""

from __future__ import annotations

import hashlib
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import brotli
import sqlalchemy as sa

from kneewall.bundle import Bundle, BundleError, load_bundle
from kneewall.engine import Engine
from kneewall.records.clock import stamp
from kneewall.records.errors import EditionError
from kneewall.records.folder import DataFolder, write_durably
from kneewall.records.schema import AnyRow, publication
from kneewall.records.store import Store

MOST_BYTES = 20 * 1024 * 1024
_HASH = re.compile(r"^[0-9a-f]{64}$")
_RELEASE = re.compile(r"^\d+(\.\d+){0,3}$")


@dataclass(frozen=True)
class Publication:
    number: int
    hash: str
    size: int
    format: int
    date: str
    author: str
    note: str
    least_app: str


class Editions:
    """The editions of one office."""

    def __init__(self, store: Store, folder: DataFolder) -> None:
        self.store = store
        self.folder = folder
        self._ready: OrderedDict[str, tuple[Engine, threading.Lock]] = OrderedDict()
        self._guard = threading.Lock()
        self._packing = threading.Lock()

    def live(self) -> Publication | None:
        found = self._publications(1)
        return found[0] if found else None

    def all(self) -> list[Publication]:
        """Newest first."""
        return self._publications(None)

    def number_of(self, digest: str) -> int | None:
        """The latest number these bytes were published under."""
        with self.store.reading() as connection:
            return connection.execute(
                sa.select(sa.func.max(publication.c.number)).where(publication.c.hash == digest)
            ).scalar()

    def raw(self, digest: str) -> bytes:
        """Raises EditionError when no such edition is kept here, or its file was changed."""
        file = self.folder.edition_file(digest)
        if not _HASH.match(digest) or not file.is_file():
            raise EditionError(f"No edition {digest[:12]} is kept here.")
        raw = file.read_bytes()
        if hashlib.sha256(raw).hexdigest() != digest:
            raise EditionError(f"{file}: its bytes are not those it is named for. Restore it.")
        return raw

    def packed(self, digest: str) -> bytes:
        """The same bytes by brotli, for the wire; made when first asked for and kept beside them.

        Raises EditionError as `raw` does.
        """
        file = self.folder.packed_edition_file(digest)
        with self._packing:
            if _HASH.match(digest) and file.is_file():
                packed = file.read_bytes()
                if _unpacked_hash(packed) == digest:
                    return packed
            packed = bytes(brotli.compress(self.raw(digest), mode=brotli.MODE_TEXT))
            write_durably(file, packed)
        return packed

    def engine(self, digest: str) -> tuple[Engine, threading.Lock]:
        """The engine of an edition, and the lock to hold while it evaluates."""
        with self._guard:
            if digest in self._ready:
                self._ready.move_to_end(digest)
                return self._ready[digest]
        try:
            engine = Engine(load_bundle(self.raw(digest)))
        except BundleError as error:
            raise EditionError(f"Edition {digest[:12]} cannot be read: {error}") from None
        with self._guard:
            ready = self._ready.setdefault(digest, (engine, threading.Lock()))
            while len(self._ready) > 4:
                self._ready.popitem(last=False)
            return ready

    def publish(
        self,
        raw: bytes,
        *,
        author: str,
        note: str,
        least_app: str,
        prove: Callable[[Bundle], Sequence[str]],
    ) -> Publication:
        """Make these bytes the live edition.

        Args:
            prove: runs the bundle's worked examples and says, a line each, which ones fail.

        Raises:
            EditionError: not a bundle of a format known here, or an example fails.
        """
        if not author.strip() or not note.strip():
            raise EditionError("An edition needs an author and a note on what changed.")
        if not _RELEASE.match(least_app):
            raise EditionError(f"{least_app!r} is not an app release; write it like 0.1.0.")
        if len(raw) > MOST_BYTES:
            raise EditionError(f"The bundle is larger than {MOST_BYTES // 2**20} MiB.")
        try:
            bundle = load_bundle(raw)
        except BundleError as error:
            raise EditionError(str(error)) from None
        failed = prove(bundle)
        if failed:
            more = f" (and {len(failed) - 1} more)" if len(failed) > 1 else ""
            raise EditionError(f"A worked example fails: {failed[0]}{more}")
        digest = bundle.hash
        if not self.folder.edition_file(digest).is_file():
            write_durably(self.folder.edition_file(digest), raw)
        with self.store.writing() as connection:
            last = connection.execute(sa.select(sa.func.max(publication.c.number))).scalar()
            new = Publication(
                number=(last or 0) + 1,
                hash=digest,
                size=len(raw),
                format=bundle.format,
                date=stamp(),
                author=author.strip(),
                note=note.strip(),
                least_app=least_app,
            )
            connection.execute(sa.insert(publication).values(**new.__dict__))
        return new

    def _publications(self, limit: int | None) -> list[Publication]:
        query = sa.select(publication).order_by(publication.c.number.desc())
        with self.store.reading() as connection:
            rows = connection.execute(query.limit(limit) if limit else query).all()
        return [_publication(row) for row in rows]


def _unpacked_hash(packed: bytes) -> str:
    """The hash of what was packed; "" where the file was changed."""
    try:
        return hashlib.sha256(brotli.decompress(packed)).hexdigest()
    except brotli.error:
        return ""


def _publication(row: AnyRow) -> Publication:
    return Publication(
        row.number, row.hash, row.size, row.format, row.date, row.author, row.note, row.least_app
    )
