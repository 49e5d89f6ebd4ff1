"""The form of rule files, as pydantic models. What it all means: rules/LANGUAGE.md."""

from __future__ import annotations

from typing import Annotated, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
)

from kneewall.bundle import Act, Verdict

T = TypeVar("T")


def _text(value: object) -> object:
    """Numbers and flags written bare are meant as people wrote them."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return getattr(value, "text", repr(value)) if isinstance(value, int | float) else value


def _formula(value: object) -> object:
    """A formula may be a bare number or flag."""
    return str(value) if isinstance(value, bool) else _text(value)


Written = Annotated[str, BeforeValidator(_text, json_schema_input_type=str | float | bool)]
"""A value as people write it: `85 ft`, `copper`, `12`."""

QuantityId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*$")]
WordId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
StepId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]*/[a-z][a-z0-9-]*$")]
NameId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
OneLine = Annotated[str, Field(pattern=r"^[^\n]*$", max_length=2000)]
Line = Annotated[OneLine, BeforeValidator(_formula, json_schema_input_type=OneLine | float | bool)]
"""A formula or condition."""


def _some(content: T) -> T:
    if not content:
        raise ValueError("nothing stands here; write it")
    return content


def _plain(text: str) -> str:
    if "{" in text or "}" in text:
        raise ValueError("only what a check says names quantities in braces; leave them out")
    return text


Message = Annotated[str, StringConstraints(strip_whitespace=True), AfterValidator(_some)]
"""A text that people read, with quantities in braces."""
Plain = Annotated[str, AfterValidator(_plain), Field(json_schema_extra={"pattern": r"^[^{}]*$"})]
Said = Annotated[
    Message, AfterValidator(_plain), Field(json_schema_extra={"pattern": r"^[^{}]*[^{}\s][^{}]*$"})
]
"""A text that people read, without them."""


def _once(names: list[str]) -> list[str]:
    for index, name in enumerate(names):
        if name in names[:index]:
            raise ValueError(f"{name} stands twice; write each once")
    return names


Names = Annotated[list[str], AfterValidator(_once), Field(json_schema_extra={"uniqueItems": True})]
"""Each of them once."""


class Form(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Item(Form):
    """An item that a later pack may replace: it then says why, and names the hash of what it replaces."""

    because: str = ""
    replaces: Written = ""


class HoldsForm(Form):
    since: Written = Field("", alias="from")
    until: Written = Field("", alias="to")
    editions: Annotated[list[Written], AfterValidator(_once)] = []


class PackForm(Form):
    id: WordId
    rank: Literal["trade", "maker", "house"]
    title: Said
    format: Literal[1]
    date_quantity: str = ""
    edition_quantity: str = ""
    topics: list[WordId] = []
    """Of calculators, in the order of the work."""
    checklists: Names = []
    """In the order of the work."""


class SourceForm(Item):
    title: Said
    edition: Written = ""
    kind: Literal[
        "standard", "handbook", "paper", "maker", "open-data", "practice", "memory", "demo"
    ]
    confirmed: bool


class OptionForm(Form):
    label: Written
    spellings: list[Written] = []


class ChoicesForm(Item):
    label: Plain = ""
    ordered: bool = False
    values: list[Written] | dict[str, OptionForm | Written]
    source: OneLine


class CollectionForm(Item):
    label: Said
    plural: Said


class CaseForm(Form):
    holds: HoldsForm | None = None
    formula: Line
    source: OneLine


class QuantityForm(Item):
    label: Said
    scope: str = "visit"
    each_visit: bool = False
    type: OneLine = "number"
    unit: str = ""
    kind: str = ""
    columns: dict[NameId, str] = {}
    limits: OneLine = ""
    usual: OneLine = ""
    one_of: list[Written] = []
    decimals: Annotated[int, Field(strict=True, ge=0, le=9)] | None = None
    default: Written | None = None
    note: Plain = ""
    offers: str = ""
    formula: Line = ""
    cases: list[CaseForm] = []
    when: Line = ""
    holds: HoldsForm | None = None
    source: OneLine = ""
    formerly: Names = []

    @property
    def derived(self) -> bool:
        return bool(self.formula or self.cases)


class TableForm(Item):
    label: Plain = ""
    source: OneLine
    keys: Annotated[list[NameId], AfterValidator(_once)] = []
    columns: dict[NameId, str] = {}
    file: str = ""
    rows: str = ""
    transform: dict[NameId, Literal["ln", "reciprocal"]] = {}
    complete: bool = False


class RowsForm(Form):
    """Rows for a table of an earlier pack."""

    source: OneLine
    file: str = ""
    rows: str = ""


class FunctionForm(Item):
    parameters: dict[NameId, str]
    unit: str = ""
    kind: str = ""
    formula: Line
    source: OneLine


class CheckForm(Item):
    label: Said
    scope: str = "visit"
    when: Line = ""
    fail: Line = ""
    caution: Line = ""
    holds: HoldsForm | None = None
    says: dict[Verdict, Message]
    source: OneLine


class CautionForm(Item):
    text: Said
    owner: bool = False
    source: OneLine


class ChartForm(Form):
    """A series, or results over one entered number."""

    id: WordId
    title: Said
    series: str = ""
    over: str = ""
    low: Written = Field("", alias="from")
    high: Written = Field("", alias="to")
    steps: Annotated[int, Field(strict=True, ge=2, le=200)] = 40
    show: Names = []
    lines: Names = []


class CalculatorForm(Item):
    title: Said
    topic: str
    note: Plain = ""
    enter: Names
    if_known: Names = []
    show: Annotated[Names, AfterValidator(_some)]
    checks: Names = []
    cautions: Names = []
    charts: list[ChartForm] = []


class StepContent(Item):
    act: Act
    title: Said
    text: Plain = ""
    enter: Names = []
    if_known: Names = []
    show: Names = []
    checks: Names = []
    calculator: str = ""
    caution: str = ""
    when: Line = ""
    after: Names = []
    needs: Line = ""
    held: Plain = ""
    least: str = ""
    keeps: str = ""
    clears: Names = []
    holds: HoldsForm | None = None


class StepForm(StepContent):
    id: WordId


class AmendedStepForm(StepContent):
    """A step of a later pack: it replaces one of the same name, or follows another."""

    follows: str = ""


class ChecklistForm(Item):
    title: Said
    note: Plain = ""
    steps: Annotated[list[StepForm], AfterValidator(_some)]


class ExampleForm(Form):
    name: Said
    calculator: str = ""
    checklist: str = ""
    given: dict[str, Written]
    expect: dict[str, Written] = {}
    checks: dict[str, Verdict] = {}
    source: OneLine


class FileForm(Form):
    """One rule file: any of the sections, in any order."""

    sources: dict[WordId, SourceForm] = {}
    choices: dict[NameId, ChoicesForm] = {}
    collections: dict[NameId, CollectionForm] = {}
    quantities: dict[QuantityId, QuantityForm] = {}
    tables: dict[NameId, TableForm] = {}
    rows: dict[NameId, RowsForm] = {}
    functions: dict[NameId, FunctionForm] = {}
    checks: dict[QuantityId, CheckForm] = {}
    cautions: dict[WordId, CautionForm] = {}
    calculators: dict[WordId, CalculatorForm] = {}
    checklists: dict[WordId, ChecklistForm] = {}
    steps: dict[StepId, AmendedStepForm] = {}
    examples: list[ExampleForm] = []
