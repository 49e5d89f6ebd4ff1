"""What differs between two editions of a quantity, a function, a check, a caution or a worked example."""

from __future__ import annotations

from typing import Any, Final

from kneewall.bundle import (
    Caution,
    Check,
    Example,
    Function,
    Holds,
    Quantity,
    Step,
)
from kneewall.tools.change import Changes, Show, Subject, Touch, both, holding, yes
from kneewall.tools.trees import exactly, formula, ruled, written
from kneewall.tools.words import Words

MEANS_ELSE: Final = ": reads as before, but what it names is computed or declared otherwise"


def compare_quantity(changes: Changes, of: Subject, old: Quantity, new: Quantity) -> None:
    """Everything that one quantity says."""
    here: list[Touch] = [("quantity", new.id)]
    changes.text("Labels", of, "label", (old.label, new.label))
    changes.text("Labels", of, "note", (old.note, new.note))
    changes.text("Quantities", of, "scope", (old.scope, new.scope), here)
    changes.text("Quantities", of, "type", both(_type, old, new), here)
    changes.text("Quantities", of, "unit", (old.unit, new.unit))
    changes.text("Quantities", of, "kind", (old.kind, new.kind))
    changes.text("Quantities", of, "decimals shown", both(_decimals, old, new))
    offered = changes.names.get(old.offers, old.offers), new.offers
    changes.text("Quantities", of, "offered for", offered)
    each_visit = both(yes, old.each_visit, new.each_visit)
    changes.text("Quantities", of, "asked anew at each visit", each_visit)
    former = [n for n in old.formerly if n != new.id], [n for n in new.formerly if n != old.id]
    changes.names_in("Names", of, "former names", former)
    _numbers(changes, of, old, new, here)
    _formula(changes, of, old, new, here)
    compare_condition(changes, of, old, new, here)
    compare_owner(changes, of, old, new)


def _numbers(
    changes: Changes, of: Subject, old: Quantity, new: Quantity, here: list[Touch]
) -> None:
    """Limits, what is usual, the only values, and the default."""

    def span(words: Words, quantity: Quantity) -> Show:
        return lambda value, digits: words.span(quantity, value, digits)

    def value(words: Words, quantity: Quantity) -> Show:
        return lambda value, digits: words.value(quantity, value, digits)

    spans = span(changes.old, old), span(changes.new, new)
    values = value(changes.old, old), value(changes.new, new)
    changes.number("Limits", of, "limits", (old.limits, new.limits), spans, here)
    changes.number("Limits", of, "usual", (old.usual, new.usual), spans)
    changes.number("Limits", of, "only", (old.one_of or None, new.one_of or None), values)
    changes.number("Defaults", of, "default", (old.default, new.default), values, here)


def _formula(
    changes: Changes, of: Subject, old: Quantity, new: Quantity, here: list[Touch]
) -> None:
    same = exactly(changes.old, old.tree) == exactly(changes.new, new.tree)
    texts = formula(changes.old, old), formula(changes.new, new)
    changes.text("Formulas", of, "formula", texts, () if same else here)
    if texts[0] == texts[1] and not same:
        changes.whole("Formulas", of, "changed", MEANS_ELSE, here)


def compare_condition(
    changes: Changes,
    of: Subject,
    old: Quantity | Check | Step,
    new: Quantity | Check | Step,
    here: list[Touch],
) -> None:
    """When something applies: its own condition, its days and editions, and what these are compared with."""
    own = (
        written(changes.old, _own_condition(old.when, old.holds)),
        written(changes.new, _own_condition(new.when, new.holds)),
    )
    changes.text("Conditions", of, "applies when", own, here)
    holds = both(lambda item: Words.holds(item.holds), old, new)
    changes.text("Conditions", of, "holds", holds, here)
    exact = exactly(changes.old, old.when), exactly(changes.new, new.when)
    if own[0] == own[1] and holds[0] == holds[1] and exact[0] != exact[1]:
        changes.whole("Conditions", of, "changed", MEANS_ELSE, here)


def compare_needs(changes: Changes, of: Subject, old: Step, new: Step, here: list[Touch]) -> None:
    """What holds a step back, and what it says until then."""
    own = written(changes.old, old.needs), written(changes.new, new.needs)
    changes.text("Conditions", of, "held back until", own, here)
    if own[0] == own[1] and exactly(changes.old, old.needs) != exactly(changes.new, new.needs):
        changes.whole("Conditions", of, "changed", f", held back until{MEANS_ELSE}", here)
    changes.text("Messages", of, "says while held back", (old.held, new.held))


def _own_condition(when: Any, holds: Holds | None) -> Any:
    """The condition without the part that the compiler made of `holds`."""
    if holds is None or when is None:
        return when
    several = bool(holds.since) + bool(holds.until) + bool(holds.editions) > 1
    both = when[0] == "and" and (not several or when[1][0] == "and")
    return when[2] if both else None


