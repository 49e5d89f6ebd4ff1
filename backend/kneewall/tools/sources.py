"""The worklist of a bundle: every value whose source is not beyond doubt, grouped by that source."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from kneewall.bundle import Bundle, Source, SourceRef, Table
from kneewall.compiler.errors import Place
from kneewall.compiler.packs import Item, Items
from kneewall.tools.words import Words

WHY: Final = {"memory": "from memory", "practice": "common practice", "demo": "invented"}
"""Kinds of source that no print can confirm."""
RANK: Final = {"memory": 0, "practice": 2, "demo": 3}

Owner = tuple[str, str]
"""What an item is, and its id; of rows in a later pack ("rows", pack and table)."""
Places = Mapping[Owner, Place]


@dataclass(frozen=True)
class Doubt:
    """One value to look at. `why` are the reasons, `stands` is `file:line:column` or the pack it is in."""

    what: str
    id: str
    label: str
    place: str
    why: tuple[str, ...]
    pack: str
    stands: str


@dataclass(frozen=True)
class Group:
    """All values to look at that name one source."""

    source: str
    title: str
    edition: str
    kind: str
    confirmed: bool
    values: list[Doubt]


@dataclass(frozen=True)
class Worklist:
    """`sourced` is how many values name a source, `open` how many of these are to be looked at."""

    bundle: str
    sourced: int
    open: int
    groups: list[Group]


def worklist(bundle: Bundle, places: Places | None = None) -> Worklist:
    """What rests on memory, is disputed or computed, or names a source that nobody has compared with the print.

    What comes from memory leads, then what a print could confirm, then common practice and what is invented.
    """
    groups: dict[str, list[Doubt]] = {}
    values = list(_sourced(bundle))
    for value in values:
        why = reasons(bundle.sources[value.ref.of], value.ref)
        if why:
            at = (places or {}).get(value.owner)
            stands = f"{at.file}:{at.line}:{at.column}" if at else f"pack {value.pack}"
            place = value.ref.place
            doubt = Doubt(value.what, value.id, value.label, place, why, value.pack, stands)
            groups.setdefault(value.ref.of, []).append(doubt)
    order = sorted(groups, key=lambda of: (RANK.get(bundle.sources[of].kind, 1), of))
    found = [_group(of, bundle.sources[of], groups[of]) for of in order]
    return Worklist(bundle.hash, len(values), sum(len(group.values) for group in found), found)


def reasons(source: Source, ref: SourceRef) -> tuple[str, ...]:
    """Why a value with this source is to be looked at; nothing when it is beyond doubt."""
    kind = WHY.get(source.kind, "" if source.confirmed else "not confirmed")
    return tuple(dict.fromkeys(filter(None, (ref.mark, kind))))


def places_of(items: Items) -> dict[Owner, Place]:
    """Where the items of a compilation are written."""
    sections: dict[str, Mapping[str, Item[Any]]] = {
        "quantity": items.quantities,
        "table": items.tables,
        "rows": items.rows,
        "function": items.functions,
        "check": items.checks,
        "caution": items.cautions,
        "choices": items.choices,
    }
    found = {
        (what, name): item.key_place()
        for what, section in sections.items()
        for name, item in section.items()
    }
    for item in items.examples.values():
        found["example", _example(item.form.calculator or item.form.checklist, item.form.name)] = (
            item.place("name")
        )
    return found


def _group(of: str, source: Source, values: list[Doubt]) -> Group:
    return Group(of, source.title, source.edition, source.kind, source.confirmed, values)


class _Sourced(NamedTuple):
    what: str
    id: str
    label: str
    pack: str
    ref: SourceRef
    owner: Owner


def _sourced(bundle: Bundle) -> Iterator[_Sourced]:
    """Everything that names a source."""
    for q in bundle.quantities:
        own = ("quantity", q.id)
        for index, case in enumerate(q.cases, 1):
            yield _Sourced("quantity", f"{q.id}, case {index}", q.label, q.pack, case.source, own)
        if q.source and not q.cases:
            yield _Sourced("quantity", q.id, q.label, q.pack, q.source, own)
    for t in bundle.tables:
        yield _Sourced("table", t.id, t.label, t.pack, t.source, ("table", t.id))
        yield from _rows(bundle, t)
    for f in bundle.functions:
        yield _Sourced("function", f.id, "", f.pack, f.source, ("function", f.id))
    for check in bundle.checks:
        own = ("check", check.id)
        yield _Sourced("check", check.id, check.label, check.pack, check.source, own)
    for name, choices in bundle.choices.items():
        if choices.source:
            own = ("choices", name)
            yield _Sourced("choices", name, choices.label, choices.pack, choices.source, own)
    for c in bundle.cautions:
        yield _Sourced("caution", c.id, c.text, c.pack, c.source, ("caution", c.id))
    for e in bundle.examples:
        name = _example(e.calculator or e.checklist, e.name)
        yield _Sourced("example", name, "", e.pack, e.source, ("example", name))


def _rows(bundle: Bundle, table: Table) -> Iterator[_Sourced]:
    words = Words(bundle)
    for row, mark in table.marks.items():
        if mark.source:
            name = f"{table.id}, {words.row(table, int(row))}"
            own = ("rows", f"{mark.pack} {table.id}") if mark.pack else ("table", table.id)
            yield _Sourced("row", name, "", mark.pack or table.pack, mark.source, own)


def _example(of: str, name: str) -> str:
    return f"{of}: {name}"
