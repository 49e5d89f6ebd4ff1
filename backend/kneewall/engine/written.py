"""Trees as people read them: as they could have been written in rules, or as pieces that values are filled into.

The twin of `pwa/src/engine/written.ts`. What changes nothing in the arithmetic (`share`, `point`, `absolute` and
`gauge` of what is converted already) is not in a tree and so not in its text.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from decimal import Decimal
from typing import Any, Final

from kneewall.bundle import Bundle, Column, Piece, Quantity
from kneewall.engine.engine import EPOCH

IF: Final = 1
BINDS: Final = {"or": 2, "and": 3, "not": 4, "==": 5, "!=": 5, "<": 5, "<=": 5, ">": 5, ">=": 5,
                "+": 6, "-": 6, "*": 7, "/": 7, "//": 7, "%": 7, "neg": 8, "**": 9}  # fmt: skip
"""How tightly an operator holds its parts. What is no operator holds them tighter still."""
HOLDS: Final = 10
SIGNS: Final = {"*": "×", "-": "−", "<=": "≤", ">=": "≥", "==": "=", "!=": "≠"}
CALLED: Final = {"lmin": "min", "lmax": "max", "na": "not_applicable", "interp": "interpolate"}

Tree = Any


@dataclass(frozen=True)
class Here:
    """What surrounds a part: the columns of the row under test, and the names bound, by their place.

    `of` is the collection whose members it speaks of one by one, "" for none.
    """

    columns: Sequence[Column] = ()
    bound: Mapping[int, str] = field(default_factory=dict)
    of: str = ""


def written(bundle: Bundle, tree: Tree, parameters: Sequence[str] = ()) -> str:
    """A tree as rules would have it, "" for none; `parameters` are those of the function it belongs to."""
    return Writer(bundle).text(tree, parameters)


def filled(bundle: Bundle, tree: Tree) -> list[Piece]:
    """A quantity's tree as pieces; of a condition only the branch taken is shown, of a row what was read."""
    return [] if tree is None else _joined(_Filler(bundle).part(tree, Here()))


def formulas(quantity: Quantity) -> list[Tree]:
    """The trees of a derived quantity: one for each case, or its only one."""
    if not quantity.cases:
        return [] if quantity.tree is None else [quantity.tree]
    found: list[Tree] = []
    left: Tree = quantity.tree
    for _ in quantity.cases:
        _, _, _, tree, left = left
        found.append(tree)
    return found


