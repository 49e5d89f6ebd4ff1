"""Every numbered fault has a broken fixture, and each fixture gives exactly one line with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from kneewall.compiler import CompileError, compile_packs
from kneewall.compiler.errors import NUMBERS

HERE = Path(__file__).parent
FIXTURES = sorted((HERE / "faults").glob("*.txt"))
UNITS = (HERE.parents[1] / "rules" / "units.csv").read_text(encoding="utf-8")
HOUSE = "id: county\nrank: house\ntitle: A county\nformat: 1\n"
PACK = "id: trade\nrank: trade\ntitle: A small pack\nformat: 1\n"


def lay_out(folder: Path, fixture: str) -> tuple[str, Path]:
    """The expected line and a pack folder holding the fixture's files beside the base pack."""
    expected, _, rest = fixture.partition("\n")
    base = (HERE / "base.yaml").read_text(encoding="utf-8")
    files = {"pack.yaml": PACK, "units.csv": UNITS, "base.yaml": base}
    for part in ("\n" + rest).split("\n== ")[1:]:
        name, _, content = part.partition("\n")
        if content.startswith("UNITS+"):
            lines = UNITS.splitlines()
            content = "\n".join([*lines[:8], content.removeprefix("UNITS+").strip(), *lines[8:]])
        files[name.strip()] = content
    for name, content in files.items():
        path = folder / ("house" if name.startswith("house/") else "trade") / Path(name).name
        path.parent.mkdir(exist_ok=True)
        path.write_text(content.rstrip("\n") + "\n", encoding="utf-8")
    if (folder / "house").is_dir():
        (folder / "house" / "pack.yaml").write_text(HOUSE, encoding="utf-8")
    return expected.removeprefix("expect "), folder


def faults_of(folder: Path) -> list[str]:
    """The lines a compilation of the laid out packs ends with, places relative to the trade pack."""
    with pytest.raises(CompileError) as caught:
        compile_packs([path for name in ("trade", "house") if (path := folder / name).is_dir()])
    root = folder.as_posix()
    return [
        str(fault).replace(f"{root}/trade/", "").replace(f"{root}/", "")
        for fault in caught.value.faults
    ]


@pytest.mark.parametrize("path", FIXTURES, ids=lambda path: path.stem)
def test_one_numbered_line_with_its_place(path: Path, tmp_path: Path) -> None:
    expected, folder = lay_out(tmp_path, path.read_text(encoding="utf-8"))
    (line,) = faults_of(folder)
    assert "\n" not in line
    place, found = line.split(": ", 1)
    assert f"{place} {found}" == expected
    assert found.split(" ")[0] == path.stem[:4]


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
    assert [line.split(" ")[1] for line in faults_of(folder)] == ["E201", "E302"]
