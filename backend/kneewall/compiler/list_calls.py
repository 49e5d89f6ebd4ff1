"""Calls over lists: the least and the most, sums and counts, one by one."""

from __future__ import annotations

import ast
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from kneewall.bundle import Expr
from kneewall.compiler import types
from kneewall.compiler.names import Call, Frame, Node
from kneewall.compiler.types import FLAG, NUMBER, Type

if TYPE_CHECKING:
    from kneewall.compiler.formula import Formula


def _extreme(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    name = node.func.id  # type: ignore[attr-defined]
    parts = f.alike(node.args, frame, wanted)
    if len(parts) == 1:
        if parts[0].type.base != "list" or parts[0].type.item is None:
            mend = _of_all(f, name, parts[0], frame) or f"write {name}(a, b)"
            raise f.fault(node, "E404", f"{name} of one argument takes a list", mend)
        _ordered(f, node, parts[0].type.item)
        return Node(["l" + name, parts[0].tree], parts[0].type.item)
    found = parts[0].type
    for part in parts[1:]:
        with f.mated(node):
            found = types.same(found, part.type, parts[0].text, part.text)
    _ordered(f, node, found)
    return Node([name, *(part.tree for part in parts)], found)


def _ordered(f: Formula, node: ast.AST, found: Type) -> None:
    if not (found.base == "number" or (found.base == "choice" and found.ordered)):
        raise f.fault(node, "E404", f"{found} has no order")


def _each(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    over = node.args[0]
    wanted_item = wanted.item if wanted and wanted.base == "list" else None
    if isinstance(over, ast.Name) and over.id in f.names.collections:
        inner, depth = f.bind(node, frame, {"item": NUMBER, "position": NUMBER})
        del inner.local["item"]
        body = f.visit(node.args[1], replace(inner, scope=over.id), wanted_item)
        tree: Expr = ["members", over.id, depth, body.tree]
        return Node(tree, Type("list", item=body.type))
    items = f.visit(over, frame)
    if items.type.base != "list" or items.type.item is None:
        raise f.fault(over, "E404", f"{items.text} is {items.type}, a list or collection is meant")
    inner, depth = f.bind(node, frame, {"item": items.type.item, "position": NUMBER})
    body = f.visit(node.args[1], inner, wanted_item)
    return Node(
        ["each", depth, items.tree, body.tree],
        Type("list", item=body.type),
    )


def _of_all(f: Formula, name: str, part: Node, frame: Frame) -> str:
    """A hint for what was meant of all members where it is that of one."""
    member = frame.scope in f.names.collections and isinstance(part.tree, list)
    return f"write {name}(each({frame.scope}, {part.text})) for that of all" if member else ""


def _over_list(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    name = node.func.id  # type: ignore[attr-defined]
    arg = node.args[0]
    if name == "count" and isinstance(arg, ast.Name) and arg.id in f.names.collections:
        return Node(["size", arg.id], NUMBER)
    part = f.visit(arg, frame)
    if part.type.base not in ("list", "series") or (part.type.base == "series" and name != "count"):
        what = f"{part.text} is {part.type}, a list is meant"
        raise f.fault(arg, "E404", what, _of_all(f, name, part, frame))
    item = part.type.item or NUMBER
    if name == "sum":
        with f.mated(node):
            types.no_point(item, part.text)
    if name in ("any", "all") and item.base != "flag":
        raise f.fault(
            arg, "E404", f"{name} takes a list of conditions", f"write {name}(each(list, item > …))"
        )
    found = {"sum": item, "count": NUMBER}.get(name, FLAG)
    return Node([name, part.tree], found)


def _at(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    items, place = (f.visit(arg, frame) for arg in node.args)
    if items.type.base != "list" or items.type.item is None:
        raise f.fault(node, "E404", f"{items.text} is {items.type}, a list is meant")
    with f.mated(node):
        types.same(place.type, NUMBER, place.text, "the position")
    if isinstance(place.tree, float | int) and (place.tree < 1 or place.tree % 1):
        raise f.fault(node.args[1], "E306", f"there is no entry {place.text}", "the first is 1")
    return Node(["at", items.tree, place.tree], items.type.item)


LISTS: Final[dict[str, Call]] = {
    **dict.fromkeys(("min", "max"), (1, 20, _extreme)),
    **dict.fromkeys(("sum", "count", "any", "all"), (1, 1, _over_list)),
    "each": (2, 2, _each),
    "at": (2, 2, _at),
}