class Writer:
    """Writes the trees of one bundle as text.

    Args:
        names: newer names of quantities that go by another one in this bundle.
        exact: numbers in SI to the last digit; equal texts compute the same from what they name.
    """

    def __init__(
        self, bundle: Bundle, names: Mapping[str, str] | None = None, *, exact: bool = False
    ) -> None:
        self.bundle = bundle
        self.names = names or {}
        self.exact = exact

    def text(self, tree: Tree, parameters: Sequence[str] = ()) -> str:
        here = Here(bound=dict(enumerate(parameters)))
        return "" if tree is None else "".join(map(str, self.part(tree, here)))

    def part(self, tree: Tree, here: Here, least: int = 0) -> list[Piece]:
        """A part, in brackets where it holds its own parts less tightly than what surrounds it."""
        pieces, binds = self._part(tree, here)
        return ["(", *pieces, ")"] if binds < least else pieces

    def _part(self, tree: Tree, here: Here) -> tuple[list[Piece], int]:
        if not isinstance(tree, list):
            negative = not isinstance(tree, bool | str) and tree < 0
            return [self._literal(tree)], BINDS["neg"] if negative else HOLDS
        head, parts = str(tree[0]), tree[1:]
        if head in ("neg", "not"):
            sign = self._sign("-") if head == "neg" else "not "
            return [sign, *self.part(parts[0], here, BINDS[head])], BINDS[head]
        if head in BINDS:
            return self._infix(head, parts, here), BINDS[head]
        if head == "if":
            return self._if(parts, here), IF
        if head in ("quantity", "number"):
            return self._measured(head, parts[0], str(parts[1]), here)
        return self._called(head, parts, here), HOLDS

    def _infix(self, head: str, parts: Sequence[Tree], here: Here) -> list[Piece]:
        binds = BINDS[head]
        left, right = (0, 1) if 6 <= binds <= 7 else (1, 0) if head == "**" else (1, 1)
        sign = self._sign(head)
        first, *others = parts
        pieces = self.part(first, here, binds + left)
        for part in others:
            pieces += [sign if sign == "^" else f" {sign} ", *self.part(part, here, binds + right)]
        return pieces

    def _if(self, parts: Sequence[Tree], here: Here) -> list[Piece]:
        _, condition, then, other = parts
        test, then = (self.part(part, here, IF + 1) for part in (condition, then))
        return [*then, " if ", *test, " else ", *self.part(other, here, IF)]

    def _called(self, head: str, parts: Sequence[Tree], here: Here) -> list[Piece]:
        match head:
            case "q":
                return self._quantity(int(parts[0]), here)
            case "p":
                return [here.bound[int(parts[0])]]
            case "c":
                return [here.columns[int(parts[0])].name]
            case "option":
                return self._option(int(parts[0]), str(parts[1]))
            case "date":
                return self._date((EPOCH + timedelta(seconds=parts[0])).isoformat())
            case "na":
                return self._reason(str(parts[0]))
            case "size":
                return [f"count({parts[0]})"]
            case "fn":
                return self._call(self.bundle.functions[int(parts[0])].id, parts[1:], here)
            case "each" | "members":
                return self._each(head, parts, here)
            case "root":
                return self._root(parts, here)
            case "row" | "interp" | "first" | "last" | "rows":
                return self._from_table(head, parts, here)
            case "round" | "floor" | "ceil" if parts[1] == 1:
                return self._call(head, parts[:1], here)
        return self._call(CALLED.get(head, head), parts, here)

    def _call(self, name: str, parts: Sequence[Tree], here: Here) -> list[Piece]:
        pieces: list[Piece] = []
        for part in parts:
            pieces += [", " if pieces else f"{name}(", *self.part(part, here)]
        return [*pieces, ")"]

    def _each(self, head: str, parts: Sequence[Tree], here: Here) -> list[Piece]:
        own = head == "each"
        depth, body = int(parts[0] if own else parts[1]), parts[2]
        bound = {**here.bound, depth: "item", depth + 1: "position"}
        over = self.part(parts[1], here) if own else [str(parts[0])]
        return ["each(", *over, ", ", *self.part(body, replace(here, bound=bound)), ")"]

    def _from_table(self, head: str, parts: Sequence[Tree], here: Here) -> list[Piece]:
        source, columns = self._source(parts[0], here)
        out = columns[int(parts[2])].name
        pieces: list[Piece] = [f"{CALLED.get(head, head)}(", *source]
        if head in ("row", "interp"):
            for column, value in zip(parts[3::2], parts[4::2], strict=True):
                pieces += [f", {columns[int(column)].name}=", *self.part(value, here)]
        else:
            pieces += [", ", *self.part(parts[3], replace(here, columns=columns))]
        return [*pieces, f").{out}"]

    def _source(self, tree: Tree, here: Here) -> tuple[list[Piece], Sequence[Column]]:
        """A table, or a series that a quantity holds, and its columns."""
        if not isinstance(tree, list):
            table = self.bundle.tables[int(tree)]
            return [table.id], table.columns
        return self.part(tree, here), self.bundle.quantities[int(tree[1])].columns

    def _in_unit(self, tree: Tree, unit: str) -> Tree:
        """What `quantity` or `number` was written around: a figure in that unit, or a tree without the conversion."""
        found = self.bundle.units[unit]
        if not isinstance(tree, list):
            return float(f"{(tree - found.offset) / found.scale:.10g}")
        for _ in range((found.offset != 0) + (found.scale != 1)):
            tree = tree[1]
        return tree

    def _measured(self, head: str, tree: Tree, unit: str, here: Here) -> tuple[list[Piece], int]:
        if self.exact:
            return self._part(tree, here)
        inside = self.part(self._in_unit(tree, unit), here)
        return [f"{head}(", *inside, f', "{unit}")'], HOLDS

    def _literal(self, value: bool | float | str) -> str:
        if isinstance(value, bool):
            return str(value)
        if isinstance(value, str):
            return f'"{value}"'
        return repr(float(value)) if self.exact else figure(value)

    # -- what is another thing where values are filled in

    def _sign(self, head: str) -> str:
        return head

    def _quantity(self, slot: int, here: Here) -> list[Piece]:
        name = self.bundle.quantities[slot].id
        return [self.names.get(name, name)]

    def _option(self, place: int, choices: str) -> list[Piece]:
        return [f'"{self.bundle.choices[choices].options[place].value}"']

    def _date(self, day: str) -> list[Piece]:
        return [f'date("{day}")']

    def _reason(self, text: str) -> list[Piece]:
        return [f'not_applicable("{text}")']

    def _root(self, parts: Sequence[Tree], here: Here) -> list[Piece]:
        depth, low, high, body, name = parts
        ends = [*self.part(low, here), ", ", *self.part(high, here)]
        bound = {**here.bound, int(depth): str(name)}
        return [f"root({name}, ", *ends, ", ", *self.part(body, replace(here, bound=bound)), ")"]


