"""What differs in what is shown of the rules: calculators, checklists, choices; and in what they stand on."""

from __future__ import annotations

from collections.abc import Iterable

from kneewall.bundle import (
    Calculator,
    Chart,
    Checklist,
    Choices,
    Collection,
    Pack,
    Source,
    Step,
    Unit,
    Words,
)
from kneewall.tools.change import Changes, Subject, Touch, both, yes
from kneewall.tools.item_changes import compare_condition, compare_needs, compare_owner
from kneewall.tools.words import Words as SpokenBundle


def compare_calculator(changes: Changes, of: Subject, old: Calculator, new: Calculator) -> None:
    for key in ("title", "topic", "note"):
        changes.text("Labels", of, key, (getattr(old, key), getattr(new, key)))
    for key in ("enter", "if_known", "show", "checks"):
        changes.names_in("Calculators", of, key, (getattr(old, key), getattr(new, key)))
    changes.names_in("Cautions", of, "cautions", (old.cautions, new.cautions))
    before, now = ({chart.id: chart for chart in one.charts} for one in (old, new))
    changes.names_in("Calculators", of, "charts", (list(before), list(now)))
    for name in now:
        if name in before:
            where = Subject("chart", f"{new.id}/{name}", f"{of.name}, chart {now[name].title}")
            compare_chart(changes, where, before[name], now[name])
    compare_owner(changes, of, old, new)


def compare_chart(changes: Changes, of: Subject, old: Chart, new: Chart) -> None:
    changes.text("Labels", of, "title", (old.title, new.title))
    for key in ("series", "over"):
        was = getattr(old, key)
        changes.text("Calculators", of, key, (changes.names.get(was, was), getattr(new, key)))
    ends = changes.old.ends(old), changes.new.ends(new)
    changes.text("Calculators", of, "reaches", ends)
    changes.text("Calculators", of, "steps", (str(old.steps), str(new.steps)))
    for key in ("show", "lines"):
        changes.names_in("Calculators", of, key, (getattr(old, key), getattr(new, key)))


def compare_checklist(changes: Changes, of: Subject, old: Checklist, new: Checklist) -> None:
    """Its steps, added, removed, moved and changed."""
    changes.text("Labels", of, "title", (old.title, new.title))
    changes.text("Labels", of, "note", (old.note, new.note))
    before, now = ({step.id: step for step in checklist.steps} for checklist in (old, new))
    changes.names_in("Checklists", of, "steps", (list(before), list(now)))
    for name, step in now.items():
        if name in before:
            where = Subject("step", f"{new.id}/{name}", f"{of.name}, step {step.title} ({name})")
            compare_step(changes, where, before[name], step)
    compare_owner(changes, of, old, new)


def compare_step(changes: Changes, of: Subject, old: Step, new: Step) -> None:
    changes.text("Labels", of, "title", (old.title, new.title))
    for key in ("text", "act", "calculator"):
        changes.text("Checklists", of, key, (getattr(old, key), getattr(new, key)))
    if old.caution != new.caution:
        texts = _caution(changes.old, old.caution), _caution(changes.new, new.caution)
        changes.text("Cautions", of, "caution", texts)
    for key in ("least", "keeps"):
        was = getattr(old, key)
        changes.text("Checklists", of, key, (changes.names.get(was, was), getattr(new, key)))
    for key in ("enter", "if_known", "show", "checks", "after", "clears"):
        changes.names_in("Checklists", of, key, (getattr(old, key), getattr(new, key)))
    here: list[Touch] = [("step", of.id)]
    compare_condition(changes, of, old, new, here)
    compare_needs(changes, of, old, new, here)
    compare_owner(changes, of, old, new)


def _caution(words: SpokenBundle, name: str) -> str:
    """What stands beside a step, and its id."""
    text = next((c.text for c in words.bundle.cautions if c.id == name), "")
    return f"{name}: {text}" if name else ""


def compare_choices(changes: Changes, of: Subject, old: Choices, new: Choices) -> None:
    """What can be chosen. A choice that goes, or another order, reaches all that is chosen from it."""
    before, now = ({option.value: option for option in choices.options} for choices in (old, new))
    kept = [value for value in before if value in now]
    moved = [value for value in now if value in before] != kept
    touches = choosing(changes, of.id) if moved or len(kept) < len(before) else []
    changes.names_in("Choices", of, "choices", (list(before), list(now)), touches)
    for value in kept:
        one = Subject(of.of, of.id, f"{of.name}, {value}")
        changes.text("Choices", one, "label", (before[value].label, now[value].label))
        spellings = before[value].spellings, now[value].spellings
        changes.names_in("Choices", one, "spellings", spellings)
    changes.text("Labels", of, "label", (old.label, new.label))
    changes.text("Choices", of, "ordered", both(yes, old.ordered, new.ordered))
    compare_owner(changes, of, old, new)


def choosing(changes: Changes, choices: str) -> list[Touch]:
    """Quantities and columns that take their values from a choice list."""
    bundle = changes.new.bundle
    found: list[Touch] = [("quantity", q.id) for q in bundle.quantities if q.choices == choices]
    return found + [
        ("column", f"{table.id}.{column.name}")
        for table in bundle.tables
        for column in table.columns
        if column.choices == choices
    ]


def compare_unit(changes: Changes, of: Subject, old: Unit, new: Unit) -> None:
    """Its size reaches what is typed in it, or in its partner."""
    typed: Iterable[Touch] = [
        ("quantity", q.id)
        for q in changes.new.bundle.quantities
        if of.id in (q.unit, changes.new.edges.units[q.unit].partner if q.unit else "")
    ]
    for key in ("scale", "offset"):
        pair = repr(getattr(old, key)), repr(getattr(new, key))
        changes.text("Units", of, key, pair, typed)
    for key in ("dimension", "kind", "system", "partner", "label"):
        changes.text("Units", of, key, (getattr(old, key), getattr(new, key)))
    changes.text("Units", of, "point on a scale", both(yes, old.point, new.point))
    changes.names_in("Units", of, "spellings", (old.spellings, new.spellings))


def compare_source(changes: Changes, of: Subject, old: Source, new: Source) -> None:
    for key in ("title", "edition", "kind"):
        changes.text("Sources", of, key, (getattr(old, key), getattr(new, key)))
    changes.text("Sources", of, "confirmed", both(yes, old.confirmed, new.confirmed))


def compare_collection(changes: Changes, of: Subject, old: Collection, new: Collection) -> None:
    changes.text("Labels", of, "label", (old.label, new.label))
    changes.text("Labels", of, "plural", (old.plural, new.plural))


def compare_words(changes: Changes, of: Subject, old: Words, new: Words) -> None:
    """Each text that differs, by its path."""

    def said(words: Words, bundle: SpokenBundle, path: str) -> str:
        text = words.texts.get(path, "")
        return text if isinstance(text, str) else bundle.pieces(text)

    for path in dict.fromkeys([*old.texts, *new.texts]):
        pair = said(old, changes.old, path), said(new, changes.new, path)
        changes.text("Languages", of, path, pair)


def compare_pack(changes: Changes, of: Subject, old: Pack, new: Pack) -> None:
    changes.text("Packs", of, "rank", (old.rank, new.rank))
    changes.text("Packs", of, "title", (old.title, new.title))
