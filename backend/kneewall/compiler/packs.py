"""Packs to items: every item of every section, validated in its form, with its place. No meaning yet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Generic, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from kneewall.bundle import Pack
from kneewall.compiler import schema
from kneewall.compiler.errors import Fault, Place, RuleFault, nearest
from kneewall.compiler.reader import Cell, Document, read_csv, read_text, read_yaml

F = TypeVar("F", bound=BaseModel)
RANKS: Final = ["trade", "maker", "house"]


@dataclass
class Item(Generic[F]):
    """One item of a section, as written, with the document and path it stands at."""

    id: str
    form: F
    document: Document
    path: tuple[str | int, ...]
    pack: str
    folder: Path

    def place(self, *more: str | int) -> Place:
        return self.document.place((*self.path, *more))

    def key_place(self) -> Place:
        return self.document.place(self.path, key=True)


@dataclass
class Items:
    """All items of all packs, by section and id, in the order of packs, files and lines."""

    packs: list[Pack] = field(default_factory=list)
    units: list[list[Cell]] = field(default_factory=list)
    sources: dict[str, Item[schema.SourceForm]] = field(default_factory=dict)
    choices: dict[str, Item[schema.ChoicesForm]] = field(default_factory=dict)
    collections: dict[str, Item[schema.CollectionForm]] = field(default_factory=dict)
    quantities: dict[str, Item[schema.QuantityForm]] = field(default_factory=dict)
    tables: dict[str, Item[schema.TableForm]] = field(default_factory=dict)
    functions: dict[str, Item[schema.FunctionForm]] = field(default_factory=dict)
    checks: dict[str, Item[schema.CheckForm]] = field(default_factory=dict)
    cautions: dict[str, Item[schema.CautionForm]] = field(default_factory=dict)
    calculators: dict[str, Item[schema.CalculatorForm]] = field(default_factory=dict)
    checklists: dict[str, Item[schema.ChecklistForm]] = field(default_factory=dict)
    examples: dict[str, Item[schema.ExampleForm]] = field(default_factory=dict)


FORMS: Final[dict[str, type[BaseModel]]] = {
    "sources": schema.SourceForm,
    "choices": schema.ChoicesForm,
    "collections": schema.CollectionForm,
    "quantities": schema.QuantityForm,
    "tables": schema.TableForm,
    "functions": schema.FunctionForm,
    "checks": schema.CheckForm,
    "cautions": schema.CautionForm,
    "calculators": schema.CalculatorForm,
    "checklists": schema.ChecklistForm,
    "examples": schema.ExampleForm,
}
IDS: Final[dict[str, TypeAdapter[str]]] = {
    section: TypeAdapter(schema.QuantityId if section in ("quantities", "checks")
                         else schema.WordId if section in ("sources", "cautions", "calculators", "checklists")
                         else schema.NameId)
    for section in FORMS if section != "examples"
}  # fmt: skip
ID_WORDS: Final = {"quantities": "topic.name", "checks": "topic.name", "sources": "words-with-hyphens",
                   "cautions": "words-with-hyphens", "calculators": "words-with-hyphens",
                   "checklists": "words-with-hyphens"}  # fmt: skip


def read_packs(folders: list[Path], faults: list[Fault]) -> Items:
    """Read pack folders in the given order. Whatever is wrong is added to `faults`; the rest is returned."""
    items = Items()
    for folder in folders:
        try:
            pack = _pack(folder, faults)
        except RuleFault as error:
            faults.append(error.fault)
            continue
        if pack is None:
            continue
        if items.packs and RANKS.index(pack.rank) < RANKS.index(items.packs[-1].rank):
            what = f"a {pack.rank} pack after a {items.packs[-1].rank} pack"
            place = Place(f"{_shown(folder)}/pack.yaml", 1, 1)
            faults.append(Fault(place, "E701", what, "name packs in the order trade, maker, house"))
        items.packs.append(pack)
        for path in sorted(folder.rglob("*.yaml"), key=lambda p: p.relative_to(folder).as_posix()):
            if path.name != "pack.yaml":
                _file(path, folder, pack, items, faults)
        if (folder / "units.csv").is_file():
            _units(folder / "units.csv", items, faults)
    return items


def _shown(path: Path) -> str:
    return path.as_posix()


def _pack(folder: Path, faults: list[Fault]) -> Pack | None:
    path = folder / "pack.yaml"
    name = _shown(path)
    if not path.is_file():
        raise RuleFault(
            Place(_shown(folder), 1, 1), "E701", "no pack.yaml here", "name the folder of a pack"
        )
    document = read_yaml(read_text(path, name), name, faults)
    if document is None:
        return None
    found: list[Fault] = []
    form = _validate(schema.PackForm, document.data, document, (), found)
    faults += [replace(fault, number="E701") for fault in found]
    return Pack(id=form.id, rank=form.rank, title=form.title) if form else None


def _units(path: Path, items: Items, faults: list[Fault]) -> None:
    try:
        items.units = read_csv(read_text(path, _shown(path)), _shown(path))
    except RuleFault as error:
        faults.append(error.fault)


def _file(path: Path, folder: Path, pack: Pack, items: Items, faults: list[Fault]) -> None:
    name = _shown(path)
    before = len(faults)
    try:
        document = read_yaml(read_text(path, name), name, faults)
    except RuleFault as error:
        faults.append(error.fault)
        return
    if document is None or len(faults) > before:
        return
    if not isinstance(document.data, dict):
        faults.append(
            Fault(Place(name, 1, 1), "E106", "a rule file holds sections", "start with quantities:")
        )
        return
    for section, content in document.data.items():
        if section not in FORMS:
            place = document.place((section,), key=True)
            faults.append(
                Fault(place, "E104", f"no section is called {section!r}", nearest(section, FORMS))
            )
            continue
        _section(section, content, document, folder, pack, items, faults)


def _section(
    section: str,
    content: Any,
    document: Document,
    folder: Path,
    pack: Pack,
    items: Items,
    faults: list[Fault],
) -> None:
    known: dict[str, Item[Any]] = getattr(items, section)
    for key, data in _entries(section, content, document, faults):
        path: tuple[str | int, ...] = (section, key)
        identity = f"{pack.id} {len(known) + 1}" if section == "examples" else str(key)
        if section != "examples":
            place = document.place(path, key=True)
            try:
                IDS[section].validate_python(key)
            except ValidationError:
                words = ID_WORDS.get(section, "words_with_underscores")
                faults.append(
                    Fault(
                        place, "E203", f"{key!r} is no name for one of {section}", f"write {words}"
                    )
                )
                continue
            if key in known:
                other = known[key].key_place()
                faults.append(
                    Fault(
                        place,
                        "E202",
                        f"{key} is already at {other.file}:{other.line}",
                        "use another name",
                    )
                )
                continue
        form = _validate(FORMS[section], data, document, path, faults)
        if form is not None:
            known[identity] = Item(identity, form, document, path, pack.id, folder)


def _entries(
    section: str, content: Any, document: Document, faults: list[Fault]
) -> Iterator[tuple[str | int, Any]]:
    if section == "examples" and isinstance(content, list):
        return iter(enumerate(content))
    if section != "examples" and isinstance(content, dict):
        return iter(content.items())
    what = "a list" if section == "examples" else "names with their content"
    faults.append(Fault(document.place((section,)), "E106", f"{section} holds {what}"))
    return iter(())


def _validate(
    form: type[F], data: Any, document: Document, path: tuple[str | int, ...], faults: list[Fault]
) -> F | None:
    try:
        return form.model_validate(data)
    except ValidationError as error:
        for detail in error.errors():
            where = (*path, *(part for part in detail["loc"] if part != "[key]"))
            kind = detail["type"]
            last = str(where[-1]) if where else ""
            if kind == "extra_forbidden":
                place = document.place(where, key=True)
                known = form.model_fields if len(where) == len(path) + 1 else ()
                faults.append(
                    Fault(place, "E104", f"no key is called {last!r} here", nearest(last, known))
                )
            elif kind == "missing":
                number = "E501" if last == "source" else "E105"
                mend = (
                    "name one, common-practice or from-memory"
                    if last == "source"
                    else f"write {last}: …"
                )
                faults.append(
                    Fault(document.place(where[:-1], key=True), number, f"{last} is missing", mend)
                )
            else:
                faults.append(
                    Fault(document.place(where), "E106", f"{last}: {_plain(detail['msg'])}")
                )
        return None


def _plain(message: str) -> str:
    return message.replace("Input should", "should").replace("String should", "should")
