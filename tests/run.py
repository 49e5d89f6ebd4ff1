"""Everything that has to hold, from a fresh clone:  python3 tests/run.py [--long]

Makes the environment, finds or installs a browser, then runs every stage to its end and says at the close which
failed. The tests that drive a browser run beside the rest; what they print follows at their end. `--long` adds the
tests that take minutes. The tests find the browser by KNEEWALL_CHROMIUM.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import IO

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "backend"))

import bootstrap
from bootstrap import ROOT

Stage = tuple[str, Path, list[str]]  # name, folder, command
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def main() -> int:
    parser = argparse.ArgumentParser(description="Run all checks and tests of Kneewall.")
    parser.add_argument("--long", action="store_true", help="also the tests that take minutes")
    long = parser.parse_args().long
    python = bootstrap.prepare(tests=True)
    os.environ["KNEEWALL_CHROMIUM"] = find_chromium(python)
    with ThreadPoolExecutor() as lanes, tempfile.TemporaryFile("w+") as printed:
        beside = lanes.submit(run_stage, browser_stage(python, long=long), printed)
        results = [run_stage(stage) for stage in stages(python, long=long)]
        results.append(beside.result())
        printed.seek(0)
        shutil.copyfileobj(printed, sys.stdout)
    print("\n=== summary")
    for name, passed, seconds in results:
        print(f"  {'ok    ' if passed else 'FAILED'}  {name:<22} {seconds:6.1f} s")
    failed = [name for name, passed, _ in results if not passed]
    if failed:
        print(f"{len(failed)} of {len(results)} stages failed: {', '.join(failed)}")
        return 1
    print(f"all {len(results)} stages passed")
    return 0


def run_stage(stage: Stage, out: IO[str] | None = None) -> tuple[str, bool, float]:
    """Name, whether it passed, and seconds. Prints to `out`, if given."""
    name, folder, command = stage
    print(f"\n=== {name}", file=out, flush=True)
    started = time.monotonic()
    status = subprocess.run(
        command, cwd=folder, stdin=subprocess.DEVNULL, stdout=out, stderr=out, check=False
    )
    return name, status.returncode == 0, time.monotonic() - started


def stages(python: Path, *, long: bool) -> Iterator[Stage]:
    """All but the browser's, the quick ones first."""
    node = bootstrap.node_program(python)
    pwa = ROOT / "pwa"
    tsc = [node, "node_modules/typescript/bin/tsc", "-p"]
    run = [str(python), "-m"]
    yield "ruff check", ROOT, [*run, "ruff", "check", "."]
    yield "ruff format", ROOT, [*run, "ruff", "format", "--check", "."]
    yield "generated types", ROOT, [*run, "kneewall.generate_types", "--check"]
    yield "tsc app", pwa, [*tsc, "tsconfig.json"]
    yield "tsc worker", pwa, [*tsc, "tsconfig.worker.json"]
    yield "tsc tests", pwa, [*tsc, "tsconfig.tests.json"]
    yield "prettier", pwa, [node, "node_modules/prettier/bin/prettier.cjs", "--check", "."]
    yield "mypy", ROOT, [*run, "mypy"]
    yield "node --test", pwa, [node, "--test", "tests/**/*.test.ts"]
    marks = "not browser" if long else "not browser and not long"
    yield "pytest", ROOT, [*run, "pytest", "-m", marks]


def browser_stage(python: Path, *, long: bool) -> Stage:
    marks = "browser" if long else "browser and not long"
    return "pytest browser", ROOT, [str(python), "-m", "pytest", "-m", marks]


def find_chromium(python: Path) -> str:
    """Path of a Chromium, installed if none is here. Ends the process with one line without one."""
    found = os.environ.get("KNEEWALL_CHROMIUM") or _on_path() or _of_playwright(python)
    if not found:
        apt = shutil.which("apt-get")
        if apt and os.geteuid() == 0:
            bootstrap.say("browser: installing Debian's chromium; a minute or two")
            os.environ["DEBIAN_FRONTEND"] = "noninteractive"
            _quietly([apt, "update"])
            _quietly(
                [apt, "install", "-y", "--no-install-recommends", "chromium", "fonts-liberation"]
            )
            found = _on_path()
        if not found:
            bootstrap.say("browser: installing Playwright's chromium; a minute or two")
            _quietly([str(python), "-m", "playwright", "install", "chromium"])
            found = _of_playwright(python)
    if not found or not Path(found).exists():
        sys.exit(
            f"No Chromium{f' at {found}' if found else ''} and none could be installed."
            " Install chromium, or set KNEEWALL_CHROMIUM to its path."
        )
    bootstrap.say(f"browser: {found}")
    return found


def _on_path() -> str | None:
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def _of_playwright(python: Path) -> str | None:
    ask = (
        "from playwright.sync_api import sync_playwright as p\n"
        "with p() as browsers: print(browsers.chromium.executable_path)"
    )
    answer = subprocess.run([python, "-c", ask], capture_output=True, text=True, check=False)
    path = answer.stdout.strip()
    return path if path and Path(path).exists() else None


def _quietly(command: list[str]) -> None:
    """Run; show the last lines only when it fails. What comes of it is looked at afterwards."""
    done = subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        print("\n".join(done.stdout.splitlines()[-8:]))


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit(130)
