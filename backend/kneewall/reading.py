"""The edges: what people type to SI values, and back. Meaning: rules/LANGUAGE.md section 11."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import Any, Final, Literal

from kneewall.bundle import Bundle, Choices, Quantity, Unit, Value

System = Literal["ip", "si"]

LARGEST: Final = 10**300
"""Of a written number, so that it has room for its unit."""
LONGEST: Final = 1000
"""Signs in which a number with its unit is looked for."""
_WIDE: Final = Context(prec=700)
"""For every digit of every number that a double holds."""
_NUMBER: Final = re.compile(
    r"\s*([-+\u2212]?)\s*([0-9]+(?:[.,][0-9]*)*|[.,][0-9]+)(?:[eE]([-+]?[0-9]{1,2})(?![0-9]))?"
)
_FRACTION: Final = re.compile(
    r"\s*([-+\u2212]?)\s*(?:([0-9]+)(?:-|\s+))?([0-9]+)\s*/\s*([0-9]+)(?=$|[^0-9.,/])"
)
_GROUPED: Final = re.compile("[0-9],[0-9]{3}$")
_DAY: Final = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}")
NOTHING: Final = "none"
"""A list without an entry. The phone says the same."""
_FLAGS: Final = {"yes": True, "true": True, "no": False, "false": False}


class ReadingError(ValueError):
    """A typed value that cannot be taken. `code` and `params` are for other languages; str() is English."""

    def __init__(self, code: str, message: str, **params: object) -> None:
        super().__init__(message)
        self.code = code
        self.params = params


@dataclass(frozen=True)
class Reading:
    """A typed value in SI; `unit` is the one it was read in, `ask` whether it is outside the usual."""

    si: Value
    unit: str = ""
    ask: bool = False


def round12(x: float | Fraction) -> float:
    """To 12 significant digits, half away from zero."""
    exact = Decimal(x.numerator) / Decimal(x.denominator) if isinstance(x, Fraction) else Decimal(x)
    if not exact.is_finite() or exact == 0:
        return float(exact)
    step = Decimal(1).scaleb(exact.adjusted() - 11)
    return float(exact.quantize(step, rounding=ROUND_HALF_UP))


@lru_cache(maxsize=2_000)
def split_number(text: str) -> tuple[Fraction, str]:
    """The number at the start of `text` and the rest. Raises `ReadingError`."""
    if len(text) > LONGEST:
        raise ReadingError("number", f"{text.strip()[:20]}… is too long for a number")
    found = _FRACTION.match(text) if "/" in text else None
    if found:
        sign, whole, over, under = found.groups()
        if int(under) == 0:
            raise ReadingError("number", f"{text.strip()!r} divides by zero")
        value = Fraction(int(whole or 0)) + Fraction(int(over), int(under))
    else:
        found = _NUMBER.match(text)
        if not found:
            raise ReadingError(
                "number",
                f"{text.strip()!r} is not a number; write one like 12.5",
                text=text.strip(),
            )
        sign, digits, power = found.groups()
        marks = digits.count(".") + digits.count(",")
        if marks > 1 or _GROUPED.search(digits):
            plain, decimal = digits.replace(",", ""), digits.replace(",", ".")
            raise ReadingError(
                "grouping", f"{digits!r} could be {plain} or {decimal}; write it without a grouping mark",
                plain=plain, decimal=decimal,
            )  # fmt: skip
        whole, _, part = digits.replace(",", ".").partition(".")
        value = Fraction(int(whole + part), 10 ** len(part))
        if power:
            value *= Fraction(10) ** int(power)
    if value.numerator > LARGEST * value.denominator:
        raise ReadingError("number", f"{text.strip()[:20]}… is too large")
    rest = text[found.end() :].strip()
    return (-value if sign in ("-", "\u2212") else value), rest


class Edges:
    """Reading and showing with one set of units and choice lists."""

    def __init__(self, units: Mapping[str, Unit], choices: Mapping[str, Choices]) -> None:
        self.units = units
        self.choices = choices
        self.spellings: dict[str, str] = {}
        self.folded: dict[str, set[str]] = {}
        for name, unit in units.items():
            for spelling in (name, unit.label, *unit.spellings):
                owner = self.spellings.setdefault(spelling, name)
                self.folded.setdefault(spelling.casefold(), set()).add(owner)

    def find_unit(self, spelling: str) -> str:
        """Unit id of a spelling. Raises `ReadingError` with the nearest name."""
        name = self.spellings.get(spelling)
        if name is None:
            folded = self.folded.get(spelling.casefold(), set())
            if len(folded) != 1:
                near = difflib.get_close_matches(spelling, list(self.spellings), 1)
                hint = f"; nearest is {near[0]!r}" if near else ""
                raise ReadingError(
                    "unit", f"{spelling!r} is not in the list of units{hint}", text=spelling
                )
            name = next(iter(folded))
        return name

    def fit_unit(self, name: str, declared: str, kind: str) -> str | None:
        """The unit meant when `name` is written for something of this declared unit and kind; None if it cannot be."""
        unit, own = self.units[name], self.units[declared]
        if unit.dimension != own.dimension:
            return None
        if kind in ("temperature difference", ""):
            if unit.point and own.dimension == unit.dimension:
                return next((n for n, u in self.units.items() if u.kind == "temperature difference"
                             and u.scale == unit.scale and u.system == unit.system), None)  # fmt: skip
            return name if unit.kind in ("", kind) else None
        if kind == "temperature":
            return name if unit.point or (unit.kind == "absolute") else None
        return (
            name
            if unit.kind in ("", kind) and unit.point == (kind in ("temperature", "date"))
            else None
        )

    def to_si(self, number: float | Fraction, unit: str) -> float:
        u = self.units[unit]
        return round12(float(number) * u.scale + u.offset)

    def from_si(self, si: float, unit: str) -> float:
        u = self.units[unit]
        return (si - u.offset) / u.scale

    def measure(self, text: str, declared: str, kind: str, unit: str = "") -> tuple[float, str]:
        """A number with its unit, or in `unit` or the declared one: (SI value, unit it was read in)."""
        number, rest = split_number(text)
        name = self.find_unit(rest) if rest else (unit or declared)
        if not name:
            return round12(number), ""
        if not declared:
            raise ReadingError(
                "no-unit", f"{text.strip()!r}: a bare number is meant here, without {rest!r}"
            )
        fit = self.fit_unit(name, declared, kind)
        if fit is None:
            wanted = self.units[declared].label
            typed = rest or self.units[name].label
            raise ReadingError("dimension", f"{typed!r} does not fit; write it in {wanted}",
                               unit=name, declared=declared)  # fmt: skip
        return self.to_si(number, fit), fit

    def option(self, text: str, choices: str) -> str:
        wanted = text.strip().casefold()
        options = self.choices[choices].options
        for option in options:
            if wanted in {s.casefold() for s in (option.value, option.label, *option.spellings)}:
                return option.value
        known = ", ".join(option.value for option in options[:30])
        raise ReadingError("choice", f"{text.strip()!r} is not one of: {known}", text=text.strip())

    def parse(self, quantity: Quantity, text: str, unit: str = "") -> Reading:
        """A typed value of a quantity. Raises `ReadingError` when it is not one, or is outside its limits."""
        text = text.strip()
        if not text:
            raise ReadingError("empty", "nothing is written")
        match quantity.type:
            case "choice":
                return Reading(self.option(text, quantity.choices))
            case "text":
                return Reading(text)
            case "flag":
                if text.casefold() not in _FLAGS:
                    raise ReadingError("flag", f"{text!r} is neither yes nor no")
                return Reading(_FLAGS[text.casefold()])
            case "date":
                try:
                    return Reading(
                        date.fromisoformat(text if _DAY.fullmatch(text) else "").isoformat()
                    )
                except ValueError:
                    raise ReadingError("date", f"{text!r} is not a date like 2026-11-25") from None
            case "list" | "texts":
                entries = [part for part in re.split(r";|,\s+|,$", text) if part.strip()]
                if quantity.type == "texts":
                    return Reading([part.strip() for part in entries])
                if quantity.choices:
                    return Reading([self.option(part, quantity.choices) for part in entries])
                return self._numbers(quantity, entries, unit)
            case "series":
                return self._series(quantity, text)
            case _:
                si, read_in = self.measure(text, quantity.unit, quantity.kind, unit)
                if quantity.type == "count" and si != math.floor(si):
                    raise ReadingError("count", f"{text!r} is not a whole number")
                self._limits(quantity, si, read_in)
                return Reading(si, read_in, self._unusual(quantity, si))

    def _numbers(self, quantity: Quantity, entries: Iterable[str], unit: str) -> Reading:
        values = [self.measure(part, quantity.unit, quantity.kind, unit) for part in entries]
        for si, read_in in values:
            self._limits(quantity, si, read_in)
        asked = any(self._unusual(quantity, si) for si, _ in values)
        return Reading([si for si, _ in values], values[0][1] if values else "", asked)

    def _series(self, quantity: Quantity, text: str) -> Reading:
        points: list[list[float]] = []
        for part in re.split(r";|,\s+|,$", text):
            if not part.strip():
                continue
            sides = part.split(":")
            if len(sides) != 2:
                raise ReadingError(
                    "series", f"{part.strip()!r} is not written like '4 min: 600 micron'"
                )
            units = [column.unit for column in quantity.columns]
            kinds = [self.units[u].kind if u else "" for u in units]
            points.append(
                [self.measure(s, u, k)[0] for s, u, k in zip(sides, units, kinds, strict=True)]
            )
            self._limits(quantity, points[-1][1], units[1])
        points.sort()
        if any(math.isclose(a[0], b[0], rel_tol=1e-9) for a, b in pairwise(points)):
            raise ReadingError(
                "series-twice", f"two readings stand at the same {quantity.columns[0].name}"
            )
        return Reading(points)

    def _limits(self, quantity: Quantity, si: float, unit: str) -> None:
        if quantity.one_of and not any(math.isclose(si, x, rel_tol=1e-9) for x in quantity.one_of):
            shown = ", ".join(self.number(quantity, x, unit) for x in quantity.one_of)
            raise ReadingError("one-of", f"{quantity.label}: only {shown}")
        if quantity.limits is None:
            return
        low, high = quantity.limits
        if not (
            low <= si <= high
            or math.isclose(si, low, rel_tol=1e-9)
            or math.isclose(si, high, rel_tol=1e-9)
        ):
            ends = [self.number(quantity, end, unit) for end in quantity.limits]
            raise ReadingError("limits", f"{self.number(quantity, si, unit)} is outside {ends[0]} to {ends[1]}",
                               low=low, high=high, unit=unit)  # fmt: skip

    @staticmethod
    def _unusual(quantity: Quantity, si: float) -> bool:
        return quantity.usual is not None and not quantity.usual[0] <= si <= quantity.usual[1]

    # -- showing

    def shown_unit(self, declared: str, system: System | None) -> str:
        """The declared unit, or its partner when the person uses the other system."""
        if not declared or system is None or self.units[declared].system in ("both", system):
            return declared
        return self.units[declared].partner or declared

    def number(self, quantity: Quantity, si: float | Sequence[float], unit: str) -> str:
        """A number with its unit; several with the unit once, after the last, as the phone has them."""
        all_of = [si] if isinstance(si, int | float) else si
        text = ", ".join(self.digits(x, unit, quantity.unit, quantity.decimals) for x in all_of)
        return f"{text} {self.units[unit].label}" if unit else text

    def digits(self, si: float, unit: str, declared: str, decimals: int | None) -> str:
        x = self.from_si(si, unit) if unit else si
        if decimals is not None and unit != declared:
            finer = self.units[unit].scale / self.units[declared].scale
            decimals = max(0, decimals + round(math.log10(finer)))
        return format_number(x, decimals)

    def show(
        self, quantity: Quantity, value: Value, system: System | None = None, unit: str = ""
    ) -> str:
        """A value with its unit as a person reads it."""
        if isinstance(value, list):
            if not value:
                return NOTHING
            if quantity.type == "series":
                return ", ".join(self._point(quantity, p, system) for p in value)  # type: ignore[arg-type]
            numbers = [x for x in value if isinstance(x, int | float) and not isinstance(x, bool)]
            if len(numbers) < len(value):
                return ", ".join(self.show(quantity, item, system) for item in value)
            value = numbers
        elif isinstance(value, bool):
            return "yes" if value else "no"
        elif isinstance(value, str):
            options = self.choices[quantity.choices].options if quantity.choices else []
            return next((option.label for option in options if option.value == value), value)
        return self.number(quantity, value, unit or self.shown_unit(quantity.unit, system))

    def _point(self, quantity: Quantity, point: list[float], system: System | None) -> str:
        sides = []
        for column, si in zip(quantity.columns, point, strict=True):
            unit = self.shown_unit(column.unit, system)
            label = f" {self.units[unit].label}" if unit else ""
            sides.append(self.digits(si, unit, unit, None) + label)
        return ": ".join(sides)

    def declared(self, quantity: Quantity, value: Any) -> Any:
        """A value as machines read it: numbers in the declared unit, to 12 digits."""
        if isinstance(value, list):
            return [self.declared(quantity, item) for item in value]
        if isinstance(value, bool | str) or not quantity.unit:
            return value
        return round12(self.from_si(float(value), quantity.unit))


def format_number(x: float, decimals: int | None) -> str:
    """Fixed decimals, or four significant digits without trailing zeros; − for a minus."""
    # The decimal text is rounded, not the binary number: 1.005 to two places is 1.01.
    exact = Decimal(repr(round12(x)))
    places = max(0, 3 - exact.adjusted()) if decimals is None else decimals
    fixed = exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP, _WIDE)
    text = f"{fixed:f}"
    if decimals is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    if not text.strip("-0."):
        text = text.lstrip("-")
    return text.replace("-", "\u2212")


def edges_of(bundle: Bundle) -> Edges:
    return Edges(bundle.units, bundle.choices)
