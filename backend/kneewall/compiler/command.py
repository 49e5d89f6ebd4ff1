"""`kneewall compile` and `kneewall evaluate`: the rule side of the command line."""

from __future__ import annotations

import argparse
import json
import re
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from kneewall.bundle import Bundle, BundleError, Calculator, Quantity, SourceRef, load_bundle
from kneewall.compiler.context import context
from kneewall.compiler.errors import CompileError, Fault
from kneewall.compiler.link import compile_items
from kneewall.compiler.warnings import warnings_of
from kneewall.engine import Answer, CheckResult, Engine, Unknown
from kneewall.explain import Explainer, Step
from kneewall.reading import Edges, ReadingError, edges_of


def register(subparsers: Any) -> None:
    """Add both commands to the command line."""
    compiler = subparsers.add_parser("compile", help="rule folders to one bundle")
    compiler.add_argument(
        "packs",
        nargs="*",
        type=Path,
        metavar="PACK",
        help="pack folders in rank order; without: the trade pack",
    )
    compiler.add_argument("-o", "--output", type=Path, required=True, metavar="FILE")
    compiler.add_argument("--warnings", action="store_true", help="list the warnings on stderr")
    compiler.add_argument(
        "--context",
        action="store_true",
        help="show the line and the source under each fault, as on a terminal",
    )
    compiler.set_defaults(run=run_compile)
    evaluate = subparsers.add_parser("evaluate", help="run one calculator of a bundle")
    evaluate.add_argument("bundle", type=Path, metavar="FILE")
    evaluate.add_argument("calculator", metavar="CALCULATOR")
    evaluate.add_argument("values", nargs="*", metavar="name=value")
    evaluate.add_argument("--json", action="store_true", help="print one JSON object")
    evaluate.set_defaults(run=run_evaluate)


def trade_pack() -> Path:
    """The rules that ship: in the wheel beside this package, in a checkout at its top level."""
    inside = Path(__file__).resolve().parents[1] / "_rules"
    return inside if inside.is_dir() else Path(__file__).resolve().parents[3] / "rules"


def run_compile(arguments: argparse.Namespace) -> int:
    """Exit 0; 1 with one `file:line:col: message` line a fault on stderr; 2 when the output cannot be written."""
    shown = arguments.context or sys.stderr.isatty()
    try:
        compiled = compile_items(arguments.packs or [trade_pack()])
    except CompileError as error:
        _print_faults(error.faults, with_context=shown)
        return 1
    bundle = compiled.bundle
    try:
        arguments.output.write_bytes(bundle.raw)
    except OSError as error:
        print(f"{arguments.output}: cannot be written: {error.strerror}", file=sys.stderr)
        return 2
    print(f"{arguments.output}: {len(bundle.raw):,} bytes, {bundle.hash}")
    warnings = warnings_of(compiled)
    if arguments.warnings:
        _print_faults(warnings, with_context=shown)
    hint = "" if arguments.warnings or not warnings else "; --warnings lists them"
    print(f"{len(warnings) or 'no'} warning{'s' * (len(warnings) != 1)}{hint}")
    return 0


def _print_faults(faults: list[Fault], *, with_context: bool) -> None:
    for fault in faults:
        print(fault, file=sys.stderr)
        for line in context(fault) if with_context else ():
            print(line, file=sys.stderr)


class BadInput(Exception):
    """Every fault of the values given, one line each."""


def run_evaluate(arguments: argparse.Namespace) -> int:
    """Exit 0; 3 when a result that applies is unknown; 2 with one line a fault for bad input."""
    try:
        bundle = read_bundle(arguments.bundle)
        calculator = _calculator(bundle, arguments.calculator)
        values, members = read_values(bundle, arguments.values)
    except BadInput as error:
        print(error, file=sys.stderr)
        return 2
    answer = Engine(bundle).evaluate(values, members)
    report = Report(answer, calculator)
    print(
        json.dumps(report.document(), ensure_ascii=False, indent=2)
        if arguments.json
        else report.text()
    )
    return 3 if report.incomplete else 0


def read_bundle(path: Path) -> Bundle:
    """The bundle in a file. Raises `BadInput` with one line."""
    try:
        return load_bundle(path.read_bytes())
    except OSError as error:
        raise BadInput(f"{path}: cannot be read: {error.strerror}") from None
    except BundleError as error:
        raise BadInput(f"{path}: {error}") from None


def _calculator(bundle: Bundle, name: str) -> Calculator:
    found = next((c for c in bundle.calculators if c.id == name), None)
    if found is None:
        from kneewall.compiler.errors import nearest

        hint = nearest(name, [c.id for c in bundle.calculators])
        raise BadInput(f"no calculator is called {name}" + (f"; {hint}" if hint else ""))
    return found


