"""Random rule packs mean the same to both engines and to the plain reading of rules/LANGUAGE.md."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from kneewall import bundle as bundle_form
from kneewall.bundle import Bundle
from kneewall.compiler import CompileError, compile_packs
from kneewall.compiler.errors import Fault
from kneewall.engine import Answer, Engine, Unknown
from kneewall.engine.written import written as as_written
from tests.conformance.twins import run_phone
from tests.property.packs import Author, visit
from tests.property.reckoning import N, U
from tests.property.reference import Reference, outer
from tests.property.units import TEXT

CALENDAR = ("visit.day", "site.edition")
PACK = (
    "id: trade\nrank: trade\ntitle: Random\nformat: 1\n"
    f"date_quantity: {CALENDAR[0]}\nedition_quantity: {CALENDAR[1]}\n"
)
UNKNOWN_TO_THE_AUTHOR = ("by a column of another table", "has no answer", "no entry is the ")
"""What the random author does not know it may not write."""
VISITS = 5
HEADS = set(re.findall(r'"([^"\s]+)"', str(bundle_form.__doc__)))
"""Every operator that the form of a bundle names."""


class Met(NamedTuple):
    """A compiled pack with what each visit must give: (name, member) to (value, soft, on an edge)."""

    seed: int
    bundle: Bundle
    cases: list[dict[str, Any]]
    wanted: list[dict[tuple[str, str | None], tuple[Any, bool, bool]]]


def written(author: Author) -> str:
    """The pack as a rule file; JSON is YAML. What only the reference needs is left out."""
    document = json.loads(json.dumps(author.pack))
    for form in document["quantities"].values():
        form.pop("limits si", None)
        form.pop("default si", None)
    return json.dumps(document, ensure_ascii=False, indent=1)


def wanted(author: Author, values: Any, members: Any) -> dict[Any, tuple[Any, bool, bool]]:
    """What the plain reading gives for every quantity and check."""
    reference = Reference(author.pack, values, members, CALENDAR)
    found: dict[Any, tuple[Any, bool, bool]] = {}
    for name, (kind, scope) in author.kinds.items():
        for at, member in enumerate(members[scope]) if scope in members else [(-1, None)]:
            value, soft, edge = reference.result(name, at)
            shown = named(value, author, members)
            date = "date" if kind.base == "date" else ""
            found[name, member] = outer(reference, shown, date), soft, edge
    for name, form in author.pack["checks"].items():
        scope = form["scope"]
        for at, member in enumerate(members[scope]) if scope in members else [(-1, None)]:
            verdict, unknown, soft, edge = reference.verdict(name, at)
            found[name, member] = (verdict, named(unknown, author, members)), soft, edge
    return found


def named(value: Any, author: Author, members: Any) -> Any:
    """An unknown with what it needs by member key, in the order of declaration."""
    if not isinstance(value, U):
        return value
    order = list(author.pack["quantities"])
    needs = sorted(value.needs, key=lambda need: (order.index(need[0]), need[1]))
    scope = author.pack["quantities"]
    keys = [(n, None if at < 0 else members[scope[n]["scope"]][at]) for n, at in needs]
    return value.why, keys


def office(answer: Answer) -> Iterator[tuple[tuple[str, str | None], Any]]:
    """What the office's engine says, in the same form."""

    def plain(value: Any) -> Any:
        return (value.why, answer.needs(value)) if isinstance(value, Unknown) else value

    bundle = answer.engine.bundle
    for quantity in bundle.quantities:
        home = answer.engine.collections.get(quantity.scope)
        for member in [None] if home is None else answer.names[home]:
            yield (quantity.id, member), plain(answer.value(quantity.id, member))
    for check in answer.checks():
        unknown = None if check.unknown is None else plain(check.unknown)
        yield (check.id, check.member), (check.verdict, unknown, check.borderline)


def phone(line: dict[str, Any], members: dict[str, list[str]], bundle: Bundle) -> Iterator[Any]:
    """What the phone's engine says, in the same form."""

    def plain(value: Any) -> Any:
        if value is None or "value" in value:
            return value and value["value"]
        return value["why"], [(need["id"], need.get("member")) for need in value["needs"]]

    for quantity in bundle.quantities:
        found = line["values"][quantity.id]
        if quantity.scope in members:
            yield from (((quantity.id, member), plain(one)) for member, one in found.items())
        else:
            yield (quantity.id, None), plain(found)
    for check in line["checks"]:
        said = check["verdict"], plain(check["unknown"]), check["borderline"]
        yield (check["id"], check["member"]), said


