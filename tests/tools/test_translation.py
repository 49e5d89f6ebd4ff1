"""The list of a language's words for a native speaker: its states, what comes back, and the shipped one."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from kneewall.cli import main
from tests.language.test_words import LONG, trade

HOT = "cautions/hot/text"


def listed(pack: Path, tmp_path: Path) -> dict[str, dict[str, str]]:
    out = tmp_path / "list.csv"
    assert main(["translation", "es", str(pack), "-o", str(out)]) == 0
    with out.open(encoding="utf-8", newline="") as file:
        return {row["path"]: row for row in csv.DictReader(file)}


def state(pack: Path, tmp_path: Path, path: str = HOT) -> str:
    return listed(pack, tmp_path)[path]["state"]


def change(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


@pytest.fixture
def noted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    pack = trade(tmp_path)
    assert state(pack, tmp_path) == "new"
    assert main(["translation", "es", str(pack), "--note"]) == 0
    assert capsys.readouterr().out == "es: 4 texts noted\n"
    assert state(pack, tmp_path) == "translated"
    return pack


def test_a_line_says_both_texts_and_what_its_names_stand_for(noted: Path, tmp_path: Path) -> None:
    line = listed(noted, tmp_path)["checks/box.long/says/fail"]
    assert line["place"] == "check “Long”, says, fail"
    assert line["english"] == "{box.length} is long. Cut it."
    assert line["words"] == "Es largo: {box.length}. Córtelo."
    assert line["figures"] == "{box.length} Length"


def test_a_changed_english_text_asks_for_a_new_look(noted: Path, tmp_path: Path) -> None:
    change(noted / "more.yaml", "text: Hot.", "text: Very hot.")
    assert state(noted, tmp_path) == "English changed since"
    assert main(["translation", "es", str(noted), "--note"]) == 0
    assert state(noted, tmp_path) == "English changed since"
    change(noted / "es.yaml", "Quema.", "Quema mucho.")
    assert state(noted, tmp_path) == "new"
    assert main(["translation", "es", str(noted), "--note"]) == 0
    assert state(noted, tmp_path) == "translated"


def returned(noted: Path, tmp_path: Path, **cells: str) -> Path:
    """The list as a reviewer sends it back, with something filled in for the caution."""
    rows = listed(noted, tmp_path)
    rows[HOT] |= {name.replace("_", " "): said for name, said in cells.items()}
    file = tmp_path / "back.csv"
    with file.open("w", encoding="utf-8-sig", newline="") as out:
        writer = csv.DictWriter(out, rows[HOT].keys())
        writer.writeheader()
        writer.writerows(rows.values())
    return file


def test_what_a_reviewer_approves_is_reviewed(noted: Path, tmp_path: Path) -> None:
    back = returned(noted, tmp_path, reviewed_by="Ada")
    assert main(["translation", "es", str(noted), "--reviewed", str(back)]) == 0
    assert state(noted, tmp_path) == "reviewed by Ada"
    assert state(noted, tmp_path, "choices/size/values/small") == "translated"
    change(noted / "es.yaml", "Quema.", "Arde.")
    assert state(noted, tmp_path) == "new"


def test_what_a_reviewer_would_say_better_is_named_and_not_approved(
    noted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    back = returned(noted, tmp_path, reviewed_by="Ada", better="¡Quema!")
    assert main(["translation", "es", str(noted), "--reviewed", str(back)]) == 0
    assert capsys.readouterr().out == f"es: 0 texts approved\n{HOT}: ¡Quema!\n"
    assert state(noted, tmp_path) == "translated"


def test_approval_of_another_english_text_does_not_count(noted: Path, tmp_path: Path) -> None:
    back = returned(noted, tmp_path, reviewed_by="Ada")
    change(noted / "more.yaml", LONG.split("text: ")[1][:4], "Lava.")
    assert main(["translation", "es", str(noted), "--reviewed", str(back)]) == 0
    assert state(noted, tmp_path) == "English changed since"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["fr", "PACK"], "fr: no words in this language; there is es"),
        (["es", "PACK", "-o", "list.txt"], "list.txt: name a file that ends in .csv or .html"),
        (["es", "PACK", "--reviewed", "none.csv"], "none.csv: no such file"),
        (
            ["es", "PACK", "-o", "none/list.csv"],
            "none/list.csv: cannot be written: No such file or directory",
        ),
    ],
)
def test_bad_input_is_one_line(
    arguments: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pack = str(trade(tmp_path))
    command = ["translation", *(pack if each == "PACK" else each for each in arguments)]
    assert main(command) == 2
    assert capsys.readouterr().err == said + "\n"


def test_the_page_stands_alone_and_escapes(tmp_path: Path) -> None:
    pack = trade(tmp_path)
    change(pack / "es.yaml", "Quema.", "Quema <mucho> & siempre.")
    (pack / "es.terms.csv").write_text("english,spanish,note\nbox,caja,\n", encoding="utf-8")
    out = tmp_path / "list.html"
    assert main(["translation", "es", str(pack), "-o", str(out)]) == 0
    page = out.read_text(encoding="utf-8")
    assert "<td>Quema &lt;mucho&gt; &amp; siempre.</td>" in page
    assert "<tr><td>box</td><td>caja</td><td></td></tr>" in page
