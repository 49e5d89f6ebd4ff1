"""An answer that computes everything at once says the same as one that is read result by result."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from kneewall.compiler import compile_packs
from kneewall.engine import Answer, Engine, Unknown
from tests.conformance.twins import Case, random_cases

ROOT = Path(__file__).parents[2]
PACKS = [ROOT / "rules", ROOT / "demo" / "packs" / "maker", ROOT / "demo" / "packs" / "house"]


def test_what_is_settled_whole_is_what_is_read_one_by_one() -> None:
    bundle = compile_packs(PACKS)
    engine = Engine(bundle)
    for case in random_cases(bundle, 12, 7):
        lazy = engine.evaluate(case.values, case.members)
        whole = engine.evaluate(case.values, case.members)
        whole.settle()
        assert found(lazy, case) == found(whole, case)


def found(answer: Answer, case: Case) -> dict[str, Any]:
    """Every result, then every verdict, and which results rest on defaults."""
    results = {
        f"{quantity.id}@{member}": plain(answer.value(quantity.id, member))
        for quantity in answer.engine.bundle.quantities
        for member in case.members.get(quantity.scope, [None])
    }
    verdicts = [(each.id, each.member, each.verdict, each.borderline) for each in answer.checks()]
    return {**results, "verdicts": verdicts, "defaults": answer.defaulted}


def plain(value: Any) -> Any:
    return (value.why, value.needs, value.detail) if isinstance(value, Unknown) else value