def same(found: Any, wanted: Any) -> bool:
    """A number agrees within what its steps allow, and within 1e-12 of itself."""
    if isinstance(wanted, list):
        return (
            isinstance(found, list)
            and len(found) == len(wanted)
            and all(same(a, b) for a, b in zip(found, wanted, strict=True))
        )
    if isinstance(wanted, N):
        number = isinstance(found, float | int) and not isinstance(found, bool)
        return number and abs(found - wanted.x) <= max(wanted.err, 1e-12 * abs(wanted.x))
    return bool(found == wanted)


def differences(engine: str, said: Iterator[Any], wanted: dict[Any, Any]) -> Iterator[str]:
    for key, found in said:
        value, soft, edge = wanted[key]
        if soft:
            continue
        if isinstance(value, tuple) and key[0].startswith("c."):
            verdict, unknown, borderline = found
            if (verdict, unknown) != value:
                yield f"{engine}: {key} is {found}, not {value}"
            if edge and not borderline:
                yield f"{engine}: {key} was decided on an edge and does not say so"
        elif not same(found, value):
            yield f"{engine}: {key} is {found}, not {value}"


def report(found: list[str], met: Met, values: Any, members: Any) -> None:
    """Fail with the formulas of what differs."""
    names = " ".join(found)
    bundle = met.bundle
    trees = {q.id: [q.tree] for q in bundle.quantities}
    trees |= {check.id: [check.fail, check.caution] for check in bundle.checks}
    formulas = {
        name: [as_written(bundle, tree) for tree in own]
        for name, own in trees.items()
        if name in names
    }
    assert not found, f"seed {met.seed}: {found[:3]}\n{formulas}\n{values}\n{members}"


def forgiven(fault: Fault) -> bool:
    return fault.number == "E107" or any(what in fault.what for what in UNKNOWN_TO_THE_AUTHOR)


def explore(seeds: range, folder: Path) -> list[Met]:
    """Packs that compile and on which the office's engine and the plain reading agree."""
    (folder / "units.csv").write_text(TEXT, encoding="utf-8")
    (folder / "pack.yaml").write_text(PACK, encoding="utf-8")
    met: list[Met] = []
    for seed in seeds:
        author = Author(seed)
        author.write()
        (folder / "rules.yaml").write_text(written(author), encoding="utf-8")
        try:
            bundle = compile_packs([folder])
        except CompileError as error:
            if all(map(forgiven, error.faults)):
                continue
            raise
        engine = Engine(bundle)
        met.append(Met(seed, bundle, [], []))
        for _ in range(VISITS):
            values, members = visit(author)
            want = wanted(author, values, members)
            found = differences("office", office(engine.evaluate(values, members)), want)
            report(list(found), met[-1], values, members)
            met[-1].cases.append({"values": values, "members": members})
            met[-1].wanted.append(want)
    assert len(met) >= 0.95 * len(seeds), "more than a few packs would take too long"
    return met


def compare_phone(met: list[Met], folder: Path) -> None:
    """All packs and visits through the phone's engine, in one process."""
    inputs = [{"bundle": json.loads(one.bundle.raw), "cases": one.cases} for one in met]
    lines = iter(run_phone(inputs, folder))
    for one in met:
        for case, want in zip(one.cases, one.wanted, strict=True):
            said = phone(next(lines), case["members"], one.bundle)
            found = list(differences("phone", said, want))
            report(found, one, case["values"], case["members"])


def coverage(met: list[Met]) -> Counter[str]:
    """How often each operator of the bundle stands in a formula that came out known."""
    seen: Counter[str] = Counter()
    for one in met:
        for quantity in one.bundle.quantities:
            known = [
                want[key][0]
                for want in one.wanted
                for key in want
                if key[0] == quantity.id and not isinstance(want[key][0], tuple)
            ]
            if known:
                seen.update(heads(quantity.tree))
    return seen


def heads(tree: Any) -> set[str]:
    if not isinstance(tree, list):
        return set()
    return {str(tree[0])}.union(*(heads(part) for part in tree[1:]))


def test_random_packs_mean_the_same_to_both_engines(tmp_path: Path) -> None:
    met = explore(range(70), tmp_path)
    compare_phone(met, tmp_path)
    results = [result for one in met for want in one.wanted for result in want.values()]
    assert sum(soft for _, soft, _ in results) < len(results) / 20
    assert set(coverage(met)) == HEADS


@pytest.mark.long
@pytest.mark.parametrize("first", range(1000, 2500, 100))
def test_many_random_packs(first: int, tmp_path: Path) -> None:
    compare_phone(explore(range(first, first + 100), tmp_path), tmp_path)