def read_values(
    bundle: Bundle, arguments: list[str]
) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """`name=value` and `name@2=value` to engine values and members. Raises `BadInput` with every fault."""
    edges: Edges = edges_of(bundle)
    known = {q.id: q for q in bundle.quantities} | {
        old: q for q in bundle.quantities for old in q.formerly
    }
    values: dict[str, Any] = {}
    counts = dict.fromkeys(bundle.collections, 1)
    faults: list[str] = []
    for argument in arguments:
        try:
            quantity, member, text = _split(argument, known, bundle)
            if quantity.type == "list":
                _unspaced(text)
            value = edges.parse(quantity, text).si
        except ReadingError as error:
            faults.append(f"{argument}: {error}")
            continue
        place = values if quantity.scope not in counts else values.setdefault(quantity.id, {})
        key = quantity.id if quantity.scope not in counts else str(member)
        if key in place:
            faults.append(f"{argument}: {quantity.id} is given twice; leave one out")
        place[key] = value
        if quantity.scope in counts:
            counts[quantity.scope] = max(counts[quantity.scope], member)
    if faults:
        raise BadInput("\n".join(faults))
    return values, {name: [str(n + 1) for n in range(count)] for name, count in counts.items()}


def _split(argument: str, known: dict[str, Quantity], bundle: Bundle) -> tuple[Quantity, int, str]:
    from kneewall.compiler.errors import nearest

    name, equals, text = argument.partition("=")
    if not equals:
        raise ReadingError("form", "write name=value")
    name, at, member = name.partition("@")
    if name not in known:
        hint = nearest(name, known)
        raise ReadingError("name", f"no quantity is called {name}" + (f"; {hint}" if hint else ""))
    quantity = known[name]
    if quantity.tree is not None:
        raise ReadingError("derived", f"{name} is computed and cannot be given")
    if at and (
        quantity.scope not in bundle.collections
        or not member.isdigit()
        or not 1 <= int(member) <= 99
    ):
        raise ReadingError(
            "member", f"@{member} is no member of {quantity.scope}; number members from @1"
        )
    return quantity, int(member or 1), text


def _unspaced(text: str) -> None:
    """Refuse `10,5` in a list of one line, which may be two entries or one with a decimal comma."""
    if ";" not in text and re.search(r"[0-9],[0-9]", text):
        spaced, pointed = re.sub(r",(?=\S)", ", ", text), re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text)
        raise ReadingError("comma", f"{text!r} could be {spaced!r} or {pointed!r}; write which")


