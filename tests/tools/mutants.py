"""Every field of a bundle changed in turn, to see that nothing goes unseen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from kneewall.bundle import Chart, Column, Expected, Holds, Part, Quantity, Replaced, SourceRef

MADE_BY_THE_COMPILER: Final = {"Bundle.format", "Quantity.traces"}
"""Fields that follow from others."""
NAMES: Final = {
    "Calculator.id", "Caution.id", "Chart.id", "Check.id", "Checklist.id", "Column.name",
    "Example.calculator", "Example.checklist", "Example.name", "Expected.quantity", "Function.id", "Pack.id",
    "Quantity.id", "Step.id", "Table.id",
}  # fmt: skip
"""Something of another name is another thing: added and removed, not changed."""
REPLACED: Final = Replaced(pack="low", because="So.")
HOLDS: Final = Holds(until="2030-01-01")
NOT_TRUE: Final[list[Any]] = ["not", True]
OTHER: Final[dict[str, Any]] = {
    "Choices.replaced": REPLACED,
    **{f"{name}.replaced": REPLACED for name in ("Calculator", "Caution", "Check", "Checklist", "Function", "Quantity",
                                                 "RowMark", "Step", "Table")},
    **{f"{name}.holds": HOLDS for name in ("Case", "Check", "Quantity", "Step")},
    **{f"{name}.when": NOT_TRUE for name in ("Check", "Quantity", "Step")},
    "Step.needs": NOT_TRUE,
    **{f"{name}.choices": "colour" for name in ("Column", "Quantity")},
    "Calculator.checks": [],
    "Chart.ends": (1.0, 2.0),
    "Chart.lines": [],
    "Chart.over": "box.width",
    "Chart.show": ["box.price"],
    "Check.caution": NOT_TRUE,
    "Check.fail": NOT_TRUE,
    "Check.scope": "site",
    "Choices.source": SourceRef(of="demo"),
    "Column.type": "text",
    "Column.unit": "in",
    "Example.given": {},
    "Example.members": {"room": ["1", "2", "3"]},
    "Expected.why": "domain",
    "Function.parameters": ["a", "b", "c"],
    "Function.tree": 1,
    "Holds.editions": ["2023"],
    "Pack.rank": "house",
    "Quantity.decimals": 5,
    "Quantity.limits": (1.0, 2.0),
    "Quantity.offers": "box.heat",
    "Quantity.one_of": [7.0],
    "Quantity.scope": "site",
    "Quantity.source": SourceRef(of="demo"),
    "Quantity.tree": 1,
    "Quantity.type": "text",
    "Quantity.unit": "m",
    "Quantity.usual": (1.0, 2.0),
    "RowMark.source": SourceRef(of="demo"),
    "Source.kind": "maker",
    "SourceRef.mark": "disputed",
    "SourceRef.of": "demo",
    "Step.act": "photo",
    "Table.keys": [],
    "Unit.system": "si",
    "Words.texts": {"cautions/mind-the-legs/text": "Cuidado"},
}  # fmt: skip
"""Where another value cannot be made by the type alone."""


def mutants(part: Part) -> Iterator[tuple[str, Any]]:
    """(Class.field, the part with only this changed), of the part and all parts in it."""
    for name in type(part).model_fields:
        label = f"{type(part).__name__}.{name}"
        if label not in MADE_BY_THE_COMPILER | NAMES and not _follows(part, name):
            for below, other in _inside(label, getattr(part, name)):
                yield below, part.model_copy(update={name: other})


def _follows(part: Part, name: str) -> bool:
    """Whether the field follows from others in this very part, or cannot be set beside them."""
    if isinstance(part, Quantity):
        if name == "source":
            return bool(part.cases)
        return (name == "choices" and part.type != "choice") or (
            name == "one_of" and part.type != "count"
        )
    if isinstance(part, Chart):
        return name in ("over", "ends") and not part.over
    if isinstance(part, Column):
        return name == "choices" and part.type != "choice"
    if isinstance(part, Expected):
        return (name == "member" and not part.member) or (
            part.why is not None and name in ("value", "within")
        )
    return False


def _inside(label: str, value: Any) -> Iterator[tuple[str, Any]]:
    parts: list[tuple[Any, Any]] = []
    if isinstance(value, dict | list):
        parts = list(value.items() if isinstance(value, dict) else enumerate(value))
    if isinstance(value, Part):
        for below, other in mutants(value):
            yield below, other
            yield label, other
    elif any(isinstance(item, Part) for _, item in parts):
        for key, item in parts:
            for below, other in mutants(item):
                changed = value.copy()
                changed[key] = other
                yield below, changed
                yield label, changed
    elif label in OTHER:
        if value != OTHER[label]:
            yield label, OTHER[label]
    elif label not in ("Quantity.cases", "Quantity.columns", "Table.marks"):
        yield label, _another(value)


def _another(value: Any) -> Any:
    """Another value of the same type."""
    match value:
        case bool():
            return not value
        case float() | int():
            return value + 1
        case str():
            return value + "x"
        case None:
            return 1.0
        case dict():
            return dict(list(value.items())[1:]) if value else {"x": "y"}
        case [[*_], *_]:
            return [[_another(item) for item in inner] for inner in value]
        case [_, *rest]:
            return rest
        case _:
            return ["x"]


def fields(model: type[Part] = Part) -> set[str]:
    """Class.field of every kind of part, but for names and what the compiler makes."""
    own = {f"{model.__name__}.{name}" for name in model.model_fields}
    return own.union(*map(fields, model.__subclasses__())) - MADE_BY_THE_COMPILER - NAMES
