"""rules/LANGUAGE.md is true: its examples compile, and what it lists exists."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from kneewall.compiler import compile_packs
from kneewall.compiler.calls import CALLS
from kneewall.compiler.packs import FORMS
from kneewall.compiler.schema import CalculatorForm, ChartForm, Item, QuantityForm, StepForm
from kneewall.compiler.table_calls import TABLE_CALLS
from kneewall.compiler.units import KINDS
from kneewall.compiler.warnings import WARNINGS
from kneewall.engine import Engine
from kneewall.explain import Explainer

RULES = Path(__file__).parents[2] / "rules"
TEXT = (RULES / "LANGUAGE.md").read_text(encoding="utf-8")


def test_every_example_compiles_together(tmp_path: Path) -> None:
    """The blocks form one pack, whose worked example holds."""
    blocks = re.findall(r"```yaml rules\n(.*?)```", TEXT, re.DOTALL)
    assert len(blocks) >= 3
    (pack,) = re.findall(r"```yaml\n# pack.yaml\n(.*?)```", TEXT, re.DOTALL)
    own = re.sub(r"^(\w+_quantity|checklists).*\n", "", pack, flags=re.MULTILINE)
    (tmp_path / "pack.yaml").write_text(own)
    (tmp_path / "units.csv").write_text((RULES / "units.csv").read_text(encoding="utf-8"))
    for number, block in enumerate(blocks):
        (tmp_path / f"block{number}.yaml").write_text(block, encoding="utf-8")
    bundle = compile_packs([tmp_path])
    assert {calculator.id for calculator in bundle.calculators} == {"run-drop", "hold"}
    assert len(bundle.examples) == 1


def test_every_call_is_written_down() -> None:
    missing = [name for name in (*CALLS, *TABLE_CALLS) if not re.search(rf"\b{name}\b", TEXT)]
    assert not missing


def test_every_section_key_and_kind_is_written_down() -> None:
    names = [*FORMS, *QuantityForm.model_fields, *filter(None, KINDS)]
    for form in (CalculatorForm, ChartForm, StepForm):
        own = set(form.model_fields) - set(Item.model_fields)
        names += [form.model_fields[name].alias or name for name in sorted(own)]
    names = [name for name in names if name not in ("id", "title", "topic", "note")]
    assert not [name for name in names if f"`{name}`" not in TEXT]


def test_every_warning_is_written_down() -> None:
    assert not [number for number in WARNINGS if number not in TEXT]


def test_the_calculator_of_the_developers_page_compiles(tmp_path: Path) -> None:
    """The example in DEVELOPERS.md is added to a copy of the trade pack; its worked example holds."""
    page = (RULES.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = page[
        page.index("    # rules/controls/wires.csv") : page.index("Then `kneewall compile")
    ]
    lines = "\n".join(line[4:] for line in block.splitlines())
    table, rules = lines.split("# rules/controls/control_wire.yaml")
    shutil.copytree(RULES, tmp_path / "rules")
    (tmp_path / "rules" / "controls").mkdir(exist_ok=True)
    (tmp_path / "rules" / "controls" / "wires.csv").write_text(table.split("\n", 1)[1])
    (tmp_path / "rules" / "controls" / "control_wire.yaml").write_text(rules, encoding="utf-8")
    bundle = compile_packs([tmp_path / "rules"])
    assert "control-wire" in {calculator.id for calculator in bundle.calculators}


def test_a_number_is_shown_as_it_is_written(tmp_path: Path) -> None:
    """Neither rounded nor with an exponent that nobody wrote."""
    rules = """
quantities:
  box.length: {label: Length, limits: 0 to 10}
  box.shown: {label: Shown, limits: 0 to 99999999, formula: 1234567.125 + 0.0000225577 * box.length, source: demo}
calculators:
  box: {title: Box, topic: demo, enter: [box.length], show: [box.shown]}
"""
    (tmp_path / "pack.yaml").write_text("id: trade\nrank: trade\ntitle: T\nformat: 1\n")
    (tmp_path / "units.csv").write_text((RULES / "units.csv").read_text(encoding="utf-8"))
    (tmp_path / "rules.yaml").write_text(rules)
    explainer = Explainer(Engine(compile_packs([tmp_path])).evaluate({"box.length": 2}))
    assert explainer.step("box.shown").filled == "1234567.125 + 0.0000225577 × 2"
