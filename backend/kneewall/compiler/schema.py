"""The form of rule files, as pydantic models. What it all means: rules/LANGUAGE.md."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from kneewall.bundle import Act, Verdict


def _text(value: object) -> object:
    """Numbers and flags written bare are meant as people wrote them."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, int | float) else value


Written = Annotated[str, BeforeValidator(_text)]
"""A value as people write it: `85 ft`, `copper`, `12`."""

QuantityId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*$")]
WordId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
NameId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
OneLine = Annotated[str, Field(pattern=r"^[^\n]*$", max_length=2000)]


class Form(BaseModel):
    model_config = ConfigDict(extra="forbid")


class PackForm(Form):
    id: WordId
    rank: Literal["trade", "maker", "house"]
    title: str
    format: Literal[1]
    date_quantity: str = ""
    edition_quantity: str = ""


class SourceForm(Form):
    title: str
    edition: Written = ""
    kind: Literal[
        "standard", "handbook", "paper", "maker", "open-data", "practice", "memory", "demo"
    ]
    confirmed: bool


class OptionForm(Form):
    label: Written
    spellings: list[Written] = []


class ChoicesForm(Form):
    label: str = ""
    ordered: bool = False
    values: list[Written] | dict[str, OptionForm | Written]
    source: OneLine


class CollectionForm(Form):
    label: str
    plural: str


class QuantityForm(Form):
    label: str
    scope: str = "visit"
    each_visit: bool = False
    type: OneLine = "number"
    unit: str = ""
    kind: str = ""
    columns: dict[NameId, str] = {}
    limits: OneLine = ""
    usual: OneLine = ""
    one_of: list[Written] = []
    decimals: Annotated[int, Field(ge=0, le=9)] | None = None
    default: Written | None = None
    optional: bool = False
    note: str = ""
    offers: str = ""
    formula: OneLine = ""
    when: OneLine = ""
    source: OneLine = ""
    formerly: list[str] = []


class TableForm(Form):
    label: str = ""
    source: OneLine
    keys: list[NameId] = []
    columns: dict[NameId, str] = {}
    file: str = ""
    rows: str = ""
    transform: dict[NameId, Literal["ln", "reciprocal"]] = {}


class FunctionForm(Form):
    parameters: dict[NameId, str]
    unit: str = ""
    kind: str = ""
    formula: OneLine
    source: OneLine


class CheckForm(Form):
    label: str
    scope: str = "visit"
    when: OneLine = ""
    fail: OneLine = ""
    caution: OneLine = ""
    says: dict[Verdict, str]
    source: OneLine


class CautionForm(Form):
    text: str
    source: OneLine


class CalculatorForm(Form):
    title: str
    topic: str
    note: str = ""
    enter: list[str]
    show: list[str]
    checks: list[str] = []
    cautions: list[str] = []


class StepForm(Form):
    id: WordId
    act: Act
    title: str
    text: str = ""
    enter: list[str] = []
    show: list[str] = []
    checks: list[str] = []
    calculator: str = ""
    caution: str = ""
    when: OneLine = ""
    after: list[str] = []
    least: str = ""
    keeps: str = ""


class ChecklistForm(Form):
    title: str
    note: str = ""
    steps: list[StepForm]


class ExampleForm(Form):
    name: str
    calculator: str
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
    functions: dict[NameId, FunctionForm] = {}
    checks: dict[QuantityId, CheckForm] = {}
    cautions: dict[WordId, CautionForm] = {}
    calculators: dict[WordId, CalculatorForm] = {}
    checklists: dict[WordId, ChecklistForm] = {}
    examples: list[ExampleForm] = []
