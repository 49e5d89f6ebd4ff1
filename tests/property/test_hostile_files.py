"""Hostile rule files: YAML that is odd, deep, large, or no YAML at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.property.hostile import formula, lay_out, lines_of

YAML: dict[str, str | bytes] = {
    "nothing": "",
    "only a comment": "# nothing",
    "a number": "5",
    "a list": "- 1",
    "null": "null",
    "two documents": "quantities: {}\n---\nchecks: {}\n",
    "a directive": "%YAML 1.1\n---\nquantities: {}\n",
    "an unknown directive": "%HOSTILE 1\n---\nquantities: {}\n",
    "tabs": "quantities:\n\tx.y: {label: Y}\n",
    "laughs": "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\nd: [*c, *c]\n",
    "laughs in a formula": "quantities: &q\n  x.y: {label: Y, limits: 0 to 1}\nchecks: *q\n",
    "an anchor of itself": "quantities: &q\n  x.y: *q\n",
    "an anchor on a key": "&a quantities: {}\n",
    "a tag on a key": "!!binary quantities: {}\n",
    "a python tag": "quantities: !!python/object/apply:os.system ['true']\n",
    "a local tag": "quantities: !x {}\n",
    "a tag on a scalar": "quantities: {x.y: {label: !!str Y}}\n",
    "merge": "quantities: {<<: {x.y: {label: Y}}}\n",
    "a list as key": "? [a, b]\n: 1\n",
    "a map as key": "? {a: 1}\n: 1\n",
    "null as key": "? \n: 1\n",
    "a key twice": "quantities: {}\nquantities: {}\n",
    "a key twice inside": "quantities:\n  x.y: {label: Y, label: Z, limits: 0 to 1}\n",
    "number keys": "quantities: {1: {label: Y}}\n",
    "infinity": "quantities: {x.y: {label: Y, limits: .inf to 1, decimals: .inf}}\n",
    "not a number": "quantities: {x.y: {label: Y, limits: 0 to .nan, decimals: .nan}}\n",
    "a huge number": "quantities: {x.y: {label: Y, limits: 0 to 1, decimals: 1e999, default: 1e999}}\n",
    "a huge integer": f"quantities: {{x.y: {{label: Y, limits: 0 to 1, decimals: 1{'0' * 5000}}}}}\n",
    "a huge limit": f"quantities: {{x.y: {{label: Y, limits: 0 to 1{'0' * 400}}}}}\n",
    "a huger limit": f"quantities: {{x.y: {{label: Y, limits: 0 to 1{'0' * 1900}}}}}\n",
    "a huge default": f"quantities: {{x.y: {{label: Y, limits: 0 to 1, default: 1{'0' * 5000}}}}}\n",
    "a huge fraction": f"quantities: {{x.y: {{label: Y, limits: 0 to 1/{'9' * 1900}}}}}\n",
    "a huge exponent": "quantities: {x.y: {label: Y, limits: 0 to 1e99999}}\n",
    "a negative exponent": "quantities: {x.y: {label: Y, limits: 0 to 1e-99, default: 1e-99}}\n",
    "hexadecimal": "quantities: {x.y: {label: Y, limits: 0 to 0x10, decimals: 0x1}}\n",
    "octal": "quantities: {x.y: {label: Y, limits: 0 to 017, decimals: 0o7}}\n",
    "underscores": "quantities: {x.y: {label: Y, limits: 0 to 1_000}}\n",
    "sexagesimal": "quantities: {x.y: {label: Y, limits: 0 to 1:30, default: 1:30}}\n",
    "a date for a limit": "quantities: {x.y: {label: Y, limits: 2026-01-01}}\n",
    "a flag for a label": "quantities: {x.y: {label: yes, limits: 0 to 1, optional: yes}}\n",
    "a list for a formula": "quantities: {x.y: {label: Y, limits: 0 to 1, formula: [1], source: demo}}\n",
    "a map for a limit": "quantities: {x.y: {label: Y, limits: {a: 1}}}\n",
    "arabic digits": "quantities: {x.y: {label: Y, limits: \u0660 to \u0661, decimals: \u0661}}\n",
    "right to left": "quantities: {x.y: {label: \u202eY, limits: 0 to 1, nonsense: 1}}\n",
    "zero width name": "quantities: {x.\u200by: {label: Y, limits: 0 to 1}}\n",
    "right to left key": "quantities: {x.y: {label: Y, limits: 0 to 1, '\u202eon': 1}}\n",
    "escape in a key": 'quantities: {"\\e[31mx.y": {label: Y}}\n',
    "a line break in a key": 'quantities: {"x.y\\nfile:1:1: E101 invented": {label: Y}}\n',
    "separators in a key": 'quantities: {"x.y\\u2028z\\x85": {label: Y}}\n',
    "NUL escaped": 'quantities: {x.y: {label: "\\0", limits: 0 to 1, unit: "\\0"}}\n',
    "surrogate escaped": 'quantities: {x.y: {label: "\\ud800", limits: 0 to 1}}\n',
    "half of a pair in a key": 'quantities: {"\\udc80": {label: Y}}\n',
    "surrogate pair escaped": 'quantities: {x.y: {label: "\\ud83d\\ude00", limits: 0 to 1}}\n',
    "surrogate bytes": "quantities: {x.y: {label: \ud800}}\n",
    "NUL": b"quantities: {}\0\n",
    "byte order mark": "\ufeffquantities: {x.y: {label: Y, limits: 0 to 1, nonsense: 1}}\n",
    "two byte order marks": "\ufeff\ufeffquantities: {}\n",
    "UTF-16": "quantities: {}\n".encode("utf-16"),
    "Latin-1": "quantities: {x.y: {label: é}}\n".encode("latin-1"),
    "random bytes": bytes(range(256)) * 4,
    "CR only": "quantities:\r  x.y: {label: Y, limits: 0 to 1, nonsense: 1}\r",
    "a block with CR": "tables:\r  t:\r    source: demo\r    rows: |\r      a [number]\r      x\r",
    "deep lists": "quantities: " + "[" * 30000,
    "deep maps": "quantities: " + "{a: " * 5000 + "1" + "}" * 5000,
    "deep block": "\n".join(" " * n + "- " for n in range(2000)),
    "deep but closed": "quantities: " + "[" * 400 + "]" * 400,
    "a very long line": "quantities: {x.y: {label: " + "Y" * 500_000 + ", limits: 0 to 1}}\n",
    "a very long key": "quantities: {" + "y" * 100_000 + ": {label: Y}}\n",
    "a very long name": "quantities: {x." + "y" * 100_000 + ": {label: Y, limits: 0 to 1}}\n",
    "a formula that refers to a long name": formula("x." + "y" * 1900),
    "an unclosed quote": "quantities: {x.y: {label: 'Y\n",
    "an unclosed flow": "quantities: {x.y: {label: Y\n",
    "colons": ": : : :\n",
    "dashes": "- - - - -\n",
    "percent": "%\n",
    "at sign": "@a: 1\n",
    "backquote": "`a`: 1\n",
    "items of wrong form": "quantities: {x.y: 5}\ntables: {t: []}\nexamples: [5, [], {}]\n",
    "steps of wrong form": "checklists: {c: {title: T, steps: [5]}}\n",
    "sections of wrong form": "quantities: []\ntables: 5\nexamples: {}\nchecks: x\nunits: {}\n",
}  # fmt: skip


@pytest.mark.parametrize("text", YAML.values(), ids=YAML)
def test_rule_files(text: str | bytes, tmp_path: Path) -> None:
    lines_of(lay_out(tmp_path, {"rules.yaml": text}))


@pytest.mark.parametrize("text", YAML.values(), ids=YAML)
def test_pack_files(text: str | bytes, tmp_path: Path) -> None:
    assert lines_of(lay_out(tmp_path, {"pack.yaml": text}))