def compare_function(changes: Changes, of: Subject, old: Function, new: Function) -> None:
    here: list[Touch] = [("function", new.id)]
    count = len(old.parameters), len(new.parameters)
    same = exactly(changes.old, old.tree, count[0]) == exactly(changes.new, new.tree, count[1])
    parameters = both(lambda function: ", ".join(function.parameters), old, new)
    changes.text("Formulas", of, "parameters", parameters)
    texts = (
        ruled(changes.old, old.tree, old.parameters),
        ruled(changes.new, new.tree, new.parameters),
    )
    changes.text("Formulas", of, "formula", texts, () if same else here)
    if texts[0] == texts[1] and not same:
        changes.whole("Formulas", of, "changed", MEANS_ELSE, here)
    compare_owner(changes, of, old, new)


def compare_check(changes: Changes, of: Subject, old: Check, new: Check) -> None:
    here: list[Touch] = [("check", new.id)]
    changes.text("Labels", of, "label", (old.label, new.label))
    changes.text("Checks", of, "scope", (old.scope, new.scope), here)
    for key, trees in {"fail": (old.fail, new.fail), "caution": (old.caution, new.caution)}.items():
        pair = ruled(changes.old, trees[0]), ruled(changes.new, trees[1])
        changes.text("Checks", of, f"{key} when", pair, here)
        if pair[0] == pair[1] and exactly(changes.old, trees[0]) != exactly(changes.new, trees[1]):
            changes.whole("Checks", of, "changed", f", {key} when{MEANS_ELSE}", here)
    for verdict in dict.fromkeys([*old.says, *new.says]):
        says = (
            changes.old.pieces(old.says.get(verdict, [])),
            changes.new.pieces(new.says.get(verdict, [])),
        )
        changes.text("Messages", of, f"says on {verdict}", says)
    compare_condition(changes, of, old, new, here)
    compare_owner(changes, of, old, new)


def compare_caution(changes: Changes, of: Subject, old: Caution, new: Caution) -> None:
    changes.text("Cautions", of, "text", (old.text, new.text))
    changes.text("Cautions", of, "told to the owner", both(lambda one: yes(one.owner), old, new))
    compare_owner(changes, of, old, new)


def compare_example(changes: Changes, of: Subject, old: Example, new: Example) -> None:
    """Given values, expected ones, verdicts."""
    for word, read in (("given", _given), ("expects", _expected)):
        sides = read(changes.old, old), read(changes.new, new)
        for name in dict.fromkeys([*sides[0], *sides[1]]):
            before, now = (side.get(name, ((), "")) for side in sides)
            if before[0] != now[0]:
                changes.text("Examples", of, f"{word} {name}", (before[1], now[1]))
    for check in dict.fromkeys([*old.checks, *new.checks]):
        verdicts = old.checks.get(check, ""), new.checks.get(check, "")
        changes.text("Examples", of, f"expects {check}", verdicts)
    changes.text("Examples", of, "members", both(_members, old, new))
    changes.text("Sources", of, "source", both(lambda one: Words.source(one.source), old, new))
    changes.text("Packs", of, "pack", (old.pack, new.pack))


def _members(example: Example) -> str:
    """Collections with more than one member."""
    several = {name: keys for name, keys in example.members.items() if len(keys) > 1}
    return ", ".join(f"{len(keys)} of {name}" for name, keys in several.items())


def compare_owner(changes: Changes, of: Subject, old: Any, new: Any) -> None:
    """Source, pack, and what it stands in for."""
    if hasattr(new, "source") and not getattr(new, "cases", []):
        changes.text(
            "Sources", of, "source", both(lambda item: Words.source(item.source), old, new)
        )
    changes.text("Packs", of, "pack", (old.pack, new.pack))
    changes.text(
        "Packs", of, "replacement", both(lambda one: Words.replaced(one.replaced), old, new)
    )


def _type(quantity: Quantity) -> str:
    columns = ", ".join(f"{c.label or c.name}: {holding(c)}" for c in quantity.columns)
    return " ".join(
        filter(None, [quantity.type, quantity.choices and f"of {quantity.choices}", columns])
    )


def _decimals(quantity: Quantity) -> str:
    return "" if quantity.decimals is None else str(quantity.decimals)


def _name(words: Words, example: Example, name: str, member: str) -> str:
    """The newest name of a quantity, with the member where there are several."""
    several = len(example.members.get(words.quantities[name].scope, [])) > 1
    return words.names.get(name, name) + (f"@{member}" if several else "")


Said = dict[str, tuple[Any, str]]
"""By the name of a quantity: what tells two values apart, and the text for it."""


def _given(words: Words, example: Example) -> Said:
    found: Said = {}
    for name, value in example.given.items():
        by_member = value if isinstance(value, dict) else {"": value}
        for member, one in by_member.items():
            text = words.value(words.quantities[name], one, 12)
            found[_name(words, example, name, member)] = one, text
    return found


def _expected(words: Words, example: Example) -> Said:
    found: Said = {}
    for e in example.expect:
        quantity = words.quantities[e.quantity]
        if e.why:
            text = f"unknown: {e.why}"
        else:
            within = f" within {words.amount(quantity, e.within)}" if e.within else ""
            text = words.value(quantity, e.value, 12) + within
        found[_name(words, example, e.quantity, e.member)] = (e.value, e.within, e.why), text
    return found
