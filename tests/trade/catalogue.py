"""The invented maker's tables as they are written, read apart from the compiler."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from kneewall.bundle import Value
from kneewall.engine import Answer
from tests.trade.asking import MAKER, Trade

Row = dict[str, str]
FOOT = 0.3048


def rows(name: str, folder: Path = MAKER) -> list[Row]:
    """The rows of a CSV file by column name, units left out."""
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        header, *lines = csv.reader(file)
    names = [re.sub(r" \[.*\]$", "", column) for column in header]
    return [dict(zip(names, line, strict=True)) for line in lines]


def by_model(name: str) -> dict[str, Row]:
    return {row["model"]: row for row in rows(name)}


@dataclass(frozen=True)
class Plan:
    """An outdoor unit and its indoor units, with their lines in feet and their ports where they are known."""

    outdoor: str
    indoor: list[str]
    length: list[float] = field(default_factory=list)
    lift: list[float] = field(default_factory=list)
    volts: float | None = None
    ports: str = ""
    """One letter for each indoor unit."""

    def members(self) -> list[str]:
        return [str(place + 1) for place in range(len(self.indoor))]

    def ask(self, trade: Trade) -> Answer:
        values: dict[str, Value | dict[str, Value]] = {"outdoor.model": self.outdoor}
        values["indoor.model"] = dict(zip(self.members(), self.indoor, strict=True))
        for name, feet in (("line.length", self.length), ("line.lift", self.lift)):
            if feet:
                values[name] = dict(zip(self.members(), (x * FOOT for x in feet), strict=True))
        if self.ports:
            values["zone.port"] = dict(zip(self.members(), self.ports, strict=True))
        if self.volts is not None:
            values["site.nominal_voltage"] = self.volts
        return trade.engine.evaluate(values, {"indoor": self.members(), "circuit": ["1"]})


def verdicts(answer: Answer) -> Iterator[tuple[str, str]]:
    """Check and verdict, one for each member."""
    for result in answer.checks():
        yield result.id, result.verdict
