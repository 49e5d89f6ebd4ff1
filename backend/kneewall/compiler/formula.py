"""One formula: text to a checked tree. The syntax is Python's, parsed with `ast` against a whitelist, never run."""

from __future__ import annotations

import ast
import keyword
import math
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from typing import Final

from kneewall.compiler import types
from kneewall.compiler.calls import call
from kneewall.compiler.errors import Place, RuleFault, nearest
from kneewall.compiler.names import Frame, Names, Node
from kneewall.compiler.slips import foreign, slip
from kneewall.compiler.table_calls import access
from kneewall.compiler.types import FLAG, LITERAL, TEXT, Mismatch, Type
from kneewall.compiler.units import BARE
from kneewall.reading import round12

DEEPEST: Final = 60
MOST_BOUND: Final = 12
BINARY: Final[dict[type[ast.operator], str]] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.Div: "/",
    ast.FloorDiv: "//",
    ast.Mod: "%",
    ast.Pow: "**",
}
COMPARE: Final[dict[type[ast.cmpop], str]] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
MEANT: Final[dict[type[ast.AST], str]] = {
    ast.BitXor: "** for a power",
    ast.BitAnd: "and",
    ast.BitOr: "or",
}
_NUMBER: Final = re.compile(r"(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?")
_SIGN: Final = re.compile(r"\w+|[^\w\s]")
_KEYWORD: Final = re.compile(
    r"""("[^"]*"|'[^']*')|(?<=\w)\.("""
    + "|".join(word for word in keyword.kwlist if word.islower())
    + r")\b"
)
"""A word of Python after a dot, where it is the name of a quantity or column; and texts in quotes, passed over."""
WORDS: Final = "a name, a number, a text in quotes, + - * / // % **, comparisons, and, or, not, if … else, or a call"


