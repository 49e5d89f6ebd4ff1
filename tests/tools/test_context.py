"""Faults and warnings on the command line: bare lines for programs, the line and its source for people."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from kneewall.cli import main
from kneewall.compiler.context import WIDTH, context
from kneewall.compiler.errors import Fault, Place
from tests.language.test_faults import lay_out

FAULTY = """expect
== rules.yaml
quantities:
  x.y:
    label: Y
    limits: 0 to 1
    formula: >-
      box.length +
      box.lenght
    source: demo the invented page
"""


Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Compile the pack in `trade` beside the current folder: status, output, errors."""
    monkeypatch.chdir(tmp_path)

    def compiling(*options: str) -> tuple[int, str, str]:
        status = main(["compile", "trade", "-o", "out.json", *options])
        return status, *capsys.readouterr()

    return compiling


def test_without_a_terminal_each_fault_is_one_line(tmp_path: Path, run: Run) -> None:
    lay_out(tmp_path, FAULTY)
    status, text, errors = run()
    assert (status, text) == (1, "")
    (line,) = errors.splitlines()
    assert line.startswith("trade/rules.yaml:7:7: E201 ")


def test_context_shows_the_line_the_column_and_the_source(tmp_path: Path, run: Run) -> None:
    lay_out(tmp_path, FAULTY)
    first, *under = run("--context")[2].splitlines()
    assert first.startswith("trade/rules.yaml:7:7: E201 ")
    assert under == [
        "    7 |       box.lenght",
        "      |       ^",
        "      = in x.y, source demo the invented page",
    ]


def test_a_terminal_gets_the_context_unasked(tmp_path: Path) -> None:
    lay_out(tmp_path, FAULTY)
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "kneewall.cli", "compile", "trade", "-o", "out.json"]
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=theirs, cwd=tmp_path)
    os.close(theirs)
    shown = os.read(ours, 10_000).decode()
    os.close(ours)
    assert done.returncode == 1
    assert "= in x.y, source demo the invented page" in shown


def test_warnings_are_counted_and_listed_on_demand(tmp_path: Path, run: Run) -> None:
    """The base pack has one example, an invented one."""
    lay_out(tmp_path, "expect\n")
    status, text, errors = run()
    assert (status, errors) == (0, "")
    assert text.splitlines()[-1] == "2 warnings; --warnings lists them"
    status, text, errors = run("--warnings")
    assert (status, text.splitlines()[-1]) == (0, "2 warnings")
    assert [line.split(" ")[1] for line in errors.splitlines()] == ["W104", "W105"]


def under(path: Path, line: int, column: int) -> list[str]:
    return context(Fault(Place(path.as_posix(), line, column), "E201", "x"))


def test_a_csv_cell_names_its_table(tmp_path: Path) -> None:
    (tmp_path / "broken.yaml").write_text("quantities: [")
    (tmp_path / "rules.yaml").write_text(
        "tables:\n  wire: {file: wire.csv, source: demo page 3, keys: [size]}\n"
    )
    (tmp_path / "wire.csv").write_text("size [number],\tohms [number]\n1,\tx\n")
    assert under(tmp_path / "wire.csv", 2, 4) == [
        "    2 | 1,\tx",
        "      |   \t^",
        "      = in wire, source demo page 3",
    ]


@pytest.mark.parametrize("column", [1, 60, 300, 599])
def test_of_a_long_line_the_part_around_the_column_is_shown(tmp_path: Path, column: int) -> None:
    text = "".join(chr(ord("a") + place % 26) for place in range(600))
    (tmp_path / "rules.yaml").write_text(text)
    line, mark = under(tmp_path / "rules.yaml", 1, column)
    assert len(line) <= WIDTH + len("    1 | ……")
    assert line[mark.index("^")] == text[column - 1]


def test_an_example_goes_by_its_name(tmp_path: Path) -> None:
    (tmp_path / "rules.yaml").write_text(
        "examples:\n  - {name: first, source: demo a}\n  - name: second\n    given: {x.y: 1}\n    source: demo b\n"
    )
    assert under(tmp_path / "rules.yaml", 4, 13)[-1].endswith("= in second, source demo b")


def test_no_file_no_context(tmp_path: Path) -> None:
    assert under(tmp_path / "gone.yaml", 1, 1) == []
    (tmp_path / "rules.yaml").write_text("a: 1\n")
    assert under(tmp_path / "rules.yaml", 9, 1) == []
