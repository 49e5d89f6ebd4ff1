"""Every numbered fault has a broken fixture, and each fixture gives exactly one line with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from kneewall.compiler import CompileError, compile_packs
from kneewall.compiler.errors import NUMBERS

HERE = Path(__file__).parent
FIXTURES = sorted((HERE / "faults").glob("*.txt"))
UNITS = (HERE.parents[1] / "rules" / "units.csv").read_text(encoding="utf-8")
PACK = "id: trade\nrank: trade\ntitle: A small pack\nformat: 1\n"


def lay_out(folder: Path, fixture: str) -> tuple[str, Path]:
    """The expected line and a pack folder holding the fixture's files beside the base pack."""
    expected, _, rest = fixture.partition("\n")
    files = {"pack.yaml": PACK, "units.csv": UNITS, "base.yaml": (HERE / "base.yaml").read_text()}
    for part in ("\n" + rest).split("\n== ")[1:]:
        name, _, content = part.partition("\n")
        files[name.strip()] = content.replace("UNITS+", UNITS)
    for name, content in files.items():
        (folder / name).write_text(content.rstrip("\n") + "\n", encoding="utf-8")
    return expected.removeprefix("expect "), folder


@pytest.mark.parametrize("path", FIXTURES, ids=lambda path: path.stem)
def test_one_numbered_line_with_its_place(path: Path, tmp_path: Path) -> None:
    expected, folder = lay_out(tmp_path, path.read_text(encoding="utf-8"))
    with pytest.raises(CompileError) as caught:
        compile_packs([folder])
    lines = [str(fault).replace(f"{folder.as_posix()}/", "") for fault in caught.value.faults]
    assert len(lines) == 1, lines
    assert "\n" not in lines[0]
    place, number = expected.split(" ")[:2] if " " in expected else (expected, path.stem[:4])
    assert lines[0].startswith(place), lines[0]
    assert lines[0].split(" ")[1] == number == path.stem[:4], lines[0]
    assert expected.removeprefix(place).strip() in lines[0].split(" ", 1)[1], lines[0]


def test_every_number_has_a_fixture() -> None:
    assert {path.stem[:4] for path in FIXTURES} == set(NUMBERS)
    assert list(NUMBERS) == sorted(NUMBERS)


def test_all_faults_in_one_run(tmp_path: Path) -> None:
    """Two wrong formulas in one file are both reported, in the order of their places."""
    rules = (
        "quantities:\n"
        "  x.y: {label: Y, limits: 0 to 1, formula: box.nothing, source: demo}\n"
        "  x.z: {label: Z, limits: 0 to 1, formula: box.length + 1, source: demo}\n"
    )
    _, folder = lay_out(tmp_path, f"expect\n== rules.yaml\n{rules}")
    with pytest.raises(CompileError) as caught:
        compile_packs([folder])
    assert [fault.number for fault in caught.value.faults] == ["E201", "E302"]
