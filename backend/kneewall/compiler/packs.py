"""Packs to items: every item of every section, validated in its form, with its place. No meaning yet."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Generic, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from kneewall.bundle import Pack, Replaced, canonical_json
from kneewall.compiler import schema
from kneewall.compiler.errors import Fault, Place, RuleFault, nearest, refuse_keyword
from kneewall.compiler.forms import validate
from kneewall.compiler.kept import Kept
from kneewall.compiler.languages import language_of
from kneewall.compiler.reader import Cell, Document, is_file, read_csv, read_text, read_yaml

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
    data: Any = None
    replaced: Replaced | None = None
    follows: str = ""
    """The step that an added one follows; whoever replaces it leaves it there."""

    @property
    def hash(self) -> str:
        """Twelve digits that change with anything written of the item, its CSV file included."""
        written = {
            key: value for key, value in self.data.items() if key not in ("because", "replaces")
        }
        if self.path[0] in ("tables", "rows") and written.get("file"):
            file = Path(self.document.file).parent / written["file"]
            written["content"] = read_text(file, file.as_posix()) if is_file(file) else ""
        return hashlib.sha256(canonical_json(written)).hexdigest()[:12]

    def place(self, *more: str | int) -> Place:
        return self.document.place((*self.path, *more))

    def key_place(self) -> Place:
        return self.document.place(self.path, key=True)


@dataclass(frozen=True)
class WordsFile:
    """A file of words of another language."""

    language: str
    pack: str
    document: Document


@dataclass
class Items:
    """All items of all packs, by section and id, in the order of packs, files and lines."""

    packs: list[Pack] = field(default_factory=list)
    date_quantity: str = ""
    edition_quantity: str = ""
    named_at: dict[str, Place] = field(default_factory=dict)
    """Where a pack names the day and the edition."""
    topics: list[str] = field(default_factory=list)
    """In the order of the work."""
    lists: dict[str, Place] = field(default_factory=dict)
    """Checklists in the order of the work, and where a pack says so."""
    units: list[list[Cell]] = field(default_factory=list)
    sources: dict[str, Item[schema.SourceForm]] = field(default_factory=dict)
    choices: dict[str, Item[schema.ChoicesForm]] = field(default_factory=dict)
    collections: dict[str, Item[schema.CollectionForm]] = field(default_factory=dict)
    quantities: dict[str, Item[schema.QuantityForm]] = field(default_factory=dict)
    tables: dict[str, Item[schema.TableForm]] = field(default_factory=dict)
    rows: dict[str, Item[schema.RowsForm]] = field(default_factory=dict)
    functions: dict[str, Item[schema.FunctionForm]] = field(default_factory=dict)
    checks: dict[str, Item[schema.CheckForm]] = field(default_factory=dict)
    cautions: dict[str, Item[schema.CautionForm]] = field(default_factory=dict)
    calculators: dict[str, Item[schema.CalculatorForm]] = field(default_factory=dict)
    checklists: dict[str, Item[schema.ChecklistForm]] = field(default_factory=dict)
    steps: dict[str, Item[schema.AmendedStepForm]] = field(default_factory=dict)
    examples: dict[str, Item[schema.ExampleForm]] = field(default_factory=dict)
    words: list[WordsFile] = field(default_factory=list)

    def answerable(self) -> set[str]:
        """The packs that must use all they declare. Below a replacement something may have lost its use by it."""
        order = [pack.id for pack in self.packs]
        sections = [getattr(self, name).values() for name in FORMS]
        replacing = {item.pack for section in sections for item in section if item.replaced}
        highest = max((order.index(pack) for pack in replacing), default=0)
        return set(order[highest:])


FORMS: Final[dict[str, type[BaseModel]]] = {
    "sources": schema.SourceForm,
    "choices": schema.ChoicesForm,
    "collections": schema.CollectionForm,
    "quantities": schema.QuantityForm,
    "tables": schema.TableForm,
    "rows": schema.RowsForm,
    "functions": schema.FunctionForm,
    "checks": schema.CheckForm,
    "cautions": schema.CautionForm,
    "calculators": schema.CalculatorForm,
    "checklists": schema.ChecklistForm,
    "steps": schema.AmendedStepForm,
    "examples": schema.ExampleForm,
}
WORDED: Final = ("sources", "cautions", "calculators", "checklists")
ID_FORMS: Final[dict[str, tuple[Any, str]]] = {
    **dict.fromkeys(FORMS, (schema.NameId, "words_with_underscores")),
    **dict.fromkeys(WORDED, (schema.WordId, "words-with-hyphens")),
    **dict.fromkeys(("quantities", "checks"), (schema.QuantityId, "topic.name")),
    "steps": (schema.StepId, "checklist/step"),
}
IDS: Final[dict[str, TypeAdapter[str]]] = {
    section: TypeAdapter(form) for section, (form, _) in ID_FORMS.items()
}


@dataclass
class RuleFile:
    """One file as written: its items in their forms, and what is wrong with it."""

    document: Document | None
    forms: list[tuple[str, str | int, Any, BaseModel]] = field(default_factory=list)
    """Section, key, what is written there, and its form."""
    faults: list[Fault] = field(default_factory=list)


def read_packs(folders: list[Path], faults: list[Fault], kept: Kept) -> Items:
    """Read pack folders in the given order. Whatever is wrong is added to `faults`; the rest is returned."""
    items = Items()
    for folder in folders:
        try:
            pack = _pack(folder, items, faults)
        except RuleFault as error:
            faults.append(error.fault)
            continue
        if pack is None:
            continue
        if items.packs and RANKS.index(pack.rank) < RANKS.index(items.packs[-1].rank):
            what = f"a {pack.rank} pack after a {items.packs[-1].rank} pack"
            place = Place(f"{_shown(folder)}/pack.yaml", 1, 1)
            faults.append(Fault(place, "E701", what, "name packs in the order trade, maker, house"))
        if pack.id in [other.id for other in items.packs]:
            what = f"a pack {pack.id} stands before"
            place = Place(f"{_shown(folder)}/pack.yaml", 1, 1)
            faults.append(Fault(place, "E701", what, "name each pack once"))
            continue
        items.packs.append(pack)
        faults += _ending_otherwise(folder)
        for path in sorted(folder.rglob("*.yaml"), key=lambda p: p.relative_to(folder).as_posix()):
            if language_of(path.name):
                _words(path, pack, items, faults, kept)
            elif path.name != "pack.yaml":
                _file(path, folder, pack, items, faults, kept)
        if items.units and (folder / "units.csv").is_file():
            what = "the units are listed by an earlier pack"
            place = Place(f"{_shown(folder)}/units.csv", 1, 1)
            faults.append(Fault(place, "E701", what, "leave this file out"))
        elif (folder / "units.csv").is_file():
            _units(folder / "units.csv", items, faults, kept)
    return items


def _ending_otherwise(folder: Path) -> Iterator[Fault]:
    """Files that look like rules and would be passed over without a word."""
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() in (".yml", ".yaml") and path.suffix != ".yaml" and path.is_file():
            mend = f"call it {path.stem}.yaml"
            yield Fault(Place(_shown(path), 1, 1), "E108", f"{path.name} is not read", mend)


def _shown(path: Path) -> str:
    return path.as_posix()


def _pack(folder: Path, items: Items, faults: list[Fault]) -> Pack | None:
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
    form = validate(schema.PackForm, document.data, document, (), found)
    faults += [replace(fault, number="E701") for fault in found]
    if form is None:
        return None
    for key in ("date_quantity", "edition_quantity"):
        named, before = getattr(form, key), getattr(items, key)
        if named and not before:
            setattr(items, key, named)
            items.named_at[key] = document.place((key,))
        elif named not in ("", before):
            what = f"{key} is {before} by an earlier pack"
            faults.append(Fault(document.place((key,)), "E701", what, "leave this line out"))
    items.topics += [topic for topic in form.topics if topic not in items.topics]
    for at, checklist in enumerate(form.checklists):
        items.lists.setdefault(checklist, document.place(("checklists", at)))
    return Pack(id=form.id, rank=form.rank, title=form.title)


def _units(path: Path, items: Items, faults: list[Fault], kept: Kept) -> None:
    name = _shown(path)
    try:
        text = read_text(path, name)
        items.units = kept.text(("csv", name), text, lambda: read_csv(text, name))
    except RuleFault as error:
        faults.append(error.fault)


def _file(
    path: Path, folder: Path, pack: Pack, items: Items, faults: list[Fault], kept: Kept
) -> None:
    name = _shown(path)
    try:
        text = read_text(path, name)
    except RuleFault as error:
        faults.append(error.fault)
        return
    file = kept.text(("yaml", name), text, lambda: read_rules(text, name))
    faults += file.faults
    for section, key, data, form in file.forms:
        assert file.document is not None
        item = Item(str(key), form, file.document, (section, key), pack.id, folder, data)
        known: dict[str, Item[Any]] = getattr(items, section)
        try:
            if section == "examples":
                known[f"{pack.id} {len(known) + 1}"] = item
            elif section == "rows":
                _twice(known, f"{pack.id} {key}", item)
            else:
                _place_item(known, item, items)
        except RuleFault as error:
            faults.append(error.fault)


def _words(path: Path, pack: Pack, items: Items, faults: list[Fault], kept: Kept) -> None:
    name = _shown(path)
    try:
        text = read_text(path, name)
    except RuleFault as error:
        faults.append(error.fault)
        return
    file = kept.text(("words", name), text, lambda: _read_words(text, name))
    faults += file.faults
    if file.document is not None and not file.faults:
        items.words.append(WordsFile(language_of(path.name), pack.id, file.document))


def _read_words(text: str, name: str) -> RuleFile:
    file = RuleFile(None)
    file.document = read_yaml(text, name, file.faults)
    return file


def read_rules(text: str, name: str) -> RuleFile:
    """A rule file by itself, every item in the form of its section."""
    file = RuleFile(None)
    document = file.document = read_yaml(text, name, file.faults)
    if document is None or file.faults:
        return file
    if not isinstance(document.data, dict):
        place = Place(name, 1, 1)
        fault = Fault(place, "E106", "a rule file holds sections", "start with quantities:")
        file.faults.append(fault)
        return file
    for section, content in document.data.items():
        if section in FORMS:
            _section(section, content, document, file)
            continue
        place = document.place((section,), key=True)
        hint = nearest(section, FORMS)
        file.faults.append(Fault(place, "E104", f"no section is called {section!r}", hint))
    return file


def _section(section: str, content: Any, document: Document, file: RuleFile) -> None:
    for key, data in _entries(section, content, document, file.faults):
        path: tuple[str | int, ...] = (section, key)
        try:
            _proper_id(section, str(key), document.place(path, key=True))
        except RuleFault as error:
            file.faults.append(error.fault)
            continue
        form = validate(FORMS[section], data, document, path, file.faults)
        if form is not None:
            file.forms.append((section, key, data, form))


def _proper_id(section: str, key: str, place: Place) -> None:
    if section == "examples":
        return
    try:
        IDS[section].validate_python(key)
    except ValidationError:
        mend = f"write {ID_FORMS[section][1]}{_respelled(section, key)}"
        raise RuleFault(place, "E203", f"{key!r} is no name for one of {section}", mend) from None
    if section in ("quantities", "tables", "functions", "collections"):
        refuse_keyword(key.partition(".")[0], place)


def _respelled(section: str, key: str) -> str:
    """The same name as it may be written, where that is all that is wrong with it."""
    joint = "-" if section in WORDED else "_"
    name = re.sub(r"[-_\s]+", joint, key.strip().lower())
    try:
        return f", as {IDS[section].validate_python(name)}"
    except ValidationError:
        return ""


def _twice(known: dict[str, Item[Any]], identity: str, item: Item[Any]) -> None:
    """Note an item that must be the only one of its name in its pack."""
    if identity in known:
        other = known[identity].key_place()
        what = f"{item.id} is already at {other.file}:{other.line}"
        raise RuleFault(item.key_place(), "E202", what, "use another name")
    known[identity] = item


def _place_item(known: dict[str, Item[Any]], item: Item[Any], items: Items) -> None:
    """Add an item, or let it replace the one of the same name in an earlier pack."""
    below = known.get(item.id)
    form = item.form
    if item.path[0] == "steps":
        below = below or _step_below(item, items)
        item.follows = below.follows if below else form.follows
        if below and below.pack != item.pack and form.follows:
            what = "a step that stands in for another keeps its place"
            raise RuleFault(item.place("follows"), "E106", what, "leave follows out")
    if below is None:
        added = getattr(form, "follows", "")
        if form.replaces or (form.because and not added):
            what = f"{item.id} is to replace something, but no earlier pack has it"
            now = [
                each.id for each in known.values() if item.id in getattr(each.form, "formerly", [])
            ]
            mend = f"its name is {now[0]} now" if now else nearest(item.id, known)
            mend = mend or "see whether it was renamed"
            raise RuleFault(item.key_place(), "E704", what, mend)
    elif below.pack == item.pack:
        _twice(known, item.id, item)
    elif not (form.because and form.replaces):
        other = below.key_place()
        what = f"{item.id} is already in the pack {below.pack} at {other.file}:{other.line}"
        mend = f'to replace it, write because: … and replaces: "{below.hash}"'
        raise RuleFault(item.key_place(), "E702", what, mend)
    elif form.replaces != below.hash:
        what = f"{item.id} of the pack {below.pack} has changed since it was replaced"
        mend = f'look at it again, then write replaces: "{below.hash}"'
        raise RuleFault(item.place("replaces"), "E703", what, mend)
    else:
        item.replaced = Replaced(pack=below.pack, because=form.because)
    known[item.id] = item


def _step_below(item: Item[Any], items: Items) -> Item[Any] | None:
    """The step of an earlier checklist that has this name."""
    name, _, step = item.id.partition("/")
    checklist = items.checklists.get(name)
    if checklist is None:
        raise RuleFault(
            item.key_place(),
            "E201",
            f"no checklist is called {name}",
            nearest(name, items.checklists),
        )
    for index, data in enumerate(checklist.data["steps"]):
        if data["id"] == step:
            path: tuple[str | int, ...] = (*checklist.path, "steps", index)
            return Item(
                item.id, item.form, checklist.document, path, checklist.pack, checklist.folder, data
            )
    return None


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
