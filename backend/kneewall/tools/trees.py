"""Trees of an edition in words: as rules have them, with amounts as people say them, or exact."""

from __future__ import annotations

from collections.abc import Sequence

from kneewall.bundle import Piece, Quantity
from kneewall.engine.written import HOLDS, Here, Tree, Writer, figure, formulas
from kneewall.tools.words import Words


def ruled(words: Words, tree: Tree, parameters: Sequence[str] = ()) -> str:
    """A tree as it could stand in a rule file, "" for none; `parameters` are those of the function it belongs to."""
    return Writer(words.bundle, words.names).text(tree, parameters)


def written(words: Words, tree: Tree) -> str:
    """A condition to be read rather than edited: `1.5 ft` for `quantity(1.5, "ft")`."""
    return _Plain(words.bundle, words.names).text(tree)


def exactly(words: Words, tree: Tree, parameters: int = 0) -> str:
    """Equal texts compute the same from what they name, whatever a function calls its `parameters`."""
    places = [str(place) for place in range(parameters)]
    return Writer(words.bundle, words.names, exact=True).text(tree, places)


def formula(words: Words, quantity: Quantity) -> str:
    """The formula of a derived quantity as rules have it, or each with when it holds and its source."""
    texts = [ruled(words, tree) for tree in formulas(quantity)]
    if not quantity.cases:
        return "".join(texts)
    return "; ".join(
        f"{Words.holds(case.holds) or 'else'}: {text} ({Words.source(case.source)})"
        for case, text in zip(quantity.cases, texts, strict=True)
    )


class _Plain(Writer):
    def _measured(self, head: str, tree: Tree, unit: str, here: Here) -> tuple[list[Piece], int]:
        if isinstance(tree, list):
            return super()._measured(head, tree, unit, here)
        label = self.bundle.units[unit].label
        return [f"{figure(self._in_unit(tree, unit))} {label}"], HOLDS

    def _date(self, day: str) -> list[Piece]:
        return [day]
