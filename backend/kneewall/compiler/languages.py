"""Words of other languages: which texts rules have, and what a file such as `es.yaml` says in their place.

A text goes by the path it stands at: `quantities/vacuum.target/label`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain
from typing import Any, Final

from kneewall.bundle import Bundle, Piece, Said, Words
from kneewall.compiler.errors import Fault, Place, RuleFault, nearest
from kneewall.compiler.reader import Document

FILE: Final = re.compile(r"([a-z]{2}(?:-[A-Z]{2})?)\.yaml")
"""The name of such a file is its language, perhaps with a country: `es.yaml`, `es-MX.yaml`."""


@dataclass(frozen=True)
class Text:
    """What is said, and the pack that says it."""

    said: Said
    pack: str


def language_of(name: str) -> str:
    """The language of a file by its name; "" where it is a rule file."""
    found = FILE.fullmatch(name)
    return found[1] if found else ""


def texts_of(bundle: Bundle) -> dict[str, Text]:
    """Every text that people read of the rules, but for names of sources and units."""
    every = chain(_of_values(bundle), _of_views(bundle))
    return {path: Text(said, pack) for path, said, pack in every if said}


def _of_values(bundle: Bundle) -> Iterator[tuple[str, Said, str]]:
    for name, choices in bundle.choices.items():
        yield f"choices/{name}/label", choices.label, choices.pack
        for option in choices.options:
            yield f"choices/{name}/values/{option.value}", option.label, choices.pack
    for name, collection in bundle.collections.items():
        for key in ("label", "plural"):
            yield f"collections/{name}/{key}", getattr(collection, key), ""
    for quantity in bundle.quantities:
        for key in ("label", "note"):
            yield f"quantities/{quantity.id}/{key}", getattr(quantity, key), quantity.pack
        for reason in _reasons(quantity.tree):
            yield f"reasons/{reason}", reason, quantity.pack
    for function in bundle.functions:
        for reason in _reasons(function.tree):
            yield f"reasons/{reason}", reason, function.pack
    for table in bundle.tables:
        yield f"tables/{table.id}/label", table.label, table.pack


def _reasons(tree: Any) -> Iterator[str]:
    """Why something does not apply, as its formula says; such a text goes by what it says in English."""
    if not isinstance(tree, list):
        return
    if tree[:1] == ["na"]:
        yield tree[1]
    for part in tree:
        if isinstance(part, list):
            yield from _reasons(part)


def _of_views(bundle: Bundle) -> Iterator[tuple[str, Said, str]]:
    for check in bundle.checks:
        yield f"checks/{check.id}/label", check.label, check.pack
        for verdict, said in check.says.items():
            yield f"checks/{check.id}/says/{verdict}", said, check.pack
    for caution in bundle.cautions:
        yield f"cautions/{caution.id}/text", caution.text, caution.pack
    for calculator in bundle.calculators:
        of = f"calculators/{calculator.id}"
        yield f"{of}/title", calculator.title, calculator.pack
        yield f"{of}/note", calculator.note, calculator.pack
        for chart in calculator.charts:
            yield f"{of}/charts/{chart.id}", chart.title, calculator.pack
    for checklist in bundle.checklists:
        of = f"checklists/{checklist.id}"
        yield f"{of}/title", checklist.title, checklist.pack
        yield f"{of}/note", checklist.note, checklist.pack
        for step in checklist.steps:
            for key in ("title", "text", "held"):
                yield f"{of}/steps/{step.id}/{key}", getattr(step, key), step.pack


def missing(bundle: Bundle) -> dict[str, list[str]]:
    """By language, the paths of texts it has no words for."""
    units = {word for unit in bundle.units.values() for word in (unit.label, *unit.spellings)}
    wanted = [path for path, text in texts_of(bundle).items() if not _anywhere(path, text, units)]
    return {
        language: [path for path in wanted if path not in words.texts]
        for language, words in bundle.words.items()
    }


def _anywhere(path: str, text: Text, units: set[str]) -> bool:
    """Whether a choice reads the same in every language: a size, or a figure with its unit."""
    said = str(text.said)
    if not (path.startswith("choices/") and re.search(r"\d", said)):
        return False
    plain = said == path.split("/", 3)[-1]
    return plain or {word for word in said.split() if not re.search(r"\d", word)} <= units


def item_of(path: str) -> str:
    """The item that a text belongs to."""
    parts = path.split("/")
    return "/".join(parts[: 4 if parts[2:3] == ["steps"] else 2])


class Translation:
    """Takes the files of all languages, pack by pack, against the texts of a bundle."""

    def __init__(self, bundle: Bundle, pieces: Callable[[str, Place], list[Piece]]) -> None:
        self.texts = texts_of(bundle)
        self.ranks = {pack.id: rank for rank, pack in enumerate(bundle.packs)}
        self.packs = {item_of(path): text.pack for path, text in self.texts.items()}
        self.pieces = pieces
        self.found: dict[str, dict[str, Said]] = {}
        self._from: dict[tuple[str, str], str] = {}

    def take(self, document: Document, language: str, pack: str, faults: list[Fault]) -> None:
        """One file. Words for an item that a later pack has replaced speak of what is no more, and are passed over."""
        words = self.found.setdefault(language, {})
        for path, said in _leaves(document.data):
            place = document.place(path)
            try:
                key = "/".join(path)
                if self._overruled(key, pack):
                    continue
                text = self._text(key, document.place(path, key=True))
                if self._from.get((language, key)) == pack:
                    what = f"this pack has words for {key} elsewhere"
                    raise RuleFault(place, "E202", what, "keep one of them")
                self._from[language, key] = pack
                words[key] = self._said(text.said, said, place)
            except RuleFault as error:
                faults.append(error.fault)

    def _overruled(self, key: str, pack: str) -> bool:
        """Whether a later pack has replaced what these words are for; it may have fewer texts."""
        return self.ranks.get(self.packs.get(item_of(key), ""), 0) > self.ranks[pack]

    def words(self) -> dict[str, Words]:
        return {
            language: Words(texts=dict(sorted(texts.items())))
            for language, texts in self.found.items()
        }

    def _text(self, key: str, place: Place) -> Text:
        if key not in self.texts:
            raise RuleFault(place, "E201", f"there is no text {key}", nearest(key, self.texts))
        return self.texts[key]

    def _said(self, original: Said, said: Any, place: Place) -> Said:
        if not isinstance(said, str) or not said.strip():
            raise RuleFault(place, "E106", "these words are no text", "put them in quotes")
        written: list[Piece] = [original] if isinstance(original, str) else original
        pieces: list[Piece] = [said] if isinstance(original, str) else self.pieces(said, place)
        if _figures(pieces) != _figures(written):
            what = "these words say other figures than the text they stand for"
            raise RuleFault(place, "E801", what, "use the same figures, written the same way")
        if isinstance(original, str):
            return said
        lacks, adds = _slots(original) - _slots(pieces), _slots(pieces) - _slots(original)
        if lacks or adds:
            what = "these words name other quantities than the text they stand for"
            raise RuleFault(place, "E801", what, "use the same names in braces")
        return pieces


def _slots(pieces: list[Piece]) -> set[float]:
    return {piece[1] for piece in pieces if isinstance(piece, list)}  # type: ignore[misc]


def _figures(pieces: list[Piece]) -> list[str]:
    plain = " ".join(piece for piece in pieces if isinstance(piece, str))
    return sorted(re.findall(r"\d+(?:[.,/]\d+)*", plain))


def _leaves(data: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    if isinstance(data, dict):
        for key, inside in data.items():
            yield from _leaves(inside, (*path, key))
    else:
        yield path, data
