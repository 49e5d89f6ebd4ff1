"""Puts the built phone app into the wheel.

An editable install takes this way too; daily work uses `backend/build_pwa.py --watch` after it.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

HINT = (
    "The phone app was not built (exit status {status}; the reason stands above). Without a"
    " network: install a wheel built elsewhere, which needs no node; or set"
    " HATCH_BUILD_NO_HOOKS=true to install the office without the phone app."
)


class PhoneAppHook(BuildHookInterface[Any]):
    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        del version, build_data  # the output is listed under `artifacts`
        root = Path(self.root)
        folder = root / "backend" / "kneewall" / "static" / "pwa"
        command = [sys.executable, str(root / "backend" / "build_pwa.py"), str(folder)]
        status = subprocess.run(command, check=False).returncode
        if status != 0:
            raise SystemExit(HINT.format(status=status))
