"""Both engines give what the cases say."""

from __future__ import annotations

from pathlib import Path

import pytest
from conformance import FILES, load


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_python_engine(path: Path, tmp_path: Path) -> None:
    """Compiling proves every case: a case that fails is a fault of the pack."""
    loaded = load(path, tmp_path)
    assert len(loaded.cases) >= 8
