"""Calls that find rows: by their keys, by a condition, between neighbours."""

from __future__ import annotations

import ast
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from kneewall.bundle import Expr
from kneewall.compiler import types
from kneewall.compiler.calendar import ROW_CONDITIONS
from kneewall.compiler.errors import nearest
from kneewall.compiler.names import Frame, Interpolation, Node, TableInfo
from kneewall.compiler.types import Type

if TYPE_CHECKING:
    from kneewall.compiler.formula import Formula

TABLE_CALLS: Final = {"row", "first", "last", "rows", "interpolate"}


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
    if not isinstance(node, ast.Attribute):
        mend = "give the series that is meant a quantity of its own"
        raise f.fault(node, "E402", "a series is read by its name", mend)
    columns = {
        name: (place, kind, kind.shown) for place, (name, kind) in enumerate(part.type.columns)
    }
    return part.tree, TableInfo(-1, columns, [], {}, part.text)


def _keyed(
    f: Formula, node: ast.Call, name: str, info: TableInfo, out: str, frame: Frame
) -> list[Expr]:
    if info.index < 0 and name == "row":
        mend = "use interpolate, first, last or rows"
        raise f.fault(node, "E404", "row takes a table, not a series", mend)
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
    elif info.index < 0:
        along, value = info.columns
        if (given, out) != ([along], value):
            what = "a series is interpolated by its first column, for its second"
            mend = f"write interpolate({info.name}, {along}=…).{value}"
            raise f.fault(node, "E403", what, mend)
    elif numbers not in (1, 2):
        raise f.fault(node, "E403", "interpolate takes one or two number columns")
    elif info.columns[out][1].base != "number":
        raise f.fault(node, "E404", f"{out} is not a number and has nothing between its rows")
    else:
        table = node.args[0].id  # type: ignore[attr-defined]
        f.names.uses.interpolations.append(Interpolation(table, tuple(given), out, f.at(node)))
    return keyed
