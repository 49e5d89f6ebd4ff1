"""Mutations of rule files: of their bytes, lines and words, of the tree of a YAML file, of the cells of a CSV file."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from typing import Any, Final

import yaml

SIGNS: Final[list[str]] = [
    *"\n\r\t:{}[]\"'#,-|>&*!%@`?()+/=<.0\0\x85\x7f",
    "\r\n",
    "\ufeff",
    "\u2028",
    "\u202e",
    "\u200b",
    "\u0301",
    "\U0001d55c",
    "é",
    "×",
    "٣",
    "1e999",
    "9" * 400,
    "- ",
    "- - ",
    "&a ",
    "*a",
    "<<: ",
    "!!python/name:os.system ",
    "---\n",
    "? ",
]
WORDS: Final = re.compile(r"\w+|[^\w\s]+|\s+")
VALUES: Final[list[Any]] = [
    None, True, "", "x", 0, -1, 1e308, 10**40, [], {}, [[]], {"a": 1}, "1 ft", "a.b", "(" * 70, "9" * 50, "demo", "in",
    "visit", "number", "2026-02-30", "{a.b}", "\ud83d", "²", " ", "\u202e", "lambda: 1", "1 if True else 2",
    "unknown: domain",
]  # fmt: skip
CELLS: Final[list[str]] = [
    "", " ", "x", "-1", "1e999", "9" * 60, "1/0", "1,5", '"', '"a', "yes", "demo", "2026-02-30", "[ft]", "a [ft]",
    "source", "because", "replaces", "holds_from [date]", "a [number]", "a [text]", "#", "é", "\ufeff", "\0", "٣",
    "=1+1",
]  # fmt: skip
_LOADER: Final = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_DUMPER: Final = getattr(yaml, "CSafeDumper", yaml.SafeDumper)


def mutate(text: str, rng: random.Random, *, sheet: bool) -> bytes:
    """Another text, one to three mutations away; `sheet` for CSV."""
    kinds = [_of_bytes, _of_lines, _of_words, *[_of_cells if sheet else _of_structure] * 3]
    data = text.encode()
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        data = rng.choice(kinds)(data, rng)
    return data


def _of_bytes(data: bytes, rng: random.Random) -> bytes:
    if not data:
        return b"\0"
    at, to = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    to = min(to, at + rng.choice([1, 1, 4, 30, 3000]))
    match rng.randrange(7):
        case 0:
            return data[:at] + data[to:]
        case 1 | 2:
            return data[:at] + rng.choice(SIGNS).encode() + data[at:]
        case 3:
            return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        case 4:
            return data[:to] + data[at:to] * rng.choice([1, 2, 20]) + data[to:]
        case 5:
            other = rng.randrange(len(data))
            return data[:other] + data[at:to] + data[other:]
    return data[:at]


def _of_lines(data: bytes, rng: random.Random) -> bytes:
    """A line goes, comes twice, moves, or is indented otherwise; or all lines end in another way."""
    lines = data.splitlines(keepends=True)
    if not lines:
        return b"\n"
    at, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    match rng.randrange(8):
        case 0:
            del lines[at]
        case 1:
            lines.insert(other, lines[at])
        case 2:
            lines[at], lines[other] = lines[other], lines[at]
        case 3:
            lines[at] = rng.choice([b" ", b"  ", b"    ", b"\t", b" " * 90]) + lines[at]
        case 4:
            lines[at] = lines[at].lstrip()
        case 5:
            lines[at:other] = [b"  " + line for line in lines[at:other]]
        case 6:
            end = rng.choice([b"\r\n", b"\r", b"\x0c\n", "\u2028".encode(), b"\n\n"])
            return data.replace(b"\n", end)
        case _:
            return rng.choice([b"\xef\xbb\xbf", b"\xff\xfe", b"%YAML 1.1\n---\n"]) + data
    return b"".join(lines)


def _of_words(data: bytes, rng: random.Random) -> bytes:
    """A word gives way to another one of the same text, or two change places."""
    words = WORDS.findall(data.decode(errors="replace"))
    if not words:
        return data
    a, b = rng.randrange(len(words)), rng.randrange(len(words))
    if rng.random() < 0.5:
        words[a] = words[b]
    else:
        words[a], words[b] = words[b], words[a]
    return "".join(words).encode()


def _of_structure(data: bytes, rng: random.Random) -> bytes:
    """A value or key of the YAML is dropped, doubled, moved, retyped or replaced."""
    try:
        document = yaml.load(data, Loader=_LOADER)
        places = list(_places(document))
    except (yaml.YAMLError, ValueError, RecursionError):
        return _of_bytes(data, rng)
    if not places:
        return _of_bytes(data, rng)
    inside, key = rng.choice(places)
    there, other = rng.choice(places)
    match rng.randrange(8):
        case 0:
            del inside[key]
        case 1 | 2:
            inside[key] = rng.choice(VALUES)
        case 3:
            inside[key], there[other] = there[other], inside[key]
        case 4:
            inside[key] = there[other]
        case 5 if isinstance(inside, dict):
            inside[rng.choice([other, *VALUES[1:4], "x.y"])] = inside.pop(key)
        case 5:
            inside.append(inside[key])
        case 6:
            inside[key] = str(inside[key])
        case _:
            inside[key] = [inside[key]]
    try:
        written = yaml.dump(document, Dumper=_DUMPER, allow_unicode=True, width=100_000)
        return str(written).encode()
    except (RecursionError, yaml.YAMLError, UnicodeEncodeError):
        return _of_bytes(data, rng)


def _places(node: Any) -> Iterator[tuple[Any, Any]]:
    keys = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    for key in keys:
        yield node, key
        yield from _places(node[key])


def _of_cells(data: bytes, rng: random.Random) -> bytes:
    """A cell or a column of the CSV is replaced, doubled, dropped, or changes places with another."""
    rows = [line.split(",") for line in data.decode(errors="replace").splitlines()]
    rows = [row for row in rows if not row[0].startswith("#")]
    if not rows:
        return b"\n"
    row, other = rng.choice(rows), rng.choice(rows)
    at, to = rng.randrange(len(row)), rng.randrange(len(other))
    match rng.randrange(7):
        case 0 | 1:
            row[at] = rng.choice(CELLS)
        case 2:
            rows[0][rng.randrange(len(rows[0]))] = rng.choice(CELLS)
        case 3:
            row[at], other[to] = other[to], row[at]
        case 4:
            for each in rows:
                del each[at : at + 1]
        case 5:
            for each in rows:
                each += each[at : at + 1]
        case _:
            for each in rows:
                each.append(rng.choice(CELLS))
    return "\n".join(",".join(each) for each in rows).encode(errors="replace") + b"\n"
