"""Unknown as a value: why, and what is needed. Public: `Unknown`, `merge`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any, Final

from kneewall.bundle import Why

RANK: Final = {"not-applicable": 0, "outside": 1, "domain": 2, "missing": 3}

Detail = Mapping[str, object]


class Unknown:
    """A result that is not known.

    `needs` are (slot, member position or -1), in slot order. `detail` is a code with its parameters, such as
    `{"code": "above", "table": …, "column": …, "edge": …}`; the words for it live with whoever shows it.
    """

    __slots__ = ("detail", "needs", "why")

    def __init__(
        self, why: Why, needs: tuple[tuple[int, int], ...] = (), detail: Detail | None = None
    ) -> None:
        self.why, self.needs, self.detail = why, needs, detail

    def __repr__(self) -> str:
        return f"Unknown({self.why!r}, {self.needs!r}, {self.detail!r})"


def domain(code: str) -> Unknown:
    return Unknown("domain", (), {"code": code})


def either(x: Any, y: Any) -> Unknown:
    """Of two values the one that is unknown; what they merge to where both are."""
    found: Unknown = y if x.__class__ is not Unknown else x
    return _merged((x, y)) if x.__class__ is y.__class__ and x is not y else found


def merge(items: Iterable[object]) -> Unknown:
    """One unknown for all unknowns among `items`: the weightiest reason, everything that is needed."""
    found = tuple([item for item in items if item.__class__ is Unknown])
    return found[0] if len(found) == 1 else _merged(found)


@lru_cache(4096)
def _merged(found: tuple[Unknown, ...]) -> Unknown:
    best = min(found, key=lambda item: RANK[item.why])
    needs = {need for item in found for need in item.needs}
    return Unknown(best.why, tuple(sorted(needs)), best.detail)