class _Filler(Writer):
    """Writes trees as pieces, in the signs and words that people use."""

    def _sign(self, head: str) -> str:
        return "^" if head == "**" else SIGNS.get(head, head)

    def _literal(self, value: bool | float | str) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        return value if isinstance(value, str) else figure(value).replace("-", "−")

    def _quantity(self, slot: int, here: Here) -> list[Piece]:
        quantity = self.bundle.quantities[slot]
        # What each member has of its own is many values: it goes by its name.
        return [quantity.label] if here.of == quantity.scope else [["q", slot]]

    def _option(self, place: int, choices: str) -> list[Piece]:
        return [self.bundle.choices[choices].options[place].label]

    def _date(self, day: str) -> list[Piece]:
        return [day]

    def _reason(self, text: str) -> list[Piece]:
        return [text]

    def _each(self, head: str, parts: Sequence[Tree], here: Here) -> list[Piece]:
        if head == "each":
            return super()._each(head, parts, here)
        collection, depth, body = parts
        bound = {**here.bound, int(depth): "item", int(depth) + 1: "position"}
        return self.part(body, replace(here, bound=bound, of=str(collection)))

    def _if(self, parts: Sequence[Tree], here: Here) -> list[Piece]:
        trace, _, then, other = parts
        if trace < 0:
            return super()._if(parts, here)
        return [["if", trace, *(_joined(self.part(part, here)) for part in (then, other))]]

    def _from_table(self, head: str, parts: Sequence[Tree], here: Here) -> list[Piece]:
        column = self._source(parts[0], here)[1][int(parts[2])]
        shown = column.unit or (f"choices:{column.choices}" if column.choices else column.type)
        return [["t", parts[1], shown]] if parts[1] >= 0 else [column.name]

    def _call(self, name: str, parts: Sequence[Tree], here: Here) -> list[Piece]:
        if name == "known":
            return [*self._asked(parts[0], here), " is known"]
        if name in ("abs", "sqrt"):
            before, after = ("|", "|") if name == "abs" else ("√(", ")")
            return [before, *self.part(parts[0], here), after]
        return super()._call(name, parts, here)

    def _asked(self, tree: Tree, here: Here) -> list[Piece]:
        of_quantity = isinstance(tree, list) and tree[0] == "q"
        return (
            [self.bundle.quantities[int(tree[1])].label] if of_quantity else self.part(tree, here)
        )

    def _root(self, parts: Sequence[Tree], here: Here) -> list[Piece]:
        depth, _, _, body, name = parts
        bound = {**here.bound, int(depth): str(name)}
        inside = self.part(body, replace(here, bound=bound))
        return [f"the {name} at which ", *inside, " = 0"]

    def _measured(self, head: str, tree: Tree, unit: str, here: Here) -> tuple[list[Piece], int]:
        inside = self._in_unit(tree, unit)
        if head == "quantity":
            least = HOLDS if isinstance(inside, list) else 0
            return [*self.part(inside, here, least), f" {self.bundle.units[unit].label}"], HOLDS
        if isinstance(inside, list) and inside[0] == "q":
            [piece] = self._quantity(int(inside[1]), here)
            return [[*piece, unit] if isinstance(piece, list) else piece], HOLDS
        return self._part(inside, here)


def figure(x: float) -> str:
    """A number to 12 digits: as decimals from a millionth to 10^21, else with an exponent."""
    digits, _, exponent = f"{x:.11e}".partition("e")
    if x == 0 or -6 <= int(exponent) < 21:
        return f"{Decimal(f'{x:.12g}').normalize():f}"
    return f"{digits.rstrip('0').rstrip('.')}e{int(exponent):+d}"


def _joined(pieces: Sequence[Piece]) -> list[Piece]:
    """Neighbouring texts as one."""
    return list(_join(pieces))


def _join(pieces: Sequence[Piece]) -> Iterator[Piece]:
    text = ""
    for piece in pieces:
        if isinstance(piece, str):
            text += piece
            continue
        if text:
            yield text
        text = ""
        yield piece
    if text:
        yield text
