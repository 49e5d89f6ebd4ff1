"""Where a quantity comes from: all it rests on, as a text tree or a Mermaid flowchart, filled in with values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from kneewall.bundle import Bundle, Function, Quantity, Table, Value, read_by
from kneewall.compiler.command import BadInput, read_values
from kneewall.compiler.errors import nearest
from kneewall.engine import Engine, Unknown
from kneewall.engine.written import formulas
from kneewall.explain import Explainer
from kneewall.tools.trees import ruled, written
from kneewall.tools.words import Words

Node = tuple[str, int]
"""("quantity", "table" or "function", its place in the bundle)."""
QUOTED: Final = str.maketrans({mark: f"#{ord(mark)};" for mark in '#"<>&'})
SHAPES: Final = {"table": '[("', "function": '[["', "entered": '(["', "derived": '["'}
CLOSED: Final = str.maketrans("[(", "])")


def read_origin(bundle: Bundle, name: str, values: Sequence[str] = ()) -> Origin:
    """The origin of a quantity, `topic.name` or `topic.name@2`. Raises `BadInput` with a line a fault."""
    name, at, member = name.partition("@")
    slots = {q.id: slot for slot, q in enumerate(bundle.quantities)}
    slots |= {old: slot for slot, q in enumerate(bundle.quantities) for old in q.formerly}
    if name not in slots:
        hint = nearest(name, slots)
        raise BadInput(f"no quantity is called {name}" + (f"; {hint}" if hint else ""))
    slot = slots[name]
    if not values and not at:
        return Origin(bundle, slot)
    given, members = read_values(bundle, list(values))
    own = members.get(bundle.quantities[slot].scope, [])
    if at and member not in own:
        known = f"there are members 1 to {len(own)}" if own else f"{name} has no members"
        raise BadInput(f"{name}@{member}: {known}")
    answer = Engine(bundle).evaluate(given, members)
    return Origin(bundle, slot, Explainer(answer), member or (own[0] if own else None))


@dataclass(frozen=True)
class Origin:
    """One quantity of a bundle; `explainer` and `member` when its formulas are filled in."""

    bundle: Bundle
    slot: int
    explainer: Explainer | None = None
    member: str | None = None

    # -- text

    def text(self) -> str:
        """A tree, each thing with its formula and source; what came before is not opened again."""
        return "\n".join(self._branch(("quantity", self.slot), "", "", set()))

    def _branch(self, node: Node, first: str, rest: str, seen: set[Node]) -> Iterator[str]:
        below = self.below(node)
        if node in seen and below:
            yield f"{first}{self._title(node)}: see above"
            return
        seen.add(node)
        yield f"{first}{self._title(node)}"
        gap = "│  " if below else "   "
        yield from (f"{rest}{gap} {line}" for line in self._lines(node))
        for place, part in enumerate(below, 1):
            last = place == len(below)
            yield from self._branch(
                part, f"{rest}{'└─ ' if last else '├─ '}", f"{rest}{'   ' if last else '│  '}", seen
            )

    def below(self, node: Node) -> list[Node]:
        """What a thing reads: quantities, then tables and functions."""
        what, place = node
        if what == "table":
            return []
        if what == "function":
            return list(read_by(self.bundle.functions[place].tree))
        quantity = self.bundle.quantities[place]
        read = [*read_by(quantity.tree), *read_by(quantity.when)]
        return [("quantity", slot) for slot in quantity.inputs] + list(dict.fromkeys(read))

    def _title(self, node: Node) -> str:
        what, place = node
        if what == "table":
            table = self.bundle.tables[place]
            return f"table {table.id}" + (f": {table.label}" if table.label else "")
        if what == "function":
            function = self.bundle.functions[place]
            return f"function {function.id}({', '.join(function.parameters)})"
        quantity = self.bundle.quantities[place]
        unit = self._unit(quantity)
        return f"{quantity.label} ({quantity.id})" + (f", {unit}" if unit else "")

    def _unit(self, quantity: Quantity) -> str:
        if quantity.unit:
            return self.bundle.units[quantity.unit].label
        return quantity.choices if quantity.type == "choice" else ""

    def _lines(self, node: Node) -> Iterator[str]:
        what, place = node
        if what == "table":
            table = self.bundle.tables[place]
            yield self._owner(table)
            return
        if what == "function":
            function = self.bundle.functions[place]
            yield f"= {ruled(Words(self.bundle), function.tree, function.parameters)}"
            yield self._owner(function)
            return
        quantity = self.bundle.quantities[place]
        words = Words(self.bundle)
        if quantity.when is not None:
            yield f"applies when {written(words, quantity.when)}"
        if quantity.tree is None:
            yield self._entered(place)
            return
        texts = [ruled(words, tree) for tree in formulas(quantity)]
        for case, text in zip(quantity.cases, texts, strict=False):
            yield f"{Words.holds(case.holds) or 'else'}: {text} [{Words.source(case.source)}]"
        if not quantity.cases:
            yield f"= {texts[0]}"
        yield from self._filled(quantity)
        yield self._owner(quantity)

    def _entered(self, slot: int) -> str:
        quantity = self.bundle.quantities[slot]
        default = ""
        if quantity.default is not None:
            default = f"default {Words(self.bundle).value(quantity, quantity.default)}"
        if self.explainer is None:
            return f"entered, {default}" if default else "entered"
        value = self._value(quantity)
        taken = any(at == slot for at, _ in self.explainer.answer.defaulted)
        return f"entered: {value}" + (" (the default)" if taken else "")

    def _filled(self, quantity: Quantity) -> Iterator[str]:
        """The formula with values, and what it gives."""
        if self.explainer is None:
            return
        own = quantity.scope == self.bundle.quantities[self.slot].scope
        step = self.explainer.step(quantity.id, self.member if own else None)
        yield f"= {step.filled}"
        yield f"= {self._value(quantity)}"

    def _value(self, quantity: Quantity) -> str:
        """The value here; of another collection one for each member."""
        assert self.explainer is not None
        answer = self.explainer.answer
        home = answer.engine.collections.get(quantity.scope)
        members: list[str | None] = [None]
        if home is not None:
            own = quantity.scope == self.bundle.quantities[self.slot].scope
            members = [self.member] if own else list(answer.names[home])
        found = [answer.value(quantity.id, member) for member in members]
        return "; ".join(self._shown(quantity, value) for value in found)

    def _shown(self, quantity: Quantity, value: Value | Unknown) -> str:
        assert self.explainer is not None
        if not isinstance(value, Unknown):
            return self.explainer.edges.show(quantity, value)
        if value.why == "missing" and quantity.tree is None:
            return "not given"
        return f"unknown, {value.why}. {self.explainer.why(value)}"

    @staticmethod
    def _owner(item: Quantity | Table | Function) -> str:
        parts = [Words.source(item.source), f"pack {item.pack}", Words.replaced(item.replaced)]
        return "; ".join(filter(None, parts))

    # -- Mermaid

    def mermaid(self) -> str:
        """The same as the text of a flowchart, from what is entered to the result."""
        nodes: dict[Node, list[Node]] = {}
        stack: list[Node] = [("quantity", self.slot)]
        while stack:
            node = stack.pop()
            if node not in nodes:
                nodes[node] = self.below(node)
                stack += nodes[node]
        lines = ["flowchart LR"]
        lines += [f"    {_code(node)}{self._box(node)}" for node in sorted(nodes)]
        lines += [
            f"    {_code(part)} --> {_code(node)}"
            for node, below in sorted(nodes.items())
            for part in dict.fromkeys(below)
        ]
        return "\n".join(lines)

    def _box(self, node: Node) -> str:
        what, place = node
        shape = what
        if what == "quantity":
            shape = "entered" if self.bundle.quantities[place].tree is None else "derived"
        text = "<br/>".join(
            line.translate(QUOTED) for line in (self._title(node), *self._lines(node))
        )
        opened = SHAPES[shape]
        return f"{opened}{text}{opened[::-1].translate(CLOSED)}"


def _code(node: Node) -> str:
    return f"{node[0][0]}{node[1]}"
