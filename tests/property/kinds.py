"""What the parts of a random formula may be: dimensions and kinds of the real units, and how they multiply."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from tests.property.units import BARE, UNITS, Dimension

DEEPEST: Final = 4
PLACES: Final = ("visit", "site", "system")
DIFFERENCE: Final = {"temperature": "temperature difference", "gauge": "", "absolute": ""}
KELVIN: Final[Dimension] = (0, 0, 0, 1, 0)
SECOND: Final[Dimension] = (0, 0, 1, 0, 0)
PASCAL: Final[Dimension] = UNITS["Pa"].dimension
POINTS: Final = ("temperature", "gauge")

Group = tuple[Dimension, str]
GROUPS: Final[dict[Group, list[str]]] = {(BARE, ""): [""]}
for _unit in UNITS.values():
    GROUPS.setdefault((_unit.dimension, _unit.kind), []).append(_unit.id)
PLAIN: Final = [group for group in GROUPS if group[1] not in POINTS]


def _times(a: Dimension, b: Dimension, sign: int) -> Dimension:
    return tuple(x + sign * y for x, y in zip(a, b, strict=True))


def _pairs(sign: int) -> dict[Dimension, list[tuple[Group, Group]]]:
    found: dict[Dimension, list[tuple[Group, Group]]] = {}
    for a in PLAIN:
        for b in PLAIN:
            if b[0] != BARE and a[0] != BARE:
                found.setdefault(_times(a[0], b[0], sign), []).append((a, b))
    return found


PRODUCTS: Final = _pairs(1)
QUOTIENTS: Final = _pairs(-1)
SQUARES: Final = {_times(a[0], a[0], 1): a for a in PLAIN if a[0] != BARE}
NUMBERS: Final = [
    "0", "1", "2", "3", "5", "10", "0.5", "2.5", "4", "7.25", "100", "0.001", "12.345678901234", "1e-6", "250",
]  # fmt: skip
POSITIVE: Final = ["1", "2", "3", "5", "10", "0.5", "2.5", "100", "0.1"]
DAYS: Final = [
    "2025-12-31", "2026-01-01", "2026-02-28", "2026-06-30", "2026-07-01", "2024-02-29", "1969-12-31",
]  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """What a part of a formula is. A number has the dimension and kind of a unit."""

    base: str
    group: Group = (BARE, "")
    choices: str = ""
    item: Kind | None = None


FLAG: Final = Kind("flag")
DATE: Final = Kind("date")
TEXT: Final = Kind("text")
TEXTS: Final = Kind("list", item=TEXT)
"""Only a formula gives them."""
BARE_NUMBER: Final = Kind("number")


@dataclass(frozen=True)
class Sight:
    """What a formula sees where it stands."""

    scope: str
    locals: dict[str, Kind] = field(default_factory=dict)
    columns: dict[str, Kind] = field(default_factory=dict)
    inside_function: bool = False
