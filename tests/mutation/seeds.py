"""Faults to seed in the formulas and tables of a pack, one at a time, as edits of its files."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any, Final

from kneewall.bundle import Unit
from kneewall.compiler.errors import Place
from kneewall.compiler.packs import Item, Items

KINDS: Final = {
    "dimension": "a unit of another dimension",
    "kind": "gauge for absolute, a point for a difference, and the other way round",
    "conversion": "a conversion left out: absolute, point, gauge, number, quantity",
    "unlike columns": "two columns of unlike units change places",
    "like columns": "two columns of like units change places",
    "amount": "an absolute pressure or temperature for a difference, and the other way round",
    "scale": "a unit of the same dimension and kind",
    "coefficient": "a number ten percent larger",
    "comparison": "a comparison turned round",
    "term": "a term left out of a sum",
    "factor": "a factor left out of a product",
}
OF_UNITS: Final = ("dimension", "kind", "conversion", "unlike columns")
"""Faults that must be refused before any example is run."""
CONVERSIONS: Final = ("absolute", "point", "gauge", "number", "quantity")
TURNED: Final = {"<": ">", ">": "<", "<=": ">=", ">=": "<=", "==": "!=", "!=": "=="}
COLUMN: Final = re.compile(r"([a-z][a-z0-9_]*) \[([^\]]+)\]")


@dataclass(frozen=True)
class Seed:
    """Characters `start` to `end` of a file give way to `new`."""

    kind: str
    file: Path
    start: int
    end: int
    new: str
    item: str
    what: str


class Text:
    """A file with its lines, for places of one to be found in the other."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.whole = file.read_text(encoding="utf-8")
        self.begins = [0]
        for line in self.whole.splitlines(keepends=True):
            self.begins.append(self.begins[-1] + len(line))

    def at(self, place: Place) -> int:
        return self.begins[place.line - 1] + place.column - 1


def seeds(items: Items, units: dict[str, Unit]) -> Iterator[Seed]:
    """Every fault there is to seed, in the order of files and lines within each section."""
    texts: dict[str, Text] = {}

    def text_of(file: str) -> Text:
        return texts.setdefault(file, Text(Path(file)))

    for item, path, formula in formulas(items):
        place = item.place(*path)
        yield from _in_formula(text_of(place.file), place, formula, item.id, units)
    for item in items.tables.values():
        yield from _in_table(text_of, item, units)


def formulas(items: Items) -> Iterator[tuple[Item[Any], tuple[str | int, ...], str]]:
    """Each formula and condition with its item and the path to it."""
    for quantity in items.quantities.values():
        for key in ("when", "formula"):
            if getattr(quantity.form, key):
                yield quantity, (key,), getattr(quantity.form, key)
        for index, case in enumerate(quantity.form.cases):
            yield quantity, ("cases", index, "formula"), case.formula
    for function in items.functions.values():
        yield function, ("formula",), function.form.formula
    for check in items.checks.values():
        for key in ("when", "fail", "caution"):
            if getattr(check.form, key):
                yield check, (key,), getattr(check.form, key)


class _Formula:
    """One formula and where its parts stand in its file."""

    def __init__(self, text: Text, place: Place, formula: str, item: str) -> None:
        self.text, self.place, self.formula, self.item = text, place, formula, item
        self.shift = len(formula) - len(formula.lstrip())
        self.bytes = formula.strip().encode()

    def span(self, node: ast.AST) -> tuple[int, int]:
        """Where a part begins and ends in the formula."""
        ends = (node.col_offset, node.end_col_offset)  # type: ignore[attr-defined]
        start, end = (len(self.bytes[:at].decode()) + self.shift for at in ends)
        return start, end

    def source(self, node: ast.AST) -> str:
        start, end = self.span(node)
        return self.formula[start:end]

    def seed(self, kind: str, start: int, end: int, new: str) -> Iterator[Seed]:
        """The fault, unless the file spells the formula in another way than it reads."""
        first = self.text.at(self.place.inside(start))
        last = self.text.at(self.place.inside(end - 1)) + 1
        old = self.formula[start:end]
        written = " ".join(self.text.whole[first:last].split())
        if written == " ".join(old.split()):
            what = f"{old} → {new or 'nothing'}"
            yield Seed(kind, self.text.file, first, last, new, self.item, what)


