"""Rule files to plain data with the place of every value. YAML 1.2 core schema; nothing that expands or executes."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from kneewall.compiler.errors import Fault, Place, RuleFault

LARGEST_FILE: Final = 2_000_000
DEEPEST: Final = 40
_NUMBER: Final = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?$")
_BREAK: Final = re.compile(r"\r\n|[\n\r\x85\u2028\u2029]")
_WORDS: Final = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False,
                 "null": None, "Null": None, "NULL": None, "~": None, "": None}  # fmt: skip
_PLAIN_TAGS: Final = re.compile(
    r"tag:yaml\.org,2002:(str|int|float|bool|null|map|seq|timestamp|value)$"
)

Path_ = tuple[str | int, ...]


@dataclass
class Document:
    """The data of one file, and where each value and key stands by its path."""

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
        if path.stat().st_size > LARGEST_FILE:
            raise RuleFault(
                Place(name, 1, 1),
                "E107",
                f"the file is larger than {LARGEST_FILE:,} bytes",
                "split it",
            )
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise RuleFault(
            Place(name, 1, 1), "E108", f"byte {error.start} is not UTF-8", "save it as UTF-8"
        ) from None
    except OSError as error:
        raise RuleFault(Place(name, 1, 1), "E108", f"cannot be read: {error.strerror}") from None


def split_lines(text: str) -> list[str]:
    """Lines as YAML counts them."""
    return _BREAK.split(text)


def read_yaml(text: str, name: str, faults: list[Fault]) -> Document | None:
    """Plain data of a YAML text; faults are added to `faults`, None when nothing can be read."""
    try:
        root = YAML(typ="safe", pure=False).compose(io.StringIO(text))
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = Place(name, mark.line + 1, mark.column + 1) if mark else Place(name, 1, 1)
        number = (
            "E102" if "alias" in str(error.problem) or "anchor" in str(error.problem) else "E101"
        )
        faults.append(Fault(place, number, f"not YAML: {error.problem}"))
        return None
    except (YAMLError, ValueError) as error:
        faults.append(Fault(Place(name, 1, 1), "E101", f"not YAML: {str(error).splitlines()[0]}"))
        return None
    except RecursionError:
        faults.append(Fault(Place(name, 1, 1), "E107", "nested too deeply", "write it flatter"))
        return None
    document = Document(name, {}, split_lines(text))
    if root is not None:
        document.data = _plain(root, (), document, faults, 0, set())
    return document


def _place(node: Node, name: str) -> Place:
    """Where the text of a node begins: after the quote, where there is one."""
    quoted = getattr(node, "style", None) in ("'", '"')
    return Place(name, node.start_mark.line + 1, node.start_mark.column + 1 + quoted)


def _folds(node: ScalarNode, place: Place, lines: list[str]) -> tuple[tuple[int, int, int], ...]:
    """Where each line of a text over several lines begins, as far as it is written as it is meant."""
    text = str(node.value)
    block, quoted = node.style in ("|", ">"), node.style in ("'", '"')
    folds: list[tuple[int, int, int]] = []
    offset = 0
    last = node.end_mark.line + (node.end_mark.column > 0)
    for number in range(place.line + block, last + 1):
        line = lines[number - 1]
        if number == node.end_mark.line + 1:
            line = line[: node.end_mark.column - quoted]
        first = number == place.line
        column = place.column - 1 if first else len(line) - len(line.lstrip())
        written = line[column:].rstrip()
        found = text.find(written, offset) if written else -1
        if found >= 0:
            folds.append((found, number, column + 1))
            offset = found + len(written)
    return tuple(folds)


def _plain(
    node: Node, path: Path_, doc: Document, faults: list[Fault], depth: int, seen: set[int]
) -> Any:
    place = _place(node, doc.file)
    if isinstance(node, ScalarNode) and node.end_mark.line > node.start_mark.line:
        place = replace(place, folds=_folds(node, place, doc.lines))
    doc.values[path] = place
    if depth > DEEPEST:
        faults.append(Fault(place, "E107", "nested too deeply", "write it flatter"))
        return None
    if id(node) in seen or getattr(node, "anchor", None):
        faults.append(
            Fault(place, "E102", "anchors and aliases are refused", "write the value out")
        )
        return None
    seen.add(id(node))
    if isinstance(node, ScalarNode):
        return _scalar(node, place, faults)
    if not _PLAIN_TAGS.match(str(node.tag)):
        faults.append(Fault(place, "E102", f"the tag {node.tag} is refused", "leave it out"))
    if isinstance(node, SequenceNode):
        return [
            _plain(item, (*path, i), doc, faults, depth + 1, seen)
            for i, item in enumerate(node.value)
        ]
    assert isinstance(node, MappingNode)
    data: dict[str, Any] = {}
    for key_node, value_node in node.value:
        key_place = _place(key_node, doc.file)
        if not isinstance(key_node, ScalarNode) or key_node.value == "<<":
            faults.append(Fault(key_place, "E102", "only plain keys are taken, and no merge keys"))
            continue
        key = str(key_node.value)
        if key in data:
            faults.append(
                Fault(key_place, "E103", f"{key!r} stands twice here", "keep one of them")
            )
            continue
        doc.keys[(*path, key)] = key_place
        data[key] = _plain(value_node, (*path, key), doc, faults, depth + 1, seen)
    return data


def _scalar(node: ScalarNode, place: Place, faults: list[Fault]) -> Any:
    text = str(node.value)
    if not _PLAIN_TAGS.match(str(node.tag)):
        faults.append(Fault(place, "E102", f"the tag {node.tag} is refused", "leave it out"))
        return text
    if node.style in ("'", '"', "|", ">"):
        return text
    if text in _WORDS:
        return _WORDS[text]
    if _NUMBER.match(text):
        return int(text) if re.fullmatch(r"[-+]?\d{1,18}", text) else float(text)
    return text


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
        row, column = [], indent + 1
        for cell in cells:
            row.append(Cell(cell.strip(), Place(name, place.line, column)))
            column += len(cell) + 1
        if rows and len(row) != len(rows[0]):
            raise RuleFault(place, "E110", f"{len(row)} cells, but the header has {len(rows[0])}",
                            "give every row as many cells as the header")  # fmt: skip
        rows.append(row)
    return rows
