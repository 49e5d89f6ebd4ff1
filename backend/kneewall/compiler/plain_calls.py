"""Calls that make one value of others: arithmetic, units, scales, dates, what is known, roots."""

from __future__ import annotations

import ast
import math
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Final

from kneewall.bundle import Expr
from kneewall.compiler import types
from kneewall.compiler.names import Call, Frame, Node
from kneewall.compiler.types import FLAG, NUMBER, Type
from kneewall.compiler.units import BARE
from kneewall.engine.engine import seconds
from kneewall.reading import ReadingError

if TYPE_CHECKING:
    from kneewall.compiler.formula import Formula


def _single(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    name = node.func.id  # type: ignore[attr-defined]
    part = f.visit(node.args[0], frame)
    with f.mated(node):
        types.no_point(part.type, part.text)
    if name == "sqrt":
        kind = "" if part.type == NUMBER or part.type.literal else None
        found = Type(dimension=part.type.dimension ** Fraction(1, 2), kind=kind)
        return Node(["sqrt", part.tree], found)
    if name == "abs":
        return Node(["abs", part.tree], part.type)
    what = f"{name} takes a bare number, {part.text} is {part.type}"
    if part.type.dimension != BARE:
        raise f.fault(node, "E302", what, "divide by a quantity first")
    if part.type.kind == "share":
        raise f.fault(node, "E303", what, f'write number({part.text}, "percent") / 100')
    return Node([name, part.tree], NUMBER)


def _step(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    name = node.func.id  # type: ignore[attr-defined]
    parts = [f.visit(arg, frame) for arg in node.args]
    with f.mated(node):
        types.no_point(parts[0].type, parts[0].text)
    if len(parts) == 1:
        if parts[0].type.dimension != BARE:
            raise f.fault(
                node,
                "E302",
                f"{parts[0].text} is {parts[0].type}",
                f"give a step: {name}(x, quantity(1, unit))",
            )
        if parts[0].type.kind == "share":
            mend = f'give a step: {name}(x, quantity(1, "percent"))'
            raise f.fault(node, "E303", f"{parts[0].text} is {parts[0].type}, and 1 is 100 %", mend)
        return Node([name, parts[0].tree, 1], NUMBER)
    with f.mated(node):
        found = types.same(parts[0].type, parts[1].type, parts[0].text, parts[1].text)
        types.refuse_zero(parts[1].tree, "a step of 0")
    return Node([name, parts[0].tree, parts[1].tree], found)


def _literal(f: Formula, node: ast.expr, what: str) -> str:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    mend = f'write "{node.id}"' if isinstance(node, ast.Name) else "put it in quotes"
    raise f.fault(node, "E403", f"{what} is written in quotes", mend)


def _unit(f: Formula, node: ast.expr) -> tuple[str, Type]:
    spelling = _literal(f, node, "a unit")
    try:
        name = f.names.edges.find_unit(spelling)
    except ReadingError as error:
        raise f.fault(node, "E301", str(error)) from None
    unit = f.names.units.units[name]
    return name, Type(dimension=f.names.units.dimensions[name], kind=unit.kind)


def _quantity(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    part = f.visit(node.args[0], frame)
    name, found = _unit(f, node.args[1])
    if part.type.base != "number" or part.type.dimension != BARE or part.type.kind == "share":
        raise f.fault(
            node.args[0],
            "E302",
            f"{part.text} is {part.type}, a bare number is meant",
            "take number(x, unit)",
        )
    unit = f.names.units.units[name]
    if isinstance(part.tree, int | float) and not isinstance(part.tree, bool):
        si = f.names.edges.to_si(_written(node.args[0], part.tree), name)
        if not math.isfinite(si):
            raise f.fault(node, "E306", "the number is too large")
        return Node(["quantity", si, name], found)
    return Node(["quantity", _affine(part.tree, unit.scale, unit.offset), name], found)


def _written(node: ast.expr, rounded: float) -> float:
    """A literal as it stands there: it is rounded once, after it is converted."""
    sign = 1
    while isinstance(node, ast.UnaryOp):
        node, sign = node.operand, -sign
    value = node.value if isinstance(node, ast.Constant) else None
    return sign * value if isinstance(value, int | float) else rounded


def _affine(tree: Expr, scale: float, offset: float) -> Expr:
    scaled: Expr = tree if scale == 1 else ["*", tree, scale]
    return scaled if offset == 0 else ["+", scaled, offset]


def _number(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    part = f.visit(node.args[0], frame)
    name, meant = _unit(f, node.args[1])
    unit = f.names.units.units[name]
    if part.type.base != "number" or part.type.dimension != meant.dimension:
        raise f.fault(
            node,
            "E302",
            f"{part.text} is {part.type}, {name} is {meant}",
            "name a unit of its own dimension",
        )
    computed = part.type.kind is None and not meant.point
    if part.type.kind != meant.kind and not computed:
        what = f"{part.text} is {part.type}, {name} is {meant}"
        raise f.fault(node, "E304", what, "name a unit of its own kind")
    tree: Expr = part.tree if unit.offset == 0 else ["-", part.tree, unit.offset]
    scaled: Expr = tree if unit.scale == 1 else ["/", tree, unit.scale]
    return Node(["number", scaled, name], NUMBER)


def _absolute(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    parts = [f.visit(arg, frame) for arg in node.args]
    kind, given = parts[0].type.kind, len(parts)
    if kind == "temperature" and given == 1:
        return Node(parts[0].tree, replace(parts[0].type, kind="absolute"))
    if kind == "gauge" and given == 2:
        _air(f, node, parts[1], parts[0])
        return Node(["+", parts[0].tree, parts[1].tree], replace(parts[0].type, kind="absolute"))
    raise f.fault(
        node,
        "E304",
        f"{parts[0].text} is {parts[0].type}",
        "write absolute(temperature) or absolute(gauge pressure, atmosphere)",
    )


def _air(f: Formula, node: ast.AST, air: Node, pressure: Node) -> None:
    if air.type.dimension != pressure.type.dimension or air.type.kind not in ("absolute", None):
        raise f.fault(
            node, "E303", f"{air.text} is {air.type}", "the atmosphere is an absolute pressure"
        )


def _gauge(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    pressure, air = (f.visit(arg, frame) for arg in node.args)
    _air(f, node, air, pressure)
    _air(f, node, pressure, air)
    return Node(["-", pressure.tree, air.tree], replace(pressure.type, kind="gauge"))


def _point(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    part = f.visit(node.args[0], frame)
    if dict(part.type.dimension) != {"[temperature]": 1} or part.type.kind not in (
        "absolute",
        None,
    ):
        raise f.fault(
            node, "E304", f"{part.text} is {part.type}", "write point(absolute temperature)"
        )
    return Node(part.tree, replace(part.type, kind="temperature"))


def _share(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    part = f.visit(node.args[0], frame)
    if part.type.base != "number" or part.type.dimension != BARE:
        raise f.fault(node, "E302", f"{part.text} is {part.type}", "a share is a bare ratio")
    return Node(part.tree, replace(part.type, kind="share", literal=False))


def _date(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    text = _literal(f, node.args[0], "a date")
    try:
        at = seconds(text)
    except ValueError:
        raise f.fault(node, "E306", f"{text!r} is not a date like 2026-11-25") from None
    return Node(["date", at], f.names.date_type)


def _known(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    part = f.visit(node.args[0], frame)
    return Node(["known", part.tree], FLAG)


def _not_applicable(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    text = _literal(f, node.args[0], "the reason")
    return Node(["na", text], wanted or NUMBER)


def _root(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    if not isinstance(node.args[0], ast.Name):
        raise f.fault(
            node.args[0],
            "E402",
            "root needs a name for what it looks for",
            "write root(x, low, high, …)",
        )
    name = node.args[0].id
    if name in frame.local:
        raise f.fault(node.args[0], "E202", f"{name} is already a name here", "use another name")
    low, high = f.visit(node.args[1], frame), f.visit(node.args[2], frame)
    with f.mated(node):
        found = types.same(low.type, high.type, low.text, high.text)
        types.require_number(found, low.text)
    if not any(isinstance(part, ast.Name) and part.id == name for part in ast.walk(node.args[3])):
        what = f"the expression does not use {name}, so no {name} makes it zero"
        raise f.fault(node.args[3], "E204", what, f"write one that is zero for the {name} sought")
    inner, depth = f.bind(node, frame, {name: found})
    body = f.visit(node.args[3], inner)
    with f.mated(node):
        types.no_point(body.type, body.text)
    return Node(["root", depth, low.tree, high.tree, body.tree, name], found)


PLAIN: Final[dict[str, Call]] = {
    **dict.fromkeys(("abs", "sqrt", "exp", "ln", "log10"), (1, 1, _single)),
    **dict.fromkeys(("round", "floor", "ceil"), (1, 2, _step)),
    "quantity": (2, 2, _quantity),
    "number": (2, 2, _number),
    "absolute": (1, 2, _absolute),
    "gauge": (2, 2, _gauge),
    "point": (1, 1, _point),
    "share": (1, 1, _share),
    "date": (1, 1, _date),
    "known": (1, 1, _known),
    "not_applicable": (1, 1, _not_applicable),
    "root": (4, 4, _root),
}
