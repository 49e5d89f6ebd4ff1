"""Two sets of rules beside each other: visits are judged again by those checks only that may say something else."""

from __future__ import annotations

import hashlib
import threading
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, Final

from kneewall.bundle import FROM_ROWS, Bundle, canonical_json
from kneewall.engine import Engine
from kneewall.records.ledger import Ledger, Visit
from kneewall.records.review import Difference, changed_verdicts, verdicts

MARKED: Final = 4
"""Bundles whose marks are kept: the editions that one office compares are few."""
_marked: dict[str, dict[str, str]] = {}
_marking = threading.Lock()


@dataclass(frozen=True)
class Pair:
    """Rules before and after, each engine with the lock that is held while it evaluates."""

    before: Engine
    before_lock: threading.Lock
    after: Engine
    after_lock: threading.Lock

    @cached_property
    def checks(self) -> set[str]:
        return may_differ(self.before.bundle, self.after.bundle)

    def changed(self, ledger: Ledger, visit: Visit) -> list[Difference]:
        """Verdicts on a visit that are others.

        Raises:
            EditionError: an engine failed.
        """
        return changed_verdicts(
            verdicts(ledger, visit, self.before, self.before_lock, self.checks),
            verdicts(ledger, visit, self.after, self.after_lock, self.checks),
        )


def may_differ(old: Bundle, new: Bundle) -> set[str]:
    """Ids of the checks that only one of them has, or that rest on something that is not the same in both.

    The rest give the same verdict for whatever was recorded. Words, sources and marks count for nothing.
    """
    before, after = _marks_of(old), _marks_of(new)
    return {
        check for check in before.keys() | after.keys() if before.get(check) != after.get(check)
    }


def _marks_of(bundle: Bundle) -> dict[str, str]:
    """The marks of a bundle, which are the same for the same bytes."""
    if not bundle.raw:
        return _marks(bundle)
    with _marking:
        found = _marked.pop(bundle.hash, None) or _marks(bundle)
        _marked[bundle.hash] = found
        for hash_ in [*_marked][:-MARKED]:
            del _marked[hash_]
    return found


def _marks(bundle: Bundle) -> dict[str, str]:
    """By check a mark of all that its verdict is computed from, wherever in the bundle that stands."""

    @cache
    def options(choices: str) -> list[str]:
        return [one.value for one in bundle.choices[choices].options] if choices else []

    @cache
    def table(index: int) -> str:
        of = bundle.tables[index]
        columns = [[c.name, c.type, options(c.choices)] for c in of.columns]
        return _mark([columns, of.keys, of.transform, of.cells])

    @cache
    def function(index: int) -> str:
        return _mark(named(bundle.functions[index].tree))

    def named(tree: Any) -> Any:
        """A tree with marks of quantities, tables and functions in place of their places."""
        if not isinstance(tree, list) or not tree:
            return tree
        head, *parts = tree
        if head == "q":
            return [head, quantity(int(parts[0]))]
        if head == "fn":
            parts[0] = function(int(parts[0]))
        elif head in FROM_ROWS and not isinstance(parts[0], list):
            parts[0] = table(int(parts[0]))
        return [head, *map(named, parts)]

    @cache
    def quantity(slot: int) -> str:
        of = bundle.quantities[slot]
        own = (of.id, of.scope, of.each_visit, of.type, options(of.choices), of.limits, of.default)
        return _mark([*own, sorted(of.formerly), named(of.tree), named(of.when)])

    # Whose readings name a member decides how many members there are to judge.
    members = [
        list(bundle.collections),
        sorted([q.id, q.scope, *q.formerly] for q in bundle.quantities if q.scope != "visit"),
    ]
    return {
        check.id: _mark(
            [members, check.scope, *map(named, (check.when, check.fail, check.caution))]
        )
        for check in bundle.checks
    }


def _mark(of: Any) -> str:
    return hashlib.sha256(canonical_json(of)).hexdigest()
