"""The compiled bundle: the contract between the compiler, both engines, the phone and the office.

A bundle is one canonical JSON document (sorted keys, no spaces, UTF-8), packed as `packed.py` says. Its name is the
SHA-256 of its bytes. All numbers of these models are in SI base units, rounded to 12 significant digits when they were
compiled. Defaults are left out.

Expressions are JSON: a number, a flag or a text stands for itself; everything else is an array whose head is the
operator. `SLOT` is a position in `Bundle.quantities`, `TRACE` a position in the quantity's own trace.

    ["q", SLOT]                          a quantity; of a collection out of its scope: the list over all members
    ["p", DEPTH]                         a bound value: parameter, item, position or root variable, by its place
    ["c", COLUMN]                        a column of the row under test
    ["+" "-" "*" "/" "//" "%" "**", a, b]   ["neg", a]
    ["<" "<=" ">" ">=" "==" "!=", a, b]
    ["and" "or", a, b, …]   ["not", a]   ["if", TRACE, condition, then, else]
    ["abs" "sqrt" "exp" "ln" "log10", a] ["min" "max", a, b, …]   ["round" "floor" "ceil", a, step]
    ["known", a]   ["na", reason]        ["fn", FUNCTION, a, …]  arguments are bound from 0 on, in a frame of their own
    ["root", DEPTH, low, high, body, NAME]  the name is for people to read
    ["each", DEPTH, list, body]          item at DEPTH, position at DEPTH + 1
    ["members", COLLECTION, DEPTH, body] the list of body over the members; position at DEPTH + 1
    ["count", list] ["sum", list] ["lmin", list] ["lmax", list] ["any", list] ["all", list] ["at", list, n]
    ["size", COLLECTION]                 how many members
    ["row", TABLE, TRACE, OUT, COLUMN, value, COLUMN, value, …]
    ["first" "last" "rows", TABLE, TRACE, OUT, condition]      TABLE may also be an expression giving a series
    ["interp", TABLE, TRACE, OUT, COLUMN, value(, COLUMN, value)]  or over a series, by its first column

Of these an engine takes what stands first; the rest tells how it was written, since a formula's text is printed from
its tree (`engine/written.py`):

    ["quantity" "number", a, UNIT]       converted already: by the number, or in the tree
    ["option", POSITION, CHOICES]        ["date", SECONDS]

TRACE -1 means that nothing is kept. A choice is the position of its option in its list, a date the seconds since
1970-01-01, wherever an engine computes; outside the engine a choice is its text and a date is `2026-11-25`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from functools import cached_property
from types import NoneType
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, PrivateAttr
from typing_extensions import TypeAliasType

from kneewall.packed import Names, pack, unpack

FORMAT = 3
UNPACKED: Final = 2
"""The format before: the document as it is, and the order of its quantities, which is found now."""

Scalar = float | bool | str
Value = float | bool | str | list[float] | list[str] | list[list[float]]
Expr = TypeAliasType("Expr", "float | bool | str | list[Expr]")
Piece = TypeAliasType("Piece", "str | float | list[Piece]")
"""Text, or ["q", SLOT] a quantity's value. A formula with its values filled in has besides ["q", SLOT, UNIT],
["t", TRACE, UNIT or choices] a value read from a table, and ["if", TRACE, [then pieces], [else pieces]] of which only
the branch taken is shown."""

Said = TypeAliasType("Said", "str | list[Piece]")
"""A text, or a message with its placeholders."""

UnitName = Annotated[str, Names("units")]
ChoicesName = Annotated[str, Names("choices")]
SourceName = Annotated[str, Names("sources")]
QuantityName = Annotated[str, Names("quantities")]
CheckName = Annotated[str, Names("checks")]
CautionName = Annotated[str, Names("cautions")]
CalculatorName = Annotated[str, Names("calculators")]
ChecklistName = Annotated[str, Names("checklists")]

Scope = str
Why = Literal["missing", "outside", "domain", "not-applicable"]
Verdict = Literal["pass", "caution", "fail", "unknown", "not-applicable"]
Act = Literal["do", "read", "choose", "time", "photo", "sign"]
ValueType = Literal["number", "count", "flag", "choice", "text", "date", "list", "texts", "series"]
"""A "list" is of numbers or choices; "texts" are a list of texts, which only formulas give."""


class Part(BaseModel):
    """Base of every part of the bundle: closed, and immutable once read."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Holds(Part):
    """When a rule holds: from a day, to a day (both included), under these code editions."""

    since: str = ""
    until: str = ""
    editions: list[str] = []


class Replaced(Part):
    """What an item or row stands in for: the pack it was in, and why."""

    pack: str
    because: str


