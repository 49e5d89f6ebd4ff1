"""Rule files to plain data with the place of every value. YAML 1.2 core schema; nothing that expands or executes."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Self

import yaml

from kneewall.compiler.errors import Fault, Place, RuleFault
from kneewall.compiler.unread import Quoted, explained

LARGEST_FILE: Final = 2_000_000
DEEPEST: Final = 40
MOST_ROWS: Final = 20_000
_NUMBER: Final = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?$")
_BREAK: Final = re.compile(r"\r\n|[\n\r\x85\u2028\u2029]")
_WORDS: Final = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False,
                 "null": None, "Null": None, "NULL": None, "~": None, "": None}  # fmt: skip
_LOADER: Final = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""The parser in C, thirty times as fast, and the same one in Python where it was not built."""

Path_ = tuple[str | int, ...]
Event = Any
"""Of YAML; always with its marks."""


@dataclass(eq=False)
class Document:
    """The data of one file, and where each value and key stands by its path. Equal only to itself."""

    file: str
    data: Any
    lines: list[str] = field(default_factory=list)
    values: dict[Path_, Place] = field(default_factory=dict)
    keys: dict[Path_, Place] = field(default_factory=dict)

    def place(self, path: Path_, key: bool = False) -> Place:
        """The place of the longest part of `path` that stands in the file."""
        for end in range(len(path), -1, -1):
            found = (self.keys if key else self.values).get(path[:end]) or self.values.get(
                path[:end]
            )
            if found:
                return found
        return Place(self.file, 1, 1)


def read_text(path: Path, name: str) -> str:
    try:
        if path.exists() and not is_file(path):
            raise RuleFault(Place(name, 1, 1), "E108", "cannot be read: it is no file")
        if path.stat().st_size > LARGEST_FILE:
            raise RuleFault(
                Place(name, 1, 1),
                "E107",
                f"the file is larger than {LARGEST_FILE:,} bytes",
                "split it",
            )
        return _decoded(path.read_bytes(), name)
    except OSError as error:
        raise RuleFault(Place(name, 1, 1), "E108", f"cannot be read: {error.strerror}") from None


