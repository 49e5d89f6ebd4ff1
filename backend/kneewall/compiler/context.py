"""What stands at the place of a fault: the line with a mark under the column, the item and its source."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Final

from kneewall.compiler.errors import Fault, Place, RuleFault, printable
from kneewall.compiler.reader import Document, read_text, read_yaml, split_lines

WIDTH: Final = 110
"""Of a longer line, the part around the column is shown."""


def context(fault: Fault) -> list[str]:
    """Lines to print under a fault; none when there is no such line."""
    place = fault.place
    path = Path(place.file)
    try:
        text = read_text(path, place.file)
    except RuleFault:
        return []
    lines = [_in_place(line) for line in split_lines(text)]
    if not 1 <= place.line <= len(lines):
        return []
    shown, before = _window(lines[place.line - 1], place.column - 1)
    number = f"{place.line:>5}"
    found = [f"{number} | {shown}", f"{' ' * len(number)} | {_blank(before)}^"]
    item = _in_csv(path) if path.suffix == ".csv" else _in_yaml(text, place)
    found += [f"{' ' * len(number)} = {item}"] if item else []
    return [printable(line, keep="\t") for line in found]


def _window(line: str, column: int) -> tuple[str, str]:
    """The part of a line that is shown, and what of it stands before the column."""
    if len(line) <= WIDTH:
        return line, line[:column]
    start = max(0, min(column - WIDTH // 2, len(line) - WIDTH))
    head = "…" if start else ""
    tail = "…" if start + WIDTH < len(line) else ""
    return f"{head}{line[start : start + WIDTH]}{tail}", head + line[start:column]


def _in_place(line: str) -> str:
    """As long as before, so that the mark stands under its column; what is not printable is one sign here."""
    return "".join(sign if sign.isprintable() or sign == "\t" else "\ufffd" for sign in line)


def _blank(text: str) -> str:
    return re.sub(r"[^\t]", " ", text)


def _in_yaml(text: str, place: Place) -> str:
    document = read_yaml(text, place.file, [])
    if document is None:
        return ""
    before = [
        (found, path)
        for places in (document.keys, document.values)
        for path, found in places.items()
        if found <= place
    ]
    _, path = max(before, key=lambda one: (one[0], len(one[1])), default=(place, ()))
    return _item(document, path) if len(path) > 1 else ""


def _item(document: Document, path: tuple[str | int, ...]) -> str:
    """The item that a path leads into, and the nearest source on the way up."""
    source = ""
    node: Any = document.data
    name = str(path[1])
    for depth, part in enumerate(path):
        node = _inside(node, part)
        if not isinstance(node, dict):
            continue
        if depth == 1 and path[0] == "examples":
            name = str(node.get("name", name))
        if isinstance(node.get("source"), str):
            source = f", source {node['source']}"
    return f"in {name}{source}"


def _inside(node: Any, part: str | int) -> Any:
    if isinstance(node, dict):
        return node.get(part)
    if isinstance(node, list) and isinstance(part, int) and part < len(node):
        return node[part]
    return None


def _in_csv(path: Path) -> str:
    """The table of a rule file in the same folder that this file fills."""
    for beside in sorted(path.parent.glob("*.yaml")):
        try:
            document = read_yaml(read_text(beside, beside.as_posix()), beside.as_posix(), [])
        except RuleFault:
            continue
        for section in ("tables", "rows"):
            items = _inside(document.data, section) if document else None
            for name, data in items.items() if isinstance(items, dict) else ():
                if _inside(data, "file") == path.name:
                    return _item(document, (section, name))  # type: ignore[arg-type]
    return ""
