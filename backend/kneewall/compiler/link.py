"""Pack folders to a bundle: every stage in turn, every fault reported."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path

from kneewall.bundle import Bundle, Collection, Table
from kneewall.compiler.declare import Declared, content
from kneewall.compiler.errors import CompileError, Fault, RuleFault, nearest
from kneewall.compiler.kept import Kept
from kneewall.compiler.packs import Items, read_packs
from kneewall.compiler.quantities import build_functions, build_quantities, evaluation_order
from kneewall.compiler.tables import TableReader, prove_interpolation
from kneewall.compiler.views import Views
from kneewall.compiler.worked import build_example, named_in


@dataclass(frozen=True)
class Compiled:
    """A bundle and the items it was made of, which know where they are written."""

    bundle: Bundle
    items: Items


def compile_packs(folders: list[Path], kept: Kept | None = None) -> Bundle:
    """Compile pack folders in rank order into a bundle whose `raw` bytes are canonical.

    Every worked example is run. Raises `CompileError` with all faults found. With the same `kept` at each call, what
    has not changed since the last one is not done again; the outcome is the same.
    """
    return compile_items(folders, kept).bundle


def compile_items(folders: list[Path], kept: Kept | None = None) -> Compiled:
    """Like `compile_packs`, and keeps the items."""
    kept = kept or Kept()
    faults: list[Fault] = []
    items = read_packs(folders, faults, kept)
    _stop(faults)
    bundle = kept.press(link(items, faults, kept))
    placed = list(items.examples.values())
    for index, what in kept.failing(bundle):
        place = placed[index].place("name")
        faults.append(Fault(place, "E601", what, "mend the rule or the example"))
    _stop(faults)
    return Compiled(bundle, items)


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
    order: list[int] = []
    with there.collecting():
        order = evaluation_order(there, quantities)
    tables = _finish_tables(there, readers)
    _refuse_unused(there)
    _stop(faults)
    examples = []
    for item in items.examples.values():
        of = named_in(there, views, item.form)
        example = there.make(item, partial(build_example, there, views, item), of)
        examples += [example] if example else []
    _stop(faults)
    return Bundle(
        packs=items.packs,
        units=there.edges.units,  # type: ignore[arg-type]
        choices=there.edges.choices,  # type: ignore[arg-type]
        sources=there.sources,
        collections={n: Collection(**content(i.form)) for n, i in items.collections.items()},
        quantities=quantities,
        order=order,
        tables=tables,
        functions=functions,
        checks=list(views.checks.values()),
        cautions=list(views.cautions.values()),
        calculators=list(views.calculators.values()),
        checklists=list(views.checklists.values()),
        examples=examples,
    )


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
        asked = {column for table, column in uses.columns if table == name}, name in uses.exact
        table = there.make(reader.item, partial(reader.finish, *asked), asked, reader.of())
        if table is not None:
            tables[name] = table
    if not there.faults:
        for use in there.names.uses.interpolations:
            fault = prove_interpolation(use, tables[use.table], there.names.tables[use.table])
            there.faults += [fault] if fault else []
    return list(tables.values())


def _refuse_unused(there: Declared) -> None:
    for name, item in there.items.quantities.items():
        if name not in there.names.uses.quantities:
            place = item.key_place()
            there.faults.append(
                Fault(place, "E204", f"nothing uses {name}", "use it or leave it out")
            )
    for name, function in there.items.functions.items():
        if name not in there.names.uses.functions:
            place = function.key_place()
            there.faults.append(Fault(place, "E204", f"nothing uses the function {name}"))
