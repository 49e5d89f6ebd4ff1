"""The trade rules, compiled once, alone and with the invented maker's catalogue."""

from __future__ import annotations

import pytest

from kneewall.compiler import compile_packs
from tests.trade.asking import MAKER, RULES, Trade


@pytest.fixture(scope="session")
def trade() -> Trade:
    return Trade(compile_packs([RULES]))


@pytest.fixture(scope="session")
def maker() -> Trade:
    return Trade(compile_packs([RULES, MAKER]))
