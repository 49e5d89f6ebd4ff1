"""Seeding faults one at a time in a copy of a pack, and what the compiler makes of each."""

from __future__ import annotations

import argparse
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from kneewall.compiler import CompileError
from kneewall.compiler.kept import Kept
from kneewall.compiler.link import compile_items
from tests.mutation.seeds import KINDS, Seed, seeds

DIMENSIONS: Final = {"E302", "E303", "E304"}
RULES: Final = Path(__file__).parents[2] / "rules"
MAKER: Final = Path(__file__).parents[2] / "demo" / "packs" / "maker"
OUTCOMES: Final = ("dimensions", "otherwise", "examples", "missed")
"""Refused because dimensions or kinds do not agree, for another reason, by an example; or not at all."""


class Field:
    """Copies of packs that faults are seeded in. What does not change is compiled once."""

    def __init__(self, *packs: Path) -> None:
        self.packs = list(packs)
        self.kept = Kept()
        compiled = compile_items(self.packs, self.kept)
        self.overruled = len(compiled.overruled)
        self.seeds = list(seeds(compiled.items, compiled.bundle.units))

    def outcome(self, seed: Seed) -> str:
        """One of `OUTCOMES`; the file is put back."""
        whole = seed.file.read_text(encoding="utf-8")
        seed.file.write_text(whole[: seed.start] + seed.new + whole[seed.end :], encoding="utf-8")
        try:
            compiled = compile_items(self.packs, self.kept)
        except CompileError as error:
            numbers = {fault.number for fault in error.faults}
        else:
            # An example of the trade's that rests on a maker's rows is no fault then, but it is noticed.
            return "examples" if len(compiled.overruled) > self.overruled else "missed"
        finally:
            seed.file.write_text(whole, encoding="utf-8")
        if numbers == {"E601"}:
            return "examples"
        return "dimensions" if numbers & DIMENSIONS else "otherwise"


def table(found: Iterable[tuple[Seed, str]]) -> str:
    """How many of each kind came out how, as a Markdown table."""
    counts = Counter((seed.kind, outcome) for seed, outcome in found)
    lines = [
        "| seeded fault | number | " + " | ".join(OUTCOMES) + " | caught |",
        "| --- " * 7 + "|",
    ]
    for kind, title in KINDS.items():
        ways = [counts[kind, outcome] for outcome in OUTCOMES]
        total = sum(ways)
        if total:
            caught = f"{100 * (total - ways[-1]) / total:.1f} %"
            lines.append("| " + " | ".join([title, str(total), *map(str, ways), caught]) + " |")
    return "\n".join(lines)


def unwatched(found: Iterable[tuple[Seed, str]], kind: str) -> list[str]:
    """Items in which a fault of this kind went unseen, with the faults."""
    missed: dict[str, list[str]] = {}
    for seed, outcome in found:
        if seed.kind == kind and outcome == "missed":
            missed.setdefault(f"{seed.file.parent.name}/{seed.file.name} {seed.item}", []).append(
                seed.what
            )
    return [f"{name}: {'; '.join(faults)}" for name, faults in missed.items()]


def main() -> None:
    """`python -m tests.mutation.run FOLDER…`: what no example watches in these folders of the rules."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument(
        "folders", nargs="+", help="folders under rules/, such as electrical checklists/work"
    )
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=["coefficient", "term"])
    parser.add_argument(
        "--maker", action="store_true", help="let the invented maker's examples watch too"
    )
    asked = parser.parse_args()
    packs = [RULES, MAKER] if asked.maker else [RULES]
    with tempfile.TemporaryDirectory() as place:
        field = Field(*(shutil.copytree(pack, Path(place) / pack.name) for pack in packs))
        ends = tuple(f"/{folder}" for folder in asked.folders)
        those = [s for s in field.seeds if s.file.parent.as_posix().endswith(ends)]
        found = [(seed, field.outcome(seed)) for seed in those if seed.kind in asked.kinds]
    print(table(found))
    for kind in asked.kinds:
        print(f"\n{KINDS[kind]}:", *unwatched(found, kind), sep="\n")


if __name__ == "__main__":
    main()
