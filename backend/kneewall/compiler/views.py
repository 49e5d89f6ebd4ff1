"""Checks, calculators, checklists, cautions: what is shown of the graph, every name in them proven."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from functools import partial
from typing import Any, Final

from kneewall.bundle import (
    OVER_VISITS,
    Calculator,
    Caution,
    Chart,
    Check,
    Checklist,
    Expr,
    Piece,
    Quantity,
    Step,
    Verdict,
)
from kneewall.compiler.charts import build_chart
from kneewall.compiler.declare import Declared, content
from kneewall.compiler.errors import Place, RuleFault, nearest
from kneewall.compiler.formula import Formula
from kneewall.compiler.packs import Item
from kneewall.compiler.schema import (
    CalculatorForm,
    CautionForm,
    CheckForm,
    ChecklistForm,
    StepForm,
)
from kneewall.compiler.types import FLAG, Type

Written = tuple[StepForm, Item[Any], tuple[str | int, ...]]
"""A step, the item it is written in, and where in that item."""
_PLACEHOLDER: Final = re.compile(r"\{([^{}]*)\}")


def _step_id(item: Item[Any]) -> str:
    return item.id.partition("/")[2]


class Views:
    """Builds all views over the quantities of one compilation."""

    def __init__(self, there: Declared, quantities: list[Quantity]) -> None:
        self.there = there
        self.quantities = quantities
        self.checks: dict[str, Check] = {}
        self.calculators: dict[str, Calculator] = {}
        self.checklists: dict[str, Checklist] = {}
        self.cautions: dict[str, Caution] = {}
        items = there.items
        for name, caution in items.cautions.items():
            with there.collecting():
                self.cautions[name] = self._caution(name, caution)
        for name, check in items.checks.items():
            made = there.make(check, partial(self._check, name, check))
            if made is not None:
                self.checks[name] = made
        for name, calculator in items.calculators.items():
            with there.collecting():
                self.calculators[name] = self._calculator(name, calculator)
        known = [*items.checks], [*items.calculators], [*items.cautions]
        derived = {name for name, quantity in items.quantities.items() if quantity.form.derived}
        for name, checklist in items.checklists.items():
            steps = [step for step in items.steps.values() if step.id.startswith(f"{name}/")]
            amended = [(step.document, step.pack, step.path, step.replaced) for step in steps]
            listed = there.make(
                checklist, partial(self._checklist, name, checklist), amended, known, derived
            )
            if listed is not None:
                self.checklists[name] = listed

    def _caution(self, name: str, item: Item[CautionForm]) -> Caution:
        source = self.there.source(item.form.source, item.place("source"))
        return Caution(
            id=name,
            text=item.form.text,
            owner=item.form.owner,
            source=source,
            pack=item.pack,
            replaced=item.replaced,
        )

    def pieces(self, text: str, place: Place) -> list[Piece]:
        """A message with its placeholders as slots."""
        known = self.there.names.quantities
        pieces: list[Piece] = []
        for index, part in enumerate(_PLACEHOLDER.split(text)):
            if index % 2 == 0:
                if "{" in part or "}" in part:
                    what = "a brace stands here that opens or closes nothing"
                    raise RuleFault(place, "E106", what, "write {topic.name}, or leave it out")
                pieces += [part] if part else []
            elif part in known:
                self.there.names.uses.quantities.add(part)
                pieces.append(["q", known[part][0]])
            else:
                what = f"{{{part}}}: no quantity has this name"
                raise RuleFault(place, "E201", what, self.there.names.called(part))
        return pieces

    def _check(self, name: str, item: Item[CheckForm]) -> Check:
        form = item.form
        if not (form.fail or form.caution):
            what = f"{name} has neither fail nor caution"
            raise RuleFault(item.key_place(), "E105", what, "write at least one condition")
        self.there.scope(form.scope, item.place("scope"))
        inputs: set[int] = set()
        trees: dict[str, Any] = {}
        for key in ("when", "fail", "caution"):
            text = getattr(form, key)
            if text:
                formula = Formula(self.there.names, text, item.place(key))
                trees[key] = formula.read(form.scope, FLAG, key, traced=False).tree
                inputs |= formula.inputs
        if form.holds:
            place = item.place("holds")
            holds, trees["holds"] = self.there.holds(form.holds, place, inputs)
            trees["when"] = ["and", holds, trees["when"]] if "when" in trees else holds
        self.there.names.uses.quantities |= self.there.slots(inputs)
        needed: tuple[tuple[Verdict, str], ...] = (
            ("pass", "always"),
            ("fail", form.fail),
            ("caution", form.caution),
        )
        for verdict, condition in needed:
            if condition and verdict not in form.says:
                what = f"{name} says nothing for {verdict}"
                raise RuleFault(item.place("says"), "E105", what, f"write {verdict}: …")
            if verdict in form.says and not condition:
                what = f"{name} never gives {verdict}"
                raise RuleFault(item.place("says", verdict), "E204", what, "leave it out")
        return Check(
            id=name,
            label=form.label,
            scope=form.scope,
            **trees,
            says={v: self.pieces(t, item.place("says", v)) for v, t in form.says.items()},
            source=self.there.source(form.source, item.place("source")),
            pack=item.pack,
            replaced=item.replaced,
        )

    def _entered(self, names: list[str], item: Item[Any], *path: str | int) -> None:
        """Names of entered quantities, now used."""
        self._quantities(names, item, *path)
        for index, name in enumerate(names):
            if self.there.items.quantities[name].form.derived:
                what = f"{name} is derived and cannot be entered"
                raise RuleFault(item.place(*path, index), "E404", what, "list it under show")

    def _quantities(self, names: list[str], item: Item[Any], *path: str | int) -> None:
        self.there.exist(names, self.there.names.quantities, "quantity", item, *path)
        self.there.names.uses.quantities |= set(names)

    def _calculator(self, name: str, item: Item[CalculatorForm]) -> Calculator:
        form = item.form
        self._entered(form.enter, item, "enter")
        self._entered(form.if_known, item, "if_known")
        self._quantities(form.show, item, "show")
        items = self.there.items
        self.there.exist(form.checks, items.checks, "check", item, "checks")
        self.there.exist(form.cautions, items.cautions, "caution", item, "cautions")
        charts = [
            build_chart(self.there, self.quantities, item, index)
            for index in range(len(form.charts))
        ]
        self.there.names.uses.quantities |= {
            name
            for c in charts
            for name in (c.over, *c.show, *c.lines)
            if name not in ("", OVER_VISITS)
        }
        if not self.there.faults:
            self._sufficient(name, item, charts)
        changes = {"charts": charts, "pack": item.pack, "replaced": item.replaced}
        return Calculator(id=name, **content(form) | changes)

    def _sufficient(self, name: str, item: Item[CalculatorForm], charts: list[Chart]) -> None:
        """Whatever results, checks and charts rest on can be entered, and charts show what they are drawn over."""
        form, known = item.form, self.there.names.quantities
        drawn = [shown for chart in charts for shown in (*chart.show, *chart.lines)]
        needed = [known[shown][0] for shown in (*form.show, *drawn)]
        needed += [slot for check in form.checks for slot in self.checks[check].inputs]
        for slot in self.upstream(needed):
            quantity = self.quantities[slot]
            if quantity.tree is None and quantity.id not in (*form.enter, *form.if_known):
                what = f"{name} rests on {quantity.id}, which it does not let one enter"
                mend = f"add {quantity.id} to enter or to if_known"
                raise RuleFault(item.place("enter"), "E105", what, mend)
        for index, chart in enumerate(charts):
            for key, names in (("show", chart.show), ("lines", chart.lines if chart.over else [])):
                for place, shown in enumerate(names):
                    rests = self._changes(chart, self.upstream([known[shown][0]]))
                    if rests != (key == "show"):
                        verb = "changes" if rests else "does not change"
                        visits = chart.over == OVER_VISITS
                        along = "from visit to visit" if visits else f"with {chart.over}"
                        what = f"{shown} {verb} {along}"
                        mend = "list it under show" if rests else "list it under lines"
                        at = item.place("charts", index, key, place)
                        raise RuleFault(at, "E206", what, mend)

    def _changes(self, chart: Chart, rests_on: list[int]) -> bool:
        """Whether what rests on these slots changes along the chart."""
        if chart.over != OVER_VISITS:
            return self.there.names.quantities[chart.over][0] in rests_on
        entered = (each for each in map(self.quantities.__getitem__, rests_on) if each.tree is None)
        return any(each.each_visit or each.scope == "visit" for each in entered)

    def upstream(self, slots: Iterable[int]) -> list[int]:
        """These slots and all they rest on."""
        found: set[int] = set()
        stack = list(slots)
        while stack:
            slot = stack.pop()
            if slot not in found:
                found.add(slot)
                stack += self.quantities[slot].inputs
        return sorted(found)

    def _checklist(self, name: str, item: Item[ChecklistForm]) -> Checklist:
        inputs: set[int] = set()
        steps: list[Step] = []
        for form, where, path in self._written(name, item):
            with self.there.collecting():
                earlier = [step.id for step in steps]
                steps.append(self._step(form, where, path, earlier, inputs))
        self.there.names.uses.quantities |= self.there.slots(inputs)
        return Checklist(
            id=name,
            title=item.form.title,
            note=item.form.note,
            steps=steps,
            pack=item.pack,
            replaced=item.replaced,
        )

    def _written(self, name: str, item: Item[ChecklistForm]) -> list[Written]:
        """The steps in order, with those of later packs in their places."""
        steps: list[Written] = [
            (step, item, ("steps", index)) for index, step in enumerate(item.form.steps)
        ]
        left = [step for step in self.there.items.steps.values() if step.id.startswith(f"{name}/")]
        while left:
            ids = [step.id for step, _, _ in steps]
            # One may follow another that is added further down.
            amended = next((a for a in left if (a.follows or _step_id(a)) in ids), left[0])
            left.remove(amended)
            with self.there.collecting():
                written = amended.form.model_dump(exclude={"follows"}, by_alias=True)
                form = StepForm(id=_step_id(amended), **written)
                target = amended.follows or (form.id if amended.replaced else "")
                mend = "name the step that this one follows"
                if not target:
                    raise RuleFault(amended.key_place(), "E105", "follows is missing", mend)
                if target not in ids:
                    what = f"no step is called {target!r}"
                    raise RuleFault(
                        amended.place("follows"), "E201", what, nearest(target, ids) or mend
                    )
                place = ids.index(target)
                if amended.follows:
                    steps.insert(place + 1, (form, amended, ()))
                else:
                    steps[place] = (form, amended, ())
        return steps

    def _step(
        self,
        form: StepForm,
        item: Item[Any],
        at: tuple[str | int, ...],
        earlier: list[str],
        inputs: set[int],
    ) -> Step:
        there = self.there
        if form.id in earlier:
            what = f"a step {form.id} stands before"
            raise RuleFault(item.place(*at, "id"), "E202", what, "use another name")
        self._entered(form.enter, item, *at, "enter")
        self._entered(form.if_known, item, *at, "if_known")
        self._entered(form.clears, item, *at, "clears")
        self._quantities(form.show, item, *at, "show")
        there.exist(form.checks, there.items.checks, "check", item, *at, "checks")
        there.exist(form.after, earlier, "step before this one", item, *at, "after")
        named: tuple[tuple[str, str, Collection[str]], ...] = (
            ("calculator", "calculator", there.items.calculators),
            ("caution", "caution", there.items.cautions),
            ("least", "quantity", there.names.quantities),
            ("keeps", "quantity", there.names.quantities),
        )
        for key, what, known in named:
            if getattr(form, key):
                there.exist([getattr(form, key)], known, what, item, *at, key)
        there.names.uses.quantities |= {name for name in (form.least, form.keeps) if name}
        if (form.act == "time") != bool(form.least and form.keeps):
            what = "a timed step has least and keeps, and no other step has"
            raise RuleFault(item.place(*at, "act"), "E105", what, "name both quantities")
        if form.keeps:
            self._timed(form, item, at)
        if form.act in ("read", "choose") and not (form.enter or form.if_known or form.show):
            what = f"the step {form.id} lets one {form.act}, but enters and shows nothing"
            mend = "name what under enter or show, or write act: do"
            raise RuleFault(item.place(*at, "act"), "E105", what, mend)
        if bool(form.needs) != bool(form.held):
            key, other = ("needs", "held") if form.needs else ("held", "needs")
            what = f"the step {form.id} has {key} without {other}"
            mend = "needs is the condition, held says what to do until it is true"
            raise RuleFault(item.place(*at, key), "E105", what, mend)
        changes: dict[str, Any] = {"when": None, "holds": None, "needs": None}
        conditions: list[Expr] = []
        if form.holds:
            condition, changes["holds"] = there.holds(form.holds, item.place(*at, "holds"), inputs)
            conditions.append(condition)
        if form.when:
            formula = Formula(there.names, form.when, item.place(*at, "when"))
            conditions.append(formula.read("visit", FLAG, "when", traced=False).tree)
            inputs |= formula.inputs
        if form.needs:
            formula = Formula(there.names, form.needs, item.place(*at, "needs"))
            changes["needs"] = formula.read("visit", FLAG, "needs", traced=False).tree
            inputs |= formula.inputs
        if conditions:
            changes["when"] = conditions[0] if len(conditions) == 1 else ["and", *conditions]
        return Step(**content(form) | changes, pack=item.pack, replaced=item.replaced)

    def _timed(self, form: StepForm, item: Item[Any], at: tuple[str | int, ...]) -> None:
        """What a timed step waits for and keeps are times, and what it keeps is entered by it."""
        time = Type(dimension=self.there.names.date_type.dimension)
        for key, name in (("least", form.least), ("keeps", form.keeps)):
            found = self.there.types[name]
            if found.base != "number" or (found.dimension, found.kind) != (time.dimension, ""):
                what = f"{name} is {found}, a time is meant"
                raise RuleFault(item.place(*at, key), "E302", what, "name one in min or h")
        self._entered([form.keeps], item, *at, "keeps")
