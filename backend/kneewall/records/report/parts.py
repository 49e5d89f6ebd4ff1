"""What a report is made of, before it is laid out."""

from __future__ import annotations

from dataclasses import dataclass, field

from kneewall.records.plots import Plot
from kneewall.records.present import VerdictLine


@dataclass(frozen=True)
class Plate:
    """The system or one of its members, and what is known of it."""

    title: str
    facts: list[tuple[str, str]]


@dataclass(frozen=True)
class Row:
    label: str
    figure: str
    under: str
    verdict: str = ""
    """The worst that rests on it; empty when none does."""
    chart: Plot | None = None


@dataclass(frozen=True)
class Topic:
    title: str
    rows: list[Row]
    charts: list[Plot] = field(default_factory=list)


@dataclass(frozen=True)
class Picture:
    caption: str
    who: str
    content: bytes | None
    """None while only the phone has it."""


@dataclass(frozen=True)
class Signature:
    name: str
    statement: str
    who: str
    strokes: str
    """Path data in a box 600 wide and 200 high; empty when nothing was drawn."""


@dataclass(frozen=True)
class Report:
    office: str
    title: str
    place: str
    visit: str
    facts: list[tuple[str, str]]
    plates: list[Plate]
    trouble: str
    """Why the visit could not be evaluated; empty when it was."""
    agrees: str
    findings: list[VerdictLine]
    readings: list[Topic]
    settings: list[Row]
    photos: list[Picture]
    cautions: list[tuple[str, str]]
    notes: list[tuple[str, str]]
    signatures: list[Signature]
    rules: list[tuple[str, str]]
