"""What changed between two bundles, in plain words, and which results can feel it. Public: `compare`, `Comparison`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from kneewall.bundle import Bundle, Table
from kneewall.tools import item_changes, view_changes
from kneewall.tools.change import TOPICS, Change, Changes, Subject
from kneewall.tools.felt import Felt, felt
from kneewall.tools.table_changes import compare_rows

Part = Any
"""A part of the bundle with an id, or with a key in a mapping."""
Compare = Callable[[Changes, Subject, Part, Part], None]


@dataclass(frozen=True)
class Comparison:
    """`changes` in the order of `TOPICS`; `felt` by calculator and checklist of the new bundle."""

    old: str
    new: str
    changes: list[Change]
    felt: list[Felt]

    def by_topic(self) -> dict[str, list[Change]]:
        return {
            topic: found
            for topic in TOPICS
            if (found := [change for change in self.changes if change.topic == topic])
        }


def compare(old: Bundle, new: Bundle) -> Comparison:
    """All changes from `old` to `new`; none when they say the same."""
    names = renames(old, new)
    changes = Changes(old, new, names)
    for before, now in names.items():
        changes.renamed(_subject("quantity", now, changes.new.quantities[now]), before)
    for section, (topic, what, compare_parts) in SECTIONS.items():
        sides = _parts(old, section), _parts(new, section)
        _section(changes, topic, what, sides, compare_parts)
    found = sorted(changes.found, key=lambda change: TOPICS.index(change.topic))
    return Comparison(old.hash, new.hash, found, felt(old, new, names, found))


def renames(old: Bundle, new: Bundle) -> dict[str, str]:
    """Quantities that go by another name now, by the one they had."""
    before, now = ({quantity.id for quantity in bundle.quantities} for bundle in (old, new))
    return {
        former: quantity.id
        for quantity in new.quantities
        if quantity.id not in before
        for former in quantity.formerly
        if former in before and former not in now
    }


def _table(changes: Changes, of: Subject, old: Table, new: Table) -> None:
    changes.text("Labels", of, "label", (old.label, new.label))
    compare_rows(changes, of, old, new)
    item_changes.compare_owner(changes, of, old, new)


SECTIONS: Final[dict[str, tuple[str, str, Compare]]] = {
    "packs": ("Packs", "pack", view_changes.compare_pack),
    "tables": ("Tables", "table", _table),
    "functions": ("Formulas", "function", item_changes.compare_function),
    "quantities": ("Quantities", "quantity", item_changes.compare_quantity),
    "checks": ("Checks", "check", item_changes.compare_check),
    "cautions": ("Cautions", "caution", item_changes.compare_caution),
    "choices": ("Choices", "choice list", view_changes.compare_choices),
    "collections": ("Labels", "collection", view_changes.compare_collection),
    "calculators": ("Calculators", "calculator", view_changes.compare_calculator),
    "checklists": ("Checklists", "checklist", view_changes.compare_checklist),
    "sources": ("Sources", "source", view_changes.compare_source),
    "units": ("Units", "unit", view_changes.compare_unit),
    "examples": ("Examples", "example", item_changes.compare_example),
    "words": ("Languages", "language", view_changes.compare_words),
}
ORDER: Final = {
    "pack": "packs stand in another order",
    "quantity": "quantities stand in another order, in which what is missing is named",
    "check": "checks stand in another order",
    "calculator": "calculators stand in another order",
    "checklist": "checklists stand in another order",
}


def _parts(bundle: Bundle, section: str) -> dict[str, Part]:
    parts: Mapping[str, Part] | list[Part] = getattr(bundle, section)
    if isinstance(parts, Mapping):
        return dict(parts)
    if section == "examples":
        return _examples(parts)
    return {part.id: part for part in parts}


def _examples(parts: Iterable[Part]) -> dict[str, Part]:
    """By calculator or checklist, and name; one of several that share both by its number."""
    found: dict[str, Part] = {}
    for part in parts:
        name = f"{part.calculator or part.checklist}: {part.name}"
        count = sum(known == name or known.startswith(f"{name} #") for known in found)
        found[f"{name} #{count + 1}" if count else name] = part
    return found


def _section(
    changes: Changes,
    topic: str,
    what: str,
    sides: tuple[dict[str, Part], dict[str, Part]],
    compare_parts: Compare,
) -> None:
    names = changes.names if what == "quantity" else {}
    old, new = ({names.get(key, key): part for key, part in sides[0].items()}, sides[1])
    for key, part in old.items():
        if key not in new:
            changes.whole(topic, _subject(what, key, part), "removed")
    for key, part in new.items():
        if key not in old:
            changes.whole(topic, _subject(what, key, part), "added")
        else:
            compare_parts(changes, _subject(what, key, part), old[key], part)
    kept = [key for key in old if key in new], [key for key in new if key in old]
    if what in ORDER and kept[0] != kept[1]:
        changes.whole("Order", Subject(what, "", "The"), "changed", f" {ORDER[what]}")


def _subject(what: str, key: str, part: Part) -> Subject:
    """An item by what people call it, its id in brackets."""
    label = getattr(part, "label", "") or getattr(part, "title", "")
    if what == "table":
        name = label or key
    elif what in ("quantity", "calculator", "checklist"):
        name = f"{label} ({key})"
    elif what == "check":
        name = f"check {label} ({key})"
    else:
        name = f"{what} {key}"
    return Subject(what, key, name)
