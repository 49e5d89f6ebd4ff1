"""Words of other languages beside the rules: what may be said, whose words count, what is missing."""

from __future__ import annotations

from pathlib import Path

import pytest

from kneewall.bundle import Bundle
from kneewall.cli import main
from kneewall.compiler import CompileError, compile_packs
from kneewall.compiler.languages import missing, texts_of
from tests.language.test_packs import BASE, hash_named_by, pack
from tests.tools.packs import RULES as EVERYTHING
from tests.tools.packs import compiled

LONG = """
cautions:
  hot: {text: Hot., source: demo}
checks:
  box.long:
    label: Long
    fail: box.length > quantity(9, "ft")
    says: {pass: "{box.length} is short.", fail: "{box.length} is long. Cut it."}
    source: demo
calculators:
  long: {title: Long, topic: demo, enter: [box.length], show: [box.length], checks: [box.long], cautions: [hot]}
"""
SPANISH = """
checks:
  box.long: {label: Largo, says: {fail: "Es largo: {box.length}. Córtelo."}}
choices:
  size: {values: {small: chico}}
cautions:
  hot: {text: Quema.}
"""


def trade(folder: Path, words: str = SPANISH) -> Path:
    path = pack(folder, "trade", "trade", BASE.replace("calculators:", "calculators:", 1))
    (path / "more.yaml").write_text(LONG, encoding="utf-8")
    (path / "es.yaml").write_text(words, encoding="utf-8")
    return path


def test_words_stand_by_the_path_of_the_text(tmp_path: Path) -> None:
    bundle = compile_packs([trade(tmp_path)])
    (length,) = [slot for slot, q in enumerate(bundle.quantities) if q.id == "box.length"]
    assert bundle.words["es"].texts == {
        "cautions/hot/text": "Quema.",
        "checks/box.long/label": "Largo",
        "checks/box.long/says/fail": ["Es largo: ", ["q", length], ". Córtelo."],
        "choices/size/values/small": "chico",
    }


def test_what_is_missing_is_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bundle = compile_packs([trade(tmp_path)])
    lacking = missing(bundle)["es"]
    assert "checks/box.long/says/pass" in lacking
    assert "checks/box.long/says/fail" not in lacking
    assert "choices/size/values/large" in lacking
    (tmp_path / "b.json").write_bytes(bundle.raw)
    assert main(["words", str(tmp_path / "b.json")]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == f"es: 4 texts have words, {len(lacking)} have none"
    assert "  checks/box.long/says/pass: {box.length} is short." in lines


def test_every_text_has_a_path_of_its_own(tmp_path: Path) -> None:
    """Each path of a pack with one of everything can be written as words, and no text is left out."""
    bundle = compiled(tmp_path / "all").bundle
    texts = texts_of(bundle)
    for said in (
        "Outside.",
        "Closely.",
        "Quick.",
        "Alone.",
        "Mind the legs.",
        "Area over length",
        "Not on three legs.",
    ):
        assert said in EVERYTHING
        assert [path for path, text in texts.items() if text.said == said], said


def amended(folder: Path, words: str) -> Bundle:
    """A county that has a caution of its own, with these words of its own."""
    low = trade(folder)
    rules = "cautions:\n  hot: {text: Very hot., source: demo, because: It is., replaces: HASH}\n"
    county = pack(folder, "county", "house", rules.replace(", because: It is., replaces: HASH", ""))
    digest = hash_named_by([low, county])
    county = pack(folder, "county", "house", rules.replace("HASH", f'"{digest}"'))
    (county / "es.yaml").write_text(words, encoding="utf-8")
    return compile_packs([low, county])


def test_words_for_what_was_replaced_are_not_said_of_what_replaces_it(tmp_path: Path) -> None:
    bundle = amended(tmp_path, "checks:\n  box.long: {label: Muy largo}\n")
    assert "cautions/hot/text" not in bundle.words["es"].texts
    assert bundle.words["es"].texts["checks/box.long/label"] == "Muy largo"


def test_a_later_pack_says_its_own(tmp_path: Path) -> None:
    bundle = amended(tmp_path, "cautions:\n  hot: {text: Quema mucho.}\n")
    assert bundle.words["es"].texts["cautions/hot/text"] == "Quema mucho."


def test_words_for_a_text_that_a_replacement_lacks_are_passed_over(tmp_path: Path) -> None:
    rules = """
checks:
  box.long:
    label: Long
    caution: box.length > quantity(8, "ft")
    says: {pass: Short., caution: Cut it.}
    source: demo
    because: It is.
    replaces: HASH
"""
    low = trade(tmp_path)
    assert "checks/box.long/says/fail" in compile_packs([low]).words["es"].texts
    digest = hash_named_by([low, pack(tmp_path, "county", "house", rules.replace("HASH", "none"))])
    county = pack(tmp_path, "county", "house", rules.replace("HASH", f'"{digest}"'))
    assert "checks/box.long/says/fail" not in compile_packs([low, county]).words["es"].texts


@pytest.mark.parametrize(
    "wrong", ["Es largo: {box.length}. Corte 2 ft.", "Es largo: {box.length}, 1,5."]
)
def test_words_say_the_figures_of_their_text(tmp_path: Path, wrong: str) -> None:
    with pytest.raises(CompileError) as caught:
        compile_packs([trade(tmp_path, SPANISH.replace("Es largo: {box.length}. Córtelo.", wrong))])
    assert [fault.number for fault in caught.value.faults] == ["E801"]


def test_a_size_reads_the_same_everywhere_and_a_figure_with_words_does_not(tmp_path: Path) -> None:
    path = trade(tmp_path)
    sizes = "{small: Small, large: Large, 14 AWG: 14 AWG, two: 2 stages, sixty: 60 ft}"
    text = (path / "rules.yaml").read_text(encoding="utf-8")
    assert "values: [small, large]" in text
    (path / "rules.yaml").write_text(text.replace("[small, large]", sizes), encoding="utf-8")
    lacking = missing(compile_packs([path]))["es"]
    assert [each for each in lacking if each.startswith("choices/size/values/")] == [
        "choices/size/values/large",
        "choices/size/values/two",
    ]


def test_one_pack_says_a_text_once(tmp_path: Path) -> None:
    path = trade(tmp_path)
    (path / "sub").mkdir()
    (path / "sub" / "es.yaml").write_text("cautions:\n  hot: {text: Arde.}\n")
    with pytest.raises(CompileError) as caught:
        compile_packs([path])
    assert [fault.number for fault in caught.value.faults] == ["E202"]


def test_a_reason_is_said_by_its_english(tmp_path: Path) -> None:
    path = trade(tmp_path, SPANISH + "reasons: {No lid: Sin tapa}\n")
    text = (path / "rules.yaml").read_text(encoding="utf-8")
    formula = "formula: box.length * box.width"
    wide = 'box.width > quantity(50, "ft")'
    lid = f"formula: 'not_applicable(\"No lid\") if {wide} else box.length * box.width'"
    assert formula in text
    (path / "rules.yaml").write_text(text.replace(formula, lid), encoding="utf-8")
    bundle = compile_packs([path])
    assert bundle.words["es"].texts["reasons/No lid"] == "Sin tapa"
