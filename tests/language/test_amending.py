"""An office amends the trade's rules by what the compiler says, line by line, and by nothing else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kneewall.compiler import CompileError, compile_packs
from kneewall.compiler.errors import Fault
from kneewall.compiler.link import Compiled, compile_items
from kneewall.compiler.warnings import warnings_of
from kneewall.engine import Engine
from kneewall.explain import Explainer
from tests.tools.packs import compiled

PACK = "id: county\nrank: house\ntitle: Our county and our habits\nformat: 1\n"
RULES = """\
quantities:
  box.width:
    label: Width
    unit: ft
    limits: 0 ft to 100 ft
    default: 3 ft
checks:
  box.light:
    label: Light enough
    fail: box.weight > quantity(60, "lb")
    says:
      pass: "{box.weight} is light."
      fail: "{box.weight} is heavy. Cut it."
    source: book page 9
rows:
  prices:
    source: book Table 9
    rows: |
      size [size], price [number], weight [lb]
      small, 6, 1.25
steps:
  short/look:
    act: read
    title: Look twice
    enter: [box.heat]
"""
BECAUSE = "The county asks for it."


def faults_of(folders: list[Path]) -> list[Fault]:
    try:
        compile_packs(folders)
    except CompileError as error:
        return list(error.faults)
    return []


def follow(text: str, fault: Fault) -> str:
    """The house rules with what one line asks for, put where the line points."""
    lines = text.splitlines()
    place = fault.place.line - 1
    said = f"{fault.what}; {fault.mend}"
    if written := re.search(r'write because: … and replaces: "([0-9a-f]{12})"', said):
        indent = " " * (fault.place.column + 1)
        lines[place + 1 : place + 1] = [
            f"{indent}because: {BECAUSE}",
            f'{indent}replaces: "{written[1]}"',
        ]
    else:
        filled = re.search(r"fill the columns because and replaces \(([0-9a-f]{12})\)", said)
        assert filled, said
        lines[place] += f", {BECAUSE}, {filled[1]}"
        header = next(n for n in range(place, 0, -1) if "[size], price" in lines[n])
        lines[header] += ", because, replaces"
    return "\n".join(lines) + "\n"


def amend(folder: Path) -> tuple[Compiled, list[Path], list[str]]:
    """Follow the first line of each refusal until there is none."""
    compiled(folder / "trade")
    house = folder / "house"
    house.mkdir()
    (house / "pack.yaml").write_text(PACK)
    rules = house / "county.yaml"
    followed: list[str] = []
    rules.write_text(RULES)
    folders = [folder / "trade", house]
    while faults := faults_of(folders):
        assert len(followed) < 6, faults
        assert Path(faults[0].place.file) == rules
        followed.append(faults[0].number)
        rules.write_text(follow(rules.read_text(), faults[0]))
    return compile_items(folders), folders, followed


def test_following_the_lines_is_enough(tmp_path: Path) -> None:
    found, _, followed = amend(tmp_path)
    assert followed == ["E702"] * 4
    explainer = Explainer(Engine(found.bundle).evaluate({"box.size": "small", "box.length": 2}))
    assert explainer.step("box.price").value == 6
    assert explainer.answer.value("box.area") == pytest.approx(2 * 3 * 0.3048)
    (amended,) = explainer.amended("box.price")
    assert (amended.pack, amended.because) == ("county", BECAUSE)
    assert found.bundle.checklists[0].steps[0].title == "Look twice"


def test_a_worked_example_that_is_overruled_is_no_fault_of_the_office(tmp_path: Path) -> None:
    """It is left out of the bundle, and said, at the item that overrules it."""
    found, folders, _ = amend(tmp_path)
    assert [example.name for example in found.bundle.examples] == ["two rooms", "nothing given"]
    (line,) = [str(fault) for fault in warnings_of(found) if fault.number == "W111"]
    file = (folders[1] / "county.yaml").as_posix()
    assert line.startswith(
        f"{file}:2:3: W111 box.width overrules a worked example of trade, two by three, small: "
    )
    assert "box.area is 9 ft², expected 6 ft²" in line


def test_an_example_of_the_office_itself_still_stops_it(tmp_path: Path) -> None:
    _, folders, _ = amend(tmp_path)
    wrong = "{name: ours, calculator: box, given: {box.size: small}, expect: {box.price: 5}, source: demo}"
    (folders[1] / "shown.yaml").write_text(f"examples:\n  - {wrong}\n")
    assert [fault.number for fault in faults_of(folders)] == ["E601"]


def test_an_example_that_rests_on_nothing_amended_still_stops_it(tmp_path: Path) -> None:
    _, folders, _ = amend(tmp_path)
    rules = folders[0] / "rules.yaml"
    rules.write_text(rules.read_text().replace("room.low@2: yes", "room.low@2: no"))
    assert [fault.number for fault in faults_of(folders)] == ["E601"]


def test_an_example_that_fails_without_the_amendment_too_still_stops_it(tmp_path: Path) -> None:
    """It rests on what the county replaced, but that is not what is wrong with it."""
    _, folders, _ = amend(tmp_path)
    rules = folders[0] / "rules.yaml"
    text = rules.read_text()
    assert text.count("box.area: 6 ft2") == 1
    rules.write_text(text.replace("box.area: 6 ft2", "box.area: 7 ft2"))
    (fault,) = faults_of(folders)
    assert (fault.number, fault.place.file) == ("E601", rules.as_posix())
    assert "box.area is 6 ft², expected 7 ft²" in fault.what


def test_a_change_below_asks_for_a_new_look_and_says_which(tmp_path: Path) -> None:
    _, folders, _ = amend(tmp_path)
    rules = folders[0] / "rules.yaml"
    rules.write_text(rules.read_text().replace("100 ft, default: 2 ft", "200 ft, default: 2 ft"))
    (fault,) = faults_of(folders)
    assert fault.number == "E703"
    assert fault.what == "box.width of the pack trade has changed since it was replaced"
    digest = re.search(r'"([0-9a-f]{12})"', fault.mend)
    assert digest
    house = folders[1] / "county.yaml"
    lines = house.read_text().splitlines()
    lines[fault.place.line - 1] = f'    replaces: "{digest[1]}"'
    house.write_text("\n".join(lines) + "\n")
    assert faults_of(folders) == []


def test_a_slip_in_the_name_of_what_is_amended_is_named(tmp_path: Path) -> None:
    _, folders, _ = amend(tmp_path)
    house = folders[1] / "county.yaml"
    house.write_text(house.read_text().replace("box.width:", "box.widht:"))
    (fault,) = faults_of(folders)
    assert (fault.number, fault.mend) == ("E704", "the nearest is box.width")
