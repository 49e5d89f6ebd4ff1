"""Small packs to be mutated: together they use every part of the language."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.property.packs import Author
from tests.property.test_graphs import PACK, written
from tests.property.units import TEXT

SMALL: Final = Path(__file__).parent / "small"
SEEDS: Final = (9, 24, 26)
"""Of random packs, which have what nobody would write by hand."""


@dataclass(frozen=True)
class Ground:
    """Packs in rank order, by the names of their folders: the texts of their files."""

    packs: dict[str, dict[str, str]]

    def lay(self, home: Path) -> list[Path]:
        """The folders of the packs, with all files in them."""
        for pack, files in self.packs.items():
            (home / pack).mkdir()
            for name, text in files.items():
                (home / pack / name).write_text(text, encoding="utf-8")
        return [home / pack for pack in self.packs]


def grounds() -> list[Ground]:
    """The three packs written by hand, as often as all random ones together, and these."""
    stack = {
        pack: {
            path.name: path.read_text(encoding="utf-8") for path in sorted((SMALL / pack).iterdir())
        }
        for pack in ("trade", "maker", "house")
    }
    found = [Ground(stack)] * len(SEEDS)
    for seed in SEEDS:
        author = Author(seed)
        author.write()
        files = {"pack.yaml": PACK, "units.csv": TEXT, "rules.yaml": written(author)}
        found.append(Ground({"trade": files}))
    return found
