"""Pack folders to a bundle: every stage in turn, every fault reported."""

from __future__ import annotations

import gc
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from kneewall.bundle import Bundle, Calculator, Checklist, Collection, Table
from kneewall.compiler.cost import prove_costs
from kneewall.compiler.declare import Declared, content
from kneewall.compiler.errors import CompileError, Fault, RuleFault, nearest
from kneewall.compiler.kept import Kept
from kneewall.compiler.languages import Translation
from kneewall.compiler.overruled import Overruled
from kneewall.compiler.packs import Item, Items, read_packs
from kneewall.compiler.quantities import build_functions, build_quantities, refuse_loops
from kneewall.compiler.tables import TableReader, prove_interpolation
from kneewall.compiler.views import Views
from kneewall.compiler.worked import build_example, named_in


@dataclass(frozen=True)
class Compiled:
    """A bundle and the items it was made of, which know where they are written.

    `overruled` are warnings of worked examples that no longer hold under a later pack; the bundle is without these.
    """

    bundle: Bundle
    items: Items
    overruled: list[Fault] = field(default_factory=list)


def compile_packs(folders: list[Path], kept: Kept | None = None) -> Bundle:
    """Compile pack folders in rank order into a bundle whose `raw` bytes are canonical.

    Every worked example is run. Raises `CompileError` with all faults found. With the same `kept` at each call, what
    has not changed since the last one is not done again; the outcome is the same.
    """
    return compile_items(folders, kept).bundle


def compile_items(folders: list[Path], kept: Kept | None = None) -> Compiled:
    """Like `compile_packs`, and keeps the items."""
    with _without_cycles():
        return _compiled(folders, kept or Kept())


