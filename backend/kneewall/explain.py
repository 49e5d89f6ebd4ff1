"""A result opened: its formula with the values filled in, the rows used, the source, what it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from kneewall.bundle import Piece, Quantity, SourceRef, Value, functions_in
from kneewall.engine import Answer, CheckResult, Unknown
from kneewall.engine.expressions import whole
from kneewall.engine.written import filled, formulas, written
from kneewall.reading import Edges, System, edges_of

NOT_KNOWN: Final = "(not known)"
"""In a message, where a figure would stand. The phone says the same."""


@dataclass(frozen=True)
class Amended:
    """Something a result rests on that a later pack put in the place of an earlier rule."""

    id: str
    pack: str
    because: str


@dataclass(frozen=True)
class Step:
    """One derived result: `filled` is its formula with values; `rows` are (table, row) it was read from.

    `until` are the last days of rules it rests on.
    """

    id: str
    member: str | None
    formula: str
    filled: str
    value: Value | Unknown
    unit: str
    source: SourceRef | None
    pack: str
    rows: list[tuple[str, int]]
    defaults: list[str]
    amended: list[Amended]
    until: list[str]


class Explainer:
    """Puts the results of one answer into words and units."""

    def __init__(self, answer: Answer, system: System | None = None) -> None:
        self.answer = answer
        self.bundle = answer.engine.bundle
        self.edges: Edges = edges_of(self.bundle)
        self.system: System | None = system

    def step(self, quantity: str, member: str | None = None) -> Step:
        slot = self.answer.engine.slots[quantity]
        q = self.bundle.quantities[slot]
        position = self.answer.place(q.scope, member)
        trace, rows = self.answer.opened(slot, position)
        case = self._case(q, trace)
        texts = [written(self.bundle, tree) for tree in formulas(q)]
        return Step(
            id=quantity,
            member=member,
            formula="; ".join(texts) if case is None else texts[case],
            filled=self._filled(q, position, trace),
            value=self.answer.value(quantity, member),
            unit=q.unit,
            source=q.source if case is None else q.cases[case].source,
            pack=q.pack,
            rows=self._rows(rows),
            defaults=self.defaults(quantity, member),
            amended=self.amended(quantity, member),
            until=self.until(quantity, member),
        )

    @staticmethod
    def _case(q: Quantity, trace: Sequence[Any]) -> int | None:
        """Which case held, of a quantity that has several."""
        return next((k for k in range(len(q.cases)) if k < len(trace) and trace[k]), None)

    def _below(self, quantity: str, member: str | None) -> Iterator[tuple[int, Quantity, int]]:
        """(slot, quantity, position) of all a result rests on, itself included.

        Of its own collection the same member, of another every member.
        """
        engine = self.answer.engine
        slot = engine.slots[quantity]
        scope = self.bundle.quantities[slot].scope
        for plan in engine.path(slot):
            q = plan.quantity
            if plan.home is None or q.scope == scope:
                yield plan.slot, q, self.answer.place(q.scope, member)
            else:
                for position in range(len(self.answer.names[plan.home])):
                    yield plan.slot, q, position

    def amended(self, quantity: str, member: str | None = None) -> list[Amended]:
        """What of all this was put there by a later pack, and why."""
        found: dict[str, Amended] = {}
        for slot, q, position in self._below(quantity, member):
            if q.replaced:
                found[q.id] = Amended(q.id, q.pack, q.replaced.because)
            for function in functions_in(self.bundle, q.tree, q.when):
                if function.replaced:
                    because = function.replaced.because
                    found[function.id] = Amended(function.id, function.pack, because)
            choices = self.bundle.choices.get(q.choices)
            if choices and choices.replaced:
                found[q.choices] = Amended(q.choices, choices.pack, choices.replaced.because)
            for index, row in self.answer.opened(slot, position).rows:
                table = self.bundle.tables[index]
                mark = table.marks.get(str(row))
                if table.replaced:
                    found[table.id] = Amended(table.id, table.pack, table.replaced.because)
                if mark and mark.replaced:
                    key = f"{table.id} {row + 1}"
                    found[key] = Amended(key, mark.pack or table.pack, mark.replaced.because)
        return list(found.values())

    def until(self, quantity: str, member: str | None = None) -> list[str]:
        """Last days of the rules and rows a result rests on, earliest first."""
        days = set()
        for slot, q, position in self._below(quantity, member):
            opened = self.answer.opened(slot, position)
            case = self._case(q, opened.trace) if q.cases else None
            held = None if case is None else q.cases[case].holds
            days |= {h.until for h in (q.holds, held) if h and h.until}
            for index, row in opened.rows:
                last = self.bundle.tables[index].last_day(row)
                days |= {last} if last else set()
        return sorted(days)

    def defaults(self, quantity: str, member: str | None = None) -> list[str]:
        """Declared defaults that a result rests on."""
        self.answer.value(quantity, member)
        below = self._below(quantity, member)
        return sorted({q.id for slot, q, at in below if (slot, at) in self.answer.defaulted})

    def disputed(self, quantity: str, member: str | None = None) -> list[SourceRef]:
        """Sources in dispute that a result rests on, however far back."""
        found: dict[tuple[str, str], SourceRef] = {}
        for slot, q, position in self._below(quantity, member):
            opened = self.answer.opened(slot, position)
            held = (case for case, taken in zip(q.cases, opened.trace, strict=False) if taken)
            sources = [next((case.source for case in held), q.source)]
            for index, row in opened.rows:
                mark = self.bundle.tables[index].marks.get(str(row))
                own = mark.source if mark else None
                sources.append(own or self.bundle.tables[index].source)
            for source in sources:
                if source and source.mark == "disputed":
                    found[source.of, source.place] = source
        return list(found.values())

    def disputed_in(self, result: CheckResult) -> list[SourceRef]:
        """The same of a verdict."""
        check = next(check for check in self.bundle.checks if check.id == result.id)
        engine = self.answer.engine
        found: list[SourceRef] = []
        for slot in check.inputs:
            q = self.bundle.quantities[slot]
            home = engine.collections.get(q.scope)
            of: Sequence[str | None] = [None] if home is None else self.answer.names[home]
            for member in [result.member] if q.scope == check.scope else of:
                found += (one for one in self.disputed(q.id, member) if one not in found)
        return found

    def last_day(self, result: CheckResult) -> str:
        """The last day of the check itself, "" where it names none or judged nothing."""
        check = next(check for check in self.bundle.checks if check.id == result.id)
        judged = result.verdict not in ("unknown", "not-applicable")
        return check.holds.until if judged and check.holds else ""

    def message(self, result: CheckResult) -> str:
        """What a check says of its verdict; for an unknown one what is missing."""
        check = next(check for check in self.bundle.checks if check.id == result.id)
        if result.verdict in check.says:
            return self._text(
                check.says[result.verdict], self.answer.place(check.scope, result.member), []
            )
        if result.unknown is None:
            return "Does not apply here." if result.verdict == "not-applicable" else ""
        return self.why(result.unknown)

    def why(self, unknown: Unknown) -> str:
        """An unknown in one line."""
        labels = [self.bundle.quantities[slot].label for slot, _ in unknown.needs]
        if unknown.why == "missing":
            return "Needs: " + ", ".join(dict.fromkeys(labels)) + "."
        return f"{self._detail(unknown)}{' Needs: ' + ', '.join(labels) + '.' if labels else ''}"

    def _detail(self, unknown: Unknown) -> str:
        detail = dict(unknown.detail or {})
        code = detail.get("code")
        if code in ("above", "below") and "quantity" in detail:
            q = self.bundle.quantities[self.answer.engine.slots[str(detail["quantity"])]]
            end = Quantity(id="", label="", unit=q.columns[0].unit)
            shown = self.edges.show(end, float(str(detail["edge"])), self.system)
            return f"{code.capitalize()} what was read as {q.label}, which ends at {stopped(shown)}"
        if code in ("above", "below"):
            table = next(t for t in self.bundle.tables if t.id == detail["table"])
            column = next(c for c in table.columns if c.name == detail["column"])
            edge = float(str(detail["edge"]))
            shown = self.edges.show(Quantity(id="", label="", unit=column.unit), edge, self.system)
            return stopped(
                f"{code.capitalize()} the table {table.label or table.id}, which ends at {shown}"
            )
        if code == "limits":
            q = self.bundle.quantities[self.answer.engine.slots[str(detail["quantity"])]]
            edge = float(str(detail["edge"]))
            shown = self.edges.show(q, edge, self.system)
            return stopped(f"{q.label} is outside its limits, which end at {shown}")
        if code == "says":
            return stopped(str(detail["text"]))
        table_name = next(
            (t.label or t.id for t in self.bundle.tables if t.id == detail.get("table")), ""
        )
        source = f"table {table_name}" if table_name else "series"
        sentences = {
            "no-row": f"The {source} has no such row.",
            "no-row-satisfies": f"No row of the {source} is enough.",
            "empty-cell": f"The {f'table {table_name}'.strip()} gives no value there.",
            "no-option": "The recorded choice is not in this edition.",
            "division-by-zero": "The formula would divide by zero.",
            "root-of-negative": "The formula would take the root of a negative number.",
            "no-root": "No solution within the range looked at.",
            "when": "Does not apply here.",
        }
        return sentences.get(str(code), "The arithmetic has no answer for these values.")

    def _rows(self, read: Sequence[tuple[int, int]]) -> list[tuple[str, int]]:
        return [(self.bundle.tables[index].id, row) for index, row in dict.fromkeys(read)]

    def _filled(self, q: Quantity, position: int, trace: Sequence[Any]) -> str:
        """The formula with the values filled in, what is unknown by its name; "" where no part of it is decided."""
        text = self._text(filled(self.bundle, q.tree), position, trace, named=True)
        return "" if text == "?" else text

    def _text(
        self,
        pieces: Sequence[Piece | float],
        position: int,
        trace: Sequence[Any],
        *,
        named: bool = False,
    ) -> str:
        text = ""
        for piece in pieces:
            more = self._piece(piece, position, trace, named)
            # A unit may end in a full stop of its own.
            text += more[1:] if text.endswith(".") and more.startswith(".") else more
        return text

    def _piece(self, piece: Piece | float, position: int, trace: Sequence[Any], named: bool) -> str:
        if not isinstance(piece, list):
            return str(piece)
        head, index = piece[0], int(piece[1])  # type: ignore[arg-type]
        if head == "q":
            return self._value(index, position, str(piece[2]) if len(piece) > 2 else "", named)
        kept = trace[index] if 0 <= index < len(trace) else None
        if kept is None:
            return "?"
        if head == "if":
            branch = piece[2] if kept else piece[3]
            return self._text(branch, position, trace, named=named)  # type: ignore[arg-type]
        return self._cell(kept, str(piece[2]))

    def _value(self, slot: int, position: int, unit: str, named: bool) -> str:
        q = self.bundle.quantities[slot]
        inner = self.answer.inner(slot, position)
        outer = self.answer.outer(whole(inner), q.type, q.choices)
        if isinstance(outer, Unknown):
            return f"{q.label}?" if named else NOT_KNOWN
        return self.edges.show(q, outer, self.system, unit)

    def _cell(self, value: Any, shown: str) -> str:
        if shown.startswith("choices:"):
            return self.bundle.choices[shown.removeprefix("choices:")].options[int(value)].label
        if isinstance(value, bool | str):
            return self.edges.show(Quantity(id="", label=""), value)
        unit = self.edges.shown_unit(shown, self.system) if shown in self.bundle.units else ""
        return self.edges.number(Quantity(id="", label="", unit=unit), value, unit)


def stopped(sentence: str) -> str:
    """With a full stop, where an abbreviation does not end it already."""
    return sentence if sentence.endswith(".") else f"{sentence}."
