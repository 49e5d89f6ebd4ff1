"""The shipped JSON Schemas are those of the forms, take what the compiler takes, and refuse what it refuses in form."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema_rs import Validator, validator_for

from kneewall.bundle import document_of
from kneewall.compiler import compile_packs
from kneewall.compiler.languages import language_of
from kneewall.compiler.reader import read_yaml
from kneewall.tools import schemas

ROOT = Path(__file__).parents[2]
RULES = ROOT / "rules"
FILES = sorted(path for path in RULES.rglob("*.yaml") if not language_of(path.name))
FAULTS = ROOT / "tests" / "language" / "faults"
OF_FORM = (
    "E104-key", "E104-section", "E105-check", "E105-held", "E105-timed", "E106-braces", "E106-cases", "E106-empty",
    "E106-label", "E106-shape", "E106-table", "E106-twice", "E203", "E501", "E501-derived", "E602-belongs-twice",
    "E602-nothing",
)  # fmt: skip
"""Broken fixtures whose fault is one of form."""


def shipped(name: str) -> Validator:
    text = (schemas.FOLDER / f"{name}.schema.json").read_text(encoding="utf-8")
    return validator_for(json.loads(text))


def data_of(text: str) -> Any:
    document = read_yaml(text, "rules.yaml", [])
    assert document is not None
    return json.loads(json.dumps(document.data))


@pytest.fixture(scope="module")
def trade() -> Any:
    return document_of(compile_packs([RULES]).raw)


def test_none_is_stale(capsys: pytest.CaptureFixture[str]) -> None:
    assert schemas.main(["--check"]) == 0, capsys.readouterr().out


def test_a_stale_one_is_named_and_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(schemas, "FOLDER", tmp_path)
    assert schemas.main(["--check"]) == 1
    assert "rules.schema.json" in capsys.readouterr().out
    assert not list(tmp_path.iterdir())
    assert schemas.main([]) == 0
    assert schemas.main(["--check"]) == 0
    assert schemas.main(["--chek"]) == 2


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(RULES).as_posix())
def test_every_file_of_the_trade_is_valid(path: Path) -> None:
    validator = shipped("pack" if path.name == "pack.yaml" else "rules")
    faults = validator.iter_errors(data_of(path.read_text(encoding="utf-8")))
    assert [fault.message for fault in faults] == []


def test_the_compiled_trade_pack_is_valid(trade: Any) -> None:
    faults = shipped("bundle").iter_errors(trade)
    assert [fault.message for fault in faults] == []


def broken(path: Path) -> Any:
    """What the rule file of a broken fixture says."""
    parts = path.read_text(encoding="utf-8").split("\n== ")
    (rules,) = [part for part in parts if part.startswith(("rules.yaml\n", "house/rules.yaml\n"))]
    return data_of(rules.partition("\n")[2])


@pytest.mark.parametrize("name", OF_FORM)
def test_a_fault_of_form_is_refused(name: str) -> None:
    assert not shipped("rules").is_valid(broken(FAULTS / f"{name}.txt"))


@pytest.mark.parametrize(
    "path",
    # Faults of E305 stand in the list of units.
    [path for path in FAULTS.glob("E[34]*.txt") if not path.stem.startswith("E305")],
    ids=lambda path: path.stem,
)
def test_a_fault_of_meaning_is_valid_in_form(path: Path) -> None:
    assert shipped("rules").is_valid(broken(path))


def test_what_may_be_written_bare_is_valid() -> None:
    """The compiler takes numbers and flags where text is meant; an editor must not mark them."""
    rules = (
        "quantities:\n"
        "  x.y: {label: Y, limits: 0 to 9, default: 1.5, one_of: [1, 2.5], formula: 3, source: demo}\n"
        "  x.z: {label: Z, type: flag, default: true, formula: true, source: demo}\n"
        "examples:\n"
        "  - {name: n, calculator: c, given: {x.y: 2, x.z: true}, checks: {x.c: pass}, source: demo}\n"
    )
    assert shipped("rules").is_valid(data_of(rules))


def test_a_bundle_with_an_unknown_key_is_refused(trade: Any) -> None:
    table = {**trade["tables"][0], "surprise": 1}
    (fault,) = shipped("bundle").iter_errors({**trade, "tables": [table]})
    assert "surprise" in fault.message
