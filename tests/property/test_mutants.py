"""Mutated rules: each compiles or is refused, soon, in little memory; what compiles answers whatever it is asked."""

from __future__ import annotations

import multiprocessing
import os
import random
import re
import resource
import shutil
import signal
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import repeat
from pathlib import Path
from typing import Final

import pytest

from kneewall.bundle import Bundle, load_bundle
from kneewall.compiler import CompileError, schema
from kneewall.compiler.calls import CALLS
from kneewall.compiler.context import context
from kneewall.compiler.kept import Kept
from kneewall.compiler.link import compile_items
from kneewall.compiler.table_calls import TABLE_CALLS
from kneewall.compiler.warnings import warnings_of
from kneewall.engine import Engine
from kneewall.explain import Explainer
from tests.property.grounds import Ground, grounds
from tests.property.hostile import LINE
from tests.property.mutants import mutate
from tests.property.test_graphs import HEADS, heads

RULES: Final = Path(__file__).parents[2] / "rules"
LONGEST: Final = 2
"""Seconds of the processor for one mutant of the small packs."""
LONGEST_OF_THE_TRADE: Final = 20
"""For one of the trade's rules, of which a first compilation takes some seconds."""
MOST_MEMORY: Final = 200_000
"""Kilobytes that a process takes in all that compiles mutants of the small packs."""
MUTANTS: Final = int(os.environ.get("KNEEWALL_MUTANTS", "100000"))
"""Of the small packs, in a long run."""
FIRST: Final = int(os.environ.get("KNEEWALL_FIRST_SEED", "1"))
"""Where a run begins that goes on from another one. The trade's own rules belong to the one from the first seed."""
WORKERS: Final = int(os.environ.get("KNEEWALL_WORKERS", str(os.cpu_count() or 1)))
CHUNK: Final = 500
OF_THE_TRADE: Final = 500
"""Of the trade's own rules, in a long run."""
EVERY: Final = 50
"""One mutant in so many is compiled anew as well, without anything kept, and its faults are shown in their lines."""
SELDOM: Final = {"units.csv": 0.1, "pack.yaml": 0.3}
"""Files that are mutated less often than others: units take long to read."""


class TooLongError(BaseException):
    """No `Exception`, so that nothing takes it for a fault of the rules."""


@dataclass
class Tally:
    mutants: int = 0
    compiled: int = 0
    slowest: float = 0.0
    memory: int = 0
    numbers: set[str] = field(default_factory=set)
    """Of all faults met."""

    def add(self, other: Tally) -> None:
        self.mutants += other.mutants
        self.compiled += other.compiled
        self.slowest = max(self.slowest, other.slowest)
        self.memory = max(self.memory, other.memory)
        self.numbers |= other.numbers

    def __str__(self) -> str:
        return (
            f"{self.mutants:,} mutants, {self.compiled:,} compiled; the slowest took {self.slowest:.2f} s, "
            f"the most memory was {self.memory / 1000:.0f} MB, {len(self.numbers)} kinds of fault"
        )


class Arena:
    """A copy of some packs in which one file at a time is a mutant."""

    def __init__(self, folders: list[Path], longest: float) -> None:
        self.folders = folders
        self.longest = longest
        files = (path for folder in folders for path in folder.rglob("*.*"))
        self.texts = {
            path: path.read_text(encoding="utf-8")
            for path in sorted(files)
            if path.suffix in (".yaml", ".csv")
        }
        self.kept = Kept()
        assert isinstance(self.outcome(self.kept), bytes)

    def outcome(self, kept: Kept | None = None) -> bytes | list[str]:
        """The bundle's bytes, or the lines of the refusal."""
        try:
            compiled = compile_items(self.folders, kept)
        except CompileError as error:
            faults = error.faults
        else:
            warnings = warnings_of(compiled)
            assert all(str(warning).isprintable() for warning in warnings)
            return compiled.bundle.raw
        if kept is None:
            shown = [line for fault in faults for line in context(fault)]
            assert all(line.replace("\t", " ").isprintable() for line in shown)
        return [str(fault) for fault in faults]

    def meet(self, rng: random.Random, name: str, *, anew: bool) -> Tally:
        """One mutant. Raises AssertionError, also for whatever the compiler let through."""
        weights = [SELDOM.get(path.name, 1.0) for path in self.texts]
        (path,) = rng.choices(list(self.texts), weights)
        data = mutate(self.texts[path], rng, sheet=path.suffix == ".csv")
        path.write_bytes(data)
        started = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, self.longest)
        try:
            found = self.outcome(self.kept)
            signal.setitimer(signal.ITIMER_PROF, 0)
            took = time.process_time() - started
            if isinstance(found, bytes):
                ask(load_bundle(found))
            else:
                assert found
                assert all(LINE.fullmatch(line) and line.isprintable() for line in found), found
            if anew:
                assert self.outcome() == found, "compiled anew it comes out otherwise"
        except BaseException as error:
            odd = Path(tempfile.gettempdir()) / f"mutant-{name}-{path.name}"
            odd.write_bytes(data)
            raise AssertionError(f"{odd}: {type(error).__name__} {error}") from error
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
            path.write_text(self.texts[path], encoding="utf-8")
        numbers = set() if isinstance(found, bytes) else {numbered(line) for line in found}
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return Tally(1, int(isinstance(found, bytes)), took, memory, numbers)


