"""The worklist holds every value whose source is not beyond doubt, with where it stands, and no other."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kneewall.cli import main
from kneewall.compiler.link import Compiled, compile_items
from kneewall.tools import command
from kneewall.tools.sources import Doubt, Worklist, places_of, worklist
from tests.tools.packs import RULES, changed, compiled

HOUSE = """
rows:
  prices:
    source: demo
    rows: |
      size [size], price [number], because, replaces
"""


@pytest.fixture(scope="module")
def boxes(tmp_path_factory: pytest.TempPathFactory) -> Compiled:
    return compiled(tmp_path_factory.mktemp("packs") / "boxes")


def doubts(found: Worklist) -> dict[str, Doubt]:
    return {doubt.id: doubt for group in found.groups for doubt in group.values}


def test_what_is_doubtful_and_why(boxes: Compiled) -> None:
    """The book is confirmed; only what is computed from it is on the list."""
    found = worklist(boxes.bundle)
    assert {name: doubt.why for name, doubt in doubts(found).items()} == {
        "box.weight": ("from memory",),
        "mind-the-legs": ("from memory",),
        "box.price": ("not confirmed",),
        "prices, large": ("not confirmed",),
        "box.stretched": ("computed",),
        "box.offered": ("common practice",),
        "box.light": ("common practice",),
        "box.allowed, case 2": ("invented",),
        "box: nothing given": ("invented",),
    }
    assert (found.open, found.sourced) == (9, 25)


def test_memory_leads_and_inventions_close(boxes: Compiled) -> None:
    assert [group.source for group in worklist(boxes.bundle).groups] == [
        "from-memory", "book", "reprint", "common-practice", "demo"]  # fmt: skip


def test_a_confirmed_source_leaves_the_list(tmp_path: Path) -> None:
    rules = changed(RULES, ("kind: standard, confirmed: false", "kind: standard, confirmed: true"))
    left = doubts(worklist(compiled(tmp_path, rules).bundle))
    assert "box.price" not in left
    assert "prices, large" not in left


def test_a_mark_counts_whatever_the_source(tmp_path: Path) -> None:
    rules = changed(RULES, ("source: book page 5", "source: book page 5 (disputed)"),
                    ("source: reprint Table 1", "source: reprint Table 1 (from memory)"))  # fmt: skip
    found = doubts(worklist(compiled(tmp_path, rules).bundle))
    assert found["box.tall"].why == ("disputed",)
    assert found["box.tall"].place == "page 5"
    assert found["box.price"].why == ("from memory", "not confirmed")


def test_where_each_stands(boxes: Compiled) -> None:
    """A place in the rule file when that is known, else the pack."""
    lines = RULES.splitlines()
    for doubt in doubts(worklist(boxes.bundle, places_of(boxes.items))).values():
        file, line, column = doubt.stands.rsplit(":", 2)
        assert Path(file).name == "rules.yaml"
        written = lines[int(line) - 1][int(column) - 1 :]
        name = doubt.id.split(", ")[0] if doubt.what != "example" else doubt.id.split(": ")[1]
        assert written.startswith(name)
    assert {doubt.stands for doubt in doubts(worklist(boxes.bundle)).values()} == {"pack trade"}


def test_rows_of_a_later_pack_stand_there(tmp_path: Path) -> None:
    rules = changed(RULES, ("      large, 9, 2.5, reprint Table 2\n", ""))
    compiled(tmp_path / "trade", rules)
    house = tmp_path / "house"
    house.mkdir()
    (house / "pack.yaml").write_text("id: county\nrank: house\ntitle: C\nformat: 1\n")
    (house / "more.yaml").write_text(HOUSE + "      large, 12, ,\n")
    both = compile_items([tmp_path / "trade", house])
    row = doubts(worklist(both.bundle, places_of(both.items)))["prices, large"]
    assert (row.pack, row.why) == ("county", ("invented",))
    assert row.stands == f"{house.as_posix()}/more.yaml:3:3"


def test_on_the_command_line(
    boxes: Compiled, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*arguments: str | Path) -> tuple[int, str, str]:
        status = main(["sources", *map(str, arguments)])
        return status, *capsys.readouterr()

    (tmp_path / "boxes.json").write_bytes(boxes.bundle.raw)
    status, text, errors = run(tmp_path / "boxes.json")
    assert (status, errors) == (0, "")
    assert text.splitlines()[0] == (
        "9 of 25 values to look at: 2 from memory, 2 not confirmed, 2 common practice, 2 invented, 1 computed"
    )
    assert "  pack trade: quantity box.price (Price), Table 1: not confirmed\n" in text
    document = json.loads(run(tmp_path / "boxes.json", "--json")[1])
    assert document["bundle"] == boxes.bundle.hash
    assert sum(len(group["values"]) for group in document["groups"]) == document["open"] == 9
    status, text, errors = run(tmp_path / "none.json")
    assert (status, text, errors.count("\n")) == (2, "", 1)


def test_without_a_file_the_trade_pack_is_compiled_and_places_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    compiled(tmp_path)
    monkeypatch.setattr(command, "trade_pack", lambda: tmp_path)
    assert main(["sources"]) == 0
    assert f"  {tmp_path.as_posix()}/rules.yaml:" in capsys.readouterr().out
    (tmp_path / "rules.yaml").write_text(RULES.replace("box.length * box.width", "box.length *"))
    assert main(["sources"]) == 1
    assert " E401 " in capsys.readouterr().err
