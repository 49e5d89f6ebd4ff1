"""The closed list of units: units.csv to `Unit`s, and the dimension algebra. Exact fractions.

pint reads the expressions and multiplies dimensions. Its registry is not used: to define a hundred units in one took as
long as all their formulas.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Final

from pint.util import ParserHelper, UnitsContainer

from kneewall.bundle import Unit
from kneewall.compiler.errors import Fault, Place, RuleFault
from kneewall.compiler.reader import Cell

BASE: Final = {
    "m": "[length]",
    "kg": "[mass]",
    "s": "[time]",
    "K": "[temperature]",
    "A": "[current]",
}
HEADER: Final = ["unit", "definition", "kind", "point", "system", "partner", "label", "spellings"]
KINDS: Final = {
    "",
    "temperature",
    "temperature difference",
    "gauge",
    "absolute",
    "torque",
    "share",
    "date",
}

_ODD: Final = re.compile(r"[^A-Za-z0-9_%.*/()+^\s-]")
"""Signs that pint would pass over without a word."""

Dimension = UnitsContainer
BARE: Final[Dimension] = UnitsContainer()


def show_dimension(dimension: Dimension) -> str:
    """A dimension in one fixed spelling: `length^2 time^-1`; nothing for a bare number."""
    parts = [(str(name).strip("[]"), Fraction(str(power))) for name, power in dimension.items()]
    return " ".join(name if power == 1 else f"{name}^{power}" for name, power in sorted(parts))


_NAMED: Final = {
    "length^2": "area",
    "length^3": "volume",
    "length^3 time^-1": "volume flow",
    "length time^-1": "velocity",
    "mass time^-1": "mass flow",
    "length^-3 mass": "density",
    "length^-1 mass": "mass per length",
    "length mass time^-2": "force",
    "length^2 mass time^-2": "energy",
    "length^2 mass time^-3": "power",
    "length^-1 mass time^-2": "pressure",
    "length^-1 mass time^-3": "pressure per time",
    "current^-1 length^2 mass time^-3": "voltage",
    "current^-2 length^2 mass time^-3": "resistance",
    "current^-2 length mass time^-3": "resistance per length",
    "length^2 time^-2": "energy per mass",
    "length^2 temperature^-1 time^-2": "energy per mass and temperature",
    "length^3 mass^-1": "volume per mass",
    "length mass time^-3": "power per length",
    "length^2 mass temperature^-1 time^-3": "power per temperature",
}


def name_dimension(dimension: Dimension) -> str:
    """A dimension as people call it, or its powers where it has no name; nothing for a bare number."""
    shown = show_dimension(dimension)
    return _NAMED.get(shown, shown)


_KEPT: Final[dict[tuple[tuple[str, ...], ...], Units]] = {}


def read_units(rows: list[list[Cell]], faults: list[Fault]) -> Units:
    """The units of these lines. The last faultless ones are kept: an office compiles over and over with the same."""
    texts = tuple(tuple(cell.text for cell in row) for row in rows)
    if texts not in _KEPT:
        units = Units()
        before = len(faults)
        units.read(rows, faults)
        if len(faults) > before:
            return units
        _KEPT.clear()
        _KEPT[texts] = units
    return _KEPT[texts]


class Units:
    """Units by id, with their dimensions. Definitions may use only units of earlier lines and the base units."""

    def __init__(self) -> None:
        self.units: dict[str, Unit] = {}
        self.dimensions: dict[str, Dimension] = {}
        self._codes: dict[str, str] = {}
        """Each unit as it is called while an expression is read: a word without signs."""
        self._exact: dict[str, tuple[Fraction, Dimension]] = {}
        """Scale and dimension by that."""

    def read(self, rows: list[list[Cell]], faults: list[Fault]) -> None:
        if not rows or [cell.text for cell in rows[0]] != HEADER:
            place = rows[0][0].place if rows else Place("units.csv", 1, 1)
            faults.append(Fault(place, "E305", "the header must be " + ",".join(HEADER)))
            return
        for row in rows[1:]:
            try:
                self._add(row)
            except RuleFault as error:
                faults.append(error.fault)
        for row in rows[1:] if not faults else ():
            partner = row[5]
            if partner.text and partner.text not in self.units:
                faults.append(
                    Fault(partner.place, "E301", f"{partner.text!r}, a partner, is not in the list")
                )

    def _add(self, row: list[Cell]) -> None:
        name, definition, kind, point, system, partner, label, spellings = (
            cell.text for cell in row
        )
        place = row[0].place
        if name in self.units:
            raise RuleFault(place, "E202", f"the unit {name!r} stands twice", "keep one of them")
        if kind not in KINDS:
            raise RuleFault(
                row[2].place,
                "E305",
                f"{kind!r} is no kind",
                "use one of: " + ", ".join(sorted(KINDS)),
            )
        if system not in ("ip", "si", "both"):
            raise RuleFault(row[4].place, "E305", f"the system {system!r} is none of ip, si, both")
        scale, offset, dimension = self._define(name, definition, row[1].place)
        self.dimensions[name] = dimension
        self.units[name] = Unit(
            scale=float(scale),
            offset=float(offset),
            dimension=show_dimension(dimension),
            kind=kind,
            point=point == "yes",
            system=system,  # type: ignore[arg-type]
            partner=partner,
            label=label or name,
            spellings=[s.strip() for s in spellings.split("|") if s.strip()],
        )

    def _define(
        self, name: str, definition: str, place: Place
    ) -> tuple[Fraction, Fraction, Dimension]:
        """Scale, offset and dimension, exactly."""
        body, _, shift = definition.partition(";")
        offset = Fraction(0)
        if shift.strip():
            found = re.fullmatch(r"\s*offset:?\s+([\d./-]+)\s*", shift)
            if not found:
                raise RuleFault(place, "E305", f"{shift.strip()!r} is not 'offset NUMBER'")
            try:
                offset = Fraction(found[1])
            except (ValueError, ZeroDivisionError):
                raise RuleFault(place, "E305", f"{found[1]!r} is no number") from None
        odd = _ODD.search(body)
        if odd:
            raise RuleFault(place, "E305", f"{odd[0]!r} is no part of a definition", "leave it out")
        if re.search(r"\^|\*\*", re.sub(r"[A-Za-z]\w*\*\*-?\d\b", "", body)):
            what = f"{body.strip()!r} has a power that is not one digit after a unit"
            raise RuleFault(place, "E305", what, "write m**2")
        expression = re.sub(r"(?<![\d.])[A-Za-z%]\w*", lambda m: self._word(m[0], place), body)
        base = {BASE[name]: Fraction(1)} if name in BASE else {}
        scale, dimension = Fraction(1), Dimension(base, non_int_type=Fraction)
        try:
            if name not in BASE:
                written = ParserHelper.from_string(expression.strip(), Fraction)
                scale = Fraction(str(written.scale))
                for code, power in written.items():
                    one, own = self._exact[code]
                    scale *= one ** int(str(power))
                    dimension *= own ** int(str(power))
            sound = float(scale) > 0
        except Exception:  # noqa: BLE001 - pint raises many kinds; all mean that the line is wrong
            sound = False
        if not sound:
            mend = "write a number above zero, and units of earlier lines, with * / **"
            raise RuleFault(place, "E305", f"{definition!r} defines no unit", mend)
        code = self._codes[name] = f"u{len(self._codes)}"
        self._exact[code] = scale, dimension
        return scale, offset, dimension

    def _word(self, word: str, place: Place) -> str:
        if word not in self._codes:
            raise RuleFault(place, "E305", f"{word!r} is not defined on an earlier line")
        return self._codes[word]
