"""The environment behind demo/run.py and tests/run.py: a `.venv` with Kneewall in it, and the built phone app.

Only the standard library, and nothing newer than the check below, so that an old Python gets one clear line. A start
on which nothing has changed does nothing and needs no network: a stamp in the environment says what it was made from.
"""

from __future__ import annotations

import sys

if sys.version_info < (3, 11):  # noqa: UP036  whoever has an older one should read why
    sys.exit(
        "Kneewall needs Python 3.11 or newer; this is {}.{} ({}). Start it with a newer one.".format(
            *sys.version_info[:2], sys.executable
        )
    )

import hashlib
import importlib.util
import json
import os
import subprocess
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
VENV = ROOT / ".venv"
STAMP = VENV / "kneewall-stamp.json"
CONSTRAINTS = ROOT / "backend" / "constraints.txt"
PWA = ROOT / "pwa"
PWA_BUILT = ROOT / "backend" / "kneewall" / "static" / "pwa" / "release.json"


def prepare(*, tests: bool = False) -> Path:
    """Make or refresh the environment; `tests` adds what the tests need.

    Returns the environment's Python. Ends the process with one line where it cannot.
    """
    with _one_at_a_time():
        stamp = _read_stamp()
        interpreter = f"{sys.version} at {sys.base_prefix}, {ROOT}"
        if stamp.get("interpreter") != interpreter or not venv_program("python").exists():
            stamp = {}
            _make_venv()
        project = hash_files(ROOT / "pyproject.toml", CONSTRAINTS)
        if stamp.get("project") != project or (tests and not stamp.get("tests")):
            tests = tests or bool(stamp.get("tests"))
            _install(tests=tests)
            stamp |= {"interpreter": interpreter, "project": project, "tests": tests}
            _write_stamp(stamp)
        pwa = hash_files(*_pwa_sources())
        if stamp.get("pwa") != pwa or not PWA_BUILT.exists():
            _build_pwa()
            _write_stamp(stamp | {"pwa": pwa})
    return venv_program("python")


def venv_program(name: str) -> Path:
    """Where the environment keeps a program of this name."""
    return VENV / "Scripts" / f"{name}.exe" if os.name == "nt" else VENV / "bin" / name


def node_program(python: Path) -> str:
    """The node that came with the environment."""
    ask = "import build_pwa; print(build_pwa.node_folder() / 'node')"
    answer = subprocess.run(
        [str(python), "-c", ask], cwd=ROOT / "backend", capture_output=True, text=True, check=True
    )
    return answer.stdout.strip()


def say(line: str) -> None:
    print(line, flush=True)


def hash_files(*paths: Path) -> str:
    """SHA-256 over names and bytes, in the order given."""
    total = hashlib.sha256()
    for path in paths:
        total.update(f"{path.relative_to(ROOT)}\0".encode())
        total.update(hashlib.sha256(path.read_bytes()).digest())
    return total.hexdigest()


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Tests and demo may start together; the second waits for the first."""
    if os.name == "nt":
        yield
        return
    import fcntl

    with Path(__file__).open() as own:
        try:
            fcntl.flock(own, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("environment: another start is preparing it; waiting")
            fcntl.flock(own, fcntl.LOCK_EX)
        yield


def _make_venv() -> None:
    if not (importlib.util.find_spec("venv") and importlib.util.find_spec("ensurepip")):
        sys.exit(
            f"Kneewall needs Python's venv and ensurepip, which {sys.executable} lacks."
            " On Debian and Ubuntu: apt-get install python3-venv"
        )
    if Path(sys.prefix) == VENV:
        sys.exit(
            "The environment .venv is stale; start with the system's Python, not the one in it."
        )
    say(f"environment: creating .venv with Python {sys.version.split()[0]}")
    _run([sys.executable, "-m", "venv", "--clear", str(VENV)], "The environment was not created.")


def _install(*, tests: bool) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    node = project["tool"]["hatch"]["build"]["targets"]["wheel"]["hooks"]["custom"]["dependencies"]
    say(f"environment: installing Kneewall{' and its tests' if tests else ''}; a minute or two")
    command = [str(venv_program("python")), "-m", "pip", "install", "--no-input"]
    command += ["--disable-pip-version-check", "--progress-bar", "off", "-c", str(CONSTRAINTS)]
    command += ["-e", f"{ROOT}[test]" if tests else str(ROOT), *node]
    # The phone app is built once, below, and not by the install as well.
    _run(
        command,
        "The install failed; see above. A first start needs the network, or a mirror that pip knows.",
        {"HATCH_BUILD_NO_HOOKS": "true"},
    )


def _build_pwa() -> None:
    say("environment: building the phone app")
    _run(
        [str(venv_program("python")), str(ROOT / "backend" / "build_pwa.py")],
        "The phone app was not built; see above. New packages need the network, or a mirror that npm knows.",
    )


def _run(command: list[str], failure: str, extra: dict[str, str] | None = None) -> None:
    """Run with a line shown for each package, the whole output only when it fails."""
    started = time.monotonic()
    process = subprocess.Popen(
        command,
        cwd=ROOT,
        env={**os.environ, **(extra or {})},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
    )
    assert process.stdout is not None
    lines = []
    for line in process.stdout:
        lines.append(line)
        words = line.split()
        if words[:1] == ["Collecting"]:
            say(f"  {words[1]}")
        elif words[:2] in (["Installing", "collected"], ["phone", "app"]):
            say(f"  {' '.join(words)[:100]}")
    if process.wait() != 0:
        sys.exit("".join(lines[-25:]) + failure)
    say(f"  done in {time.monotonic() - started:.0f} s")


def _pwa_sources() -> list[Path]:
    found = [ROOT / "backend" / "build_pwa.py"]
    for path in sorted(PWA.glob("*")):
        if path.is_file():
            found.append(path)
        elif path.name not in ("node_modules", "tests"):
            found += sorted(each for each in path.rglob("*") if each.is_file())
    return found


def _read_stamp() -> dict[str, object]:
    try:
        stamp = json.loads(STAMP.read_text())
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def _write_stamp(stamp: dict[str, object]) -> None:
    STAMP.write_text(json.dumps(stamp, indent=1))
