"""What the parts of a formula are, and what goes together: rules/LANGUAGE.md section 5."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Final, Literal

from kneewall.bundle import Expr
from kneewall.compiler.units import BARE, Dimension, name_dimension

Base = Literal["number", "flag", "text", "choice", "list", "series"]
POINTS: Final = {"temperature", "gauge", "date"}
LARGEST_POWER: Final = 99
DIFFERENCE: Final = {"temperature": "temperature difference", "gauge": "", "date": ""}


@dataclass(frozen=True)
class Type:
    """`kind` None: computed, goes where its dimension fits, but not into a point."""

    base: Base = "number"
    dimension: Dimension = BARE
    kind: str | None = ""
    choices: str = ""
    ordered: bool = False
    item: Type | None = None
    columns: tuple[tuple[str, Type], ...] = ()
    literal: bool = False
    shown: str = field(default="", compare=False)
    """Of a series' column: the unit to show its readings in."""

    @property
    def point(self) -> bool:
        return self.kind in POINTS

    def __str__(self) -> str:
        if self.base == "number":
            return _called(self)
        if self.base == "choice":
            return f"a choice of {self.choices}"
        if self.base == "list":
            return f"a list, each of it {self.item}"
        return "a condition" if self.base == "flag" else f"a {self.base}"


def _called(t: Type) -> str:
    """A number as people call it: by its kind where it has one, or else by its dimension."""
    name = name_dimension(t.dimension)
    if t.kind in ("gauge", "absolute"):
        name = f"{t.kind} {name}"
    elif t.kind:
        name = t.kind
    elif t.kind == "" and name == "pressure":
        name = "pressure difference"
    if "^" in name:
        return f"of {name}"
    name = name or "bare number"
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


NUMBER: Final = Type()
FLAG: Final = Type("flag")
TEXT: Final = Type("text")
LITERAL: Final = Type(literal=True)


class Mismatch(Exception):
    """Two types that do not go together; `number` is the fault's number."""

    def __init__(self, number: str, what: str, mend: str = "") -> None:
        super().__init__(what)
        self.number, self.what, self.mend = number, what, mend


def require_number(t: Type, what: str) -> None:
    if t.base != "number":
        raise Mismatch("E404", f"{what} is {t}, a number is meant")


def refuse_zero(tree: Expr, what: str) -> None:
    """Refuse a written 0 where it leaves a formula without an answer."""
    if tree == 0 or (isinstance(tree, list) and tree[0] == "quantity" and tree[1] == 0):
        raise Mismatch("E306", f"{what} has no answer", "write another number")


def plain(t: Type) -> Type:
    """The type of what is no literal any more."""
    return replace(t, literal=False) if t.literal else t


def same(a: Type, b: Type, left: str, right: str) -> Type:
    """The common type of two sides that are compared or chosen between."""
    if a.base != b.base or a.choices != b.choices:
        raise Mismatch("E404", f"{left} is {a}, {right} is {b}", _unlike(a, b))
    if a.base == "list":
        assert a.item is not None
        assert b.item is not None
        return replace(a, item=same(a.item, b.item, left, right))
    if a.columns != b.columns:
        what = f"{left} and {right} are series of unlike columns"
        raise Mismatch("E404", what, "use two of the same columns, in the same units or kinds")
    if a.base != "number":
        return a
    if a.dimension != b.dimension:
        raise Mismatch("E302", f"{left} is {a}, {right} is {b}", _dimensioned(a, b, left, right))
    if a.kind == b.kind:
        return plain(a)
    computed, named = (a, b) if a.kind is None else (b, a)
    if computed.kind is None and not named.point:
        return plain(named)
    raise Mismatch("E303", f"{left} is {_kind(a)}, {right} is {_kind(b)}", _mend(a, b))


def _dimensioned(a: Type, b: Type, left: str, right: str) -> str:
    for one, text in ((a, left), (b, right)):
        if one.literal:
            return f'write quantity({text}, "unit")'
    return "see whether a factor is missing or too much; quantity(n, unit) gives a number its unit"


def _unlike(a: Type, b: Type) -> str:
    bases = {a.base, b.base}
    if "choice" in bases and bases <= {"choice", "number", "text"}:
        return "a choice is compared with a choice of its own list, in quotes"
    if "flag" in bases:
        return "a condition compares one thing with another"
    if "list" in bases:
        return "sum, min, max, count or at(list, 1) make one value of a list"
    return "use two of the same type"