def ask(bundle: Bundle) -> None:
    """Every quantity and check of an empty visit with one member each, opened."""
    answer = Engine(bundle).evaluate({}, {name: ["one"] for name in bundle.collections})
    explainer = Explainer(answer)
    for quantity in bundle.quantities:
        explainer.step(quantity.id, "one" if quantity.scope in bundle.collections else None)
    for result in answer.checks():
        explainer.message(result)


def numbered(line: str) -> str:
    return line.split(": ", 1)[1][:4]


def meet(packs: Ground | None, seed: int, count: int, every: int) -> Tally:
    """So many mutants of these packs, or of the trade's rules."""
    signal.signal(signal.SIGPROF, _too_long)
    rng = random.Random(seed)
    tally = Tally()
    with tempfile.TemporaryDirectory() as home:
        if packs is None:
            folder = shutil.copytree(RULES, Path(home) / "rules")
            arena = Arena([folder], LONGEST_OF_THE_TRADE)
        else:
            arena = Arena(packs.lay(Path(home)), LONGEST)
        for number in range(count):
            tally.add(arena.meet(rng, f"{seed}-{number}", anew=number % every == every - 1))
    return tally


def _too_long(number: int, frame: object) -> None:
    raise TooLongError


def test_the_small_packs_use_all_of_the_language(tmp_path: Path) -> None:
    every = grounds()
    texts = [text for ground in every for files in ground.packs.values() for text in files.values()]
    words = {word for text in texts for word in re.findall(r"\w+", text)}
    known = vars(schema).values()
    forms = [form for form in known if isinstance(form, type) and issubclass(form, schema.Form)]
    keys = {info.alias or name for form in forms for name, info in form.model_fields.items()}
    assert not (keys | {*CALLS, *TABLE_CALLS}) - words
    bundle = compile_items(every[0].lay(tmp_path)).bundle
    trees = [tree for q in bundle.quantities for tree in (q.tree, q.when)]
    trees += [function.tree for function in bundle.functions]
    assert set().union(*map(heads, trees)) == HEADS


def test_mutants_of_the_small_packs() -> None:
    for seed, ground in enumerate(grounds()):
        meet(ground, seed, 15, every=15)


@pytest.mark.long
def test_many_mutants(capsys: pytest.CaptureFixture[str]) -> None:
    tally, trade = Tally(), Tally()
    context = multiprocessing.get_context("spawn")
    every = grounds()
    seeds = range(FIRST, FIRST + MUTANTS // CHUNK)
    drawn = [every[seed % len(every)] for seed in seeds]
    with ProcessPoolExecutor(WORKERS, mp_context=context) as pool:
        for seed, one in zip(
            seeds, pool.map(meet, drawn, seeds, repeat(CHUNK), repeat(EVERY)), strict=True
        ):
            tally.add(one)
            with capsys.disabled():
                print(f"\nto seed {seed}: {tally}", end="", flush=True)
        if FIRST == 1:
            trade.add(pool.submit(meet, None, 0, OF_THE_TRADE, EVERY).result())
            with capsys.disabled():
                print(f"\nthe trade's rules: {trade}")
    assert tally.memory < MOST_MEMORY, str(tally)
