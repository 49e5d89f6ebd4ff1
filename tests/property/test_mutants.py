"""Mutated copies of the real rules: each compiles or is refused, soon, in little memory, kept work or not."""

from __future__ import annotations

import multiprocessing
import os
import random
import resource
import shutil
import signal
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pytest

from kneewall.compiler import CompileError, compile_packs
from kneewall.compiler.kept import Kept
from tests.property.hostile import LINE
from tests.property.mutants import mutate

RULES: Final = Path(__file__).parents[2] / "rules"
LONGEST: Final = 20
"""Seconds of the processor after which a compilation is taken for endless."""
MOST_MEMORY: Final = 200_000
"""Kilobytes over what the first compilation took."""
MUTANTS: Final = int(os.environ.get("KNEEWALL_MUTANTS", "4000"))
"""In a long run: four a second on one core, so that a hundred thousand take a night."""
CHUNK: Final = 500
EVERY: Final = 100
"""One mutant in so many is compiled anew as well, without anything kept."""


class TooLongError(BaseException):
    """No `Exception`, so that nothing takes it for a fault of the rules."""


@dataclass
class Tally:
    mutants: int = 0
    compiled: int = 0
    slowest: float = 0.0
    memory: int = 0

    def add(self, other: Tally) -> None:
        self.mutants += other.mutants
        self.compiled += other.compiled
        self.slowest = max(self.slowest, other.slowest)
        self.memory = max(self.memory, other.memory)

    def __str__(self) -> str:
        return (
            f"{self.mutants:,} mutants, {self.compiled:,} compiled; the slowest took {self.slowest:.2f} s, "
            f"the most memory was {self.memory / 1000:.0f} MB over the rules themselves"
        )


def outcome(folder: Path, kept: Kept | None = None) -> bytes | list[str]:
    """The bundle's bytes, or the lines of the refusal."""
    try:
        return compile_packs([folder], kept).raw
    except CompileError as error:
        return [str(fault) for fault in error.faults]


def meet(seed: int, count: int, every: int) -> Tally:
    """Compile so many mutants. Raises AssertionError, or whatever the compiler let through."""
    rng = random.Random(seed)
    tally = Tally()
    with tempfile.TemporaryDirectory() as home:
        folder = Path(shutil.copytree(RULES, Path(home) / "rules"))
        files = sorted([*folder.rglob("*.yaml"), *folder.rglob("*.csv")])
        texts = {path: path.read_text(encoding="utf-8") for path in files}
        kept = Kept()
        assert isinstance(outcome(folder, kept), bytes)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        signal.signal(signal.SIGPROF, _too_long)
        for number in range(count):
            path = rng.choice(files)
            data = mutate(texts[path], rng, sheet=path.suffix == ".csv")
            path.write_bytes(data)
            started = time.process_time()
            signal.setitimer(signal.ITIMER_PROF, LONGEST)
            try:
                found = outcome(folder, kept)
            except BaseException as error:
                odd = Path(tempfile.gettempdir()) / f"mutant-{seed}-{number}-{path.name}"
                odd.write_bytes(data)
                raise AssertionError(f"{odd}: {type(error).__name__} {error}") from error
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
            took = time.process_time() - started
            if isinstance(found, list):
                assert found
                assert all(LINE.fullmatch(line) and line.isprintable() for line in found), found
            if number % every == every - 1:
                assert outcome(folder) == found, f"seed {seed}, mutant {number} of {path.name}"
            path.write_text(texts[path], encoding="utf-8")
            memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
            tally.add(Tally(1, int(isinstance(found, bytes)), took, memory))
    assert tally.memory < MOST_MEMORY, str(tally)
    return tally


def _too_long(number: int, frame: object) -> None:
    raise TooLongError


def test_mutants_of_the_rules() -> None:
    meet(0, 20, every=20)


@pytest.mark.long
def test_thousands_of_mutants_of_the_rules(capsys: pytest.CaptureFixture[str]) -> None:
    tally = Tally()
    workers = os.cpu_count() or 1
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        seeds = range(1, MUTANTS // CHUNK + 1)
        for one in pool.map(meet, seeds, [CHUNK] * len(seeds), [EVERY] * len(seeds)):
            tally.add(one)
    with capsys.disabled():
        print(f"\n{tally}")