def _decoded(data: bytes, name: str) -> str:
    """UTF-8, with a byte order mark or without, and with any line ends."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = error.object[: error.start].decode(errors="replace").splitlines(keepends=True)
        column = len(before[-1]) + 1 if before else 1
        wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
        what = "the file is UTF-16" if wide else "a letter here is not UTF-8"
        place = Place(name, max(1, len(before)), column)
        raise RuleFault(place, "E108", what, "save the file as UTF-8") from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def is_file(path: Path) -> bool:
    """Whether a file is there; under a name that no file can have there is none."""
    try:
        return path.is_file()
    except OSError:
        return False


def split_lines(text: str) -> list[str]:
    """Lines as YAML counts them."""
    return _BREAK.split(text)


def read_yaml(text: str, name: str, faults: list[Fault]) -> Document | None:
    """Plain data of a YAML text; faults are added to `faults`, None when nothing can be read.

    What is no YAML is one fault: what was made of the text before that place is guesswork.
    """
    document = Document(name, {}, split_lines(text))
    found: list[Fault] = []
    reading = _Reading(text, document, found)
    try:
        reading.read()
    except yaml.MarkedYAMLError as error:
        line, column, what, mend = explained(error, document.lines, reading.quoted)
        faults.append(Fault(Place(name, line, column), "E101", what, mend))
        return None
    except yaml.reader.ReaderError:
        odd = yaml.reader.Reader.NON_PRINTABLE.search(text)
        before = split_lines(text[: odd.start() if odd else 0])
        place = Place(name, len(before), len(before[-1]) + 1)
        faults.append(
            Fault(place, "E101", "a sign here is none that a text may hold", "leave it out")
        )
        return None
    except (yaml.YAMLError, ValueError) as error:
        faults.append(Fault(Place(name, 1, 1), "E101", f"not YAML: {str(error).splitlines()[0]}"))
        return None
    except RuleFault as error:
        faults.append(error.fault)
        return None
    faults += found
    return document


class WholeNumber(int):
    """A whole number that knows how it was written: as the name of a choice, `007` is not 7."""

    def __new__(cls, text: str) -> Self:
        made = super().__new__(cls, text)
        made.text = text
        return made

    text: str


class DecimalNumber(float):
    """A number that knows how it was written: as the name of a choice, `1.10` is not 1.1."""

    def __new__(cls, text: str) -> Self:
        made = super().__new__(cls, text)
        made.text = text
        return made

    text: str


class _Reading:
    """One text, event by event: no tag is looked at, no alias followed, nothing made but plain data."""

    def __init__(self, text: str, document: Document, faults: list[Fault]) -> None:
        self.events: Iterator[Event] = yaml.parse(text, Loader=_LOADER)
        self.document = document
        self.faults = faults
        self.quoted: Quoted | None = None
        """The last text in quotes over several lines."""

    def read(self) -> None:
        documents = 0
        for event in self.events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    what = "a second document begins here"
                    raise RuleFault(self._place(event), "E101", what, "one file is one document")
            elif isinstance(event, yaml.NodeEvent):
                self.document.data = self._value(event, (), 0)

    def _place(self, event: Event) -> Place:
        """Where the text of an event begins: after the quote, where there is one."""
        mark = event.start_mark
        quoted = getattr(event, "style", None) in ("'", '"')
        return Place(self.document.file, mark.line + 1, mark.column + 1 + quoted)

    def _fault(self, event: Event, what: str, mend: str) -> None:
        self.faults.append(Fault(self._place(event), "E102", what, mend))

    def _value(self, event: Event, path: Path_, depth: int) -> Any:
        place = self._place(event)
        if depth > DEEPEST:
            raise RuleFault(place, "E107", "nested too deeply", "write it flatter")
        if event.anchor:
            self._fault(event, "anchors and aliases are refused", "write the value out")
        if isinstance(event, yaml.AliasEvent):
            return None
        last_line = event.end_mark.line
        several_lines = last_line > event.start_mark.line
        if isinstance(event, yaml.ScalarEvent):
            if several_lines:
                if event.style in ("'", '"'):
                    self.quoted = Quoted(place.line - 1, place.column - 2, last_line)
                place = replace(place, folds=_folds(event, place, self.document.lines))
            self.document.values[path] = place
            return self._scalar(event)
        assert isinstance(event, yaml.CollectionStartEvent)
        self.document.values[path] = place
        if event.tag:
            self._fault(event, f"the tag {event.tag} is refused", "leave it out")
        if isinstance(event, yaml.SequenceStartEvent):
            return self._sequence(path, depth)
        return self._mapping(path, depth)

    def _sequence(self, path: Path_, depth: int) -> list[Any]:
        data: list[Any] = []
        for event in self.events:
            if isinstance(event, yaml.SequenceEndEvent):
                break
            data.append(self._there(event, (*path, len(data)), depth))
        return data

    def _mapping(self, path: Path_, depth: int) -> dict[str, Any]:
        data: dict[str, Any] = {}
        for event in self.events:
            if isinstance(event, yaml.MappingEndEvent):
                break
            place = self._place(event)
            key = event.value if isinstance(event, yaml.ScalarEvent) else ""
            if not isinstance(event, yaml.ScalarEvent) or event.tag or key == "<<":
                self._fault(event, "only plain keys are taken, and no merge keys", "")
                self._pass_over(event)
                self._pass_over(next(self.events))
                continue
            if event.anchor:
                self._fault(event, "anchors and aliases are refused", "write the value out")
            if key in data:
                first = self.document.keys[(*path, key)].line
                what = f"{key!r} stands twice here, first in line {first}"
                self.faults.append(Fault(place, "E103", what, "keep one of them"))
                self._pass_over(next(self.events))
                continue
            self.document.keys[(*path, key)] = place
            data[key] = self._there(next(self.events), (*path, key), depth)
        return data

    def _there(self, event: Event, path: Path_, depth: int) -> Any:
        """A value that is not empty: what was forgotten is not taken for a choice to leave it out."""
        before = len(self.faults)
        found = self._value(event, path, depth + 1)
        if found is None and len(self.faults) == before:
            place = self.document.keys.get(path) or self._place(event)
            what = (
                f"{path[-1]} has no value" if path in self.document.keys else "nothing stands here"
            )
            self.faults.append(Fault(place, "E106", what, "write one, or leave it out"))
        return found

    def _pass_over(self, event: Event) -> None:
        """Leave out what begins with this event."""
        open_ones = 0
        while True:
            open_ones += isinstance(event, yaml.CollectionStartEvent)
            open_ones -= isinstance(event, yaml.CollectionEndEvent)
            if not open_ones:
                return
            event = next(self.events)

    def _scalar(self, event: Event) -> Any:
        text = str(event.value)
        if event.tag:
            self._fault(event, f"the tag {event.tag} is refused", "leave it out")
        elif not event.style and text in _WORDS:
            return _WORDS[text]
        elif not event.style and _NUMBER.match(text) and math.isfinite(float(text)):
            return (
                WholeNumber(text) if re.fullmatch(r"[-+]?\d{1,18}", text) else DecimalNumber(text)
            )
        return text


def _folds(event: Event, place: Place, lines: list[str]) -> tuple[tuple[int, int, int], ...]:
    """Where each line of a text over several lines begins, as far as it is written as it is meant."""
    text = str(event.value)
    block, quoted = event.style in ("|", ">"), event.style in ("'", '"')
    folds: list[tuple[int, int, int]] = []
    offset = 0
    last = event.end_mark.line + (event.end_mark.column > 0)
    for number in range(place.line + block, last + 1):
        line = lines[number - 1]
        if number == event.end_mark.line + 1:
            line = line[: event.end_mark.column - quoted]
        first = number == place.line
        column = place.column - 1 if first else len(line) - len(line.lstrip())
        written = line[column:].rstrip()
        found = text.find(written, offset) if written else -1
        if found >= 0:
            folds.append((found, number, column + 1))
            offset = found + len(written)
    return tuple(folds)


@dataclass(frozen=True)
class Cell:
    text: str
    place: Place


def read_csv(text: str, name: str, start: Place | None = None) -> list[list[Cell]]:
    """Rows of cells with their places; blank lines and lines starting with # are passed over. Raises `RuleFault`.

    `start` is where the text begins when it stands inside another file.
    """
    first = start.line if start else 1
    indent = start.column - 1 if start else 0
    rows: list[list[Cell]] = []
    for number, line in enumerate(text.splitlines()):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        place = Place(name, first + number, indent + 1)
        try:
            (cells,) = csv.reader([line], strict=True, skipinitialspace=True)
        except (csv.Error, ValueError) as error:
            raise RuleFault(
                place, "E110", f"the line is not CSV: {error}", "close the quotes"
            ) from None
        if not rows and len(cells) == 1:
            _refuse_separator(cells[0], place)
        row, column = [], indent + 1
        for cell in cells:
            row.append(Cell(cell.strip(), Place(name, place.line, column)))
            column += len(cell) + 1
        if rows and len(row) != len(rows[0]):
            what = f"{len(row)} cell{'s' * (len(row) != 1)}, but the header has {len(rows[0])}"
            mend = "leave none out; an empty one is two commas"
            if len(row) > len(rows[0]):
                mend = "leave one out; a cell that holds a comma stands in quotes"
            raise RuleFault(place, "E110", what, mend)
        if len(rows) > MOST_ROWS:
            what = f"the table has more than {MOST_ROWS:,} rows"
            raise RuleFault(place, "E107", what, "split it in two tables")
        rows.append(row)
    return rows


def _refuse_separator(header: str, place: Place) -> None:
    """A spreadsheet of another country writes semicolons, one of a copied table tabs. Raises `RuleFault`."""
    for sign, name in ((";", "semicolons"), ("\t", "tabs")):
        if sign in header:
            what = f"{name} stand between the cells"
            raise RuleFault(place, "E110", what, "save it as CSV with commas")
