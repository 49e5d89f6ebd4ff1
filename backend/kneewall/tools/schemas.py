"""Writes the JSON Schemas of rule files, `pack.yaml` and the bundle, for editors and other programs.

    python -m kneewall.tools.schemas [--check]

They are made of the pydantic forms and stand in `kneewall/schemas/`. `--check` writes nothing and exits 1 with one
line when a file is not what the forms say. A schema proves the form alone: names, units and formulas are the
compiler's.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema

from kneewall.bundle import Bundle
from kneewall.compiler.schema import FileForm, PackForm

FOLDER: Final = Path(__file__).resolve().parents[1] / "schemas"
LANGUAGE: Final = Path(__file__).resolve().parents[3] / "rules" / "LANGUAGE.md"
"""What it says of the keys of a quantity is what an editor shows beside them."""
FORMS: Final[dict[str, tuple[type[BaseModel], str]]] = {
    "rules": (FileForm, "Kneewall rule file"),
    "pack": (PackForm, "Kneewall pack.yaml"),
    "bundle": (Bundle, "Kneewall bundle"),
}


def _one_of(*keys: str) -> dict[str, Any]:
    return {"oneOf": [{"required": [key]} for key in keys]}


_STEP: Final = {
    "dependentRequired": {"needs": ["held"], "held": ["needs"]},
    "if": {"properties": {"act": {"const": "time"}}},
    "then": {"required": ["least", "keeps"]},
    "else": {"properties": {"least": False, "keeps": False}},
}
TOGETHER: Final[dict[str, dict[str, Any]]] = {
    "QuantityForm": {
        "dependentRequired": {"formula": ["source"]},
        "not": {"required": ["formula", "cases"]},
    },
    "TableForm": _one_of("file", "rows", "columns"),
    "CheckForm": {"anyOf": [{"required": ["fail"]}, {"required": ["caution"]}]},
    "StepForm": _STEP,
    "AmendedStepForm": _STEP,
    "ExampleForm": {
        **_one_of("calculator", "checklist"),
        "anyOf": [{"required": ["expect"]}, {"required": ["checks"]}],
    },
}
"""Which keys of a form go with which."""


class _Plain(GenerateJsonSchema):
    """Without the titles that only repeat a key."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


def main(arguments: list[str]) -> int:
    if arguments not in ([], ["--check"]):
        print(f"unknown: {' '.join(arguments)}; the only option is --check", file=sys.stderr)
        return 2
    stale = {name: text for name, text in generate().items() if _read(FOLDER / name) != text}
    if arguments == ["--check"]:
        if stale:
            print(f"stale in {FOLDER}: {', '.join(stale)}; run python -m kneewall.tools.schemas")
        return 1 if stale else 0
    FOLDER.mkdir(exist_ok=True)
    for name, text in stale.items():
        (FOLDER / name).write_text(text, encoding="utf-8")
    return 0


def generate() -> dict[str, str]:
    """File name -> JSON text, the same for the same forms."""
    return {
        f"{name}.schema.json": json.dumps(_schema(form, title), indent=2, ensure_ascii=False) + "\n"
        for name, (form, title) in FORMS.items()
    }


def _schema(form: type[BaseModel], title: str) -> dict[str, Any]:
    schema = form.model_json_schema(schema_generator=_Plain)
    _close(schema)
    if form is not Bundle:
        _fill(schema)
    for name, together in TOGETHER.items():
        if name in schema.get("$defs", {}):
            schema["$defs"][name] |= together
    described = schema.get("$defs", {}).get("QuantityForm", {}).get("properties", {})
    for key, meaning in _meanings().items():
        if key in described:
            described[key]["description"] = meaning
    return {"$schema": GenerateJsonSchema.schema_dialect, **schema, "title": title}


def _meanings() -> dict[str, str]:
    """The table of keys in section 3, a key each."""
    rows = re.findall(r"^\| (`.+?) \| (.+) \|$", LANGUAGE.read_text(encoding="utf-8"), re.MULTILINE)
    return {
        key: meaning for keys, meaning in reversed(rows) for key in re.findall(r"`(\w+)`", keys)
    }


def _close(node: Any) -> None:
    """Names in the wrong form are refused, as the compiler does."""
    for part in node.values() if isinstance(node, dict) else node:
        if isinstance(part, dict | list):
            _close(part)
    if isinstance(node, dict) and "patternProperties" in node:
        node["additionalProperties"] = False


def _fill(node: Any) -> None:
    """A key without a value is refused, as the compiler does."""
    for part in node.values() if isinstance(node, dict) else node:
        if isinstance(part, dict | list):
            _fill(part)
    if isinstance(node, dict) and isinstance(node.get("anyOf"), list):
        node["anyOf"] = [part for part in node["anyOf"] if part != {"type": "null"}]
        if node.get("default", "") is None:
            del node["default"]


def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.is_file() else ""


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