class Formula:
    """Reads one formula. After `read`, `inputs` are the slots it rests on and `traces` how much trace it needs."""

    def __init__(self, names: Names, text: str, place: Place) -> None:
        self.names = names
        self.text = text
        self.line = b""
        """The stripped text, in which `ast` counts bytes."""
        self.place = place
        self.inputs: set[int] = set()
        self.bound: set[str] = set()
        """Parameters and other bound names that it uses."""
        self.traces = 0

    # -- entry

    def read(
        self,
        scope: str,
        wanted: Type | None,
        target: str,
        parameters: dict[str, Type] | None = None,
        *,
        traced: bool = True,
    ) -> Node:
        """The checked formula; `wanted` is what `target` is declared as. Raises `RuleFault`.

        Only the formula of a quantity has a trace to write in: a condition is read with `traced` False.
        """
        frame = Frame(scope, traced=traced and parameters is None)
        for name, parameter in (parameters or {}).items():
            frame.local[name] = (len(frame.local), parameter)
        frame.depth = len(frame.local)
        root = self._parse()
        try:
            node = self.visit(root, frame, wanted)
            if wanted is not None:
                with self.mated(root):
                    types.fits(node.type, wanted, "the formula", target)
        except RecursionError:
            raise RuleFault(self.place, "E107", "the formula is nested too deeply") from None
        return node

    def _parse(self) -> ast.expr:
        text = self.text.strip()
        odd = foreign(text)
        if odd:
            raise RuleFault(self._inside(odd[0]), "E401", *odd[1:])
        self.line = text.encode()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                root = ast.parse(_KEYWORD.sub(_as_name, text), mode="eval").body
        except SyntaxError as error:
            raise self._slip(text, error) from None
        except (ValueError, RecursionError, MemoryError):
            raise RuleFault(self.place, "E401", "not a formula") from None
        if len(_SIGN.findall(text)) <= DEEPEST and text.isprintable() and "\\" not in text:
            # A part inside another takes a word or sign of its own, so none is too deep here.
            return root
        stack: list[tuple[ast.AST, int]] = [(root, 0)]
        while stack:
            node, depth = stack.pop()
            if depth > DEEPEST:
                raise RuleFault(
                    self.at(node),
                    "E107",
                    "the formula is nested too deeply",
                    "split it in two quantities",
                )
            value = getattr(node, "value", None)
            if isinstance(value, str) and not value.isprintable():
                raise self.fault(node, "E401", "the text holds an unprintable character")
            stack += [(child, depth + 1) for child in ast.iter_child_nodes(node)]
        return root

    def _slip(self, text: str, error: SyntaxError) -> RuleFault:
        edges = self.names.edges
        options = {o.value for choices in edges.choices.values() for o in choices.options}
        found = slip(text, edges.spellings.__contains__, options)
        if found is None:
            at = (error.offset or 0) - 1
            ends = not 0 <= at < len(text)
            what = str(error.msg).partition(". ")[0]
            if what == "invalid syntax":
                what = "it ends too early" if ends else "this cannot stand here"
            mend = "see what is missing or too much before it"
            found = (len(text) if ends else at), f"not a formula: {what}", mend
        return RuleFault(self._inside(found[0]), "E401", *found[1:])

    def at(self, node: ast.AST) -> Place:
        before = self.line[: getattr(node, "col_offset", 0)]
        return self._inside(len(before.decode()))

    def _inside(self, offset: int) -> Place:
        return self.place.inside(len(self.text) - len(self.text.lstrip()) + offset)

    def _source(self, node: ast.AST) -> str:
        start, end = getattr(node, "col_offset", 0), getattr(node, "end_col_offset", 0)
        return self.line[start:end].decode() or "this"

    def fault(self, node: ast.AST, number: str, what: str, mend: str = "") -> RuleFault:
        return RuleFault(self.at(node), number, what, mend)

    @contextmanager
    def mated(self, node: ast.AST) -> Iterator[None]:
        """What does not go together inside is a fault at `node`."""
        try:
            yield
        except Mismatch as mismatch:
            raise self.fault(node, mismatch.number, mismatch.what, mismatch.mend) from None

    # -- parts

    def visit(self, node: ast.expr, frame: Frame, wanted: Type | None = None) -> Node:
        method = getattr(self, "_" + type(node).__name__.lower(), None)
        if method is None:
            raise self._no_part(node)
        found: Node = method(node, frame, wanted)
        found.text = self._source(node)
        return found

    def _constant(self, node: ast.Constant, frame: Frame, wanted: Type | None) -> Node:
        value = node.value
        if isinstance(value, bool):
            return Node(value, FLAG)
        if isinstance(value, int | float):
            if not _NUMBER.fullmatch(self._source(node)):
                what = f"{self._source(node)!r} is not a number as people write it"
                raise self.fault(node, "E401", what, "write one like 12.5 or 1e-6")
            try:
                number = round12(float(value))
            except OverflowError:
                number = math.inf
            if not math.isfinite(number):
                raise self.fault(node, "E306", "the number is too large")
            return Node(number, LITERAL)
        if isinstance(value, str):
            if wanted is not None and wanted.base == "choice":
                return self._option(node, value, wanted)
            return Node(value, TEXT)
        raise self._no_part(node)

    def _no_part(self, node: ast.AST) -> RuleFault:
        what, mend = f"{self._source(node)!r} is not part of the language", f"write {WORDS}"
        place = self.at(node)
        match node:
            case ast.Tuple(elts=[*_, ast.Constant(int())]):
                what, mend = "a comma separates nothing here", "write a decimal point"
            case ast.BinOp(left=left, op=op, right=right) if type(op) in MEANT:
                sign = self.line[left.end_col_offset : right.col_offset].decode().strip(" ()")
                what, mend = f"{sign} is not part of the language", f"write {MEANT[type(op)]}"
                end = len(self.line[: left.end_col_offset].decode())
                place = self._inside(self.line.decode().index(sign, end))
            case ast.UnaryOp(op=ast.Invert()):
                mend = "write not"
            case ast.Subscript():
                mend = "at(list, 1) is the first entry of a list"
        return RuleFault(place, "E402", what, mend)

    def _option(self, node: ast.AST, value: str, wanted: Type) -> Node:
        options = self.names.edges.choices[wanted.choices].options
        for place, option in enumerate(options):
            if option.value == value:
                return Node(["option", place, wanted.choices], wanted)
        hint = nearest(value, [option.value for option in options])
        raise self.fault(
            node, "E405", f"{value!r} is not in the choice list {wanted.choices}", hint
        )

    def _name(self, node: ast.Name, frame: Frame, wanted: Type | None) -> Node:
        if node.id in frame.columns:
            column, found = frame.columns[node.id]
            return Node(["c", column], found)
        if node.id in frame.local:
            depth, found = frame.local[node.id]
            self.bound.add(node.id)
            return Node(["p", depth], found)
        known = [*frame.columns, *frame.local, *self.names.quantities]
        if wanted is not None and wanted.base == "choice":
            mend = f'a choice stands in quotes: "{node.id}"'
            raise self.fault(node, "E201", f"nothing is called {node.id}", mend)
        raise self.fault(node, "E201", f"nothing is called {node.id}", nearest(node.id, known))

    def _attribute(self, node: ast.Attribute, frame: Frame, wanted: Type | None) -> Node:
        if isinstance(node.value, ast.Call):
            return self._access(node.value, self._source(node).rpartition(".")[2], frame)
        name = self._source(node)
        if not re.fullmatch(r"\w+\.\w+", name):
            raise self.fault(node, "E402", f"{name!r} is not a name", "write topic.name")
        if name not in self.names.quantities:
            hint = self.names.called(name)
            raise self.fault(node, "E201", f"no quantity is called {name}", hint)
        slot, found, scope = self.names.quantities[name]
        self.inputs.add(slot)
        if scope in self.names.collections and scope != frame.scope:
            found = Type("list", item=found)
        return Node(["q", slot], found)

    def _unaryop(self, node: ast.UnaryOp, frame: Frame, wanted: Type | None) -> Node:
        inner = self.visit(node.operand, frame, wanted)
        if isinstance(node.op, ast.Not):
            self.flag(node.operand, inner)
            return Node(["not", inner.tree], FLAG)
        if not isinstance(node.op, ast.USub):
            raise self._no_part(node)
        with self.mated(node):
            types.no_point(inner.type, inner.text)
        if isinstance(inner.tree, float | int) and inner.type.literal:
            return Node(-inner.tree, inner.type)
        return Node(["neg", inner.tree], inner.type)

    def _binop(self, node: ast.BinOp, frame: Frame, wanted: Type | None) -> Node:
        if type(node.op) not in BINARY:
            raise self._no_part(node)
        head = BINARY[type(node.op)]
        a, b = self.visit(node.left, frame), self.visit(node.right, frame)
        with self.mated(node):
            found = self._arithmetic(head, a, b)
        return Node([head, a.tree, b.tree], found)

    def _arithmetic(self, head: str, a: Node, b: Node) -> Type:
        if head in ("+", "-"):
            return (types.add if head == "+" else types.subtract)(a.type, b.type, a.text, b.text)
        if head in ("/", "//", "%"):
            types.refuse_zero(b.tree, "division by 0")
        if head in ("*", "/"):
            return (types.multiply if head == "*" else types.divide)(a.type, b.type, a.text, b.text)
        types.no_point(a.type, a.text)
        types.no_point(b.type, b.text)
        if head == "**":
            if b.type.dimension != BARE:
                raise Mismatch(
                    "E302", f"the exponent {b.text} is {b.type}", "an exponent is a bare number"
                )
            if b.type.kind == "share":
                mend = f'write number({b.text}, "percent") / 100'
                raise Mismatch(
                    "E303", f"the exponent {b.text} is {b.type}, not a bare number", mend
                )
            literal = Fraction(str(b.tree)) if isinstance(b.tree, int | float) else None
            return types.power(a.type, literal, a.text)
        common = types.same(a.type, b.type, a.text, b.text)
        return common if head == "%" else Type(kind="" if common.dimension == BARE else None)

    def _compare(self, node: ast.Compare, frame: Frame, wanted: Type | None) -> Node:
        parts: list[Node] = []
        left = node.left
        for op, right in zip(node.ops, node.comparators, strict=True):
            if isinstance(op, ast.In | ast.NotIn):
                part = self._membership(left, right, frame)
                parts.append(part if isinstance(op, ast.In) else Node(["not", part.tree], FLAG))
            elif type(op) in COMPARE:
                parts.append(self._pair(node, left, op, right, frame))
            else:
                raise self._no_part(node)
            left = right
        return parts[0] if len(parts) == 1 else self._joined("and", parts)

    def _pair(
        self, node: ast.AST, left: ast.expr, op: ast.cmpop, right: ast.expr, frame: Frame
    ) -> Node:
        head = COMPARE[type(op)]
        a = self.visit(left, frame)
        b = self._beside(right, frame, a.type)
        if a.type == TEXT and b.type.base == "choice":
            a = self.visit(left, frame, b.type)
        with self.mated(node):
            common = types.same(a.type, b.type, a.text or "this", b.text or "this")
        if common.base in ("list", "series"):
            raise self.fault(
                node, "E404", "lists cannot be compared", "compare their sum, count, min or max"
            )
        if head not in ("==", "!=") and (
            common.base in ("flag", "text") or (common.base == "choice" and not common.ordered)
        ):
            raise self.fault(node, "E404", f"{common} has no order", "use == or !=")
        return Node([head, a.tree, b.tree], FLAG)

    def _beside(self, right: ast.expr, frame: Frame, left: Type) -> Node:
        """What a value is compared with: a choice may have been written without its quotes."""
        if left.base == "choice" and not isinstance(right, ast.Constant):
            source = self._source(right)
            if source in [o.value for o in self.names.edges.choices[left.choices].options]:
                what = "a choice stands here without quotes"
                raise self.fault(right, "E404", what, f'write "{source}"')
        return self.visit(right, frame, left)

    def _membership(self, left: ast.expr, right: ast.expr, frame: Frame) -> Node:
        if not isinstance(right, ast.Tuple | ast.List) or not right.elts:
            raise self.fault(
                right, "E402", "after 'in' stands a list in brackets", 'write x in ("a", "b")'
            )
        equal = [self._pair(right, left, ast.Eq(), item, frame) for item in right.elts]
        return equal[0] if len(equal) == 1 else self._joined("or", equal)

    def _boolop(self, node: ast.BoolOp, frame: Frame, wanted: Type | None) -> Node:
        parts = [self.visit(value, frame) for value in node.values]
        for value, part in zip(node.values, parts, strict=True):
            self.flag(value, part)
        return self._joined("and" if isinstance(node.op, ast.And) else "or", parts)

    def _joined(self, word: str, parts: list[Node]) -> Node:
        return Node([word, *(part.tree for part in parts)], FLAG)

    def _ifexp(self, node: ast.IfExp, frame: Frame, wanted: Type | None) -> Node:
        condition = self.visit(node.test, frame)
        self.flag(node.test, condition)
        trace = self.trace(frame)
        then, otherwise = self.alike([node.body, node.orelse], frame, wanted)
        if not _is_na(then) and not _is_na(otherwise):
            with self.mated(node):
                found = types.same(then.type, otherwise.type, then.text, otherwise.text)
        else:
            found = otherwise.type if _is_na(then) else then.type
        return Node(["if", trace, condition.tree, then.tree, otherwise.tree], found)

    def _call(self, node: ast.Call, frame: Frame, wanted: Type | None) -> Node:
        return call(self, node, frame, wanted)

    # -- tables

    def _access(self, node: ast.Call, column: str, frame: Frame) -> Node:
        return access(self, node, column, frame)

    # -- helpers

    def trace(self, frame: Frame) -> int:
        if not frame.traced:
            return -1
        self.traces += 1
        return self.traces - 1

    def alike(self, nodes: list[ast.expr], frame: Frame, wanted: Type | None) -> list[Node]:
        """Parts of which one is taken: where one is a choice, a text among them is meant as one of its list."""
        traces = self.traces
        parts = [self.visit(node, frame, wanted) for node in nodes]
        found = next((part.type for part in parts if part.type.base == "choice"), None)
        if found is None or all(part.type != TEXT for part in parts):
            return parts
        self.traces = traces
        return [self.visit(node, frame, found) for node in nodes]

    def flag(self, node: ast.AST, part: Node) -> None:
        if part.type.base != "flag":
            raise self.fault(
                node,
                "E404",
                f"{part.text} is {part.type}, a condition is meant",
                "compare it with something",
            )

    def bind(self, node: ast.AST, frame: Frame, names: dict[str, Type]) -> tuple[Frame, int]:
        """A frame in which these names are bound from the next depth on."""
        if frame.depth + len(names) > MOST_BOUND:
            raise self.fault(
                node, "E107", "too many names are bound here", "use a function of the rules"
            )
        local = dict(frame.local)
        for offset, (name, bound) in enumerate(names.items()):
            if name in frame.columns:
                raise self.fault(
                    node, "E202", f"{name} is already a column here", "use another name"
                )
            local[name] = (frame.depth + offset, bound)
        return replace(
            frame, local=local, depth=frame.depth + len(names), traced=False
        ), frame.depth


def _as_name(found: re.Match[str]) -> str:
    """A keyword after a dot spelled so that Python takes it for a name, in as many letters."""
    return found[1] or f".{found[2].capitalize()}"


def _is_na(node: Node) -> bool:
    return isinstance(node.tree, list) and node.tree[0] == "na"
