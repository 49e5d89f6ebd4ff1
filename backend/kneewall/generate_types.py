"""Writes the TypeScript types of bundle, records and API from their pydantic models.

    python -m kneewall.generate_types [--check]

Public models, type aliases and plain constants of each module go to `pwa/src/generated/NAME.ts`. A
field with a default is optional there, since a bundle leaves defaults out. `--check` writes
nothing and exits 1 with one line when a file is not what the models say.
"""

from __future__ import annotations

import ast
import importlib
import json
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

from pydantic import BaseModel, TypeAdapter

MODULES = {
    "bundle": "kneewall.bundle",
    "records": "kneewall.records.envelope",
    "api": "kneewall.web.api_models",
}
FOLDER = Path(__file__).parents[2] / "pwa" / "src" / "generated"

Schema = dict[str, Any]


def main(arguments: list[str]) -> int:
    if arguments not in ([], ["--check"]):
        print(f"unknown: {' '.join(arguments)}; the only option is --check", file=sys.stderr)
        return 2
    if not FOLDER.parent.is_dir():
        print(f"{FOLDER.parent} is missing; types are generated in a source tree", file=sys.stderr)
        return 2
    texts = generate()
    stale = [name for name, text in texts.items() if _read(FOLDER / name) != text]
    if arguments == ["--check"]:
        if stale:
            names = ", ".join(stale)
            print(f"stale in pwa/src/generated: {names}; run python -m kneewall.generate_types")
        return 1 if stale else 0
    FOLDER.mkdir(exist_ok=True)
    for name in stale:
        (FOLDER / name).write_text(texts[name], encoding="utf-8")
    return 0


def generate() -> dict[str, str]:
    """File name -> TypeScript text, the same for the same models."""
    modules = {name: importlib.import_module(path) for name, path in MODULES.items()}
    homes: dict[str, str] = {}
    for name, module in modules.items():
        for type_name in _types(module):
            homes.setdefault(type_name, name)
    return {f"{name}.ts": _Writer(name, module, homes).text() for name, module in modules.items()}


def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.is_file() else ""


def _own_names(module: ModuleType) -> list[str]:
    """Public names the module itself defines, in its own order."""
    assert module.__file__
    names = []
    for node in ast.parse(Path(module.__file__).read_text(encoding="utf-8")).body:
        match node:
            case ast.ClassDef(name=name):
                names.append(name)
            case ast.Assign(targets=[ast.Name(id=name)]) | ast.AnnAssign(target=ast.Name(id=name)):
                names.append(name)
    return [name for name in names if not name.startswith("_")]


def _types(module: ModuleType) -> dict[str, Any]:
    """Models and type aliases: an alias is a CamelCase name of something that is no plain class."""
    found = {}
    for name in _own_names(module):
        value = getattr(module, name)
        if isinstance(value, type) and issubclass(value, BaseModel):
            is_type = bool(value.model_fields)  # a mere base is no type of its own
        elif isinstance(value, type):
            is_type = value.__name__ != name
        else:
            is_type = not name.isupper()
        if is_type:
            found[name] = value
    return found


class _Writer:
    """One module's file. Schemas use `$ref: Name`, as pydantic is told below."""

    def __init__(self, name: str, module: ModuleType, homes: dict[str, str]) -> None:
        self.name = name
        self.module = module
        self.homes = homes
        self.types = _types(module)
        self.imports: dict[str, set[str]] = {}
        self.unions: dict[str, str] = {}  # text of an alias -> its name, for use further down

    def text(self) -> str:
        parts = [self._constants()]
        for name, value in self.types.items():
            schema = TypeAdapter(value).json_schema(ref_template="{model}")
            definitions = schema.pop("$defs", {})
            if schema.get("$ref") == name:
                schema = definitions[name]
            parts.append(self._declaration(name, schema))
        imports = "".join(
            f'import type {{ {", ".join(sorted(names))} }} from "./{home}.ts";\n'
            for home, names in sorted(self.imports.items())
        )
        head = f"// Written by kneewall.generate_types from {self.module.__name__}; edit that.\n"
        return head + imports + "\n" + "\n".join(part for part in parts if part)

    def _constants(self) -> str:
        lines = []
        for name in _own_names(self.module):
            value = getattr(self.module, name)
            if not name.isupper():
                continue
            if isinstance(value, frozenset):
                lines.append(f"export const {name} = {json.dumps(sorted(value))} as const;\n")
            elif isinstance(value, int | float | str):
                lines.append(f"export const {name} = {json.dumps(value)};\n")
        return "".join(lines)

    def _declaration(self, name: str, schema: Schema) -> str:
        inherited = BaseModel.__doc__ or ""
        about = schema.get("description", "")
        comment = "" if not about or about == inherited else f"/** {' '.join(about.split())} */\n"
        if "properties" in schema:
            fields = "".join(f"  {line}\n" for line in self._fields(schema))
            return f"{comment}export interface {name} {{\n{fields}}}\n"
        text = self._type(schema)
        if " | " in text:
            self.unions[text] = name
        return f"{comment}export type {name} = {text};\n"

    def _fields(self, schema: Schema) -> list[str]:
        required = set(schema.get("required", ()))
        return [
            f"readonly {name}{'' if name in required else '?'}: {self._type(field)};"
            for name, field in schema["properties"].items()
        ]

    def _type(self, schema: Schema) -> str:
        if "$ref" in schema:
            return self._named(schema["$ref"])
        if "const" in schema:
            return json.dumps(schema["const"])
        if "enum" in schema:
            return self._union([json.dumps(value) for value in schema["enum"]])
        for union in ("anyOf", "oneOf", "allOf"):
            if union in schema:
                return self._union([self._type(each) for each in schema[union]])
        match schema.get("type"):
            case "string" | "boolean" | "null" as same:
                return str(same)
            case "integer" | "number":
                return "number"
            case "array":
                return self._array(schema)
            case "object":
                return self._object(schema)
        if set(schema) <= {"title", "description", "default"}:
            return "unknown"
        raise TypeError(f"{self.module.__name__}: no TypeScript for {schema}")

    def _union(self, members: list[str]) -> str:
        """Members joined; an alias declared above stands for those it begins with."""
        text = " | ".join(dict.fromkeys(members))
        for alias, name in self.unions.items():  # a later alias may be spelled with an earlier one
            if f"{text} | ".startswith(f"{alias} | "):
                text = name + text.removeprefix(alias)
        return text

    def _named(self, name: str) -> str:
        if name not in self.types:
            if name not in self.homes:
                raise TypeError(f"{self.module.__name__}: {name} is in none of {list(MODULES)}")
            self.imports.setdefault(self.homes[name], set()).add(name)
        return name

    def _array(self, schema: Schema) -> str:
        if "prefixItems" in schema:
            return f"readonly [{', '.join(self._type(each) for each in schema['prefixItems'])}]"
        item = self._type(schema.get("items", {}))
        return f"readonly {item}[]" if item.isidentifier() else f"readonly ({item})[]"

    def _object(self, schema: Schema) -> str:
        if "properties" in schema:
            return f"{{ {' '.join(self._fields(schema))} }}"
        values = schema.get("additionalProperties", {})
        item = "unknown" if values is True else self._type(values)
        keys = schema.get("propertyNames", {})
        if "enum" in keys or "$ref" in keys:
            return f"{{ readonly [key in {self._type(keys)}]?: {item} }}"
        return f"{{ readonly [key: string]: {item} }}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