class SourceRef(Part):
    """Where a value comes from: a source, the place in it, and how sure that is."""

    of: SourceName
    place: str = ""
    mark: Literal["", "from memory", "computed", "disputed"] = ""


class Source(Part):
    title: str
    edition: str = ""
    kind: Literal[
        "standard", "handbook", "paper", "maker", "open-data", "practice", "memory", "demo"
    ]
    confirmed: bool = False


class Pack(Part):
    id: str
    rank: Literal["trade", "maker", "house"]
    title: str


class Unit(Part):
    """SI value = typed value * scale + offset (offset only on points)."""

    scale: float
    offset: float = 0
    dimension: str = ""
    kind: str = ""
    point: bool = False
    system: Literal["ip", "si", "both"] = "both"
    partner: str = ""
    label: str
    spellings: list[str] = []


class Option(Part):
    value: str
    label: str
    spellings: list[str] = []


class Choices(Part):
    label: str = ""
    ordered: bool = False
    options: list[Option]
    source: SourceRef | None = None
    pack: str = ""
    replaced: Replaced | None = None


class Collection(Part):
    label: str
    plural: str


class Column(Part):
    """A column of a table or of a series. `type` as of quantities; `unit` an id of `Bundle.units`."""

    name: str
    type: Literal["number", "flag", "choice", "text", "date"] = "number"
    unit: UnitName = ""
    choices: ChoicesName = ""
    label: str = ""


class RowMark(Part):
    """What is particular to one row: its pack, its own source, what it replaced."""

    pack: str = ""
    source: SourceRef | None = None
    replaced: Replaced | None = None


class Table(Part):
    """`cells` hold one list per column, all of one length; null where the table gives nothing.

    A grid for interpolation over two keys is sorted by its first key, then by its second.
    """

    id: str
    label: str = ""
    columns: list[Column]
    keys: list[int] = []
    transform: dict[str, Literal["ln", "reciprocal"]] = {}
    cells: list[list[Scalar | None]]
    source: SourceRef
    marks: dict[str, RowMark] = {}
    pack: str = ""
    replaced: Replaced | None = None

    def last_day(self, row: int) -> str:
        """The last day on which a row holds, "" where it names none."""
        names = [column.name for column in self.columns]
        return str(self.cells[names.index("holds_to")][row] or "") if "holds_to" in names else ""


class Function(Part):
    id: str
    parameters: list[str]
    tree: Expr
    source: SourceRef
    pack: str = ""
    replaced: Replaced | None = None


class Case(Part):
    """One of several formulas of a quantity, by when it holds."""

    holds: Holds | None = None
    source: SourceRef


class Quantity(Part):
    """`cases`, where there are any, are tried in turn: TRACE n says whether case n held; the last one is the rest."""

    id: str
    label: str
    scope: Scope = "visit"
    each_visit: bool = False
    type: ValueType = "number"
    unit: UnitName = ""
    kind: str = ""
    choices: ChoicesName = ""
    columns: list[Column] = []
    limits: tuple[float, float] | None = None
    usual: tuple[float, float] | None = None
    one_of: list[float] = []
    decimals: int | None = None
    default: Value | None = None
    note: str = ""
    offers: QuantityName = ""
    tree: Expr | None = None
    when: Expr | None = None
    traces: int = 0
    cases: list[Case] = []
    holds: Holds | None = None
    source: SourceRef | None = None
    pack: str = ""
    replaced: Replaced | None = None
    formerly: list[str] = []

    @cached_property
    def inputs(self) -> list[int]:
        """The slots that its formula and condition read."""
        return slots_in(self.tree, self.when)


class Check(Part):
    id: str
    label: str
    scope: Scope = "visit"
    when: Expr | None = None
    fail: Expr | None = None
    caution: Expr | None = None
    says: dict[Verdict, list[Piece]]
    holds: Holds | None = None
    source: SourceRef
    pack: str = ""
    replaced: Replaced | None = None

    @cached_property
    def inputs(self) -> list[int]:
        """The slots that its conditions read."""
        return slots_in(self.when, self.fail, self.caution)


class Caution(Part):
    """`owner`: it is also said to the owner, in the visit's report."""

    id: str
    text: str
    owner: bool = False
    source: SourceRef
    pack: str = ""
    replaced: Replaced | None = None


OVER_VISITS: Final = "visits"
"""What a chart is drawn over that goes from visit to visit; no quantity has this name."""


