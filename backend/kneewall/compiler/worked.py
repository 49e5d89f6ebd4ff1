"""Worked examples: what people write of them, in SI."""

from __future__ import annotations

import re
from typing import Any, Final, get_args

from kneewall.bundle import Example, Expected, Quantity, Why
from kneewall.compiler.declare import Declared
from kneewall.compiler.errors import Place, RuleFault
from kneewall.compiler.packs import Item
from kneewall.compiler.schema import ExampleForm
from kneewall.compiler.views import Views
from kneewall.reading import ReadingError, round12

REASONS: Final = get_args(Why)


def build_example(there: Declared, views: Views, item: Item[ExampleForm]) -> Example:
    """One example with its values in SI and one member or more of each collection. Raises `RuleFault`."""
    form = item.form
    _belongs(there, views, item)
    there.exist(list(form.checks), views.checks, "check", item, "checks")
    given: dict[str, Any] = {}
    counts = dict.fromkeys(there.names.collections, 1)
    for written, text in form.given.items():
        name, _, member = written.partition("@")
        place = item.place("given", written)
        quantity = _quantity(there, views, name, item, "given", written)
        if quantity.tree is not None:
            raise RuleFault(
                place, "E602", f"{name} is derived and cannot be given", "name it under expect"
            )
        value = _value(there, quantity, text, place)
        if quantity.scope not in counts:
            _member(there, quantity, member, place)
            given[name] = value
            continue
        key = _member(there, quantity, member, place)
        if key in given.setdefault(name, {}):
            what = f"{name} is given twice for member {key}"
            raise RuleFault(place, "E602", what, "keep one of them")
        counts[quantity.scope] = max(counts[quantity.scope], int(key))
        given[name][key] = value
    if not (form.expect or form.checks):
        what = "this example expects nothing, so it proves nothing"
        raise RuleFault(item.place("name"), "E602", what, "write expect or checks")
    return Example(
        name=form.name,
        calculator=form.calculator,
        checklist=form.checklist,
        members={name: [str(n + 1) for n in range(count)] for name, count in counts.items()},
        given=given,
        expect=[_expected(there, views, w, t, item, counts) for w, t in form.expect.items()],
        checks=form.checks,
        source=there.source(form.source, item.place("source")),
        pack=item.pack,
    )


def named_in(there: Declared, views: Views, form: ExampleForm) -> tuple[object, ...]:
    """The quantities an example speaks of, and which of its checks, calculator and checklist there are."""
    named = [written.partition("@")[0] for written in (*form.given, *form.expect)]
    known = there.names.quantities
    quantities = [views.quantities[known[name][0]] for name in named if name in known]
    checks = [name in views.checks for name in form.checks]
    return (
        quantities,
        checks,
        form.calculator in views.calculators,
        form.checklist in views.checklists,
    )


def _belongs(there: Declared, views: Views, item: Item[ExampleForm]) -> None:
    """Proves that it names one calculator, or one checklist."""
    form = item.form
    if bool(form.calculator) == bool(form.checklist):
        what = "names both" if form.calculator else "belongs to nothing"
        mend = "name the calculator or the checklist that it proves"
        raise RuleFault(item.place("name"), "E602", f"this example {what}", mend)
    if form.calculator:
        there.exist([form.calculator], views.calculators, "calculator", item, "calculator")
    else:
        there.exist([form.checklist], views.checklists, "checklist", item, "checklist")


def _quantity(
    there: Declared, views: Views, name: str, item: Item[ExampleForm], *path: str
) -> Quantity:
    there.exist([name], there.names.quantities, "quantity", item, *path)
    return views.quantities[there.names.quantities[name][0]]


def _member(there: Declared, quantity: Quantity, written: str, place: Place) -> str:
    """The member meant by what stands after @, the first where nothing does; "" where there are none."""
    if quantity.scope in there.names.collections:
        if re.fullmatch(r"[1-9]\d?", written or "1"):
            return written or "1"
    elif not written:
        return ""
    raise RuleFault(
        place, "E602", f"@{written} is no member of {quantity.scope}", "members are @1, @2, …"
    )


def _value(there: Declared, quantity: Quantity, text: str, place: Place) -> Any:
    try:
        return there.edges.parse(quantity, text).si
    except ReadingError as error:
        raise RuleFault(place, "E602", f"{quantity.id}: {error}") from None


def _expected(
    there: Declared,
    views: Views,
    written: str,
    text: str,
    item: Item[ExampleForm],
    counts: dict[str, int],
) -> Expected:
    name, _, member = written.partition("@")
    place = item.place("expect", written)
    quantity = _quantity(there, views, name, item, "expect", written)
    member = _member(there, quantity, member, place)
    if member and int(member) > counts[quantity.scope]:
        what, mend = f"nothing is given for member {member}", f"give a value with @{member}"
        raise RuleFault(place, "E602", what, mend)
    if text.startswith("unknown:"):
        why: Any = text.removeprefix("unknown:").strip()
        if why not in REASONS:
            raise RuleFault(
                place, "E602", f"{why!r} is no reason", "use one of " + ", ".join(REASONS)
            )
        return Expected(quantity=name, member=member, why=why)
    wanted, _, within = text.partition(" within ")
    if re.search(r"±|\+/-", wanted):
        what = f"{quantity.id}: {text!r} is a value with its tolerance"
        raise RuleFault(place, "E602", what, "write 4.46 V within 0.01 V")
    value = _value(there, quantity, wanted, place)
    slack = _slack(there, quantity, within, place) if within else 0
    return Expected(quantity=name, member=member, value=value, within=slack)


def _slack(there: Declared, quantity: Quantity, within: str, place: Place) -> float:
    """The tolerance as an amount in SI, also where the quantity is a point on a scale."""
    try:
        ends = [there.edges.measure(x, quantity.unit, quantity.kind)[0] for x in (within, "0")]
    except ReadingError as error:
        raise RuleFault(place, "E602", f"{within!r}: {error}") from None
    return round12(abs(ends[0] - ends[1]))