class Report:
    """The results of one calculator, as text and as the documented JSON object."""

    def __init__(self, answer: Answer, calculator: Calculator) -> None:
        self.answer = answer
        self.calculator = calculator
        self.bundle = answer.engine.bundle
        self.explainer = Explainer(answer)
        self.edges = edges_of(self.bundle)
        self.incomplete = False

    def _members(self, scope: str) -> list[tuple[str, str | None]]:
        """(suffix of the name, member) for every member; no suffix where there is one."""
        if scope not in self.answer.engine.collections:
            return [("", None)]
        keys = self.answer.names[self.answer.engine.collections[scope]]
        return [("", keys[0])] if len(keys) == 1 else [(f"@{key}", key) for key in keys]

    def document(self) -> dict[str, Any]:
        results = {}
        steps: dict[str, Any] = {}
        for name in self.calculator.show:
            slot = self.answer.engine.slots[name]
            quantity = self.bundle.quantities[slot]
            for suffix, member in self._members(quantity.scope):
                results[name + suffix] = self._result(quantity, member)
            for below in self.bundle.order:
                if (
                    below in self.answer.engine.upstream[slot]
                    and self.bundle.quantities[below].tree is not None
                ):
                    for suffix, member in self._members(self.bundle.quantities[below].scope):
                        steps.setdefault(self.bundle.quantities[below].id + suffix, (below, member))
        return {
            "calculator": self.calculator.id,
            "bundle": self.bundle.hash,
            "results": results,
            "checks": [
                self._check(result) for result in self.answer.checks(self.calculator.checks)
            ],
            "steps": [self._step(name, slot, member) for name, (slot, member) in steps.items()],
        }

    def _result(self, quantity: Quantity, member: str | None) -> dict[str, Any]:
        value = self.answer.value(quantity.id, member)
        engine = self.answer.engine
        below = engine.upstream[engine.slots[quantity.id]]
        found: dict[str, Any]
        if isinstance(value, Unknown):
            self.incomplete |= value.why != "not-applicable"
            needs = self.answer.needs(value)
            found = {"value": None, "why": value.why, "needs": self._ordered([name for name, _ in needs]),
                     "detail": self.explainer.why(value)}  # fmt: skip
        else:
            found = {"value": self.edges.declared(quantity, value)}
            if quantity.unit:
                found |= {"unit": quantity.unit, "si": value}
        found["steps"] = [
            self.bundle.quantities[s].id
            for s in self.bundle.order
            if s in below and self.bundle.quantities[s].tree is not None
        ]
        found["source"] = shown_source(quantity.source)
        found["pack"] = quantity.pack
        amended = [asdict(a) for a in self.explainer.amended(quantity.id, member)]
        notes = {
            "defaults": self.explainer.defaults(quantity.id, member),
            "amended": amended,
            "until": self.explainer.until(quantity.id, member),
            "disputed": []
            if isinstance(value, Unknown)
            else [shown_source(source) for source in self.explainer.disputed(quantity.id, member)],
        }
        found |= {key: value for key, value in notes.items() if value}
        return found

    def _ordered(self, names: list[str]) -> list[str]:
        """In the order in which this calculator lets one enter them."""
        place = {name: index for index, name in enumerate(self.calculator.enter)}
        return sorted(dict.fromkeys(names), key=lambda name: place.get(name, len(place)))

    def _check(self, result: CheckResult) -> dict[str, Any]:
        check = next(c for c in self.bundle.checks if c.id == result.id)
        members = self._members(check.scope)
        found = {"id": result.id, "verdict": result.verdict, "borderline": result.borderline,
                 "message": self.explainer.message(result), "source": shown_source(check.source)}  # fmt: skip
        if len(members) > 1:
            found["member"] = result.member
        if until := self.explainer.last_day(result):
            found["until"] = until
        if disputed := self._disputed(result):
            found["disputed"] = disputed
        if result.unknown is not None:
            found["needs"] = self._ordered([name for name, _ in self.answer.needs(result.unknown)])
        return found

    def _disputed(self, result: CheckResult) -> list[str]:
        """Sources in dispute that a verdict rests on; an unknown one rests on nothing."""
        if result.verdict in ("unknown", "not-applicable"):
            return []
        return [shown_source(source) for source in self.explainer.disputed_in(result)]

    def _step(self, name: str, slot: int, member: str | None) -> dict[str, Any]:
        quantity = self.bundle.quantities[slot]
        step = self.explainer.step(quantity.id, member)
        known = not isinstance(step.value, Unknown)
        return {"id": name, "formula": step.formula, "filled": step.filled,
                "value": self.edges.declared(quantity, step.value) if known else None,
                "unit": step.unit or None, "source": shown_source(step.source),
                "rows": [self._row(*row) for row in step.rows]}  # fmt: skip

    def _row(self, name: str, row: int) -> dict[str, Any]:
        """A row that was read, counted from 1, with its own source or its table's."""
        table = next(table for table in self.bundle.tables if table.id == name)
        mark = table.marks.get(str(row))
        source = mark.source if mark and mark.source else table.source
        return {"table": name, "row": row + 1, "source": shown_source(source)}

    def text(self) -> str:
        lines = []
        for name in self.calculator.show:
            quantity = self.bundle.quantities[self.answer.engine.slots[name]]
            for suffix, member in self._members(quantity.scope):
                value = self.answer.value(name, member)
                label = quantity.label + suffix
                if isinstance(value, Unknown):
                    self.incomplete |= value.why != "not-applicable"
                    lines.append(f"{label}: {value.why}. {self.explainer.why(value)}")
                    continue
                lines.append(f"{label}: {self.edges.show(quantity, value)}")
                step = self.explainer.step(name, member)
                if step.filled:
                    lines.append(f"    = {step.filled}   [{shown_source(step.source)}]")
                lines += [f"    {note}" for note in self._notes(step)]
        for result in self.answer.checks(self.calculator.checks):
            label = next(c.label for c in self.bundle.checks if c.id == result.id)
            lines.append(f"{result.verdict}: {label}. {self.explainer.message(result)}")
            if until := self.explainer.last_day(result):
                lines.append(f"    the rule holds to {until}")
            lines += [f"    rests on a figure in dispute: {it}" for it in self._disputed(result)]
        for name in self.calculator.cautions:
            caution = next(c for c in self.bundle.cautions if c.id == name)
            lines.append(f"caution: {caution.text}")
        return "\n".join(lines)

    def _notes(self, step: Step) -> list[str]:
        """What a person must know of a result beyond its formula."""
        labels = {quantity.id: quantity.label for quantity in self.bundle.quantities}
        notes = [f"the rule holds to {day}" for day in step.until]
        disputed = self.explainer.disputed(step.id, step.member)
        notes += [f"rests on a figure in dispute: {shown_source(it)}" for it in disputed]
        if step.defaults:
            notes.append(
                "rests on declared defaults: " + ", ".join(labels[name] for name in step.defaults)
            )
        return notes + [f"{a.id} is of the pack {a.pack}: {a.because}" for a in step.amended]


def shown_source(source: SourceRef | None) -> str:
    """A source as one line: id, place, and how sure it is."""
    if source is None:
        return ""
    return f"{source.of} {source.place}".strip() + (f" ({source.mark})" if source.mark else "")
