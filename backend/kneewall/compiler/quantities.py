"""Quantities and functions: their limits, defaults and formulas, and the order they are computed in."""

from __future__ import annotations

import re
from functools import partial
from typing import Any

from kneewall.bundle import Case, Expr, Function, LoopError, Quantity, evaluation_order
from kneewall.compiler.declare import Declared
from kneewall.compiler.errors import Place, RuleFault
from kneewall.compiler.formula import Formula
from kneewall.compiler.packs import Item
from kneewall.compiler.schema import FunctionForm, QuantityForm
from kneewall.compiler.types import FLAG, TEXT, Mismatch, Type, fits
from kneewall.engine.numbers import close
from kneewall.reading import ReadingError, split_number


def build_quantity(there: Declared, name: str, item: Item[QuantityForm]) -> Quantity:
    """One quantity, its formula checked. Raises `RuleFault`."""
    form, declared = item.form, there.types[name]
    one = declared.item or declared
    plain = Quantity(
        id=name,
        label=form.label,
        scope=form.scope,
        each_visit=form.each_visit,
        type=_value_type(form.type, declared),
        unit=there.unit_id(form.unit, item.place("unit")),
        kind=(one.kind or "") if one.base == "number" and form.type != "date" else "",
        choices=one.choices,
        columns=there.series_columns(item) if form.type == "series" else [],
        decimals=form.decimals,
        note=form.note,
        offers=form.offers,
        pack=item.pack,
        replaced=item.replaced,
        formerly=form.formerly,
    )
    numeric = (one.base == "number" and form.type != "date") or declared.base == "series"
    _refuse_idle(there, name, item, declared)
    if numeric and not form.limits:
        mend = "write limits: LOW to HIGH, with units"
        raise RuleFault(item.key_place(), "E105", f"{name} has no limits", mend)
    changes: dict[str, Any] = {
        key: _range(there, plain, getattr(form, key), item.place(key))
        for key in ("limits", "usual")
        if getattr(form, key)
    }
    plain = plain.model_copy(update=changes)
    _usual_within_limits(plain, item)
    for text in (*form.one_of, form.default):
        if text is not None and plain.unit and numeric and not plain.columns:
            key = "default" if text is form.default else "one_of"
            with_unit(text, there.edges.units[plain.unit].label, item.place(key))
    if form.one_of:
        one_of = [_value(there, plain, text, item.place("one_of")) for text in form.one_of]
        plain = plain.model_copy(update={"one_of": one_of})
    changes = {}
    if form.default is not None:
        changes["default"] = _value(there, plain, form.default, item.place("default"))
    if form.offers:
        _offered(there, name, item, declared)
    only_entered = (form.default is not None, form.one_of, form.each_visit)
    if form.derived and any(only_entered):
        what = f"{name} is derived and has no default, one_of or each_visit"
        raise RuleFault(item.key_place(), "E106", what, "leave these out")
    return plain.model_copy(update=changes | _formulas(there, name, item, declared))


def _refuse_idle(there: Declared, name: str, item: Item[QuantityForm], declared: Type) -> None:
    """Keys that say nothing of a quantity of this type or scope."""
    form = item.form
    number = (declared.item or declared).base == "number" and form.type != "date"
    idle = {
        "limits": not number and declared.base != "series",
        "usual": not number and declared.base != "series",
        "one_of": not number,
        "decimals": not number,
        "columns": declared.base != "series",
    }
    for key in idle:
        if idle[key] and key in form.model_fields_set:
            raise RuleFault(item.place(key), "E106", f"a {form.type} has no {key}", "leave it out")
    if form.each_visit and form.scope not in there.names.collections:
        what = f"{name} belongs to no collection, and each_visit speaks of members"
        raise RuleFault(item.place("each_visit"), "E106", what, "leave it out")


def _offered(there: Declared, name: str, item: Item[QuantityForm], declared: Type) -> None:
    """A derived quantity may be taken for an entered one of the same type and members."""
    form, place = item.form, item.place("offers")
    there.exist([form.offers], there.names.quantities, "quantity", item, "offers")
    offered = there.items.quantities[form.offers].form
    if offered.derived or not form.derived:
        wrong, meant = (form.offers, "is derived") if offered.derived else (name, "is entered")
        mend = "a derived quantity is offered for an entered one"
        raise RuleFault(place, "E404", f"{wrong} {meant}", mend)
    if form.scope in there.names.collections and form.scope != offered.scope:
        what = f"{name} is of each {form.scope}, {form.offers} is of the {offered.scope}"
        raise RuleFault(place, "E404", what, "offer it for one of the same members")
    try:
        fits(declared, there.types[form.offers], name, form.offers)
    except Mismatch as mismatch:
        raise RuleFault(place, mismatch.number, mismatch.what, mismatch.mend) from None


def _value_type(written: str, declared: Type) -> Any:
    if declared.item == TEXT:
        return "texts"
    return declared.base if declared.base in ("list", "choice", "series") else written


def _formulas(
    there: Declared, name: str, item: Item[QuantityForm], declared: Type
) -> dict[str, Any]:
    form = item.form
    inputs: set[int] = set()
    changes: dict[str, Any] = {}
    conditions: list[Expr] = []
    if form.holds:
        condition, changes["holds"] = there.holds(form.holds, item.place("holds"), inputs)
        conditions.append(condition)
    if form.when:
        when = Formula(there.names, form.when, item.place("when"))
        conditions.append(when.read(form.scope, FLAG, "when", traced=False).tree)
        inputs |= when.inputs
    if conditions:
        changes["when"] = conditions[0] if len(conditions) == 1 else ["and", *conditions]
    if form.cases:
        changes |= _cases(there, name, item, declared, inputs)
    elif form.formula:
        formula = Formula(there.names, form.formula, item.place("formula"))
        node = formula.read(form.scope, declared, name)
        inputs |= formula.inputs
        changes |= {"tree": node.tree, "traces": formula.traces}
    if form.formula or form.source:
        place = item.place("source") if form.source else item.key_place()
        changes["source"] = there.source(form.source, place)
    there.names.uses.quantities |= there.slots(inputs)
    return changes


