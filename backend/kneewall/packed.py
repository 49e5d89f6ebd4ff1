"""A bundle's document in fewer bytes, and back exactly: what a file of it holds and what goes over the air.

Rows become columns, names become places, amounts stand as they were typed. A packed document is `{"format": N,
"rows": {FIELD: column}}`, of a single row, the bundle. A column has one entry a row, null where the row has not got
the field, and is one of

    [value, …]                                values as they stand
    {"rows": {FIELD: column}, "count": [n]}   lists of parts: the parts of all rows in turn, and how many each row has
    {"rows": {FIELD: column}, "which": [n]}   parts, equal ones once: the place of each row's part
    {"keys": column, "values": column}        maps: the list of keys and the list of values of each row
    {"of": SECTION, "is": [value, …]}         names: the place in that section of the bundle, or a text as it stands

How a field is packed follows from its type in `bundle.py`. Amounts are those of `amounts.py`.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import accumulate
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel

from kneewall.amounts import in_si, retold, typed

Row = dict[str, Any]
Column = Any
Places = dict[str, dict[str, int]]


@dataclass(frozen=True)
class Names:
    """Marks a text of the bundle that is the `id`, or the key, of an item of this section."""

    section: str


def pack(document: Row, model: type[BaseModel]) -> Row:
    """A bundle's document, as `model` describes it, packed. The document is left as it is."""
    body = retold(document, typed)
    places = {
        section: {name: place for place, name in enumerate(_names(items))}
        for section, items in body.items()
    }
    return {"format": body.pop("format"), "rows": _columns([body], model, places)}


def unpack(packed: Row) -> Row:
    """The document again. What was never packed ends in some ValueError, TypeError, LookupError or AttributeError."""
    sections = packed["rows"]

    def name_at(section: str, place: int) -> Any:
        of = sections[section]
        return _at(of["keys"][0] if "keys" in of else of["rows"]["id"], place)

    (body,) = _rows(sections, name_at)
    return retold({"format": packed["format"], **body}, in_si)


def _names(items: Any) -> list[Any]:
    """What the items of a section are called, in the order of their places."""
    if isinstance(items, dict):
        return sorted(items)
    return [item.get("id") for item in items] if isinstance(items, list) else []


def _columns(rows: list[Row], model: type[BaseModel], places: Places) -> dict[str, Column]:
    fields = _fields(model)
    there = set[str]().union(*rows)
    found = {name: [row.get(name) for row in rows] for name in fields if name in there}
    packed = {
        name: _column(column, fields[name], places)
        for name, column in found.items()
        if any(value is not None for value in column)
    }
    # Rows without anything still say how many they are.
    return packed or ({"": [None] * len(rows)} if rows else {})


def _column(values: list[Any], form: Any, places: Places) -> Column:
    origin, inside = get_origin(form), get_args(form)
    if isinstance(form, type) and issubclass(form, BaseModel):
        texts = [None if each is None else json.dumps(each, sort_keys=True) for each in values]
        once = {text: each for text, each in zip(texts, values, strict=True) if text is not None}
        place = {text: n for n, text in enumerate(once)}
        which = [None if text is None else place[text] for text in texts]
        return {"rows": _columns(list(once.values()), form, places), "which": which}
    if origin is list and isinstance(inside[0], type) and issubclass(inside[0], BaseModel):
        count = [None if each is None else len(each) for each in values]
        parts = [part for each in values if each for part in each]
        return {"rows": _columns(parts, inside[0], places), "count": count}
    if origin is dict:
        keys = [None if each is None else sorted(each) for each in values]
        of = [None if each is None else [each[key] for key in sorted(each)] for each in values]
        return {
            "keys": _column(keys, list[inside[0]], places),  # type: ignore[valid-type]
            "values": _column(of, list[inside[1]], places),  # type: ignore[valid-type]
        }
    name = inside[0] if origin is list else form
    marks = [mark for mark in getattr(name, "__metadata__", ()) if isinstance(mark, Names)]
    if not marks:
        return values
    (mark,) = marks
    place = places.get(mark.section, {})
    lists = [
        [place.get(name, name) for name in each]
        if isinstance(each, list)
        else place.get(each, each)
        for each in values
    ]
    return {"of": mark.section, "is": lists}


@cache
def _fields(model: type[BaseModel]) -> dict[str, Any]:
    """The types of its fields, without whether they may be left out."""
    forms = get_type_hints(model, include_extras=True)
    return {name: _present(forms[name]) for name in model.model_fields}


def _present(form: Any) -> Any:
    if get_origin(form) in (Union, UnionType):
        forms = [each for each in get_args(form) if each is not NoneType]
        return forms[0] if len(forms) == 1 else form
    return form


def _rows(columns: dict[str, Column], name_at: Callable[[str, int], Any]) -> list[Row]:
    found = {name: _values(column, name_at) for name, column in columns.items()}
    each = zip(*found.values(), strict=True)
    return [
        {name: value for name, value in zip(found, row, strict=True) if value is not None}
        for row in each
    ]


def _values(column: Column, name_at: Callable[[str, int], Any]) -> list[Any]:
    if isinstance(column, list):
        return column
    if "which" in column:
        parts = _rows(column["rows"], name_at)
        return [None if place is None else _at(parts, place) for place in column["which"]]
    if "count" in column:
        parts = _rows(column["rows"], name_at)
        ends = list(accumulate(count or 0 for count in column["count"]))
        if ends != sorted(ends) or (ends or [0])[-1] != len(parts):
            raise ValueError("parts are not as many as counted")
        return [
            None if count is None else parts[end - count : end]
            for count, end in zip(column["count"], ends, strict=True)
        ]
    if "keys" in column:
        both = zip(
            _values(column["keys"], name_at), _values(column["values"], name_at), strict=True
        )
        return [
            None if keys is None else dict(zip(keys, values, strict=True)) for keys, values in both
        ]

    def said(name: Any) -> Any:
        if isinstance(name, list):
            return [said(one) for one in name]
        return name_at(column["of"], name) if isinstance(name, int) else name

    return [said(name) for name in column["is"]]


def _at(items: list[Any], place: int) -> Any:
    if place < 0:
        raise IndexError(f"{place} is no place")
    return items[place]
