"""What is written of an item, taken in the form of its section; what does not fit in the words of the language."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from kneewall.compiler.errors import Fault, nearest
from kneewall.compiler.reader import Document

F = TypeVar("F", bound=BaseModel)
Path_ = tuple[str | int, ...]
_MEANT: Final = {
    "string": ("a text is meant", "write it in one line, in quotes where it holds signs"),
    "list": ("a list is meant", "write it in brackets: [one, another]"),
    "dict": ("names with their values are meant", "write name: value, each in its line"),
    "model": ("names with their values are meant", "write name: value, each in its line"),
    "int": ("a whole number is meant", "write one such as 2"),
    "bool": ("true or false is meant", "write one of them"),
}
"""By how the kind of a fault begins."""
_BRANCH: Final = re.compile(r"\[key\]|(?:list|dict|union|function-\w+)\[.*\]|[A-Z]\w*Form")
"""How pydantic names one of several forms in a place."""
_LIST_KEYS: Final = 12
"""So many keys are listed where none is near."""


def validate(
    form: type[F], data: Any, document: Document, path: Path_, faults: list[Fault]
) -> F | None:
    """The form of what stands at `path`, or None; whatever is wrong is added to `faults`."""
    try:
        return form.model_validate(data)
    except ValidationError as error:
        details = [(_written(detail), detail) for detail in error.errors()]
    found: dict[Path_, Fault] = {}
    for loc, detail in details:
        if len(loc) < len(detail["loc"]) and any(loc == o[: len(loc)] != o for o, _ in details):
            continue  # of several forms, the one that fits farthest is meant
        found.setdefault(loc, _fault(form, loc, detail, document, path))
    meant = {_meant(form, loc) for loc, detail in details if detail["type"] == "extra_forbidden"}
    faults += [fault for loc, fault in found.items() if loc not in meant]
    return None


def _written(detail: Any) -> Path_:
    """The part of a place that stands in the file, without what tells one form of a value from another.

    Whatever an unknown key looks like, it is what stands there.
    """
    loc, last = detail["loc"], ()
    if detail["type"] == "extra_forbidden":
        loc, last = loc[:-1], loc[-1:]
    return (*(part for part in loc if not _BRANCH.fullmatch(str(part))), *last)


def _meant(form: type[BaseModel], loc: Path_) -> Path_:
    """Where the key stands that an unknown one was probably meant for, so that it is not missing as well."""
    near = nearest(str(loc[-1]), _keys(form, loc[:-1]))
    return (*loc[:-1], near.rpartition(" ")[2])


def _fault(
    form: type[BaseModel], loc: Path_, detail: Any, document: Document, path: Path_
) -> Fault:
    where, kind = (*path, *loc), str(detail["type"])
    last = str(where[-1]) if where else "this"
    if kind == "extra_forbidden":
        keys = _keys(form, loc[:-1])
        listed = "write one of: " + ", ".join(keys) if len(keys) <= _LIST_KEYS else "leave it out"
        what = f"no key is called {last!r} here"
        return Fault(document.place(where, key=True), "E104", what, nearest(last, keys) or listed)
    if kind == "missing":
        place = document.place(where[:-1], key=True)
        if last == "source":
            mend = "name one, common-practice or from-memory"
            return Fault(place, "E501", "source is missing", mend)
        return Fault(place, "E105", f"{last} is missing", f"write {last}: …")
    return Fault(document.place(where), "E106", *_misfit(last, kind, detail))


def _misfit(last: str, kind: str, detail: Any) -> tuple[str, str]:
    context = detail.get("ctx", {})
    if kind == "literal_error":
        return (
            f"{last}: {str(detail['input'])!r} is none that is known",
            f"write {context['expected']}",
        )
    if kind == "string_pattern_mismatch":
        if "\\n" in context["pattern"]:
            return f"{last}: one line is meant", "write it in one line"
        return (
            f"{last}: {detail['input']!r} has the wrong form",
            "use small letters, digits and the joining sign",
        )
    for bound, word in (("ge", "least"), ("le", "most")):
        if bound in context:
            return f"{last}: {detail['input']} is out of range", f"{context[bound]} is the {word}"
    what, mend = _MEANT.get(kind.partition("_")[0], ("", ""))
    if what:
        return f"{last}: {what}", mend
    said, _, mend = str(detail["msg"]).removeprefix("Value error, ").partition("; ")
    return f"{last}: {said}", mend


def _keys(form: type[BaseModel], loc: Path_) -> list[str]:
    """The keys that may stand at a place inside this form."""
    here: type[BaseModel] | None = form
    for part in loc:
        by_key = _by_key(here) if here else {}
        if part in by_key:
            here = next(_forms(by_key[str(part)].annotation), None)
    return list(_by_key(here)) if here else []


def _by_key(form: type[BaseModel]) -> dict[str, FieldInfo]:
    return {info.alias or name: info for name, info in form.model_fields.items()}


def _forms(annotation: Any) -> Iterator[type[BaseModel]]:
    """The forms that an annotation speaks of."""
    if isinstance(annotation, type(BaseModel)):
        yield annotation
    for inside in get_args(annotation):
        yield from _forms(inside)