class Chart(Part):
    """A series as it was read, results asked again over one entered number, or numbers from visit to visit.

    `series` is set for the first. The second has `over` with `ends` and `show` and is asked at `steps` + 1 values,
    end to end. The third has `over` as `OVER_VISITS` and `show`: what each visit on the same system found. `lines` are
    limits across it, each one value of the same kind as what the chart shows.
    """

    id: str
    title: str
    series: QuantityName = ""
    over: QuantityName = ""
    ends: tuple[float, float] | None = None
    steps: int = 40
    show: list[QuantityName] = []
    lines: list[QuantityName] = []


class Calculator(Part):
    id: str
    title: str
    topic: str
    note: str = ""
    enter: list[QuantityName]
    if_known: list[QuantityName] = []
    show: list[QuantityName]
    checks: list[CheckName] = []
    cautions: list[CautionName] = []
    charts: list[Chart] = []
    pack: str = ""
    replaced: Replaced | None = None


class Step(Part):
    """`needs` holds the step back until it is true, and `held` says why; unknown holds it back too.

    `clears` is no longer so once the step is done, and asked anew where it is wanted.
    """

    id: str
    act: Act
    title: str
    text: str = ""
    enter: list[QuantityName] = []
    if_known: list[QuantityName] = []
    show: list[QuantityName] = []
    checks: list[CheckName] = []
    calculator: CalculatorName = ""
    caution: CautionName = ""
    when: Expr | None = None
    after: list[str] = []
    needs: Expr | None = None
    held: str = ""
    least: QuantityName = ""
    keeps: QuantityName = ""
    clears: list[QuantityName] = []
    holds: Holds | None = None
    pack: str = ""
    replaced: Replaced | None = None


class Checklist(Part):
    id: str
    title: str
    note: str = ""
    steps: list[Step]
    pack: str = ""
    replaced: Replaced | None = None

    @cached_property
    def inputs(self) -> list[int]:
        """The slots that the conditions of its steps read."""
        return slots_in(*(tree for step in self.steps for tree in (step.when, step.needs)))


class Expected(Part):
    quantity: QuantityName
    member: str = ""
    value: Value | None = None
    within: float = 0
    why: Why | None = None


class Example(Part):
    """A worked example of a calculator or of a checklist; values are SI values as records hold them.

    Members are named "1", "2", …
    """

    name: str
    calculator: CalculatorName = ""
    checklist: ChecklistName = ""
    members: dict[str, list[str]] = {}
    given: dict[QuantityName, Value | dict[str, Value]]
    expect: list[Expected] = []
    checks: dict[CheckName, Verdict] = {}
    source: SourceRef
    pack: str = ""


class Words(Part):
    """The texts of another language by the path of what they stand for, as `quantities/vacuum.target/label`.

    What has no word here is said as the rules say it.
    """

    texts: dict[str, Said]


class Bundle(Part):
    format: int = FORMAT
    packs: list[Pack]
    units: dict[str, Unit]
    choices: dict[str, Choices]
    collections: dict[str, Collection]
    sources: dict[str, Source]
    quantities: list[Quantity]
    tables: list[Table]
    functions: list[Function] = []
    checks: list[Check]
    cautions: list[Caution] = []
    calculators: list[Calculator]
    checklists: list[Checklist] = []
    examples: list[Example] = []
    words: dict[str, Words] = {}

    _raw: bytes = PrivateAttr(b"")

    @cached_property
    def order(self) -> list[int]:
        """The slots such that each comes after its inputs. Raises `LoopError`."""
        return evaluation_order(self.quantities)

    @property
    def raw(self) -> bytes:
        """The bytes this bundle was read from; they are its identity."""
        return self._raw

    @property
    def hash(self) -> str:
        return hashlib.sha256(self._raw).hexdigest()


def bare(tree: Any) -> Any:
    """A part as an engine takes it, without how it was written."""
    while isinstance(tree, list) and tree and tree[0] in ("quantity", "number", "option", "date"):
        tree = tree[1]
    return tree


def slots_in(*trees: Any) -> list[int]:
    """Every slot that these trees read, in order."""
    found: set[int] = set()
    for tree in trees:
        _slots(tree, found)
    return sorted(found)


def _slots(tree: Any, found: set[int]) -> None:
    if isinstance(tree, list) and tree:
        if tree[0] == "q":
            found.add(int(tree[1]))
            return
        for part in tree[1:]:
            if isinstance(part, list):
                _slots(part, found)


class LoopError(ValueError):
    """Formulas that rest on each other; `slots` go round and end where they began."""

    def __init__(self, slots: list[int]) -> None:
        super().__init__(f"the formulas of quantities {slots} form a loop")
        self.slots = slots


