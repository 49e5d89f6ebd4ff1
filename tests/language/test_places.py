"""A fault in a formula over several lines is shown where it stands, however the lines are written."""

from __future__ import annotations

from pathlib import Path

import pytest

from kneewall.compiler.errors import Fault
from kneewall.compiler.reader import read_yaml
from tests.language.test_faults import faults_of, lay_out

WRITTEN = {
    "folded": "formula: >-\n  one + two +\n  three four\n",
    "folded with a blank line and no last line break": "formula: >\n  one + two +\n\n  three four",
    "kept": "formula: |\n  one + two +\n  three four\nnext: 1\n",
    "plain": "formula: one + two +\n  three four # said\n",
    "in quotes": "formula: 'one + two +\n   three four'\nnext: 1\n",
    "in a flow": "{formula: one + two +\n   three four, next: 1}\n",
}


@pytest.mark.parametrize("text", WRITTEN.values(), ids=list(WRITTEN))
@pytest.mark.parametrize("word", ["one", "two", "three", "four"])
def test_each_word_is_found_where_it_is_written(text: str, word: str) -> None:
    faults: list[Fault] = []
    document = read_yaml(text, "rules.yaml", faults)
    assert document is not None
    assert not faults
    place = document.place(("formula",)).inside(document.data["formula"].index(word))
    line = text.splitlines()[place.line - 1]
    assert line[place.column - 1 :].startswith(word)


def test_a_fault_behind_a_sign_of_two_bytes(tmp_path: Path) -> None:
    """`ast` counts bytes; people count characters."""
    rules = (
        "quantities:\n"
        "  x.y:\n"
        "    label: Y\n"
        "    limits: 0 to 1\n"
        "    source: demo\n"
        "    formula: >-\n"
        "      1 if box.on else\n"
        "      quantity(1, '°F') + box.nothing\n"
    )
    _, folder = lay_out(tmp_path, f"expect\n== rules.yaml\n{rules}")
    (line,) = faults_of(folder)
    assert line.startswith("rules.yaml:8:27: E201 no quantity is called box.nothing")
