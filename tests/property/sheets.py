"""Random tables and series, each fit for the call that reads it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tests.property.kinds import (
    DATE,
    DAYS,
    FLAG,
    GROUPS,
    NUMBERS,
    PLACES,
    POSITIVE,
    SECOND,
    Kind,
)
from tests.property.units import BARE
from tests.property.writer import Writer


class SheetWriter(Writer):
    """Tables for row, interpolate and search, used again where one fits."""

    def header(self, kind: Kind) -> str:
        if kind.base == "number":
            return self.unit(kind.group) or "number"
        return kind.choices or kind.base

    def cell_text(self, kind: Kind, numbers: Sequence[str] = NUMBERS) -> str:
        if kind.base == "number":
            return self.one(numbers)
        if kind.base == "choice":
            return str(self.one(self.pack["choices"][kind.choices]["values"]))
        return str(
            self.one({"flag": ["yes", "no"], "text": ["one", "two"], "date": DAYS}[kind.base])
        )

    def table(self, use: str, columns: dict[str, Kind], rows: list[list[str]], **more: Any) -> str:
        name = f"t{len(self.pack['tables'])}"
        units = [self.header(kind) for kind in columns.values()]
        heads = ", ".join(map("{} [{}]".format, columns, units))
        lines = [heads, *(", ".join(row) for row in rows)]
        for row in rows:
            for kind, unit, text in zip(columns.values(), units, row, strict=True):
                if kind.base == "number" and text:
                    self.mark(kind.group, unit.removeprefix("number"), text)
        self.pack["tables"][name] = {"source": "demo", "rows": "\n".join(lines)} | more
        self.columns[name] = columns
        self.uses[name] = use
        return name

    def known_table(self, use: str, out: Kind) -> str | None:
        known = [
            n
            for n, columns in self.columns.items()
            if self.uses[n] == use and columns["out"] == out
        ]
        return self.one(known) if known and self.chance(60) else None

    def row_table(self, out: Kind, *, dated: bool) -> str:
        dated = dated and self.chance(15)
        use = "dated" if dated else "row"
        known = self.known_table(use, out)
        if known:
            return known
        columns = {}
        for name in ("k1", "k2")[: self.whole(1, 2)]:
            base = self.one(["number", "choice", "text", "flag", "date"])
            columns[name] = self.of_base(base)
        keys = list(columns)
        rows: dict[tuple[str, ...], list[str]] = {}
        for _ in range(self.whole(1, 5)):
            key = [self.cell_text(kind) for kind in columns.values()]
            rows[tuple(key)] = [*key, "" if self.chance(12) else self.cell_text(out)]
        columns["out"] = out
        if dated:
            columns |= {"holds_from": DATE, "to_edition": Kind("choice", choices="edition")}
            for row in rows.values():
                row += [self.one(["", *DAYS]), self.one(["", "2020", "2023"])]
        return self.table(use, columns, list(rows.values()), keys=keys)

    def grid(self, out: Kind) -> str:
        known = self.known_table("interpolate", out)
        if known:
            return known
        axes = {f"k{n}": self.number_kind() for n in range(1, self.whole(1, 2) + 1)}
        nodes = [sorted(self.subset(POSITIVE, 2, 4), key=float) for _ in axes]
        split = self.chance(25)
        columns = ({"k0": self.choice_kind()} if split else {}) | axes | {"out": out}
        options = self.pack["choices"][columns["k0"].choices]["values"][:2] if split else [None]
        points: list[list[str]] = [[]]
        for axis in nodes:
            points = [[*point, node] for point in points for node in axis]
        rows = [
            [*([option] if option else []), *point, "" if self.chance(12) else self.one(POSITIVE)]
            for option in options
            for point in points
        ]
        transform = {
            name: self.one(["ln", "reciprocal"]) for name in [*axes, "out"] if self.chance(25)
        }
        return self.table(
            "interpolate", columns, rows, **({"transform": transform} if transform else {})
        )

    def search_table(self, out: Kind) -> str:
        known = self.known_table("search", out)
        if known:
            return known
        columns = {
            "a": self.number_kind(),
            "b": self.one([self.number_kind(), self.choice_kind(), FLAG]),
            "out": out,
        }
        rows = [
            ["" if self.chance(6) else self.cell_text(kind) for kind in columns.values()]
            for _ in range(self.whole(1, 5))
        ]
        name = self.table("search", columns, rows)
        self.pack["tables"][name]["keys"] = ["a", "b"]
        return name

    def series_of(self, item: Kind) -> str | None:
        known = [name for name, (_, reading) in self.series.items() if reading == item]
        if known:
            return self.one(known)
        if (
            item.group[1] not in ("", "share", "absolute", "torque", "temperature difference")
            or item.group[0] == BARE
        ):
            return None
        time = Kind("number", (SECOND, ""))
        columns = {"time": self.unit(time.group), "reading": self.one(GROUPS[item.group])}
        unit = columns["reading"]
        form = {"type": "series", "columns": columns, "limits": f"-1e12 {unit} to 1e12 {unit}"}
        name = self.declare(self.name("given"), Kind("series"), self.one(PLACES), form)
        self.series[name] = time, item
        return name
