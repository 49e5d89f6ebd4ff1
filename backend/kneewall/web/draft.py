"""The rules as the office has them on disk, not published yet: the trade pack, makers' packs, the house pack.

Packs lie in `packs/` of the data folder, a folder each. The house pack is worked on in a copy,
`drafts/house`, which takes its place when it is published.
"""

from __future__ import annotations

import hashlib
import re
import shutil
import threading
from dataclasses import dataclass, field
from pathlib import Path

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from kneewall.bundle import Bundle
from kneewall.compiler import CompileError, Fault, Kept
from kneewall.compiler.command import trade_pack
from kneewall.compiler.context import context
from kneewall.compiler.link import Compiled, compile_items
from kneewall.compiler.warnings import warnings_of
from kneewall.engine import Engine
from kneewall.records.errors import OfficeError
from kneewall.records.folder import DataFolder, write_durably

RANKS = ("trade", "maker", "house")
HOUSE = "house"
LARGEST = 1024 * 1024
"""bytes of a rule file written here."""
_NAME = re.compile(r"^[a-z0-9][a-z0-9_-]{0,60}\.(yaml|csv)$")
_PACK = """id: house
rank: house
title: House rules
format: 1
"""


class DraftError(OfficeError):
    """Why something cannot be done with the draft."""


@dataclass(frozen=True)
class PackOnDisk:
    id: str
    title: str
    rank: str
    folder: Path


@dataclass(frozen=True)
class FaultShown:
    """A fault with its place named from its pack on, and the line it stands in."""

    file: str
    """Within the house pack; empty when it stands elsewhere."""
    place: str
    line: int
    column: int
    number: str
    what: str
    lines: list[str]


@dataclass(frozen=True)
class Made:
    """What became of the draft: an engine, or faults. Hold the lock while it evaluates."""

    engine: Engine | None
    faults: list[FaultShown]
    compiled: Compiled | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def bundle(self) -> Bundle | None:
        return self.engine.bundle if self.engine else None


