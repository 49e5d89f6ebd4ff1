"""Random arithmetic whose dimension and kind come out as asked."""

from __future__ import annotations

from collections.abc import Callable

from tests.property.kinds import (
    DATE,
    DIFFERENCE,
    GROUPS,
    KELVIN,
    PASCAL,
    PLAIN,
    POINTS,
    POSITIVE,
    PRODUCTS,
    QUOTIENTS,
    SECOND,
    SQUARES,
    Group,
    Kind,
    Sight,
)
from tests.property.sheets import SheetWriter
from tests.property.units import BARE

Shape = Callable[[Kind, Callable[..., str]], str | None]


class SumWriter(SheetWriter):
    """Sums, products, powers, roots; points on a scale only as the language lets them."""

    def arithmetic(
        self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool
    ) -> str | None:
        """None, here and below, where this form cannot give such a value."""
        dimension, named = kind.group

        def number(group: Group, *, strictly: bool = False) -> str:
            return self.part(Kind("number", group), sight, depth, strict=strictly)

        def difference(of: str) -> str:
            apart = "temperature difference" if dimension == KELVIN else DIFFERENCE[of]
            return number((dimension, apart))

        if kind.base == "date":
            sign, count = self.one(["+", "-"]), self.one(["1", "30", "0", "365"])
            return f'({self.part(kind, sight, depth)} {sign} quantity({count}, "day"))'
        if named in (*POINTS, "absolute") and self.chance(60):
            sign = self.one(["+", "-"])
            return f"({number(kind.group, strictly=True)} {sign} {difference(named)})"
        if named == "temperature":
            return f"point({number((KELVIN, 'absolute'))})"
        if named == "gauge":
            both = (PASCAL, "absolute")
            return f"gauge({number(both)}, {number(both)})"
        if named == "absolute" and self.chance(60):
            if dimension == KELVIN:
                return f"absolute({number((KELVIN, 'temperature'), strictly=True)})"
            return f"absolute({number((PASCAL, 'gauge'), strictly=True)}, {number((PASCAL, 'absolute'))})"
        shapes: list[Shape] = [self.sum_, self.sum_, self.scaled, self.rounded]
        if not strict:
            shapes += [self.product, self.quotient, self.square]
        if dimension == BARE and named == "":
            shapes += [self.bare] * 8
        if named == "share":
            shapes += [lambda k, n: f"share({n((BARE, ''))})", self.ratio]
        apart = {
            (KELVIN, "temperature difference"): "temperature",
            (PASCAL, ""): self.one(["gauge", "absolute"]),
        }
        if kind.group in apart:
            point = (dimension, apart[kind.group])
            shapes.append(lambda k, n: f"({n(point, strictly=True)} - {n(point, strictly=True)})")
        if kind.group == (SECOND, ""):
            shapes.append(
                lambda k, n: f"({self.part(DATE, sight, depth)} - {self.part(DATE, sight, depth)})"
            )
        return self.one(shapes)(kind, number)

    def sum_(self, kind: Kind, number: Callable[..., str]) -> str:
        group = kind.group
        if group[1] == "absolute":
            return f"({number(group)} + {number(group)})"
        return f"({number(group)} {self.one(['+', '-', '%'])} {number(group)})"

    def scaled(self, kind: Kind, number: Callable[..., str]) -> str | None:
        if kind.group[0] == BARE:
            return None
        bare = number((BARE, ""))
        return self.one([f"({bare} * {number(kind.group)})", f"({number(kind.group)} / {bare})",
                         f"(-{number(kind.group)})", f"abs({number(kind.group)})"])  # fmt: skip

    def rounded(self, kind: Kind, number: Callable[..., str]) -> str:
        step = self.literal(kind.group, POSITIVE)
        return f"{self.one(['round', 'floor', 'ceil'])}({number(kind.group)}, {step})"

    def product(self, kind: Kind, number: Callable[..., str]) -> str | None:
        pairs = PRODUCTS.get(kind.group[0])
        if not pairs or kind.group[0] == BARE:
            return None
        a, b = self.one(pairs)
        return f"({number(a)} * {number(b)})"

    def quotient(self, kind: Kind, number: Callable[..., str]) -> str | None:
        pairs = QUOTIENTS.get(kind.group[0])
        if not pairs or kind.group[0] == BARE:
            return None
        a, b = self.one(pairs)
        return f"({number(a)} / {number(b)})"

    def ratio(self, kind: Kind, number: Callable[..., str]) -> str:
        group = self.one([g for g in PLAIN if g[0] != BARE])
        return f"({number(group)} / {number(group)})"

    def square(self, kind: Kind, number: Callable[..., str]) -> str | None:
        if kind.group[0] == BARE:
            return None
        root = SQUARES.get(kind.group[0])
        if root and self.chance(50):
            return f"({number(root)} ** 2)"
        return f"sqrt({number(kind.group)} ** {self.one(['2', '2.0'])})"

    def bare(self, kind: Kind, number: Callable[..., str]) -> str:
        plain = (BARE, "")
        one = self.one(["exp", "ln", "log10", "**", "//", "number", "round", "*", "/", "ratio"])
        if one in ("exp", "ln", "log10", "round"):
            return f"{one}({number(plain)})"
        if one == "**":
            return f"({number(plain)} ** {self.one(['2', '3', '0.5', '-1', number(plain)])})"
        if one in ("*", "/"):
            return f"({number(plain)} {one} {number(plain)})"
        if one == "ratio":
            return self.ratio(kind, number)
        group = self.one([g for g in GROUPS if g[0] != BARE])
        if one == "//" and group[1] not in POINTS:
            return f"({number(group)} // {number(group)})"
        return f'number({number(group, strictly=True)}, "{self.unit(group)}")'

    def root(self, kind: Kind, sight: Sight, depth: int, told: bool, strict: bool) -> str | None:
        """Of functions that rise all the way, so that there is one answer."""
        self.roots += 1
        x = f"x{self.roots}"
        goal = self.part(kind, sight, max(depth, 2))
        if kind.group == (BARE, ""):
            rising = self.one([f"{x} ** 3 + {x}", f"ln({x})", f"{x} * {x}", f"exp({x})"])
            low, high = self.one(["0.001", "0.5"]), self.one(["10", "200"])
            return f"root({x}, {low}, {high}, {rising} - {goal})"
        low = self.literal(kind.group, ["0.001", "0.5"]).replace("(-", "(")
        high = self.literal(kind.group, ["1000", "20"]).replace("(-", "(")
        return f"root({x}, {low}, {high}, 3 * {x} + 2 * ({x} - {goal}))"
