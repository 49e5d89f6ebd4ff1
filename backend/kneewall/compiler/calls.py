"""The calls of the language: arithmetic, units, lists, tables, functions of the rules."""

from __future__ import annotations

import ast
import math
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from kneewall.bundle import Expr
from kneewall.compiler import types
from kneewall.compiler.calendar import ROW_CONDITIONS
from kneewall.compiler.errors import nearest
from kneewall.compiler.names import Frame, Interpolation, Node, TableInfo
from kneewall.compiler.slips import habit
from kneewall.compiler.types import FLAG, NUMBER, Type
from kneewall.compiler.units import BARE
from kneewall.engine.engine import seconds
from kneewall.reading import ReadingError

if TYPE_CHECKING:
    from kneewall.compiler.formula import Formula

Handler = Callable[["Formula", ast.Call, "Frame", "Type | None"], "Node"]


def call(formula: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    """Any call that stands for a value."""
    if not isinstance(node.func, ast.Name):
        mend = "write * or another sign before the bracket, or the name of a function"
        raise formula.fault(node, "E402", "only names are called", mend)
    name = node.func.id
    if name in TABLE_CALLS:
        raise formula.fault(node, "E402", "a row is not a value", f"write {name}(…).column")
    if node.keywords:
        raise formula.fault(node, "E403", f"{name} takes no named arguments")
    if name in CALLS:
        least, most, handler = CALLS[name]
        if not least <= len(node.args) <= most:
            count = str(least) if least == most else f"{least} or more"
            what = f"{name} takes {count} argument{'s' * (count != '1')}, not {len(node.args)}"
            raise formula.fault(node, "E403", what, _too_many(node.args))
        return handler(formula, node, frame, wanted)
    if name in formula.names.functions:
        return _function(formula, node, name, frame)
    known = [*CALLS, *TABLE_CALLS, *formula.names.functions]
    hint = habit(name) or nearest(name.lower(), known)
    raise formula.fault(node.func, "E201", f"no function is called {name}", hint)


def _too_many(given: list[ast.expr]) -> str:
    """A number with a decimal comma is two arguments."""
    for one, other in pairwise(given):
        match one, other:
            case ast.Constant(int()), ast.Constant(int()):
                return "write a decimal point"
    return "a comma stands between arguments"


def _function(formula: Formula, node: ast.Call, name: str, frame: Frame) -> Node:
    index, parameters, result = formula.names.functions[name]
    if len(node.args) != len(parameters):
        count = f"{len(parameters)} argument{'s' * (len(parameters) != 1)}"
        what = f"{name} takes {count}, not {len(node.args)}"
        raise formula.fault(node, "E403", what, _too_many(node.args))
    parts = []
    for arg, parameter in zip(node.args, parameters, strict=True):
        part = formula.visit(arg, replace(frame, traced=False), parameter)
        with formula.mated(arg):
            types.fits(part.type, parameter, part.text, f"the parameter of {name}")
        parts.append(part)
    formula.names.uses.functions.add(name)
    return Node(["fn", index, *(part.tree for part in parts)], result)


# -- numbers


def _single(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    name = node.func.id  # type: ignore[attr-defined]
    part = f.visit(node.args[0], frame)
    with f.mated(node):
        types.no_point(part.type, part.text)
    if name == "sqrt":
        found = Type(dimension=part.type.dimension ** Fraction(1, 2), kind=None)
        return Node(["sqrt", part.tree], found)
    if name == "abs":
        return Node(["abs", part.tree], part.type)
    if part.type.dimension != BARE:
        raise f.fault(
            node,
            "E302",
            f"{name} takes a bare number, {part.text} is {part.type}",
            "divide by a quantity first",
        )
    return Node([name, part.tree], Type(kind=None))


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
        return Node([name, parts[0].tree, 1], parts[0].type)
    with f.mated(node):
        found = types.same(parts[0].type, parts[1].type, parts[0].text, parts[1].text)
    return Node([name, parts[0].tree, parts[1].tree], found)


def _extreme(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    name = node.func.id  # type: ignore[attr-defined]
    parts = [f.visit(arg, frame, wanted) for arg in node.args]
    if len(parts) == 1:
        if parts[0].type.base != "list" or parts[0].type.item is None:
            raise f.fault(
                node, "E404", f"{name} of one argument takes a list", f"write {name}(a, b)"
            )
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


# -- logic and lists


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
    low, high = f.visit(node.args[1], frame), f.visit(node.args[2], frame)
    with f.mated(node):
        found = types.same(low.type, high.type, low.text, high.text)
    types.require_number(found, low.text)
    inner, depth = f.bind(node, frame, {name: found})
    body = f.visit(node.args[3], inner)
    with f.mated(node):
        types.require_number(body.type, body.text)
    return Node(["root", depth, low.tree, high.tree, body.tree, name], found)


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


def _over_list(f: Formula, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
    name = node.func.id  # type: ignore[attr-defined]
    arg = node.args[0]
    if name == "count" and isinstance(arg, ast.Name) and arg.id in f.names.collections:
        return Node(["size", arg.id], NUMBER)
    part = f.visit(arg, frame)
    if part.type.base not in ("list", "series") or (part.type.base == "series" and name != "count"):
        raise f.fault(arg, "E404", f"{part.text} is {part.type}, a list is meant")
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
    return Node(["at", items.tree, place.tree], items.type.item)


# -- tables


def access(f: Formula, node: ast.Call, column: str, frame: Frame) -> Node:
    """`row(table, …).column` and its kin."""
    name = node.func.id if isinstance(node.func, ast.Name) else ""
    if name not in TABLE_CALLS:
        raise f.fault(node, "E402", "only a row has columns", "write row(table, key=…).column")
    if not node.args:
        raise f.fault(node, "E403", f"{name} names its table first")
    source, info = _source(f, node.args[0], frame)
    if column not in info.columns:
        raise f.fault(node, "E201", f"there is no column {column}", nearest(column, info.columns))
    out, found, _ = info.columns[column]
    trace = -1 if name == "rows" else f.trace(frame)
    dated = f.names.calendar.row_condition(f.names, info, f.at(node), f.inputs)
    f.names.uses.columns |= {
        (info.name, name) for name in (column, *ROW_CONDITIONS) if name in info.columns
    }
    if name in ("row", "interpolate"):
        keyed = _keyed(f, node, name, info, column, frame)
        if dated and name == "interpolate":
            what = "rows that hold for a time cannot be interpolated between"
            raise f.fault(node, "E402", what, "ask for a row, or keep what holds in another table")
        if dated and any(map(_of_a_row, keyed[1::2])):
            # The condition is tried on rows of this table, where a column of the other one is not at hand.
            what = "a row that holds for a time cannot be asked for by a column of another table"
            raise f.fault(node, "E402", what, "give the key as a quantity")
        if dated:
            pairs = zip(keyed[::2], keyed[1::2], strict=True)
            equal: list[Expr] = [["==", ["c", place], value] for place, value in pairs]
            return Node(["first", source, trace, out, ["and", *equal, *dated]], found)
        head = "row" if name == "row" else "interp"
        return Node([head, source, trace, out, *keyed], found)
    if len(node.args) != 2 or node.keywords:
        mend = f"write {name}(table, column <= …).column"
        raise f.fault(node, "E403", f"{name} takes a table and one condition", mend)
    columns = {key: (place, kind) for key, (place, kind, _) in info.columns.items()}
    inner = replace(frame, columns=columns, traced=False)
    condition = f.visit(node.args[1], inner)
    f.flag(node.args[1], condition)
    f.names.uses.columns |= {
        (info.name, n.id)
        for n in ast.walk(node.args[1])
        if isinstance(n, ast.Name) and n.id in info.columns
    }
    test: Expr = ["and", *dated, condition.tree] if dated else condition.tree
    tree: Expr = [name, source, trace, out, test]
    return Node(tree, Type("list", item=found) if name == "rows" else found)


def _of_a_row(tree: Expr) -> bool:
    """Whether it reads a column of the row under test around it."""
    if not isinstance(tree, list):
        return False
    inside = tree[1:2] if tree[0] in ("first", "last", "rows") else tree[1:]
    return tree[0] == "c" or any(map(_of_a_row, inside))


def _source(f: Formula, node: ast.expr, frame: Frame) -> tuple[Expr, TableInfo]:
    if isinstance(node, ast.Name):
        info = f.names.tables.get(node.id)
        if info is None:
            raise f.fault(
                node, "E201", f"no table is called {node.id}", nearest(node.id, f.names.tables)
            )
        return info.index, info
    part = f.visit(node, frame)
    if part.type.base != "series":
        raise f.fault(node, "E404", f"{part.text} is {part.type}, a table or a series is meant")
    columns = {
        name: (place, kind, kind.shown) for place, (name, kind) in enumerate(part.type.columns)
    }
    return part.tree, TableInfo(-1, columns, [], {})


def _keyed(
    f: Formula, node: ast.Call, name: str, info: TableInfo, out: str, frame: Frame
) -> list[Expr]:
    if info.index < 0:
        raise f.fault(
            node, "E404", f"{name} takes a table, not a series", "use first, last or rows"
        )
    if len(node.args) != 1:
        raise f.fault(
            node, "E403", f"{name} takes its keys by name", f"write {name}(table, key=…).column"
        )
    given = [str(keyword.arg) for keyword in node.keywords]
    if name == "row" and sorted(given) != sorted(info.keys):
        what = (
            f"row needs exactly the keys {', '.join(info.keys)}, not {', '.join(given) or 'none'}"
        )
        mend = f"write row({info.name}, {', '.join(f'{key}=…' for key in info.keys)}).column"
        raise f.fault(node, "E403", what, mend)
    keyed: list[Expr] = []
    numbers = 0
    for keyword in node.keywords:
        if keyword.arg not in info.columns:
            raise f.fault(
                keyword,
                "E201",
                f"there is no column {keyword.arg}",
                nearest(str(keyword.arg), info.columns),
            )
        place, kind, _ = info.columns[keyword.arg]
        numbers += kind.base == "number"
        f.names.uses.columns.add((info.name, str(keyword.arg)))
        part = f.visit(keyword.value, replace(frame, traced=frame.traced), kind)
        with f.mated(keyword.value):
            types.fits(part.type, kind, part.text, f"the column {keyword.arg}")
        keyed += [place, part.tree]
    if name == "row":
        f.names.uses.exact.add(info.name)
    elif numbers not in (1, 2):
        raise f.fault(node, "E403", "interpolate takes one or two number columns")
    elif info.columns[out][1].base != "number":
        raise f.fault(node, "E404", f"{out} is not a number and has nothing between its rows")
    else:
        table = node.args[0].id  # type: ignore[attr-defined]
        f.names.uses.interpolations.append(Interpolation(table, tuple(given), out, f.at(node)))
    return keyed


TABLE_CALLS: Final = {"row", "first", "last", "rows", "interpolate"}
CALLS: Final[dict[str, tuple[int, int, Handler]]] = {
    **dict.fromkeys(("abs", "sqrt", "exp", "ln", "log10"), (1, 1, _single)),
    **dict.fromkeys(("round", "floor", "ceil"), (1, 2, _step)),
    **dict.fromkeys(("min", "max"), (1, 20, _extreme)),
    **dict.fromkeys(("sum", "count", "any", "all"), (1, 1, _over_list)),
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
    "each": (2, 2, _each),
    "at": (2, 2, _at),
}
