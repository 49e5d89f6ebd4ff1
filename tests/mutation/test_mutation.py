"""Faults seeded in the trade's own rules: those of units are refused before an example is run."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Final

import pytest

from tests.mutation.run import RULES, Field, table, unwatched
from tests.mutation.seeds import KINDS, OF_UNITS, Seed

LEAST_CAUGHT: Final = {"coefficient": 0.65, "term": 0.9, "factor": 0.9, "comparison": 0.5}
"""Shares reached; they may rise."""


@pytest.fixture
def field(tmp_path: Path) -> Field:
    return Field(shutil.copytree(RULES, tmp_path / "rules"))


def leaks(found: list[tuple[Seed, str]]) -> list[str]:
    """Faults of units that only an example refused, or nothing."""
    return [
        f"{seed.file.name} {seed.item}: {seed.what}: {outcome}"
        for seed, outcome in found
        if seed.kind in OF_UNITS and outcome in ("examples", "missed")
    ]


def test_a_sample_of_faults(field: Field) -> None:
    found: list[tuple[Seed, str]] = []
    for kind in KINDS:
        those = [seed for seed in field.seeds if seed.kind == kind]
        some = those[:: max(1, len(those) // (4 if kind in OF_UNITS else 1))]
        assert some, kind
        found += [(seed, field.outcome(seed)) for seed in some]
    assert not leaks(found)
    assert any(outcome == "examples" for _, outcome in found)


@pytest.mark.long
def test_every_fault(field: Field, capsys: pytest.CaptureFixture[str]) -> None:
    found = [(seed, field.outcome(seed)) for seed in field.seeds]
    with capsys.disabled():
        print(f"\n{table(found)}\n\nNumbers that no example watches:")
        print(*unwatched(found, "coefficient"), sep="\n")
    assert not leaks(found)
    for kind, least in LEAST_CAUGHT.items():
        ways = [outcome for seed, outcome in found if seed.kind == kind]
        assert 1 - ways.count("missed") / len(ways) >= least, kind
