"""Mutations of rule files: of their bytes, their words, and their structure."""

from __future__ import annotations

import random
import re
from typing import Any, Final

import yaml

SIGNS: Final[list[str]] = [
    *"\n\t:{}[]\"'#,-|>&*!%@`?()+/=<.0\0",
    "\ufeff",
    "\u2028",
    "é",
    "×",
    "1e999",
    "- ",
    "- - ",
]
WORDS: Final = re.compile(r"\w+|[^\w\s]+|\s+")
VALUES: Final[list[Any]] = [
    None, True, "", "x", 0, -1, 1e308, [], {}, [[]], {"a": 1}, "1 ft", "a.b", "(" * 70, "9" * 50, "demo", "in",
]  # fmt: skip


def mutate(text: str, rng: random.Random, *, sheet: bool) -> bytes:
    """Another text, one to three mutations away; `sheet` for CSV, which has no structure."""
    kinds = [_of_bytes, _of_words] if sheet else [_of_bytes, _of_words, _of_structure]
    data = text.encode()
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        data = rng.choice(kinds)(data, rng)
    return data


def _of_bytes(data: bytes, rng: random.Random) -> bytes:
    if not data:
        return b"\0"
    at, to = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    to = min(to, at + rng.choice([1, 1, 4, 30, 3000]))
    match rng.randrange(6):
        case 0:
            return data[:at] + data[to:]
        case 1:
            return data[:at] + rng.choice(SIGNS).encode() + data[at:]
        case 2:
            return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        case 3:
            return data[:to] + data[at:to] * rng.choice([1, 2, 20]) + data[to:]
        case 4:
            other = rng.randrange(len(data))
            return data[:other] + data[at:to] + data[other:]
    return data[:at]


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
    """A value or key of the YAML is dropped, doubled, moved or replaced."""
    try:
        document = yaml.safe_load(data)
    except (yaml.YAMLError, ValueError):
        return _of_bytes(data, rng)
    places = list(_places(document))
    if not places:
        return _of_bytes(data, rng)
    inside, key = rng.choice(places)
    match rng.randrange(5):
        case 0:
            del inside[key]
        case 1:
            inside[key] = rng.choice(VALUES)
        case 2:
            there, other = rng.choice(places)
            inside[key], there[other] = there[other], inside[key]
        case 3 if isinstance(inside, dict):
            inside[rng.choice(places)[1]] = inside.pop(key)
        case 4 if isinstance(inside, list):
            inside.append(inside[key])
        case _:
            inside[key] = [inside[key]]
    try:
        return str(yaml.safe_dump(document, allow_unicode=True, width=100_000)).encode()
    except (RecursionError, yaml.YAMLError, UnicodeEncodeError):
        return _of_bytes(data, rng)


def _places(node: Any) -> Any:
    keys = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    for key in keys:
        yield node, key
        yield from _places(node[key])
