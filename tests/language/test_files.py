"""Files and folders as offices keep them: other letters, other line ends, other endings, packs in another order."""

from __future__ import annotations

from pathlib import Path

import pytest

from kneewall.compiler import CompileError, compile_packs
from kneewall.compiler.tables import letters
from tests.language.test_faults import faults_of, lay_out

RULES = "quantities:\n  x.y: {label: Größe, limits: 0 to 1, formula: box.nothing, source: demo}\n"


def test_a_byte_order_mark_and_any_line_ends_change_nothing(tmp_path: Path) -> None:
    lay_out(tmp_path, "expect\n")
    base = tmp_path / "trade" / "base.yaml"
    plain = compile_packs([tmp_path / "trade"]).raw
    text = base.read_text(encoding="utf-8")
    for written in ("\ufeff" + text, text.replace("\n", "\r\n"), text.replace("\n", "\r")):
        base.write_bytes(written.encode())
        assert compile_packs([tmp_path / "trade"]).raw == plain


@pytest.mark.parametrize(
    ("encoding", "found"),
    [
        ("latin-1", "rules.yaml:2:18: E108 a letter here is not UTF-8; save the file as UTF-8"),
        ("utf-16", "rules.yaml:1:1: E108 the file is UTF-16; save the file as UTF-8"),
    ],
)
def test_another_encoding_is_named_where_it_shows(
    tmp_path: Path, encoding: str, found: str
) -> None:
    lay_out(tmp_path, "expect\n")
    (tmp_path / "trade" / "rules.yaml").write_bytes(RULES.encode(encoding))
    assert faults_of(tmp_path) == [found]


def test_packs_stand_in_the_order_of_their_ranks_and_once(tmp_path: Path) -> None:
    lay_out(tmp_path, "expect\n== house/rules.yaml\nsources: {}\n")
    trade, house = tmp_path / "trade", tmp_path / "house"
    for packs, what in (
        ([house, trade], "a trade pack after a house pack"),
        ([trade, house, house], "a pack county stands before"),
    ):
        with pytest.raises(CompileError, match=f"E701 {what}"):
            compile_packs(packs)
    assert [pack.id for pack in compile_packs([trade, house]).packs] == ["trade", "county"]


def test_columns_are_named_as_spreadsheets_name_them() -> None:
    assert [letters(index) for index in (0, 25, 26, 51, 52, 702)] == [
        "A",
        "Z",
        "AA",
        "AZ",
        "BA",
        "AAA",
    ]