def _kind(t: Type) -> str:
    return str(t).replace("a ", "a computed ", 1) if t.kind is None else str(t)


def _mend(a: Type, b: Type) -> str:
    kinds = {a.kind, b.kind}
    if "share" in kinds:
        written = a.literal or b.literal
        return (
            'write quantity(3, "percent") for 3 %' if written else "share(x) makes one of a ratio"
        )
    if "gauge" in kinds:
        return "take absolute(p, atmosphere) or gauge(P, atmosphere)"
    if "[temperature]" in a.dimension:
        return "take absolute(t), point(T) or a difference of two temperatures"
    return "convert one side"


def add(a: Type, b: Type, left: str, right: str) -> Type:
    require_number(a, left)
    require_number(b, right)
    if a.dimension == b.dimension:
        if a.point and b.point:
            raise Mismatch("E304", f"{left} and {right} are both points on a scale; their sum means nothing",
                           "add a difference to a point")  # fmt: skip
        for p, d in ((a, b), (b, a)):
            if p.point and d.kind in (DIFFERENCE[str(p.kind)], None):
                return p
            if p.kind == "absolute" and d.kind in ("", "temperature difference"):
                return p
    return same(a, b, left, right)


def subtract(a: Type, b: Type, left: str, right: str) -> Type:
    require_number(a, left)
    require_number(b, right)
    if a.dimension == b.dimension:
        if a.kind == b.kind and (a.point or a.kind == "absolute"):
            temperature = "[temperature]" in a.dimension
            return replace(a, kind="temperature difference" if temperature else "")
        if a.point and b.kind in (DIFFERENCE[str(a.kind)], None):
            return a
        if a.kind == "absolute" and b.kind in ("", "temperature difference"):
            return a
        if b.point:
            raise Mismatch(
                "E304", f"{right} is a point on a scale and cannot be taken from an amount"
            )
    return same(a, b, left, right)


def no_point(t: Type, what: str) -> None:
    require_number(t, what)
    if t.point:
        mend = {
            "temperature": "take absolute(t), a difference, or number(t, unit)",
            "gauge": "take absolute(p, atmosphere), or number(p, unit)",
        }.get(str(t.kind), "take a difference")
        raise Mismatch("E304", f"{what} is a point on a scale ({t.kind}), not an amount", mend)


def multiply(a: Type, b: Type, left: str, right: str) -> Type:
    no_point(a, left)
    no_point(b, right)
    for keeps, factor in ((a, b), (b, a)):
        if (
            factor.dimension == BARE
            and factor.kind != "share"
            and keeps.kind
            and keeps.dimension != BARE
        ):
            return plain(keeps)
    return Type(dimension=a.dimension * b.dimension, kind=_scaled(a, b))


def divide(a: Type, b: Type, left: str, right: str) -> Type:
    no_point(a, left)
    no_point(b, right)
    if b.dimension == BARE and b.kind != "share" and a.kind and a.dimension != BARE:
        return plain(a)
    return Type(dimension=a.dimension / b.dimension, kind=_scaled(a, b))


def _scaled(a: Type, b: Type) -> str | None:
    """Two bare numbers make a bare number; anything else is computed."""
    return "" if a.dimension == BARE == b.dimension and a.kind == "" == b.kind else None


def power(a: Type, exponent: Fraction | None, left: str) -> Type:
    """`exponent` None: not a literal, so the base must be a bare number."""
    no_point(a, left)
    if a.dimension == BARE:
        return Type(kind="" if a.kind == "" else None)
    if exponent is None:
        raise Mismatch(
            "E302",
            f"{left} is {a}; only a bare number takes a computed exponent",
            "write the exponent out",
        )
    if abs(exponent) > LARGEST_POWER:
        raise Mismatch("E306", f"{left} to the power of {float(exponent):g} has no dimension")
    return Type(dimension=a.dimension**exponent, kind=None)


def fits(found: Type, wanted: Type, what: str, target: str) -> None:
    """Whether `found` may stand where `wanted` is declared. Raises `Mismatch`."""
    if found.base == "list" and wanted.base == "list" and found.item and wanted.item:
        fits(found.item, wanted.item, what, target)
        return
    if (
        wanted.point
        and found.base == "number"
        and found.kind is None
        and found.dimension == wanted.dimension
    ):
        call = "gauge(P, atmosphere)" if wanted.kind == "gauge" else "point(T)"
        raise Mismatch(
            "E304", f"{what} is computed, {target} is a point on a scale", f"say it with {call}"
        )
    same(found, wanted, what, target)
