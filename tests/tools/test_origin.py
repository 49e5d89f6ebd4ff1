"""Where a quantity comes from: everything below it, each once, as text, as a flowchart, and filled in."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kneewall.bundle import Bundle
from kneewall.cli import main
from kneewall.compiler.command import BadInput
from kneewall.tools.origin import read_origin
from tests.tools.packs import bundle_of

WEIGHT = """\
Weight (box.weight), lb
│   applies when box.colour == "red"
│   = row(prices, size=box.size).weight + extra(box.area)
│   from-memory; pack trade
├─ Size (box.size), size
│      entered
├─ Colour (box.colour), colour
│      entered
├─ Area (box.area), ft²
│  │   = box.length * box.width
│  │   book page 1; pack trade
│  ├─ Length (box.length), ft
│  │      entered
│  └─ Width (box.width), ft
│         entered, default 2 ft
├─ table prices: Prices
│      book Table 1; pack trade
└─ function extra(area)
       = area * quantity(1, "lb") / quantity(1, "ft2")
       book page 6; pack trade"""
GIVEN = ["box.length=3 ft", "box.size=small", "box.colour=red"]


@pytest.fixture(scope="module")
def boxes(tmp_path_factory: pytest.TempPathFactory) -> Bundle:
    return bundle_of(tmp_path_factory.mktemp("packs") / "boxes")


def test_everything_below_it_as_a_tree(boxes: Bundle) -> None:
    assert read_origin(boxes, "box.weight").text() == WEIGHT


def test_filled_in(boxes: Bundle) -> None:
    text = read_origin(boxes, "box.weight", GIVEN).text()
    assert "│   = 1.25 lb + extra(6 ft²)\n│   = 7.25 lb\n" in text
    assert "│  ├─ Length (box.length), ft\n│  │      entered: 3.0 ft\n" in text
    assert "entered: 2 ft (the default)" in text


def test_what_is_missing_is_said(boxes: Bundle) -> None:
    text = read_origin(boxes, "box.weight", GIVEN[1:]).text()
    assert "= unknown, missing. Needs: Length.\n" in text
    assert "entered: not given\n" in text


def test_what_stands_twice_is_opened_once(tmp_path: Path) -> None:
    twice = ("formula: box.length / 2", "formula: 'box.area / box.length + box.area / box.width'")
    deeper = ("box.allowed:\n", "box.both: {label: Both, unit: ft2, limits: 0 ft2 to 10000 ft2, source: demo, "
              "formula: box.offered * box.width + box.area}\n  box.allowed:\n")  # fmt: skip
    shown = ("show: [box.area, box.price", "show: [box.both, box.area, box.price")
    text = read_origin(bundle_of(tmp_path, twice, deeper, shown), "box.both").text()
    assert text.count("= box.length * box.width") == 1
    assert text.count("Area (box.area), ft²: see above") == 1


def test_cases_stand_with_their_time_and_source(boxes: Bundle) -> None:
    text = read_origin(boxes, "box.allowed").text()
    assert 'to 2026-06-30 under 2020: box.area > quantity(9, "ft2") [book page 3]' in text
    assert "else: box.legs == 4 [demo]" in text
    assert "Day (visit.day)" in text


def test_each_member_has_its_own(boxes: Bundle) -> None:
    heights = ["room.height@1=8 ft", "room.height@2=6 ft", "box.length=7 ft"]
    assert "= yes" in read_origin(boxes, "room.low@2", heights).text()
    assert "= no" in read_origin(boxes, "room.low", heights).text()
    assert "entered: 8 ft; 6 ft" in read_origin(boxes, "box.tall", heights).text()


def test_the_flowchart_has_every_thing_once_and_every_reading(boxes: Bundle) -> None:
    chart = read_origin(boxes, "box.weight").mermaid()
    head, *lines = chart.splitlines()
    assert head == "flowchart LR"
    boxed = re.findall(r'^ {4}(\w+)[(\[]+"(.*)"[)\]]+$', chart, re.MULTILINE)
    arrows = re.findall(r"^ {4}(\w+) --> (\w+)$", chart, re.MULTILINE)
    assert len(boxed) + len(arrows) == len(lines)
    titles = {code: text.split("<br/>")[0] for code, text in boxed}
    assert len(titles) == len(boxed)
    assert {(titles[a], titles[b]) for a, b in arrows} == {
        ("Length (box.length), ft", "Area (box.area), ft²"),
        ("Width (box.width), ft", "Area (box.area), ft²"),
        ("Area (box.area), ft²", "Weight (box.weight), lb"),
        ("Size (box.size), size", "Weight (box.weight), lb"),
        ("Colour (box.colour), colour", "Weight (box.weight), lb"),
        ("table prices: Prices", "Weight (box.weight), lb"),
        ("function extra(area)", "Weight (box.weight), lb"),
    }
    assert not any(mark in text.replace("<br/>", "") for _, text in boxed for mark in '"<>')


@pytest.mark.parametrize(
    ("quantity", "values", "line"),
    [
        ("box.wieght", [], "no quantity is called box.wieght; the nearest is box.weight"),
        ("box.weight", ["box.lenght=3"], "box.lenght=3: no quantity is called box.lenght; the nearest is box.length"),
        ("box.weight", ["box.length=300 ft"], "box.length=300 ft: 300.0 ft is outside 0.0 ft to 100.0 ft"),
        ("room.low@3", ["room.height@2=6 ft"], "room.low@3: there are members 1 to 2"),
        ("box.weight@2", [], "box.weight@2: box.weight has no members"),
    ],
)  # fmt: skip
def test_bad_names_are_one_line(boxes: Bundle, quantity: str, values: list[str], line: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_origin(boxes, quantity, values)
    assert str(caught.value) == line


def test_a_former_name_will_do(boxes: Bundle) -> None:
    assert read_origin(boxes, "room.tall").text().startswith("Height (room.height), ft")


def test_on_the_command_line(
    boxes: Bundle, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*arguments: str) -> tuple[int, str, str]:
        status = main(["explain", str(path), *arguments])
        return status, *capsys.readouterr()

    path = tmp_path / "boxes.json"
    path.write_bytes(boxes.raw)
    assert run("box.weight") == (0, WEIGHT + "\n", "")
    assert run("box.weight", "--mermaid")[1].startswith("flowchart LR\n")
    assert "= 7.25 lb" in run("box.weight", *GIVEN)[1]
    line = "no quantity is called box.wieght; the nearest is box.weight\n"
    assert run("box.wieght") == (2, "", line)