def evaluation_order(quantities: list[Quantity]) -> list[int]:
    """The slots such that each comes after its inputs. Raises `LoopError`."""
    done: list[int] = []
    state = [0] * len(quantities)
    for start in range(len(quantities)):
        stack: list[tuple[int, int]] = [(start, 0)]
        while stack:
            slot, place = stack.pop()
            if state[slot] == 2:
                continue
            state[slot] = 1
            inputs = quantities[slot].inputs
            if place == len(inputs):
                state[slot] = 2
                done.append(slot)
                continue
            stack.append((slot, place + 1))
            below = inputs[place]
            if state[below] == 1:
                path = [slot for slot, _ in stack]
                raise LoopError([*path[path.index(below) :], below])
            if state[below] == 0:
                stack.append((below, 0))
    return done


def rests_on(bundle: Bundle, slots: Iterable[int]) -> set[int]:
    """These slots and all that they rest on."""
    open_, found = list(slots), set[int]()
    while open_:
        slot = open_.pop()
        if slot not in found:
            found.add(slot)
            open_ += bundle.quantities[slot].inputs
    return found


FROM_ROWS: Final = ("row", "interp", "first", "last", "rows")
"""Operators that read rows of a table, or of the series that stands in its place."""


def read_by(tree: Any) -> Iterator[tuple[Literal["table", "function"], int]]:
    """Tables and functions that a tree names, by their place in the bundle, in turn."""
    if not isinstance(tree, list) or not tree:
        return
    if tree[0] == "fn":
        yield "function", int(tree[1])
    if tree[0] in FROM_ROWS and not isinstance(tree[1], list):
        yield "table", int(tree[1])
    for part in tree[1:]:
        if isinstance(part, list):
            yield from read_by(part)


def functions_in(bundle: Bundle, *trees: Any) -> Iterator[Function]:
    """Functions that trees name, and those that these name."""
    for tree in trees:
        for what, place in read_by(tree):
            if what == "function":
                function = bundle.functions[place]
                yield function
                yield from functions_in(bundle, function.tree)


def canonical_json(document: object) -> bytes:
    """One spelling for one document: sorted keys, no spaces, whole floats written as integers."""
    return spelled(_plain(document))


def spelled(document: object) -> bytes:
    """The canonical JSON of a document in which no float is whole, such as one read from canonical JSON."""
    return _SPELLER.encode(document).encode()


_SPELLER: Final = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
)


_PLAIN: Final = frozenset((str, int, bool, NoneType))
_LISTS: Final = (list, tuple)


def _plain(node: Any) -> Any:
    if isinstance(node, _LISTS):
        return [i if type(i) in _PLAIN else _plain(i) for i in node]
    if isinstance(node, dict):
        return {key: i if type(i) in _PLAIN else _plain(i) for key, i in node.items()}
    if isinstance(node, float) and node.is_integer() and abs(node) < 1e15:
        return int(node)
    return node


class BundleError(ValueError):
    """These bytes are not a bundle that this release can read."""


def document_of(raw: bytes) -> Any:
    """What bundle bytes say, as `Bundle` describes it. Raises `BundleError` with one line."""
    try:
        packed = json.loads(raw, parse_constant=_no_number)
    except RecursionError:
        raise BundleError("not a bundle: nested too deeply") from None
    except ValueError as error:
        raise BundleError(f"not JSON: {error}") from None
    found = packed.get("format", FORMAT) if isinstance(packed, dict) else None
    if found == UNPACKED:
        # Visits were recorded under such editions.
        return {key: value for key, value in packed.items() if key not in ("format", "order")}
    if found != FORMAT:
        raise BundleError(f"bundle format {found!r}; this release reads format {FORMAT}")
    try:
        return unpack(packed)
    except _UNLIKE as error:
        what = f"{type(error).__name__} {error}".splitlines()[0]
        raise BundleError(f"not a bundle: {what}") from None


def bytes_of(document: dict[str, Any]) -> bytes:
    """The bundle bytes that say this, packed and canonical."""
    return canonical_json(pack(document, Bundle))


def load_bundle(raw: bytes) -> Bundle:
    """Read bundle bytes. Raises `BundleError` with one line when they are not a bundle of this format."""
    document = document_of(raw)
    try:
        bundle = Bundle.model_validate(document)
    except ValueError as error:
        first = str(error).splitlines()[1:3]
        raise BundleError("not a bundle: " + " ".join(part.strip() for part in first)) from None
    try:
        _ = bundle.order
    except _UNLIKE as error:
        raise BundleError(f"not a bundle: {error}") from None
    bundle._raw = raw
    return bundle


_UNLIKE: Final = (
    ValueError,
    TypeError,
    LookupError,
    AttributeError,
    ArithmeticError,
    RecursionError,
)
"""What becomes of a document that is nowhere near a packed one."""


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no number")
