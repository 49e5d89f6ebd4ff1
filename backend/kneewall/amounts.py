"""Amounts of a bundle's document between SI and the units they are typed in, exactly.

The twin is pwa/src/bundle/amounts.ts.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any, Final

Row = dict[str, Any]

POWERS: Final = [float(f"1e{power}") for power in range(23)]
_LISTS: Final = (list, tuple)
_NUMBERS: Final = (int, float)
COUNTED: Final = ("number", "count", "list")
"""Types of quantities whose values are numbers of their unit."""
OF_A_QUANTITY: Final = ("limits", "usual", "one_of", "default")


def retold(document: Row, tell: Callable[[Any, float, float], Any]) -> Row:
    """The document with its amounts told by `tell(amount, scale, offset)`, of the unit of its column or quantity."""
    scale = {
        name: (unit["scale"], unit.get("offset", 0)) for name, unit in document["units"].items()
    }
    units = {
        each["id"]: scale[each["unit"]]
        for each in document["quantities"]
        if "unit" in each and each.get("type", "number") in COUNTED
    }

    def table(old: Row) -> Row:
        told = [
            tell(cells, *scale[column["unit"]]) if "unit" in column else cells
            for column, cells in zip(old["columns"], old["cells"], strict=True)
        ]
        return {**old, "cells": told}

    def quantity(old: Row) -> Row:
        fields = [name for name in OF_A_QUANTITY if name in old and old["id"] in units]
        return {**old, **{name: tell(old[name], *units[old["id"]]) for name in fields}}

    def expected(old: Row) -> Row:
        if old["quantity"] not in units:
            return old
        scale, offset = units[old["quantity"]]
        offsets = {"value": offset, "within": 0}
        return {
            name: tell(each, scale, offsets[name]) if name in offsets else each
            for name, each in old.items()
        }

    def example(old: Row) -> Row:
        given = {
            name: tell(value, *units[name]) if name in units else value
            for name, value in old["given"].items()
        }
        return {**old, "given": given, **_each(old, "expect", expected)}

    return {
        **document,
        **_each(document, "tables", table),
        **_each(document, "quantities", quantity),
        **_each(document, "examples", example),
    }


def _each(of: Row, name: str, tell: Callable[[Row], Row]) -> Row:
    return {name: [tell(each) for each in of[name]]} if name in of else {}


def typed(amount: Any, scale: float, offset: float) -> Any:
    """Amounts in SI as they could have been typed: numbers of which `in_si` makes the very same floats.

    A whole one is an integer, as canonical JSON has it. Where none of 12 digits is, ["si", amount].
    """
    if isinstance(amount, _LISTS):
        return [typed(each, scale, offset) for each in amount]
    if isinstance(amount, dict):
        return {name: typed(each, scale, offset) for name, each in amount.items()}
    if isinstance(amount, bool) or not isinstance(amount, _NUMBERS):
        return amount
    return _typed(amount, scale, offset)


@lru_cache(maxsize=10_000)
def _typed(amount: float, scale: float, offset: float) -> Any:
    near = (amount - offset) / scale
    for digits in (6, 9, 12):
        told = float(f"{near:.{digits}g}")
        if in_si(told, scale, offset) == amount:
            return int(told) if told.is_integer() and abs(told) < 1e15 else told
    return ["si", amount]


def in_si(typed: Any, scale: float, offset: float) -> Any:
    """Amounts as typed in SI, by nothing but what IEEE 754 leaves no choice in: the phone does the same."""
    if isinstance(typed, list):
        if len(typed) == 2 and typed[0] == "si" and not isinstance(typed[1], str):
            return typed[1]
        return [in_si(each, scale, offset) for each in typed]
    if isinstance(typed, dict):
        return {name: in_si(each, scale, offset) for name, each in typed.items()}
    if isinstance(typed, bool) or not isinstance(typed, _NUMBERS):
        return typed
    amount = typed * scale + offset
    size = abs(amount)
    if size == math.inf:
        return amount
    power = 11
    while power < 22 and size * POWERS[power] < 1e11:
        power += 1
    while power > 0 and size * POWERS[power] >= 1e12:
        power -= 1
    return math.floor(amount * POWERS[power] + 0.5) / POWERS[power]