@contextmanager
def _without_cycles() -> Iterator[None]:
    """No search for cycles inside: what a compilation makes is much, stays, and has next to none."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()


def _compiled(folders: list[Path], kept: Kept) -> Compiled:
    faults: list[Fault] = []
    items = read_packs(folders, faults, kept)
    _stop(faults)
    draft = link(items, faults, kept)
    bundle = kept.press(draft)
    judge = Overruled(items, bundle)
    placed = list(items.examples.values())
    overruled: dict[int, Fault] = {}
    for index, what in kept.failing(bundle):
        warning = judge.warning(bundle.examples[index], what)
        if warning is not None:
            overruled.setdefault(index, warning)
            continue
        place = placed[index].place("name")
        faults.append(Fault(place, "E601", what, "mend the rule or the example"))
    if overruled:
        stacks = {judge.ranks[bundle.examples[index].pack] + 1 for index in overruled}
        faults += _wrong_before(folders, stacks, kept)
    _stop(faults)
    if overruled:
        left = [e for index, e in enumerate(draft.examples) if index not in overruled]
        bundle = kept.press(draft.model_copy(update={"examples": left}))
    return Compiled(bundle, items, list(overruled.values()))


def _wrong_before(folders: list[Path], stacks: set[int], kept: Kept) -> list[Fault]:
    """Worked examples that fail under the first so many packs alone: a later one did not overrule these."""
    found: list[Fault] = []
    for count in stacks:
        try:
            compile_items(folders[:count], kept.first(count))
        except CompileError as error:
            found += [fault for fault in error.faults if fault.number == "E601"]
    return found


def _in_order_of_work(topics: list[str], calculators: Iterable[Calculator]) -> list[Calculator]:
    """By topic as the packs list them, topics that none lists last; within one as the rules stand."""
    place = {topic: at for at, topic in enumerate(topics)}
    return sorted(calculators, key=lambda each: place.get(each.topic, len(topics)))


def _checklists_in_order(
    items: Items, checklists: dict[str, Checklist], faults: list[Fault]
) -> list[Checklist]:
    """As the packs list them, those that none lists last. A listed one that no pack declares is a fault."""
    for name, place in items.lists.items():
        if name not in checklists:
            what = f"no checklist is called {name}"
            faults.append(Fault(place, "E201", what, nearest(name, checklists)))
    turn = {name: at for at, name in enumerate(items.lists)}
    return sorted(checklists.values(), key=lambda each: turn.get(each.id, len(turn)))


def link(items: Items, faults: list[Fault], kept: Kept) -> Bundle:
    """A bundle of items, proven but for its examples. Raises `CompileError`."""
    there = Declared(items, faults, kept)
    readers = _declare_tables(there)
    _stop(faults)
    kept.begin(there.world())
    quantities = build_quantities(there)
    functions = build_functions(there)
    views = Views(there, quantities)
    _stop(faults)
    with there.collecting():
        refuse_loops(there, quantities)
    prove_costs(there, quantities, functions, list(views.checks.values()))
    tables = _finish_tables(there, readers)
    _refuse_unused(there, views)
    checklists = _checklists_in_order(items, views.checklists, faults)
    _stop(faults)
    examples = []
    for item in items.examples.values():
        of = named_in(there, views, item.form)
        example = there.make(item, partial(build_example, there, views, item), of)
        examples += [example] if example else []
    _stop(faults)
    draft = Bundle(
        packs=items.packs,
        units=there.edges.units,  # type: ignore[arg-type]
        choices=there.edges.choices,  # type: ignore[arg-type]
        sources=there.sources,
        collections={n: Collection(**content(i.form)) for n, i in items.collections.items()},
        quantities=quantities,
        tables=tables,
        functions=functions,
        checks=list(views.checks.values()),
        cautions=list(views.cautions.values()),
        calculators=_in_order_of_work(items.topics, views.calculators.values()),
        checklists=checklists,
        examples=examples,
    )
    if not items.words:
        return draft
    translation = Translation(draft, views.pieces)
    for file in items.words:
        translation.take(file.document, file.language, file.pack, faults)
    _stop(faults)
    return draft.model_copy(update={"words": translation.words()})


def _stop(faults: list[Fault]) -> None:
    if faults:
        raise CompileError(faults)


def _declare_tables(there: Declared) -> list[TableReader]:
    readers: list[TableReader] = []
    for item in there.items.tables.values():
        with there.collecting():
            readers.append(TableReader(item, len(readers), there))
    by_name = {reader.item.id: reader for reader in readers}
    for rows in there.items.rows.values():
        with there.collecting():
            if rows.id not in by_name:
                hint = nearest(rows.id, by_name)
                raise RuleFault(rows.key_place(), "E201", f"no table is called {rows.id}", hint)
            by_name[rows.id].fill(rows)
    return readers


def _finish_tables(there: Declared, readers: list[TableReader]) -> list[Table]:
    tables: dict[str, Table] = {}
    for reader in readers:
        name, uses = reader.item.id, there.names.uses
        between = {c for u in uses.interpolations if u.table == name for c in (*u.columns, u.out)}
        asked = {c for table, c in uses.columns if table == name}, name in uses.exact, between
        table = there.make(reader.item, partial(reader.finish, *asked), asked, reader.of())
        if table is not None:
            tables[name] = table
    if not there.faults:
        proven: set[tuple[object, ...]] = set()
        for use in there.names.uses.interpolations:
            shape = use.table, use.columns, use.out
            if shape in proven:
                continue
            fault = prove_interpolation(use, tables[use.table], there.names.tables[use.table])
            there.faults += [fault] if fault else []
            if fault is None:
                proven.add(shape)
    return list(tables.values())


def _refuse_unused(there: Declared, views: Views) -> None:
    """What is declared and nothing uses is a slip of the pen, or left over."""
    uses, items = there.names.uses, there.items
    steps = [step for checklist in views.checklists.values() for step in checklist.steps]
    judged = {name for step in steps for name in step.checks}
    warned = {step.caution for step in steps}
    for calculator in views.calculators.values():
        judged |= set(calculator.checks)
        warned |= set(calculator.cautions)
    cited = {item.form.source.partition(" ")[0] for item in items.examples.values()}
    scopes = {item.form.scope for item in items.quantities.values()}
    kinds: tuple[tuple[str, Mapping[str, Item[Any]], set[str]], ...] = (
        ("", items.quantities, uses.quantities),
        ("the function ", items.functions, uses.functions),
        ("the check ", items.checks, judged),
        ("the caution ", items.cautions, warned),
        ("the choice list ", items.choices, there.chosen),
        ("the collection ", items.collections, scopes),
        ("the source ", items.sources, uses.sources | cited),
    )
    for what, declared, used in kinds:
        for name, item in declared.items():
            if name not in used and item.pack in there.answerable:
                mend = "use it or leave it out"
                fault = Fault(item.key_place(), "E204", f"nothing uses {what}{name}", mend)
                there.faults.append(fault)
