"""Any call of the language: of its own functions, of those of the rules, and never of a row."""

from __future__ import annotations

import ast
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from kneewall.compiler import types
from kneewall.compiler.errors import nearest
from kneewall.compiler.list_calls import LISTS
from kneewall.compiler.names import Call, Frame, Node
from kneewall.compiler.plain_calls import PLAIN
from kneewall.compiler.slips import habit
from kneewall.compiler.table_calls import TABLE_CALLS
from kneewall.compiler.types import Type

if TYPE_CHECKING:
    from kneewall.compiler.formula import Formula

CALLS: Final[dict[str, Call]] = {**PLAIN, **LISTS}


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