def _cases(
    there: Declared, name: str, item: Item[QuantityForm], declared: Type, inputs: set[int]
) -> dict[str, Any]:
    """Formulas by when they hold, as one chain of conditions; none holds: not applicable."""
    form = item.form
    if form.formula or form.source:
        what = f"{name} has cases, and so neither formula nor source of its own"
        raise RuleFault(item.key_place(), "E106", what, "write them inside the cases")
    tree: Expr = ["na", "no rule of this edition holds on this day"]
    cases: list[Case] = []
    traces = len(form.cases)
    for index, case in reversed(list(enumerate(form.cases))):
        at = ("cases", index)
        formula = Formula(there.names, case.formula, item.place(*at, "formula"))
        formula.traces = traces
        node = formula.read(form.scope, declared, name)
        traces = formula.traces
        inputs |= formula.inputs
        holds = None
        condition: Expr = True
        if case.holds:
            condition, holds = there.holds(case.holds, item.place(*at, "holds"), inputs)
        elif index != len(form.cases) - 1:
            what = "only the last case may hold always"
            raise RuleFault(item.place(*at), "E105", what, "write holds: for this one")
        tree = ["if", index, condition, node.tree, tree]
        source = there.source(case.source, item.place(*at, "source"))
        cases.insert(0, Case(holds=holds, source=source))
    return {"tree": tree, "traces": traces, "cases": cases, "source": cases[0].source}


def _range(there: Declared, quantity: Quantity, text: str, place: Place) -> tuple[float, float]:
    ends = re.split(r"\s+to\s+", text)
    if len(ends) != 2:
        raise RuleFault(place, "E106", f"{text!r} is not LOW to HIGH", "write 0 ft to 2000 ft")
    unit = quantity.columns[1].unit if quantity.columns else quantity.unit
    for end in ends if unit else ():
        with_unit(end, there.edges.units[unit].label, place)
    kind = there.edges.units[unit].kind if quantity.columns and unit else quantity.kind
    try:
        low, high = (there.edges.measure(end, unit, kind)[0] for end in ends)
    except ReadingError as error:
        number = {"unit": "E301", "dimension": "E302"}.get(error.code, "E306")
        raise RuleFault(place, number, str(error)) from None
    if not low < high:
        what = f"{ends[0]} is not below {ends[1]}"
        raise RuleFault(place, "E306", what, "write the lower end first")
    return low, high


def with_unit(text: str, example: str, place: Place) -> None:
    """Refuse a number that leaves its unit to be guessed. Raises `RuleFault`."""
    try:
        _, unit = split_number(text)
    except ReadingError:
        return
    if not unit:
        what = f"{text!r} has no unit"
        raise RuleFault(place, "E307", what, f"write {text.strip()} {example}")


def _usual_within_limits(quantity: Quantity, item: Item[QuantityForm]) -> None:
    if not (quantity.limits and quantity.usual):
        return
    (low, high), (least, most) = quantity.limits, quantity.usual
    if (least < low and not close(least, low)) or (most > high and not close(most, high)):
        what = f"usual {item.form.usual} reaches outside limits {item.form.limits}"
        raise RuleFault(item.place("usual"), "E306", what, "narrow usual or widen limits")


def _value(there: Declared, quantity: Quantity, text: str, place: Place) -> Any:
    try:
        return there.edges.parse(quantity, text).si
    except ReadingError as error:
        number = "E405" if error.code == "choice" else "E306"
        raise RuleFault(place, number, f"{quantity.id}: {error}") from None


def build_function(there: Declared, name: str, item: Item[FunctionForm]) -> Function:
    """One function of the rules; it sees its parameters and the tables, no quantity."""
    form = item.form
    _, parameters, result = there.names.functions[name]
    formula = Formula(there.names, form.formula, item.place("formula"))
    bound = dict(zip(form.parameters, parameters, strict=True))
    node = formula.read("", result, name, bound)
    if formula.inputs:
        place = item.place("formula")
        raise RuleFault(
            place, "E402", f"{name} may use only its parameters and tables", "add a parameter"
        )
    for parameter in bound:
        if parameter not in formula.bound:
            what = f"the formula of {name} does not use {parameter}"
            raise RuleFault(item.place("parameters", parameter), "E204", what, "leave it out")
    return Function(
        id=name,
        parameters=list(bound),
        tree=node.tree,
        source=there.source(form.source, item.place("source")),
        pack=item.pack,
        replaced=item.replaced,
    )


def refuse_loops(there: Declared, quantities: list[Quantity]) -> None:
    """Raises `RuleFault` naming a loop."""
    try:
        evaluation_order(quantities)
    except LoopError as error:
        names = [quantities[slot].id for slot in error.slots]
        item = there.items.quantities[names[0]]
        what = "the formulas form a loop: " + " → ".join(names)
        raise RuleFault(item.place("formula"), "E205", what, "break it at one of them") from None


def build_functions(there: Declared) -> list[Function]:
    found = []
    for name, item in there.items.functions.items():
        made = there.make(item, partial(build_function, there, name, item))
        found += [made] if made else []
    return found


def build_quantities(there: Declared) -> list[Quantity]:
    """All quantities by slot; one with a fault keeps its place."""
    found = []
    for name, item in there.items.quantities.items():
        made = there.make(item, partial(build_quantity, there, name, item))
        found.append(made or Quantity(id=name, label=name))
    return found