def _in_formula(
    text: Text, place: Place, formula: str, item: str, units: dict[str, Unit]
) -> Iterator[Seed]:
    """`number` takes a temperature on either scale, and is told apart by examples alone."""
    one = _Formula(text, place, formula, item)
    root = ast.parse(formula.strip(), mode="eval").body
    numbered: set[ast.AST] = set()
    for node in ast.walk(root):
        match node:
            case ast.Call(
                ast.Name("quantity" | "number" as call), [inner, ast.Constant(str() as unit) as at]
            ):
                start, end = one.span(at)
                for kind, new in _other_units(unit, units):
                    named = "amount" if call == "number" and kind == "kind" else kind
                    yield from one.seed(named, start, end, f'"{new}"')
                yield from _without_call(one, node)
                numbered |= {inner} if call == "number" else set()
            case ast.Call(ast.Name(name)) if name in CONVERSIONS and node not in numbered:
                yield from _without_call(one, node)
            case ast.Constant(int() | float() as number) if number and number is not True:
                yield from one.seed("coefficient", *one.span(node), f"{1.1 * number:.12g}")
            case ast.Compare(left, _, _):
                yield from _turned(one, node, left)
            case ast.BinOp(left, ast.Add() | ast.Sub() | ast.Mult() | ast.Div(), right):
                kind = "term" if isinstance(node.op, ast.Add | ast.Sub) else "factor"
                yield from one.seed(kind, *one.span(node), one.source(left))
                if isinstance(node.op, ast.Add | ast.Mult):
                    yield from one.seed(kind, *one.span(node), one.source(right))


def _without_call(one: _Formula, node: ast.Call) -> Iterator[Seed]:
    start, end = one.span(node)
    yield from one.seed("conversion", start, end, f"({one.source(node.args[0])})")


def _turned(one: _Formula, node: ast.Compare, left: ast.expr) -> Iterator[Seed]:
    for right in node.comparators:
        start, end = one.span(left)[1], one.span(right)[0]
        found = re.search(r"[<>=!]=?", one.formula[start:end])
        if found and found[0] in TURNED:
            at = start + found.start()
            yield from one.seed("comparison", at, at + len(found[0]), TURNED[found[0]])
        left = right


def _other_units(name: str, units: dict[str, Unit]) -> Iterator[tuple[str, str]]:
    """One unit of each sort of fault; the choice goes round the list, so that all of them are met."""
    by_spelling = {
        s: key for key, unit in units.items() for s in (key, unit.label, *unit.spellings)
    }
    own = units[by_spelling[name]]
    names = list(units)
    turn = names.index(by_spelling[name]) + 1
    met: set[str] = set()
    for key in (*names[turn:], *names[:turn]):
        other = units[key]
        if other.dimension != own.dimension:
            kind = "dimension"
        elif other.point != own.point:
            kind = "kind"
        elif "absolute" in {other.kind, own.kind} and other.kind != own.kind:
            kind = "amount"
        elif other.kind == own.kind and other.scale != own.scale:
            kind = "scale"
        else:
            continue
        if kind not in met:
            met.add(kind)
            yield kind, key


def _sort(unit: str, units: dict[str, Unit]) -> tuple[str, str]:
    return (units[unit].dimension, units[unit].kind) if unit in units else (unit, "no unit")


def _in_table(text_of: Any, item: Item[Any], units: dict[str, Unit]) -> Iterator[Seed]:
    if item.form.columns:
        return
    if item.form.file:
        text = text_of((Path(item.document.file).parent / item.form.file).as_posix())
        start = 0
    else:
        text = text_of(item.document.file)
        start = text.at(item.place("rows"))
    lines = re.compile(r"^(?!\s*#)(?=.*\[).*$", re.MULTILINE)
    header = lines.search(text.whole, start)
    assert header, item.id
    columns = list(COLUMN.finditer(text.whole, header.start(), header.end()))
    for column in columns:
        if column[2] in units:
            for kind, new in _other_units(column[2], units):
                what = f"[{column[2]}] → [{new}]"
                yield Seed(kind, text.file, column.start(2), column.end(2), new, item.id, what)
    free = [column for column in columns if column[1] not in item.form.keys]
    for a, b in list(combinations(free, 2))[:6]:
        alike = _sort(a[2], units) == _sort(b[2], units)
        between = text.whole[a.end(1) : b.start(1)]
        what = f"{a[1]} and {b[1]} change places"
        kind = "like columns" if alike else "unlike columns"
        yield Seed(kind, text.file, a.start(1), b.end(1), b[1] + between + a[1], item.id, what)
