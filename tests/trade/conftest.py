"""The trade rules, compiled once."""

from __future__ import annotations

import pytest

from kneewall.compiler import compile_packs
from tests.trade.asking import RULES, Trade


@pytest.fixture(scope="session")
def trade() -> Trade:
    return Trade(compile_packs([RULES]))
