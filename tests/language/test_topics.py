"""Calculators stand in the order of the work, which the packs say."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kneewall.compiler import compile_packs
from tests.phone_office import ROOT

RULES = ROOT / "rules"
TOPICS = re.compile(r"^topics: \[(.+)\]$", re.MULTILINE)
CALCULATOR = """  {name}:
    title: {name}
    topic: {topic}
    enter: [a.a]
    show: [a.b]
"""


@pytest.mark.parametrize(
    ("listed", "order"),
    [("", ["one", "two", "three"]), ("topics: [late, early]\n", ["two", "one", "three"])],
)
def test_topics_stand_as_listed_and_others_last(
    tmp_path: Path, listed: str, order: list[str]
) -> None:
    pack = "id: trade\nrank: trade\ntitle: T\nformat: 1\n" + listed
    (tmp_path / "pack.yaml").write_text(pack)
    (tmp_path / "units.csv").write_text((RULES / "units.csv").read_text())
    calculators = "".join(
        CALCULATOR.format(name=name, topic=topic)
        for name, topic in (("one", "early"), ("two", "late"), ("three", "unlisted"))
    )
    (tmp_path / "topic.yaml").write_text(
        "quantities:\n"
        "  a.a: {label: A, unit: ft, limits: 0 ft to 9 ft}\n"
        "  a.b: {label: B, unit: ft, limits: 0 ft to 9 ft, formula: a.a, source: demo}\n"
        f"calculators:\n{calculators}"
    )
    assert [each.id for each in compile_packs([tmp_path]).calculators] == order


def test_the_trade_lists_every_topic_once() -> None:
    found = TOPICS.search((RULES / "pack.yaml").read_text())
    assert found
    used = {
        topic
        for file in RULES.rglob("*.yaml")
        for topic in re.findall(r"^    topic: (\S+)$", file.read_text(), re.MULTILINE)
    }
    assert sorted(found[1].split(", ")) == sorted(used)


def test_checklists_stand_as_listed_and_others_last(tmp_path: Path) -> None:
    (tmp_path / "pack.yaml").write_text(
        "id: trade\nrank: trade\ntitle: T\nformat: 1\nchecklists: [late, early]\n"
    )
    (tmp_path / "units.csv").write_text((RULES / "units.csv").read_text())
    (tmp_path / "lists.yaml").write_text(
        "checklists:\n"
        + "".join(
            f"  {name}: {{title: T, steps: [{{id: one, act: do, title: One}}]}}\n"
            for name in ("early", "other", "late")
        )
    )
    order = [each.id for each in compile_packs([tmp_path]).checklists]
    assert order == ["late", "early", "other"]


def test_the_trade_lists_every_checklist() -> None:
    pack = (RULES / "pack.yaml").read_text().partition("checklists:\n")[2]
    listed = re.findall(r"^  - (\S+)$", pack, re.MULTILINE)
    assert listed == [each.id for each in compile_packs([RULES]).checklists]