class Draft:
    """The draft of one office. The last outcome is kept, and what the next compilation can use of it."""

    def __init__(self, folder: DataFolder) -> None:
        self.published = folder.root / "packs" / HOUSE
        self.copy = folder.root / "drafts" / HOUSE
        self.root = folder.root
        self._kept = Kept()
        self._guard = threading.Lock()
        self._made: tuple[str, Made] | None = None

    @property
    def begun(self) -> bool:
        return (self.copy / "pack.yaml").is_file()

    @property
    def house(self) -> Path | None:
        """The house pack as it is worked on; None while there is none."""
        for folder in (self.copy, self.published):
            if (folder / "pack.yaml").is_file():
                return folder
        return None

    def packs(self) -> list[PackOnDisk]:
        """All packs in the order in which they are compiled."""
        settled = [one for one in packs_on_disk(self.root) if one.folder != self.published]
        return _in_rank([*settled, *([_pack(self.house)] if self.house else [])])

    # --- files of the house pack -------------------------------------------------------------------

    def files(self) -> list[str]:
        house = self.house
        if house is None:
            return []
        found = (one for one in house.rglob("*") if one.suffix in (".yaml", ".csv"))
        return sorted(one.relative_to(house).as_posix() for one in found if one.is_file())

    def read(self, name: str) -> str:
        """Raises DraftError when there is no such file."""
        house = self.house
        if house is None or name not in self.files():
            raise DraftError(f"The house pack has no file {name!r}.")
        try:
            return (house / name).read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise DraftError(f"{name} cannot be read as UTF-8: {error}") from None

    def write(self, name: str, text: str) -> None:
        """Keep a file in the draft, which begins with it.

        Raises:
            DraftError: the name or the size will not do.
        """
        if name not in self.files() and not _NAME.match(name):
            raise DraftError("A file is called like house_limits.yaml or line_sets.csv.")
        content = text.replace("\r\n", "\n").encode()
        if len(content) > LARGEST:
            raise DraftError(f"A rule file has at most {LARGEST:,} bytes. Split it.")
        self._begin()
        write_durably(self.copy / name, content)

    def remove(self, name: str) -> None:
        if name not in self.files() or name == "pack.yaml":
            raise DraftError(f"There is no file {name!r} that can be taken away.")
        self._begin()
        (self.copy / name).unlink()

    def drop(self) -> None:
        """Go back to the house pack as it was last published."""
        shutil.rmtree(self.copy, ignore_errors=True)

    def settle(self) -> None:
        """What was published is the house pack now."""
        if self.begun:
            shutil.rmtree(self.published, ignore_errors=True)
            self.copy.replace(self.published)

    def _begin(self) -> None:
        if self.begun:
            return
        self.drop()
        if (self.published / "pack.yaml").is_file():
            shutil.copytree(self.published, self.copy)
        else:
            write_durably(self.copy / "pack.yaml", _PACK.encode())

    # --- compiling -----------------------------------------------------------------------------------

    def made(self) -> Made:
        """Compile what is on disk, unless it is what was compiled last."""
        folders = [pack.folder for pack in self.packs()]
        with self._guard:
            key = _content(folders)
            if self._made is None or self._made[0] != key:
                self._made = key, self._compile(folders)
            return self._made[1]

    def _compile(self, folders: list[Path]) -> Made:
        try:
            compiled = compile_items(folders, self._kept)
        except CompileError as error:
            return Made(None, [self._shown(fault) for fault in error.faults])
        return Made(Engine(compiled.bundle), [], compiled)

    def warnings(self, made: Made) -> list[FaultShown]:
        """What compiles in the house pack, and still deserves a look."""
        found = warnings_of(made.compiled) if made.compiled else []
        shown = [self._shown(warning) for warning in found]
        return [warning for warning in shown if warning.file]

    def _shown(self, fault: Fault) -> FaultShown:
        path = Path(fault.place.file)
        pack = next(one for one in (*path.parents, path) if (one / "pack.yaml").is_file())
        inside = path.relative_to(pack).as_posix()
        return FaultShown(
            file=inside if pack == self.house else "",
            place=f"{pack.name}/{inside}:{fault.place.line}:{fault.place.column}",
            line=fault.place.line,
            column=fault.place.column,
            number=fault.number,
            what=f"{fault.what}; {fault.mend}" if fault.mend else fault.what,
            lines=context(fault),
        )


def packs_on_disk(root: Path) -> list[PackOnDisk]:
    """The trade pack and the packs of a data folder, in rank order; no draft."""
    packs = root / "packs"
    found = sorted(packs.iterdir()) if packs.is_dir() else []
    return _in_rank([_pack(one) for one in (trade_pack(), *found) if (one / "pack.yaml").is_file()])


def _in_rank(packs: list[PackOnDisk]) -> list[PackOnDisk]:
    return sorted(packs, key=lambda one: RANKS.index(one.rank))


def _pack(folder: Path) -> PackOnDisk:
    """What a pack says of itself; the compiler says what is wrong with it."""
    try:
        said = YAML(typ="safe").load((folder / "pack.yaml").read_text(encoding="utf-8"))
    except (YAMLError, OSError, ValueError):
        said = None
    said = said if isinstance(said, dict) else {}
    rank = str(said.get("rank", ""))
    fallback = HOUSE if folder.name == HOUSE else "maker"
    return PackOnDisk(
        id=str(said.get("id", folder.name)),
        title=str(said.get("title", folder.name)),
        rank=rank if rank in RANKS else fallback,
        folder=folder,
    )


def _content(folders: list[Path]) -> str:
    digest = hashlib.sha256()
    for folder in folders:
        for file in sorted(folder.rglob("*")):
            if file.suffix in (".yaml", ".csv") and file.is_file():
                content = hashlib.sha256(file.read_bytes()).hexdigest()
                digest.update(f"{file.as_posix()} {content}\n".encode())
    return digest.hexdigest()
