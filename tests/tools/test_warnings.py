"""Every numbered warning has a fixture that gives exactly its one line, and rules without fault give none."""

from __future__ import annotations

from pathlib import Path

import pytest

from kneewall.compiler.link import compile_items
from kneewall.compiler.warnings import WARNINGS, warnings_of
from tests.language.test_faults import lay_out

HERE = Path(__file__).parent
FIXTURES = sorted((HERE / "warnings").glob("*.txt"))
BASE = ["W104", "W105"]
"""The base pack has one invented example."""
SATISFIABLE = """
checklists:
  short:
    title: Short
    steps:
      - {id: one, act: do, title: One, when: 'box.length >= quantity(100, "ft")'}
      - {id: two, act: do, title: Two, after: [one], when: box.length * box.width > box.area}
      - {id: three, act: do, title: Three, after: [two], when: "any(each(room, position > 1)) and not box.on"}
      - {id: four, act: do, title: Four, after: [one], when: box.size > "small" or not known(box.mass)}
      - {id: five, act: do, title: Five, when: box.length >= box.width and not box.width < box.length}
      - {id: six, act: do, title: Six, when: (box.length if box.width > box.length else box.width) > box.length}
"""


def warned(folder: Path) -> list[str]:
    """The warnings of the packs laid out, places relative to the trade pack."""
    packs = [folder / name for name in ("trade", "house") if (folder / name).is_dir()]
    root = folder.as_posix()
    return [
        str(fault).replace(f"{root}/trade/", "").replace(f"{root}/", "")
        for fault in warnings_of(compile_items(packs))
    ]


@pytest.mark.parametrize("path", FIXTURES, ids=lambda path: path.stem)
def test_one_numbered_line_with_its_place(path: Path, tmp_path: Path) -> None:
    expected, folder = lay_out(tmp_path, path.read_text(encoding="utf-8"))
    (line,) = [line for line in warned(folder) if not line.startswith("base.yaml")]
    place, found = line.split(": ", 1)
    assert f"{place} {found}" == expected
    assert found.split(" ")[0] == path.stem[:4]


def test_every_number_has_a_fixture() -> None:
    assert {path.stem[:4] for path in FIXTURES} == set(WARNINGS)
    assert list(WARNINGS) == sorted(WARNINGS)


def test_what_may_hold_is_not_warned_of(tmp_path: Path) -> None:
    """Arithmetic, members and what is not known are taken to hold somewhere."""
    _, folder = lay_out(tmp_path, f"expect\n== rules.yaml\n{SATISFIABLE}")
    assert [line.split(" ")[1] for line in warned(folder)] == BASE
