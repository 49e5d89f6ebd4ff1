"""Items to a bundle: names, types, formulas, checks, calculators, checklists, examples; everything proven on the way."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final

from kneewall.bundle import (
    FORMAT,
    Bundle,
    Calculator,
    Caution,
    Check,
    Checklist,
    Choices,
    Collection,
    Column,
    Example,
    Expected,
    Expr,
    Function,
    Option,
    Piece,
    Quantity,
    Source,
    SourceRef,
    Step,
    Table,
    Verdict,
    canonical_json,
    load_bundle,
)
from kneewall.compiler.errors import CompileError, Fault, Place, RuleFault, nearest
from kneewall.compiler.formula import Formula
from kneewall.compiler.names import Names
from kneewall.compiler.packs import Item, Items, read_packs
from kneewall.compiler.schema import (
    CheckForm,
    ChecklistForm,
    ExampleForm,
    OptionForm,
    QuantityForm,
    StepForm,
)
from kneewall.compiler.tables import TableReader, column_type, prove_interpolation
from kneewall.compiler.types import FLAG, TEXT, Type
from kneewall.compiler.units import Units
from kneewall.reading import Edges, ReadingError, round12

PLACES: Final = ("site", "system", "visit")
BUILT_IN: Final = {
    "common-practice": Source(title="Common practice of the trade", kind="practice"),
    "from-memory": Source(title="From memory, not yet compared with a print", kind="memory"),
    "demo": Source(title="Invented for the demonstration", kind="demo"),
}
_MARK: Final = re.compile(r"\s*\((from memory|computed|disputed)\)$")
_PLACEHOLDER: Final = re.compile(r"\{([^{}]*)\}")


class Linker:
    """One compilation. `link` returns the bundle; faults are collected in `faults`."""

    def __init__(self, items: Items, faults: list[Fault]) -> None:
        self.items = items
        self.faults = faults
        self.used: set[str] = set()
        self.sources = dict(BUILT_IN)
        for name, source in items.sources.items():
            self.sources[name] = Source(**source.form.model_dump())
        self.units = Units()
        self.units.read(items.units, faults)
        self.choices: dict[str, Choices] = {}
        for name, item in items.choices.items():
            self.catch(lambda n=name, i=item: self._choices(n, i))
        self.edges = Edges(self.units.units, self.choices)
        self.names = Names(self.units, self.edges, set(items.collections), {}, {}, {})
        self.quantities: list[Quantity] = []
        self.wanted: dict[str, Type] = {}

    def catch(self, action: Callable[[], Any]) -> Any:
        """Run one step; a fault is collected and the next step goes on."""
        try:
            return action()
        except RuleFault as error:
            self.faults.append(error.fault)
            return None

    def stop_if_faulty(self) -> None:
        if self.faults:
            raise CompileError(self.faults)

    # -- declarations

    def _choices(self, name: str, item: Item[Any]) -> None:
        form = item.form
        self.source(form.source, item.place("source"))
        values = form.values if isinstance(form.values, dict) else {value: value for value in form.values}
        options, seen = [], set()
        for value, given in values.items():
            option = given if isinstance(given, OptionForm) else OptionForm(label=given)
            options.append(Option(value=value, label=option.label, spellings=option.spellings))
            for spelling in {s.casefold() for s in (value, option.label, *option.spellings)}:
                if spelling in seen:
                    raise RuleFault(item.place("values"), "E202", f"{spelling!r} names two choices of {name}")
                seen.add(spelling)
        self.choices[name] = Choices(label=form.label, ordered=form.ordered, options=options)

    def source(self, text: str, place: Place) -> SourceRef:
        """A source reference. Raises `RuleFault` when there is none or it is not known."""
        mark = _MARK.search(text)
        of, _, where = _MARK.sub("", text).strip().partition(" ")
        if not of:
            raise RuleFault(place, "E501", "a source is missing", "name one, common-practice or from-memory")
        if of not in self.sources:
            raise RuleFault(place, "E502", f"no source is called {of}", nearest(of, self.sources))
        return SourceRef(of=of, place=where.strip(), mark=mark[1] if mark else "")  # type: ignore[arg-type]

    def declare(self) -> None:
        """Names and types of everything, before the first formula is read."""
        for slot, (name, item) in enumerate(self.items.quantities.items()):
            wanted = self.catch(lambda i=item: self._type(i)) or Type()
            self.wanted[name] = wanted
            self.names.quantities[name] = (slot, wanted, item.form.scope)
            if item.form.scope not in (*PLACES, *self.names.collections):
                self.faults.append(Fault(item.place("scope"), "E201", f"no scope is called {item.form.scope}",
                                         nearest(item.form.scope, [*PLACES, *self.names.collections])))  # fmt: skip
        for index, (name, function) in enumerate(self.items.functions.items()):
            form = function.form
            parameters = [
                self.catch(lambda u=unit, p=function.place("parameters", key): self._unit_type(u, "", p)) or Type()
                for key, unit in form.parameters.items()
            ]
            result = self.catch(lambda f=form, i=function: self._unit_type(f.unit, f.kind, i.place("unit"))) or Type()
            self.names.functions[name] = (index, parameters, result)

    def _unit_type(self, unit: str, kind: str, place: Place) -> Type:
        if unit in self.choices:
            return Type("choice", choices=unit, ordered=self.choices[unit].ordered)
        if unit == "flag":
            return FLAG
        if unit in ("", "number"):
            return Type()
        try:
            name = self.edges.find_unit(unit)
        except ReadingError as error:
            raise RuleFault(place, "E301", str(error)) from None
        found = self.units.units[name]
        if kind and (kind not in ("gauge", "absolute", "torque", "temperature difference", "share") or found.point):
            raise RuleFault(place, "E303", f"{unit} cannot be of kind {kind!r}")
        return Type(dimension=self.units.dimensions[name], kind=kind or found.kind)

    def _type(self, item: Item[QuantityForm]) -> Type:
        form = item.form
        if form.type in ("number", "count", "list"):
            single = self._unit_type(form.unit, form.kind, item.place("unit"))
            return Type("list", item=single) if form.type == "list" else single
        if form.unit or form.kind:
            raise RuleFault(item.place("unit"), "E106", f"a {form.type} has no unit")
        simple = {"flag": FLAG, "text": TEXT, "date": self.names.date_type}
        if form.type in simple:
            return simple[form.type]
        if form.type == "series":
            columns = [Column(name=name, unit=self._unit_id(unit, item.place("columns", name)))
                       for name, unit in form.columns.items()]  # fmt: skip
            if len(columns) != 2:
                raise RuleFault(item.place("columns"), "E106", "a series has two columns")
            return Type("series", columns=tuple((c.name, column_type(c, self.names)) for c in columns))
        choices = form.type.removeprefix("list of ")
        if choices not in self.choices:
            known = ["number", "count", "list", "series", *simple, *self.choices]
            raise RuleFault(item.place("type"), "E201", f"no type is called {form.type}", nearest(form.type, known))
        one = Type("choice", choices=choices, ordered=self.choices[choices].ordered)
        return Type("list", item=one) if form.type != choices else one

    def _unit_id(self, spelling: str, place: Place) -> str:
        if not spelling or spelling == "number":
            return ""
        try:
            return self.edges.find_unit(spelling)
        except ReadingError as error:
            raise RuleFault(place, "E301", str(error)) from None

    # -- quantities

    def quantity(self, name: str, item: Item[QuantityForm]) -> Quantity:
        form, wanted = item.form, self.wanted[name]
        one = wanted.item if wanted.base == "list" and wanted.item else wanted
        unit = self._unit_id(form.unit, item.place("unit"))
        base = "list" if wanted.base == "list" else "choice" if wanted.base == "choice" else form.type
        plain = Quantity(
            id=name, label=form.label, scope=form.scope, each_visit=form.each_visit, type=base, unit=unit,  # type: ignore[arg-type]
            kind=one.kind or "" if one.base == "number" else "", choices=one.choices,
            columns=[Column(name=n, unit=self._unit_id(u, item.place("columns", n))) for n, u in form.columns.items()],
            decimals=form.decimals, optional=form.optional, note=form.note, offers=form.offers,
            pack=item.pack, formerly=form.formerly,
        )  # fmt: skip
        extra: dict[str, Any] = {}
        numeric = one.base == "number" and form.type != "date" or wanted.base == "series"
        if numeric and not form.limits:
            raise RuleFault(item.key_place(), "E105", f"{name} has no limits", "write limits: LOW to HIGH, with units")
        for key in ("limits", "usual"):
            if getattr(form, key):
                extra[key] = self._range(plain, getattr(form, key), item.place(key))
        plain = plain.model_copy(update=extra)
        extra["one_of"] = [self._value(plain, text, item.place("one_of")) for text in form.one_of]
        if form.default is not None:
            extra["default"] = self._value(plain, form.default, item.place("default"))
        if form.formula and (form.default is not None or form.optional or form.one_of or form.each_visit):
            raise RuleFault(item.key_place(), "E106", f"{name} is derived and has no default, optional, one_of or each_visit")
        if form.formula or form.when:
            extra |= self._formula(name, item, plain, wanted)
        return plain.model_copy(update=extra)

    def _formula(self, name: str, item: Item[QuantityForm], plain: Quantity, wanted: Type) -> dict[str, Any]:
        form, inputs, extra = item.form, set(), {}
        if form.when:
            when = Formula(self.names, form.when, item.place("when"))
            extra["when"] = when.read(form.scope, FLAG, "when").tree
            inputs |= when.inputs
        if form.formula:
            formula = Formula(self.names, form.formula, item.place("formula"))
            node = formula.read(form.scope, wanted, name)
            inputs |= formula.inputs
            extra |= {"formula": form.formula, "tree": node.tree, "pieces": join(node.pieces), "traces": formula.traces}
            extra["source"] = self.source(form.source, item.place("source") if form.source else item.key_place())
        elif form.source:
            extra["source"] = self.source(form.source, item.place("source"))
        slots = list(self.names.quantities)
        self.used |= {slots[slot] for slot in inputs}
        extra["inputs"] = sorted(inputs)
        return extra

    def _range(self, quantity: Quantity, text: str, place: Place) -> tuple[float, float]:
        ends = re.split(r"\s+to\s+", text)
        if len(ends) != 2:
            raise RuleFault(place, "E106", f"{text!r} is not LOW to HIGH", "write 0 ft to 2000 ft")
        unit = quantity.columns[1].unit if quantity.columns else quantity.unit
        kind = self.units.units[unit].kind if quantity.columns and unit else quantity.kind
        try:
            low, high = (self.edges.measure(end, unit, kind)[0] for end in ends)
        except ReadingError as error:
            raise RuleFault(place, "E301" if error.code == "unit" else "E302", str(error)) from None
        if not low < high:
            raise RuleFault(place, "E306", f"{ends[0]} is not below {ends[1]}")
        return low, high

    def _value(self, quantity: Quantity, text: str, place: Place) -> Any:
        try:
            return self.edges.parse(quantity, text).si
        except ReadingError as error:
            raise RuleFault(place, "E405" if error.code == "choice" else "E306", f"{quantity.id}: {error}") from None

    def order(self) -> list[int]:
        """Slots in evaluation order. Raises `RuleFault` naming a loop."""
        done: list[int] = []
        state = [0] * len(self.quantities)
        for start in range(len(self.quantities)):
            stack: list[tuple[int, int]] = [(start, 0)]
            while stack:
                slot, place = stack.pop()
                if state[slot] == 2:
                    continue
                state[slot] = 1
                inputs = self.quantities[slot].inputs
                if place < len(inputs):
                    stack.append((slot, place + 1))
                    following = inputs[place]
                    if state[following] == 1:
                        self._loop([s for s, _ in stack], following)
                    if state[following] == 0:
                        stack.append((following, 0))
                else:
                    state[slot] = 2
                    done.append(slot)
        return done

    def _loop(self, stack: list[int], again: int) -> None:
        loop = [self.quantities[s].id for s in stack[stack.index(again) :]]
        item = self.items.quantities[self.quantities[again].id]
        shown = " → ".join([*loop, self.quantities[again].id])
        raise RuleFault(item.place("formula"), "E205", f"the formulas form a loop: {shown}", "break it at one of them")

    # -- checks, calculators, checklists

    def pieces(self, text: str, place: Place) -> list[Piece]:
        """A message with its placeholders as slots."""
        pieces: list[Piece] = []
        for index, part in enumerate(_PLACEHOLDER.split(text)):
            if index % 2 == 0:
                pieces += [part] if part else []
            elif part in self.names.quantities:
                self.used.add(part)
                pieces.append(["q", self.names.quantities[part][0]])
            else:
                raise RuleFault(place, "E201", f"{{{part}}}: no quantity has this name", nearest(part, self.names.quantities))
        return pieces

    def check(self, name: str, item: Item[CheckForm]) -> Check:
        form, inputs, trees, rule = item.form, set(), {}, []
        if not (form.fail or form.caution):
            raise RuleFault(item.key_place(), "E105", f"{name} has neither fail nor caution", "write at least one condition")
        for key in ("when", "fail", "caution"):
            text = getattr(form, key)
            if text:
                formula = Formula(self.names, text, item.place(key))
                trees[key] = formula.read(form.scope, FLAG, key).tree
                inputs |= formula.inputs
                rule.append(f"{key} if {text}" if key != "when" else f"when {text}")
        needed: list[Verdict] = ["pass", *(["fail"] if form.fail else []), *(["caution"] if form.caution else [])]  # type: ignore[list-item]
        for verdict in needed:
            if verdict not in form.says:
                raise RuleFault(item.place("says"), "E105", f"{name} says nothing for {verdict}", f"write {verdict}: …")
        says = {verdict: self.pieces(text, item.place("says", verdict)) for verdict, text in form.says.items()}
        slots = list(self.names.quantities)
        self.used |= {slots[slot] for slot in inputs}
        return Check(id=name, label=form.label, scope=form.scope, **trees, rule="; ".join(rule), says=says,
                     inputs=sorted(inputs), source=self.source(form.source, item.place("source")), pack=item.pack)  # fmt: skip

    def known(self, names: Iterable[str], known: Iterable[str], what: str, place: Callable[[int], Place]) -> list[str]:
        """The names, each proven to exist."""
        given, there = list(names), set(known)
        for index, name in enumerate(given):
            if name not in there:
                raise RuleFault(place(index), "E201", f"no {what} is called {name}", nearest(name, there))
        return given

    def entered(self, names: list[str], item: Item[Any], *path: str | int) -> list[str]:
        self.known(names, self.names.quantities, "quantity", lambda i: item.place(*path, i))
        for index, name in enumerate(names):
            if self.items.quantities[name].form.formula:
                raise RuleFault(item.place(*path, index), "E404", f"{name} is derived and cannot be entered", "list it under show")
        self.used |= set(names)
        return names

    def calculator(self, name: str, item: Item[Any], checks: dict[str, Check]) -> Calculator:
        form = item.form
        self.entered(form.enter, item, "enter")
        self.known(form.show, self.names.quantities, "quantity", lambda i: item.place("show", i))
        self.known(form.checks, checks, "check", lambda i: item.place("checks", i))
        self.known(form.cautions, self.items.cautions, "caution", lambda i: item.place("cautions", i))
        self.used |= set(form.show)
        needed = [self.names.quantities[q][0] for q in form.show]
        needed += [slot for check in form.checks for slot in checks[check].inputs]
        for slot in self.upstream(needed):
            quantity = self.quantities[slot]
            if not quantity.formula and quantity.id not in form.enter:
                raise RuleFault(item.place("enter"), "E105", f"{name} rests on {quantity.id}, which it does not let one enter",
                                f"add {quantity.id} to enter")  # fmt: skip
        return Calculator(id=name, pack=item.pack, **form.model_dump())

    def upstream(self, slots: Iterable[int]) -> list[int]:
        found: set[int] = set()
        stack = list(slots)
        while stack:
            slot = stack.pop()
            if slot not in found:
                found.add(slot)
                stack += self.quantities[slot].inputs
        return sorted(found)

    def checklist(self, name: str, item: Item[ChecklistForm], checks: dict[str, Check]) -> Checklist:
        inputs: set[int] = set()
        steps: list[Step] = []
        for index, form in enumerate(item.form.steps):
            steps.append(self._step(index, form, item, steps, inputs, checks))
        slots = list(self.names.quantities)
        self.used |= {slots[slot] for slot in inputs}
        return Checklist(id=name, title=item.form.title, note=item.form.note, steps=steps, inputs=sorted(inputs), pack=item.pack)

    def _step(
        self, index: int, form: StepForm, item: Item[ChecklistForm], before: list[Step], inputs: set[int], checks: dict[str, Check]
    ) -> Step:
        def at(*more: str | int) -> Place:
            return item.place("steps", index, *more)

        earlier = [step.id for step in before]
        if form.id in earlier:
            raise RuleFault(at("id"), "E202", f"a step {form.id} stands before", "use another name")
        self.entered([*form.enter], item, "steps", index, "enter")
        self.known(form.show, self.names.quantities, "quantity", lambda i: at("show", i))
        self.known(form.checks, checks, "check", lambda i: at("checks", i))
        self.used |= set(form.show)
        self.known(form.after, earlier, "earlier step", lambda i: at("after", i))
        if form.calculator:
            self.known([form.calculator], self.items.calculators, "calculator", lambda _: at("calculator"))
        if form.caution:
            self.known([form.caution], self.items.cautions, "caution", lambda _: at("caution"))
        if (form.act == "time") != bool(form.least and form.keeps):
            raise RuleFault(at("act"), "E105", "a timed step has least and keeps, and no other step has", "name both quantities")
        for key in ("least", "keeps"):
            if getattr(form, key):
                self.known([getattr(form, key)], self.names.quantities, "quantity", lambda _, k=key: at(k))  # type: ignore[misc]
                self.used.add(getattr(form, key))
        tree: Expr | None = None
        if form.when:
            formula = Formula(self.names, form.when, at("when"))
            tree = formula.read("visit", FLAG, "when").tree
            inputs |= formula.inputs
        return Step(**{**form.model_dump(), "when": tree})

    # -- examples

    def example(self, item: Item[ExampleForm], calculators: dict[str, Calculator], checks: dict[str, Check]) -> Example:
        form = item.form
        self.known([form.calculator], calculators, "calculator", lambda _: item.place("calculator"))
        self.known(form.checks, checks, "check", lambda _: item.place("checks"))
        given: dict[str, Any] = {}
        members = {name: 1 for name in self.names.collections}
        for name, text in form.given.items():
            key, _, member = name.partition("@")
            quantity = self._named(key, item.place("given", name))
            if quantity.formula:
                raise RuleFault(item.place("given", name), "E602", f"{key} is derived and cannot be given")
            value = self._given(quantity, text, item.place("given", name))
            if quantity.scope in members:
                members[quantity.scope] = max(members[quantity.scope], int(member or 1))
                given.setdefault(key, {})[member or "1"] = value
            else:
                given[key] = value
        expect = [self._expected(name, text, item, members) for name, text in form.expect.items()]
        return Example(
            name=form.name, calculator=form.calculator, given=given, expect=expect, checks=form.checks,
            members={name: [str(n + 1) for n in range(count)] for name, count in members.items()},
            source=self.source(form.source, item.place("source")), pack=item.pack,
        )  # fmt: skip

    def _named(self, name: str, place: Place) -> Quantity:
        if name not in self.names.quantities:
            raise RuleFault(place, "E201", f"no quantity is called {name}", nearest(name, self.names.quantities))
        return self.quantities[self.names.quantities[name][0]]

    def _given(self, quantity: Quantity, text: str, place: Place) -> Any:
        try:
            return self.edges.parse(quantity, text).si
        except ReadingError as error:
            raise RuleFault(place, "E602", f"{quantity.id}: {error}") from None

    def _expected(self, name: str, text: str, item: Item[ExampleForm], members: dict[str, int]) -> Expected:
        key, _, member = name.partition("@")
        place = item.place("expect", name)
        quantity = self._named(key, place)
        if quantity.scope in members:
            member = member or "1"
        if text.startswith("unknown:"):
            why = text.removeprefix("unknown:").strip()
            if why not in ("missing", "outside", "domain", "not-applicable"):
                raise RuleFault(place, "E602", f"{why!r} is no reason", "missing, outside, domain or not-applicable")
            return Expected(quantity=key, member=member, why=why)  # type: ignore[arg-type]
        wanted, _, within = text.partition(" within ")
        value = self._given(quantity, wanted, place)
        slack = 0.0
        if within:
            unit = quantity.unit
            try:
                low = self.edges.measure("0", unit, quantity.kind)[0] if unit else 0.0
                slack = abs(self.edges.measure(within, unit, quantity.kind)[0] - low) if unit else float(within)
            except (ReadingError, ValueError) as error:
                raise RuleFault(place, "E602", f"{within!r}: {error}") from None
        return Expected(quantity=key, member=member, value=value, within=round12(slack))

    # -- all together

    def link(self) -> Bundle:
        items = self.items
        self.declare()
        readers: list[TableReader] = []
        for name, table in items.tables.items():
            reader = self.catch(lambda t=table: TableReader(t, len(readers), self.names))
            readers += [reader] if reader else []
            if reader is None:
                self.names.tables.pop(name, None)
        self.stop_if_faulty()
        for name, quantity in items.quantities.items():
            found = self.catch(lambda n=name, q=quantity: self.quantity(n, q))
            self.quantities.append(found or Quantity(id=name, label=name))
        functions = [self.catch(lambda n=n, i=i: self._function(n, i)) for n, i in items.functions.items()]
        checks = {n: self.catch(lambda n=n, i=i: self.check(n, i)) for n, i in items.checks.items()}
        self.stop_if_faulty()
        order = self.catch(self.order) or []
        calculators = {n: self.catch(lambda n=n, i=i: self.calculator(n, i, checks)) for n, i in items.calculators.items()}
        checklists = [self.catch(lambda n=n, i=i: self.checklist(n, i, checks)) for n, i in items.checklists.items()]
        cautions = [self.catch(lambda n=n, i=i: Caution(id=n, text=i.form.text, source=self.source(i.form.source, i.place("source")), pack=i.pack))
                    for n, i in items.cautions.items()]  # fmt: skip
        tables = [self.catch(lambda r=r: r.finish(self.source(r.item.form.source, r.item.place("source")), self.faults)) for r in readers]
        self._unused()
        self.stop_if_faulty()
        self._interpolations(tables)
        examples = [self.catch(lambda i=i: self.example(i, calculators, checks)) for i in items.examples.values()]
        self.stop_if_faulty()
        return Bundle(
            packs=items.packs, units=self.units.units, choices=self.choices, sources=self.sources,
            collections={n: Collection(**i.form.model_dump()) for n, i in items.collections.items()},
            quantities=self.quantities, order=order, tables=tables, functions=functions, checks=list(checks.values()),
            cautions=cautions, calculators=list(calculators.values()), checklists=checklists, examples=examples,
        )  # fmt: skip

    def _function(self, name: str, item: Item[Any]) -> Function:
        _, parameters, result = self.names.functions[name]
        formula = Formula(self.names, item.form.formula, item.place("formula"))
        bound = dict(zip(item.form.parameters, parameters, strict=True))
        node = formula.read("", result, name, bound)
        if formula.inputs:
            raise RuleFault(item.place("formula"), "E402", f"{name} may use only its parameters and tables")
        return Function(id=name, parameters=list(bound), formula=item.form.formula, tree=node.tree,
                        source=self.source(item.form.source, item.place("source")), pack=item.pack)  # fmt: skip

    def _unused(self) -> None:
        for name, item in self.items.quantities.items():
            if name not in self.used:
                self.faults.append(Fault(item.key_place(), "E204", f"nothing uses {name}", "use it or leave it out"))
        for name, function in self.items.functions.items():
            if name not in self.names.functions_used:
                self.faults.append(Fault(function.key_place(), "E204", f"nothing uses the function {name}"))

    def _interpolations(self, tables: list[Table]) -> None:
        by_id = {table.id: table for table in tables}
        for use in self.names.interpolations:
            fault = prove_interpolation(use, by_id[use.table], self.names.tables[use.table])
            self.faults += [fault] if fault else []


def join(pieces: list[Piece]) -> list[Piece]:
    """Neighbouring texts as one."""
    joined: list[Piece] = []
    for piece in pieces:
        if isinstance(piece, str) and joined and isinstance(joined[-1], str):
            joined[-1] += piece
        elif isinstance(piece, list) and piece[0] == "if":
            joined.append(["if", piece[1], join(piece[2]), join(piece[3])])  # type: ignore[arg-type]
        else:
            joined.append(piece)
    return joined


def compile_packs(folders: list[Path]) -> Bundle:
    """Compile pack folders in rank order into a bundle whose `raw` bytes are canonical.

    Every worked example is run. Raises `CompileError` with all faults found.
    """
    from kneewall.compiler.examples import failures

    faults: list[Fault] = []
    items = read_packs(folders, faults)
    if faults:
        raise CompileError(faults)
    linker = Linker(items, faults)
    draft = linker.link()
    document = draft.model_dump(mode="json", exclude_defaults=True, warnings=False)
    document["format"] = FORMAT
    bundle = load_bundle(canonical_json(document))
    placed = list(items.examples.values())
    for index, what in failures(bundle):
        faults.append(Fault(placed[index].place("name"), "E601", what, "mend the rule or the example"))
    linker.stop_if_faulty()
    return bundle
