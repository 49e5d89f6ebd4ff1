"""A compilation with something kept from the last one comes out as one without: the same bytes, the same faults."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import kneewall.compiler.kept
from kneewall.bundle import Bundle, load_bundle
from kneewall.compiler import CompileError, Kept, compile_packs, failures
from tests.property.grounds import grounds
from tests.tools.packs import PACK, RULES, UNITS

EDITS = [
    ("a check that an example names goes", "  box.light:\n    label", "  box.lite:\n    label"),
    ("mended", "  box.lite:\n    label", "  box.light:\n    label"),
    ("a calculator that a step names goes", "  box:\n    title: Box", "  bin:\n    title: Box"),
    ("mended", "  bin:\n    title: Box", "  box:\n    title: Box"),
    ("a caution goes", "  mind-the-legs: {", "  mind-the-feet: {"),
    ("mended", "  mind-the-feet: {", "  mind-the-legs: {"),
    (
        "an entered one is derived",
        "box.heat: {label: T",
        "box.heat: {formula: 1, source: demo, label: T",
    ),
    ("mended", "box.heat: {formula: 1, source: demo, label: T", "box.heat: {label: T"),
    ("a cell", "small, 5, 1.25,", "small, 5, 1.5,"),
    ("its example mended", "box.weight: 7.25 lb", "box.weight: 7.5 lb"),
    ("a literal", "box.length / 2", "box.length / 3"),
    ("a formula that does not go together", "box.length / 3", "box.length / 3 + box.heat"),
    ("mended", "box.length / 3 + box.heat", "box.length / 3"),
    ("a line more, so that all places move", "quantities:\n", "quantities:\n  # about boxes\n"),
    ("a fault below that line", "box.legs == 4, source: demo", "box.leg == 4, source: demo"),
    ("mended", "box.leg == 4, source: demo", "box.legs == 4, source: demo"),
    ("a function", '* quantity(1, "lb")', '* quantity(1.0001, "lb")'),
    ("what an example expects", "box.price: 5,", "box.price: 6,"),
    ("what it reads", "small, 5, 1.5,", "small, 6, 1.5,"),
    ("a column that nothing uses", "colour [colour], fee", "colour [colour], x [text], fee"),
    ("mended", "colour [colour], x [text], fee", "colour [colour], fee"),
    ("no row asked for by its keys", "row(fees, colour=box.colour)", "first(fees, fee > 1)"),
    ("a table that cannot be interpolated", "100, 20", "100, -20"),
    ("mended", "100, -20", "100, 20"),
    ("a choice more", "values: [red, green]", "values: [red, green, blue]"),
    ("a quantity renamed", "box.offered:", "box.half: {label: H, type: flag}\n  box.offered:"),
    ("and used", "enter: [box.length, box.width,", "enter: [box.half, box.length, box.width,"),
    ("a limit", "limits: 0 to 9, formula", "limits: 0 to 1, formula"),
    ("a message", "{box.weight} is light.", "{box.weight} is not heavy."),
    ("a source", "source: book page 1}", "source: book page 2}"),
    ("no YAML", "checks:\n", "checks: [\n"),
    ("mended", "checks: [\n", "checks:\n"),
]


def write(folder: Path, text: str) -> None:
    """Each section in a file of its own, so that an edit leaves the others as they are."""
    for part in re.split(r"^(?=[a-z])", text, flags=re.MULTILINE)[1:]:
        (folder / f"{part.partition(':')[0]}.yaml").write_text(part, encoding="utf-8")


def outcome(folder: Path, kept: Kept | None) -> bytes | list[str]:
    try:
        return compile_packs([folder], kept).raw
    except CompileError as error:
        return [str(fault) for fault in error.faults]


def test_every_edit_comes_out_as_if_nothing_were_kept(tmp_path: Path) -> None:
    (tmp_path / "pack.yaml").write_text(PACK)
    (tmp_path / "units.csv").write_text(UNITS)
    kept = Kept()
    text = RULES
    seen = set()
    for what, old, new in [("as it is", "", ""), *EDITS]:
        assert old in text, what
        text = text.replace(old, new, 1)
        write(tmp_path, text)
        found = outcome(tmp_path, kept)
        assert found == outcome(tmp_path, None), what
        seen.add(type(found))
    assert seen == {bytes, list}


def test_a_bundle_put_together_is_the_one_that_its_bytes_say(tmp_path: Path) -> None:
    (tmp_path / "pack.yaml").write_text(PACK)
    (tmp_path / "units.csv").write_text(UNITS)
    (tmp_path / "rules.yaml").write_text(RULES)
    bundle = compile_packs([tmp_path], Kept())
    assert load_bundle(bundle.raw) == bundle


def test_only_the_examples_that_can_feel_it_are_run_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run: list[list[int]] = []

    def noted(bundle: Bundle, positions: list[int]) -> Iterator[tuple[int, str]]:
        run.append(positions)
        return failures(bundle, positions)

    monkeypatch.setattr(kneewall.compiler.kept, "failures", noted)
    (tmp_path / "pack.yaml").write_text(PACK)
    (tmp_path / "units.csv").write_text(UNITS)
    kept = Kept()
    texts = [
        RULES,
        RULES,
        RULES.replace("quantity(7, ", "quantity(6.5, "),
        RULES.replace("quantity(7, ", "quantity(7.5, ").replace("large, 9, 2.5", "large, 9, 2.6"),
    ]
    for text in texts:
        (tmp_path / "rules.yaml").write_text(text)
        compile_packs([tmp_path], kept)
    assert run == [[0, 1, 2], [], [1], [0, 1, 2]]


def test_an_example_is_not_taken_again_when_what_it_names_is_gone(tmp_path: Path) -> None:
    (tmp_path / "pack.yaml").write_text(PACK)
    (tmp_path / "units.csv").write_text(UNITS)
    kept = Kept()
    gone = re.sub(r"^checks:\n(?:  .*\n)+", "checks: {}\n", RULES, flags=re.MULTILINE)
    gone = gone.replace("checks: [box.light]", "checks: []")
    assert "checks: {box.light: pass}" in gone
    for text in (RULES, gone):
        write(tmp_path, text)
        assert outcome(tmp_path, kept) == outcome(tmp_path, None)
    assert isinstance(outcome(tmp_path, kept), list)


def test_a_pack_of_another_name_is_felt_by_all_that_it_wrote(tmp_path: Path) -> None:
    """Items, rows in the tables of others and steps in their checklists say which pack they come from."""
    folders = grounds()[0].lay(tmp_path)
    kept = Kept()
    compile_packs(folders, kept)
    for folder in folders:
        head = folder / "pack.yaml"
        text = head.read_text(encoding="utf-8")
        head.write_text(re.sub(r"(?m)^id: .*", "id: other", text), encoding="utf-8")
        found = compile_packs(folders, kept)
        assert any(pack.id == "other" for pack in found.packs)
        assert found.raw == compile_packs(folders).raw
        head.write_text(text, encoding="utf-8")
