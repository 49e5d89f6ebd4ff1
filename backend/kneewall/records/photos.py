"""Photos, named by the SHA-256 of their bytes. They come after their records, in parts.

Nothing is decoded here: a picture is bytes with a known beginning, and served as such.
"""

from __future__ import annotations

import hashlib
import shutil
import time

import sqlalchemy as sa

from kneewall.records.clock import stamp
from kneewall.records.errors import PhotoError
from kneewall.records.folder import DataFolder, write_durably
from kneewall.records.schema import photo
from kneewall.records.store import Store

MOST_PER_DEVICE = 20_000
_PARTS_KEPT_S = 30 * 24 * 3600
_DISK_KEPT_FREE = 200 * 1024 * 1024


def sort_of(content: bytes) -> str | None:
    """Media type by the first bytes; None for anything but the four kinds of picture taken."""
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    if content[4:8] == b"ftyp" and content[8:12] in (b"heic", b"heix", b"mif1", b"heim", b"heis"):
        return "image/heic"
    return None


class Photos:
    """The photos of one office.

    Args:
        part_size: bytes of every part but the last.
        most_bytes: the largest photo taken.
    """

    def __init__(
        self, store: Store, folder: DataFolder, *, part_size: int, most_bytes: int
    ) -> None:
        self.store = store
        self.folder = folder
        self.part_size = part_size
        self.most_bytes = most_bytes

    def held(self, digest: str) -> str | None:
        """The media type of a photo that is held whole."""
        with self.store.reading() as connection:
            mime = connection.execute(
                sa.select(photo.c.mime).where(photo.c.hash == digest)
            ).scalar()
        return str(mime) if mime and self.folder.photo_file(digest).is_file() else None

    def read(self, digest: str) -> bytes:
        try:
            return self.folder.photo_file(digest).read_bytes()
        except OSError:
            raise PhotoError("This photo is not here yet.") from None

    def parts(self, digest: str) -> list[int]:
        place = self.folder.photo_parts(digest)
        if not place.is_dir():
            return []
        return sorted(int(file.name) for file in place.iterdir() if file.name.isdecimal())

    def put_part(self, digest: str, number: int, content: bytes) -> None:
        """Keep one part. Putting it again is harmless."""
        if not 0 <= number < self.most_bytes // self.part_size:
            raise PhotoError(f"Part {number} is beyond {self.most_bytes // 2**20} MiB.")
        if not 0 < len(content) <= self.part_size:
            raise PhotoError(f"A part has 1 to {self.part_size} bytes.")
        if shutil.disk_usage(self.folder.root).free < _DISK_KEPT_FREE:
            raise PhotoError("The office's disk is full. Photos wait on the phone.")
        self._forget_old_parts()
        write_durably(self.folder.photo_parts(digest) / str(number), content)

    def commit(self, digest: str, size: int, mime: str, device: str) -> list[int]:
        """Put the parts together. Returns the parts that are missing; none: the photo is held.

        Raises:
            PhotoError: the bytes are not the photo they should be; its parts are thrown away.
        """
        if self.held(digest):
            return []
        count = -(-size // self.part_size)
        missing = sorted(set(range(count)) - set(self.parts(digest)))
        if missing:
            return missing
        place = self.folder.photo_parts(digest)
        content = b"".join((place / str(number)).read_bytes() for number in range(count))
        try:
            if len(content) != size:
                raise PhotoError("The parts do not have the size they should have. Send again.")
            self.put(digest, content, device, mime)
        finally:
            shutil.rmtree(place, ignore_errors=True)
        return []

    def put(self, digest: str, content: bytes, device: str, mime: str | None = None) -> None:
        """Keep a whole photo.

        Raises:
            PhotoError: wrong hash, no picture, or more photos than one device may bring.
        """
        if len(content) > self.most_bytes:
            raise PhotoError(f"A photo has at most {self.most_bytes // 2**20} MiB.")
        if hashlib.sha256(content).hexdigest() != digest:
            raise PhotoError("The bytes do not have the hash they should have. Send again.")
        found = sort_of(content)
        if found is None or (mime is not None and found != mime):
            raise PhotoError("These bytes are not a JPEG, PNG, WebP or HEIC picture as announced.")
        with self.store.reading() as connection:
            number = connection.execute(
                sa.select(sa.func.count()).select_from(photo).where(photo.c.device == device)
            ).scalar_one()
        if number >= MOST_PER_DEVICE:
            raise PhotoError("This phone has brought more photos than the office takes of one.")
        write_durably(self.folder.photo_file(digest), content)
        with self.store.writing() as connection:
            if not connection.execute(sa.select(photo).where(photo.c.hash == digest)).first():
                connection.execute(
                    sa.insert(photo).values(
                        hash=digest,
                        size=len(content),
                        mime=found,
                        device=device,
                        received=stamp(),
                    )
                )

    def _forget_old_parts(self) -> None:
        """What was begun a month ago and never ended; the phone still has its photo."""
        root = self.folder.root / "photos" / "parts"
        if not root.is_dir():
            return
        for place in root.iterdir():
            if place.is_dir() and time.time() - place.stat().st_mtime > _PARTS_KEPT_S:
                shutil.rmtree(place, ignore_errors=True)
