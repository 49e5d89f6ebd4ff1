"""Declarations before the first formula: units, choices, sources, and the name and type of everything."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Final, TypeVar

from kneewall.bundle import Choices, Column, Expr, Holds, Option, Source, SourceRef, Unit
from kneewall.compiler.calendar import Calendar
from kneewall.compiler.errors import CompileError, Fault, Place, RuleFault, nearest, refuse_keyword
from kneewall.compiler.kept import Kept
from kneewall.compiler.names import Names
from kneewall.compiler.packs import Item, Items
from kneewall.compiler.schema import (
    ChoicesForm,
    Form,
    FunctionForm,
    HoldsForm,
    OptionForm,
    QuantityForm,
)
from kneewall.compiler.types import FLAG, NUMBER, TEXT, Type
from kneewall.compiler.units import read_units
from kneewall.reading import Edges, ReadingError

T = TypeVar("T")
PLACES: Final = ("site", "system", "visit")
BUILT_IN: Final = {
    "common-practice": Source(title="Common practice of the trade", kind="practice"),
    "from-memory": Source(title="From memory, not yet compared with a print", kind="memory"),
    "demo": Source(title="Invented for the demonstration", kind="demo"),
}
KINDS: Final = {"gauge", "absolute", "torque", "temperature difference", "share"}
_QUANTITY: Final = re.compile(r"[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*")
_MARK: Final = re.compile(r"\s*\((from memory|computed|disputed)\)$")


def content(form: Form) -> dict[str, Any]:
    """What a form says, without what it says of the item it replaces."""
    return form.model_dump(exclude={"because", "replaces", "source"})


class Declared:
    """What every later stage looks names up in. Faults go to the list it was given."""

    def __init__(self, items: Items, faults: list[Fault], kept: Kept) -> None:
        self.items = items
        self.faults = faults
        self.kept = kept
        self.sources = dict(BUILT_IN)
        for name, source in items.sources.items():
            self.sources[name] = Source(**content(source.form))
        units = read_units(items.units, faults)
        if faults:
            raise CompileError(faults)
        choices: dict[str, Choices] = {}
        self.edges = Edges(units.units, choices)
        self.calendar = Calendar(items.date_quantity, items.edition_quantity)
        self.names = Names(units, self.edges, set(items.collections), {}, {}, {}, self.calendar)
        for name, choice in items.choices.items():
            # A list with a fault is there all the same: what names it is not wrong as well.
            choices[name] = Choices(options=_options(choice.form))
            with self.collecting():
                choices[name] = self._choices(name, choice)
        self.types: dict[str, Type] = {}
        self._measured: dict[tuple[str, str], Type] = {}
        """Types by unit and kind."""
        self.chosen: set[str] = set()
        """Choice lists that something takes its values from."""
        self._by_slot = list(items.quantities)
        self.answerable = items.answerable()
        for name, quantity in items.quantities.items():
            with self.collecting():
                self._declare(name, quantity)
        for name, function in items.functions.items():
            with self.collecting():
                self._function(name, function)
        for key, place in items.named_at.items():
            with self.collecting():
                self.calendar.slot(self.names, key.partition("_")[0], place)

    @contextmanager
    def collecting(self) -> Iterator[None]:
        """A fault inside is collected, and the next item goes on."""
        try:
            yield
        except RuleFault as error:
            self.faults.append(error.fault)

    def world(self) -> tuple[object, ...]:
        """Everything that a formula, limit or example may be read by, once the tables are declared."""
        names = self.names
        places = names.collections, names.quantities, names.tables, names.functions
        return names.units, self.edges.choices, *places, self.calendar, self.sources

    def make(self, item: Item[Any], make: Callable[[], T], *of: object) -> T | None:
        """What an item becomes, made again when it or something else it is made `of` has changed.

        A fault inside is collected, and gives None.
        """
        key = item.document.file, *map(str, item.path)
        of = item.document, item.pack, item.replaced, *of

        def made() -> T | None:
            before = len(self.faults)
            with self.collecting():
                found = make()
                return found if len(self.faults) == before else None
            return None

        return self.kept.make(self.names, key, of, made)

    def slots(self, slots: Iterable[int]) -> set[str]:
        return {self._by_slot[slot] for slot in slots}

    def source(self, text: str, place: Place) -> SourceRef:
        """A source reference. Raises `RuleFault` when there is none or it is not known."""
        mark = _MARK.search(text)
        of, _, where = _MARK.sub("", text).strip().partition(" ")
        if not of:
            raise RuleFault(
                place, "E501", "a source is missing", "name one, common-practice or from-memory"
            )
        if of not in self.sources:
            raise RuleFault(place, "E502", f"no source is called {of}", nearest(of, self.sources))
        self.names.uses.sources.add(of)
        return SourceRef(of=of, place=where.strip(), mark=mark[1] if mark else "")  # type: ignore[arg-type]

    def exist(
        self, names: list[str], known: Collection[str], what: str, item: Item[Any], *path: str | int
    ) -> list[str]:
        """The names, each proven to be known. `path` leads to the list of them, or to the one."""
        for index, name in enumerate(names):
            if name not in known:
                place = item.place(*path, index)
                hint = self.names.called(name) if what == "quantity" else nearest(name, known)
                raise RuleFault(place, "E201", f"no {what} is called {name}", hint)
        return names

    def holds(self, form: HoldsForm, place: Place, inputs: set[int]) -> tuple[Expr, Holds]:
        """When something holds: as a condition, whose slots join `inputs`, and for people."""
        return self.calendar.condition(self.names, form, place, inputs)

    # -- types

    def unit_id(self, spelling: str, place: Place) -> str:
        """The unit of a spelling, "" for a bare number."""
        if spelling in ("", "number"):
            return ""
        try:
            return self.edges.find_unit(spelling)
        except ReadingError as error:
            raise RuleFault(place, "E301", str(error)) from None

    def unit_type(self, unit: str, kind: str, place: Place) -> Type:
        """The type of something declared with this unit, choice list or `flag`."""
        choices = self.edges.choices
        if unit in choices:
            self.chosen.add(unit)
            return Type("choice", choices=unit, ordered=choices[unit].ordered)
        if unit == "flag":
            return FLAG
        name = self.unit_id(unit, place)
        if not name and not kind:
            return NUMBER
        known = self._measured.get((name, kind))
        if known is not None:
            return known
        found = self.edges.units.get(name)
        if found is None or (kind and not self._of_kind(found, kind)):
            what = f"{unit or 'a bare number'} cannot be of kind {kind!r}"
            others = [
                other
                for other, of in self.edges.units.items()
                if found
                and (of.kind, of.dimension, of.scale) == (kind, found.dimension, found.scale)
            ]
            mend = f"take {others[0]}" if others else "take a unit of that kind"
            raise RuleFault(place, "E303", what, f"leave kind out, or {mend}")
        made = Type(dimension=self.names.units.dimensions[name], kind=kind or found.kind)
        self._measured[name, kind] = made
        return made

    def _of_kind(self, unit: Unit, kind: str) -> bool:
        """Whether amounts in this unit may be of a kind: some unit of its dimension is."""
        return (
            kind in KINDS
            and not unit.point
            and any(
                other.kind == kind and other.dimension == unit.dimension
                for other in self.edges.units.values()
            )
        )

    def column_type(self, column: Column) -> Type:
        """The type of a column of a table or series."""
        match column.type:
            case "choice":
                return self.unit_type(column.choices, "", Place("", 1, 1))
            case "flag":
                return FLAG
            case "text":
                return TEXT
            case "date":
                return self.names.date_type
        return self.unit_type(column.unit, "", Place("", 1, 1))

    def _declare(self, name: str, item: Item[QuantityForm]) -> None:
        slot, scope = len(self.names.quantities), item.form.scope
        self.types[name] = NUMBER
        self.names.quantities[name] = (slot, NUMBER, scope)
        self.types[name] = self._type(item)
        self.names.quantities[name] = (slot, self.types[name], scope)
        self.scope(scope, item.place("scope"))
        for index, old in enumerate(item.form.formerly):
            self._formerly(name, old, item.place("formerly", index))

    def _formerly(self, name: str, old: str, place: Place) -> None:
        """Note an earlier name. Raises `RuleFault` when it is none, or another quantity has it."""
        if not _QUANTITY.fullmatch(old):
            raise RuleFault(place, "E203", f"{old!r} was no name of a quantity", "write topic.name")
        owner = old if old in self.items.quantities else self.names.former.setdefault(old, name)
        if owner != name:
            what = f"{old} is a name of {owner}"
            raise RuleFault(place, "E202", what, "leave it to one of them")

    def scope(self, name: str, place: Place) -> None:
        """Raises `RuleFault` when this is neither a place nor a collection."""
        scopes = [*PLACES, *self.names.collections]
        if name not in scopes:
            raise RuleFault(place, "E201", f"no scope is called {name}", nearest(name, scopes))

    def _type(self, item: Item[QuantityForm]) -> Type:
        form = item.form
        if form.type in ("number", "count", "list"):
            single = self.unit_type(form.unit, form.kind, item.place("unit"))
            return Type("list", item=single) if form.type == "list" else single
        if form.unit or form.kind:
            raise RuleFault(
                item.place("unit"), "E106", f"a {form.type} has no unit", "leave unit and kind out"
            )
        simple = {"flag": FLAG, "text": TEXT, "date": self.names.date_type}
        if form.type in simple:
            return simple[form.type]
        if form.type == "series":
            columns = self.series_columns(item)
            types = [replace(self.column_type(c), shown=c.unit) for c in columns]
            names = [c.name for c in columns]
            return Type("series", columns=tuple(zip(names, types, strict=True)))
        if form.type == "list of text":
            if not form.derived:
                what = "a list of texts is what a formula finds, and nothing to enter"
                mend = "give it a formula, or make it a list of choices"
                raise RuleFault(item.place("type"), "E106", what, mend)
            return Type("list", item=TEXT)
        choices = form.type.removeprefix("list of ")
        if choices not in self.edges.choices:
            known = [
                "number",
                "count",
                "list",
                "list of text",
                "series",
                *simple,
                *self.edges.choices,
            ]
            hint = nearest(form.type, known)
            raise RuleFault(item.place("type"), "E201", f"no type is called {form.type}", hint)
        one = self.unit_type(choices, "", item.place("type"))
        return Type("list", item=one) if form.type != choices else one

    def series_columns(self, item: Item[QuantityForm]) -> list[Column]:
        columns = item.form.columns
        if len(columns) != 2:
            raise RuleFault(
                item.place("columns"),
                "E106",
                "a series has two columns",
                "write columns: {time: min, reading: micron}",
            )
        for name in columns:
            refuse_keyword(name, item.place("columns", name))
        return [
            Column(name=name, unit=self.unit_id(unit, item.place("columns", name)))
            for name, unit in columns.items()
        ]

    def _function(self, name: str, item: Item[FunctionForm]) -> None:
        form = item.form
        self.names.functions[name] = (
            len(self.names.functions),
            [Type()] * len(form.parameters),
            Type(),
        )
        for key in form.parameters:
            refuse_keyword(key, item.place("parameters", key))
        parameters = [
            self.unit_type(unit, "", item.place("parameters", key))
            for key, unit in form.parameters.items()
        ]
        result = self.unit_type(form.unit, form.kind, item.place("unit"))
        self.names.functions[name] = (self.names.functions[name][0], parameters, result)

    def _choices(self, name: str, item: Item[ChoicesForm]) -> Choices:
        form = item.form
        source = self.source(form.source, item.place("source"))
        options = _options(form)
        place = item.place("values")
        if not options:
            raise RuleFault(place, "E106", f"{name} has no values", "write them")
        seen: set[str] = set()
        for option in options:
            if not (option.value.strip() and option.label.strip()):
                raise RuleFault(place, "E106", f"a choice of {name} has no name", "write one")
            spellings = {s.casefold() for s in (option.value, option.label, *option.spellings)}
            for spelling in sorted(spellings & seen):
                raise RuleFault(
                    place, "E202", f"{spelling!r} names two choices of {name}", "leave it to one"
                )
            seen |= spellings
        return Choices(
            label=form.label,
            ordered=form.ordered,
            options=options,
            source=source,
            pack=item.pack,
            replaced=item.replaced,
        )


def _options(form: ChoicesForm) -> list[Option]:
    values = form.values if isinstance(form.values, dict) else {v: v for v in form.values}
    forms = {
        value: given if isinstance(given, OptionForm) else OptionForm(label=given)
        for value, given in values.items()
    }
    return [
        Option(value=value, label=option.label, spellings=option.spellings)
        for value, option in forms.items()
    ]
