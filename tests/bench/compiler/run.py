"""How long a compilation takes, and a second look after one cell was edited.

    python tests/bench/compiler/run.py [PACK…]

Without packs: one generated pack of 40 calculators with 25 formulas each. Prints seconds of this process.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import Final

from kneewall.compiler import Kept, compile_packs

UNITS: Final = Path(__file__).parents[3] / "rules" / "units.csv"
CALCULATORS: Final = 40
FORMULAS: Final = 25
SHAPES: Final = [
    '{before} * 1.01 + quantity({n}, "ft")',
    'max({before}, {of}.length) if {of}.current > quantity(10, "A") else {before} / 2',
    "{before} + row({of}_stretches, size=1).stretch",
    'interpolate({of}_stretches, size=min(9, number({before}, "ft") / 1000)).stretch + {before}',
    'round({before}, quantity(0.5, "ft")) if {of}.heat > quantity(32, "degF") else {before}',
]


def rules(of: str) -> str:
    """A file with one calculator, its quantities, a table, a check and three worked examples."""
    lines = [
        "quantities:",
        f"  {of}.length: {{label: Length, unit: ft, limits: 0 ft to 1000 ft}}",
        f"  {of}.current: {{label: Current, unit: A, limits: 0 A to 400 A}}",
        f"  {of}.heat: {{label: Heat, unit: degF, limits: -40 degF to 200 degF}}",
    ]
    names = [f"{of}.length"]
    for n in range(FORMULAS):
        formula = SHAPES[n % len(SHAPES)].format(before=names[-1], of=of, n=n + 1)
        names.append(f"{of}.step{n}")
        lines += [
            f"  {names[-1]}: {{label: Step {n}, unit: ft, limits: -100000 ft to 100000 ft,",
            f"    formula: '{formula}', source: demo}}",
        ]
    lines += [
        "tables:",
        f"  {of}_stretches:",
        "    source: demo",
        "    keys: [size]",
        "    rows: |",
    ]
    lines += ["      size [number], stretch [ft]", *(f"      {n}, {n * 1.5}" for n in range(20))]
    lines += [
        "checks:",
        f"  {of}.small: {{label: Small, source: demo,",
        f"    fail: '{names[-1]} > quantity(90000, \"ft\")',",
        '    says: {pass: "It fits.", fail: "It is long. Cut it."}}',
        "calculators:",
        f"  {of}: {{title: Steps, topic: demo, enter: [{of}.length, {of}.current, {of}.heat],",
        f"    show: [{', '.join(reversed(names))}], checks: [{of}.small]}}",
        "examples:",
    ]
    for feet in (10, 11, 12):
        lines += [
            f"  - {{name: {feet} ft, calculator: {of}, source: demo, checks: {{{of}.small: pass}},",
            f"     given: {{{of}.length: {feet} ft, {of}.current: 20 A, {of}.heat: 70 degF}},",
            f"     expect: {{{of}.step0: {feet * 1.01 + 1:.4f} ft within 0.001 ft}}}}",
        ]
    return "\n".join(lines) + "\n"


def generate(folder: Path) -> list[Path]:
    (folder / "pack.yaml").write_text("id: trade\nrank: trade\ntitle: Steps\nformat: 1\n")
    (folder / "units.csv").write_text(UNITS.read_text(encoding="utf-8"), encoding="utf-8")
    for number in range(CALCULATORS):
        (folder / f"steps{number}.yaml").write_text(rules(f"steps{number}"))
    return [folder]


def took(what: str, folders: list[Path], kept: Kept) -> None:
    start = time.process_time()
    compile_packs(folders, kept)
    print(f"{what}: {time.process_time() - start:.2f} s")


def main(packs: list[Path]) -> None:
    kept = Kept()
    with tempfile.TemporaryDirectory() as folder:
        folders = packs or generate(Path(folder))
        took("with nothing kept", folders, kept)
        took("again, nothing edited", folders, kept)
        if not packs:
            edited = Path(folder) / "steps7.yaml"
            edited.write_text(edited.read_text().replace("      3, 4.5", "      3, 4.6"))
            took("after one cell", folders, kept)


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]])
