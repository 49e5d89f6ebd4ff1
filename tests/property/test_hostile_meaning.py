"""Rules that are well written and mean something hostile: loops, endless work, names in the wrong place."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.property.hostile import formula, lay_out, lines_of


def quantity(name: str, more: str) -> str:
    return f"  {name}: {{label: N, limits: 0 to 1, {more}}}\n"


def derived(name: str, text: str) -> str:
    return quantity(name, f"source: demo, formula: {text}")


def function(name: str, text: str) -> str:
    return f"  {name}: {{parameters: {{a: ft}}, unit: ft, formula: {text}, source: demo}}\n"


def called(name: str, functions: str) -> str:
    return "functions:\n" + functions + formula(f"{name}(box.length)", "ft", "0 ft to 9 ft")


def check(condition: str, passed: str = "P") -> str:
    return (
        "checks:\n  x.c:\n    label: C\n    source: demo\n"
        f"    caution: '{condition}'\n    says: {{pass: '{passed}', caution: C}}\n"
    )


def example(given: str) -> str:
    return f"examples: [{{name: N, calculator: box, given: {{{given}}}, source: demo}}]\n"


REFUSED = {
    "a quantity of itself": "quantities:\n" + derived("x.y", "x.y"),
    "a loop through when": "quantities:\n"
    + quantity("x.y", "when: x.z > 1")
    + derived("x.z", "x.y"),
    "a function of itself": called("f", function("f", "f(a)")),
    "functions of each other": called("f", function("f", "g(a)") + function("g", "f(a)")),
    "functions that double": called(
        "f39",
        function("f0", "a")
        + "".join(function(f"f{n}", f"f{n - 1}(a) + f{n - 1}(a)") for n in range(1, 40)),
    ),
    "functions one inside the other": called(
        "f0",
        "".join(function(f"f{n}", f"f{n + 1}(a)") for n in range(400)) + function("f400", "a"),
    ),
    "functions one inside the other, the last one first": called(
        "f400",
        function("f0", "a") + "".join(function(f"f{n}", f"f{n - 1}(a)") for n in range(1, 401)),
    ),
    "roots within roots": formula(
        "root(a, 0, 1, root(b, 0, 1, root(c, 0, 1, root(d, 0, 1, a + b + c + d - 1))))"
    ),
    "a placeholder that is none": check("True", "{x.__class__} {} {0} {{x}}"),
    "a condition that is no condition": check("1"),
    "an act that is none": "checklists: {c: {title: T, steps: [{id: a, act: fly, title: A}]}}\n",
    "two steps of one name": "checklists: {c: {title: T, steps: ["
    "{id: a, act: do, title: A}, {id: a, act: do, title: A}]}}\n",
    "member 0": example("box.length@0: 1 ft"),
    "a member that is no number": example("box.length@x: 1"),
    "a member of nothing": example("'@': 1"),
    "a great many members": example("box.length@99999999999: 1"),
    "many cases": "quantities:\n  x.y:\n    label: Y\n    limits: 0 to 1\n    cases:\n"
    + "      - {holds: {from: 2026-01-01}, formula: 1, source: demo}\n" * 400,
}


@pytest.mark.parametrize("rules", REFUSED.values(), ids=REFUSED)
def test_refused(rules: str, tmp_path: Path) -> None:
    assert lines_of(lay_out(tmp_path, {"rules.yaml": rules}))


def test_a_long_chain_of_quantities_compiles(tmp_path: Path) -> None:
    chain = "".join(derived(f"x.n{n}", f"x.n{n - 1}" if n else "1") for n in range(1500))
    shown = "calculators:\n  other: {title: T, topic: demo, enter: [], show: [x.n1499]}\n"
    assert not lines_of(lay_out(tmp_path, {"rules.yaml": "quantities:\n" + chain + shown}))
