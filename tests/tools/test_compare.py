"""What changed between two bundles is said in words with units, and reaches exactly what is downstream of it."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pytest

from kneewall.bundle import Bundle, Replaced
from kneewall.cli import main
from kneewall.compiler import compile_packs
from kneewall.tools.compare import Comparison, compare
from tests.tools.mutants import fields, mutants
from tests.tools.packs import PACK, RULES, UNITS, bundle_of, changed, compiled, renamed


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> Bundle:
    return bundle_of(tmp_path_factory.mktemp("packs") / "old")


def lines(found: Comparison, *topics: str) -> list[str]:
    """The lines of these topics, or of all."""
    return [change.line for change in found.changes if not topics or change.topic in topics]


def reached(found: Comparison) -> dict[str, set[str]]:
    """Ids of what can feel it, by calculator or checklist."""
    return {view.id: {result.id for result in view.results} for view in found.felt}


def test_no_change(old: Bundle) -> None:
    found = compare(old, old)
    assert (found.changes, found.felt) == ([], [])


def test_a_cell_is_told_with_its_row_and_units_and_reaches_what_reads_its_column(
    old: Bundle, tmp_path: Path
) -> None:
    """`box.price` reads the same row, but another column of it."""
    found = compare(
        old, bundle_of(tmp_path, ("small, 5, 1.25,", "small, 5, 1.5,"), ("7.25 lb", "7.5 lb"))
    )
    assert lines(found, "Tables") == ["Prices: small, weight 1.25 lb → 1.5 lb"]
    assert reached(found) == {"box": {"box.weight", "box.light"}}
    (results,) = [view.results for view in found.felt]
    assert {result.by for result in results} == {("prices",)}


def test_a_change_too_small_to_be_shown_rounded_is_shown(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(tmp_path, ("large, 9, 2.5,", "large, 9, 2.5000000002,"))
    assert lines(compare(old, new)) == ["Prices: large, weight 2.5 lb → 2.5000000002 lb"]


def test_the_same_amount_in_another_unit_is_no_change_of_a_cell(
    old: Bundle, tmp_path: Path
) -> None:
    new = bundle_of(
        tmp_path,
        ("weight [lb], source", "weight [oz], source"),
        ("5, 1.25,", "5, 20,"),
        ("9, 2.5,", "9, 40,"),
    )
    found = compare(old, new)
    assert lines(found) == ["Prices: column weight number in lb → number in oz"]
    assert found.felt == []


def test_rows_added_and_removed(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(tmp_path, ("      100, 20\n", "      90, 18\n      110, 22\n"))
    found = compare(old, new)
    assert lines(found) == [
        "strengths: 100 ft removed: strength 20 psi",
        "strengths: 90 ft added: strength 18 psi",
        "strengths: 110 ft added: strength 22 psi",
    ]
    assert reached(found) == {"strength": {"box.stretched"}}


def test_a_key_with_several_rows_changes_where_it_changed(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(tmp_path, ("red, 2, 2026-07-01,", "red, 2.5, 2026-07-02,"))
    found = compare(old, new)
    assert lines(found) == [
        "fees: red, fee 2 → 2.5",
        "fees: red, holds_from 2026-07-01 → 2026-07-02",
    ]
    assert reached(found) == {"": {"box.fee"}}


def test_rows_in_another_order(old: Bundle, tmp_path: Path) -> None:
    rows = "      red, 1, , 2026-06-30\n      red, 2, 2026-07-01,\n", "      green, 3, ,\n"
    found = compare(old, bundle_of(tmp_path, ("".join(rows), rows[1] + rows[0])))
    assert lines(found) == ["fees: rows stand in another order"]
    assert reached(found) == {"": {"box.fee"}}


def test_rows_of_a_table_without_keys_by_their_neighbours(tmp_path: Path) -> None:
    keyless = ("    keys: [length]\n    transform: {strength: ln}\n", "")
    use = ("interpolate(strengths, length=box.length)", "first(strengths, length >= box.length)")
    one = bundle_of(tmp_path / "one", keyless, use)
    two = bundle_of(
        tmp_path / "two", keyless, use, ("      100, 20\n", "      50, 15\n      100, 21\n")
    )
    assert lines(compare(one, two)) == [
        "strengths: row 2, length 100 ft → 50 ft",
        "strengths: row 2, strength 20 psi → 15 psi",
        "strengths: row 3 added: length 100 ft, strength 21 psi",
    ]


def test_limits_and_defaults_reach_downstream(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(
        tmp_path,
        ("100 ft, default: 2 ft}", "50 ft, default: 1.5 ft}"),
        ("box.area: 6 ft2 within", "box.area: 4.5 ft2 within"),
        ("7.25 lb", "5.75 lb"),
    )
    found = compare(old, new)
    assert lines(found, "Limits", "Defaults") == [
        "Width (box.width): limits 0 ft to 100 ft → 0 ft to 50 ft",
        "Width (box.width): default 2 ft → 1.5 ft",
    ]
    assert reached(found) == {
        "box": {"box.area", "box.weight", "box.light"},
        "short": {"short/wait"},
        "": {"box.allowed"},
    }


def test_a_least_time_reaches_the_step_that_waits_for_it(old: Bundle, tmp_path: Path) -> None:
    found = compare(old, bundle_of(tmp_path, ("default: 10 min}", "default: 15 min}")))
    assert lines(found) == ["Least hold (hold.least): default 10 min → 15 min"]
    assert reached(found) == {"short": {"short/wait"}}


def test_a_formula_and_what_is_only_written_otherwise(old: Bundle, tmp_path: Path) -> None:
    found = compare(old, bundle_of(tmp_path / "a", ("box.length / 2", "box.length / 3")))
    assert lines(found) == ["Offered width (box.offered): formula box.length / 2 → box.length / 3"]
    assert reached(found) == {"": {"box.offered"}}
    found = compare(old, bundle_of(tmp_path / "b", ("box.length / 2", "(box.length / 2)")))
    assert lines(found) == []
    assert found.felt == []


def test_a_function_reaches_who_calls_it(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(
        tmp_path, ("'area * quantity(1,", "'2 * area * quantity(1,"), ("7.25 lb", "13.25 lb")
    )
    found = compare(old, new)
    assert [change.id for change in found.changes if change.topic == "Formulas"] == ["extra"]
    assert reached(found) == {"box": {"box.weight", "box.light"}}


def test_a_unit_reaches_what_is_typed_or_written_in_it(old: Bundle, tmp_path: Path) -> None:
    """The pound grows a little; limits, cells and literals in it with it."""
    units = changed(UNITS, ("\nlb,0.45359237 kg", "\nlb,0.45359238 kg"))
    rules = changed(RULES, ("box.weight: 7.25 lb}", "box.weight: 7.25 lb within 1 lb}"))
    found = compare(old, compiled(tmp_path, rules, units).bundle)
    assert any(line.startswith("unit lb: scale 0.45359237 → 0.45359238") for line in lines(found))
    assert {"box.weight", "box.light"} <= reached(found)["box"]
    assert "box.area" not in reached(found)["box"]


def test_conditions_of_checks_and_their_messages(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(
        tmp_path,
        ('fail: box.weight > quantity(100, "lb")', 'fail: box.weight > quantity(90, "lb")'),
        ('"{box.weight} is light."', '"{box.weight} is light enough."'),
        ("    when: known(box.weight)\n", ""),
        ("    holds: {from: 2026-01-01}\n    says", "    holds: {from: 2026-02-01}\n    says"),
        ("checks: {box.light: pass}", "checks: {box.light: not-applicable}"),
    )
    found = compare(old, new)
    assert lines(found, "Conditions", "Checks", "Messages") == [
        "check Light enough (box.light): applies when known(box.weight) → none",
        "check Light enough (box.light): holds from 2026-01-01 → from 2026-02-01",
        'check Light enough (box.light): fail when box.weight > quantity(100, "lb") → box.weight > quantity(90, "lb")',
        "check Light enough (box.light): says on pass “{box.weight} is light.” → “{box.weight} is light enough.”",
    ]
    assert reached(found) == {"box": {"box.light"}}


def test_a_message_alone_is_felt_by_nothing(old: Bundle, tmp_path: Path) -> None:
    assert compare(old, bundle_of(tmp_path, ("is light.", "is all right."))).felt == []


def test_choices(old: Bundle, tmp_path: Path) -> None:
    """One more leaves what is there as it is; another order turns every comparison by order round."""
    grown = bundle_of(tmp_path / "a", ("large: Large}", "large: Big, huge: Huge}"))
    found = compare(old, grown)
    assert lines(found) == [
        "choice list size: choices gains huge",
        "choice list size, large: label Large → Big",
    ]
    assert found.felt == []
    turned = bundle_of(tmp_path / "b", ("[red, green]", "[green, red]"))
    found = compare(old, turned)
    assert lines(found) == ["choice list colour: choices in another order: green, red"]
    assert reached(found) == {"box": {"box.weight", "box.light"}, "": {"box.fee"}}


def test_a_choice_before_the_others_changes_no_condition(old: Bundle, tmp_path: Path) -> None:
    """Inside, a choice is its place; `box.colour == "red"` still says the same."""
    found = compare(old, bundle_of(tmp_path, ("[red, green]", "[blue, red, green]")))
    assert lines(found) == ["choice list colour: choices gains blue"]
    assert found.felt == []


def test_what_was_not_there_before_feels_nothing(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(
        tmp_path,
        ("5, 1.25,", "5, 1.5,"),
        ("7.25 lb", "7.5 lb"),
        ("  box.allowed:\n", "  box.double: {label: D, unit: lb, limits: 0 lb to 99 lb, formula: 2 * box.weight, "
         "source: demo}\n  box.allowed:\n"),
        ("show: [box.area,", "show: [box.double, box.area,"),
        ("      - {id: tell,", '      - {id: lift, act: do, title: Lift, when: \'box.weight < quantity(9, "lb")\'}\n'
         "      - {id: tell,"),
    )  # fmt: skip
    found = compare(old, new)
    assert "D (box.double) added" in lines(found)
    assert reached(found) == {"box": {"box.weight", "box.light"}}


def test_a_renamed_result_feels_what_the_old_one_would(old: Bundle, tmp_path: Path) -> None:
    rules = changed(RULES, ("5, 1.25,", "5, 1.5,"), ("7.25 lb", "7.5 lb"))
    rules = renamed(rules, "box.weight", "box.load")
    rules = changed(rules, ("  box.load:\n", "  box.load:\n    formerly: [box.weight]\n"))
    rules = rules.replace("{box.weight}", "{box.load}")
    assert reached(compare(old, compiled(tmp_path, rules).bundle)) == {
        "box": {"box.load", "box.light"}
    }


def test_a_rename_is_a_rename(old: Bundle, tmp_path: Path) -> None:
    rules = renamed(RULES, "box.area", "box.ground")
    rules = changed(
        rules, ("box.ground: {label: Area,", "box.ground: {formerly: [box.area], label: Area,")
    )
    found = compare(old, compiled(tmp_path, rules).bundle)
    assert [(change.kind, change.line) for change in found.changes] == [
        ("renamed", "Area (box.ground) was called box.area")
    ]
    assert found.felt == []


def test_without_its_old_name_it_is_another_thing(old: Bundle, tmp_path: Path) -> None:
    found = compare(old, compiled(tmp_path, renamed(RULES, "box.area", "box.ground")).bundle)
    assert {"Area (box.area) removed", "Area (box.ground) added"} <= set(lines(found, "Quantities"))
    assert not any(change.kind == "renamed" for change in found.changes)


def test_steps(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(
        tmp_path,
        ("after: [look],", "after: [],"),
        ('box.length > quantity(3, "ft")', 'box.length > quantity(4, "ft")'),
        ("      - {id: tell,", "      - {id: rest, act: do, title: Rest}\n      - {id: tell,"),
    )
    found = compare(old, new)
    assert lines(found) == [
        "Short (short), step Wait (wait): applies when box.length > 3 ft or not box.allowed → "
        "box.length > 4 ft or not box.allowed",
        "Short (short): steps gains rest",
        "Short (short), step Wait (wait): after loses look",
    ]
    assert reached(found) == {"short": {"short/wait"}}


def test_sources(old: Bundle, tmp_path: Path) -> None:
    new = bundle_of(
        tmp_path,
        ("source: book page 1}", "source: book page 11}"),
        ("large, 9, 2.5, reprint Table 2", "large, 9, 2.5, reprint Table 3"),
        ('edition: "2020", kind', 'edition: "2023", kind'),
    )
    found = compare(old, new)
    assert lines(found) == [
        "Prices: large, source reprint Table 2 → reprint Table 3",
        "Area (box.area): source book page 1 → book page 11",
        "source book: edition 2020 → 2023",
    ]
    assert found.felt == []


def test_a_table_that_begins_to_hold_for_a_time_is_seen_in_what_reads_it(
    old: Bundle, tmp_path: Path
) -> None:
    """The formula reads as before and now also asks for the day."""
    new = bundle_of(
        tmp_path,
        ("weight [lb], source\n", "weight [lb], source, holds_to [date]\n"),
        ("small, 5, 1.25,\n", "small, 5, 1.25, , 2026-12-31\n"),
        ("reprint Table 2\n", "reprint Table 2,\n"),
    )
    found = compare(old, new)
    assert "Prices: columns gains holds_to" in lines(found, "Tables")
    assert [change.id for change in found.changes if change.topic == "Formulas"] == [
        "box.price",
        "box.weight",
    ]
    assert reached(found) == {"box": {"box.price", "box.weight", "box.light"}}


def test_other_days_are_compared_with(old: Bundle, tmp_path: Path) -> None:
    """Nothing in the rules differs, but the pack names another quantity as the day."""
    rules = changed(RULES, ("  box.length: {", "  other.day: {label: Other, type: date}\n  box.length: {"),
                    ("if_known: [box.colour, visit.day]", "if_known: [box.colour, visit.day, other.day]"),
                    ("visit.day: 2026-01-01}", "visit.day: 2026-01-01, other.day: 2026-01-01}"))  # fmt: skip
    folder = tmp_path / "new"
    compiled(folder, rules)
    (folder / "pack.yaml").write_text(
        PACK.replace("date_quantity: visit.day", "date_quantity: other.day")
    )
    found = compare(old, compile_packs([folder]))
    assert {"box.light", "box.allowed", "box.tall", "box.fee"} <= set().union(
        *reached(found).values()
    )


def test_nothing_that_a_bundle_says_goes_unseen(old: Bundle) -> None:
    """Every field of every part is changed in turn, both ways."""
    check = old.checks[0].model_copy(update={"replaced": Replaced(pack="low", because="Else.")})
    base = old.model_copy(update={"checks": [check]})
    tried: Counter[str] = Counter()
    unseen: set[str] = set()
    for label, mutant in mutants(base):
        tried[label] += 1
        if tried[label] <= 2 and not (
            compare(base, mutant).changes and compare(mutant, base).changes
        ):
            unseen.add(label)
    assert not unseen
    assert set(tried) == fields()


@pytest.mark.parametrize("section", ["checks", "calculators", "checklists"])
def test_another_order_is_seen(old: Bundle, section: str) -> None:
    first = getattr(old, section)[0]
    parts = [first, first.model_copy(update={"id": "another"})]
    one, two = (old.model_copy(update={section: order}) for order in (parts, parts[::-1]))
    assert [change.topic for change in compare(one, two).changes] == ["Order"]


def test_the_order_in_which_quantities_are_asked_for_is_seen(old: Bundle, tmp_path: Path) -> None:
    (legs,) = [line for line in RULES.splitlines() if line.startswith("  box.legs:")]
    moved = changed(RULES, (legs + "\n", ""), ("  box.length: {", legs + "\n  box.length: {"))
    found = compare(old, compiled(tmp_path, moved).bundle)
    assert lines(found) == [
        "The quantities stand in another order, in which what is missing is named"
    ]


def test_on_the_command_line(
    old: Bundle, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*arguments: str | Path) -> tuple[int, str, str]:
        status = main(["compare", *map(str, arguments)])
        return status, *capsys.readouterr()

    new = bundle_of(tmp_path / "new", ("small, 5, 1.25,", "small, 5, 1.5,"), ("7.25 lb", "7.5 lb"))
    files = tmp_path / "old.json", tmp_path / "new.json"
    for file, bundle in zip(files, (old, new), strict=True):
        file.write_bytes(bundle.raw)
    status, text, errors = run(*files)
    assert (status, errors) == (0, "")
    assert "  Prices: small, weight 1.25 lb → 1.5 lb\n" in text
    assert (
        "    Weight (box.weight), by prices\n    check Light enough (box.light), by prices\n"
        in text
    )
    document = json.loads(run(*files, "--json")[1])
    assert (document["old"], document["new"]) == (old.hash, new.hash)
    assert document["changes"][0]["new"] == "1.5 lb"
    assert run(files[0], files[0]) == (0, "No change: the two are the same bundle.\n", "")
    (tmp_path / "broken.json").write_text("{")
    status, text, errors = run(files[0], tmp_path / "broken.json")
    assert (status, text, errors.count("\n")) == (2, "", 1)


def test_a_caution_that_no_longer_stands_beside_the_work_is_said_with_it(
    old: Bundle, tmp_path: Path
) -> None:
    step = bundle_of(tmp_path / "a", (", caution: mind-the-legs}", "}"))
    (text,) = [caution.text for caution in old.cautions if caution.id == "mind-the-legs"]
    (change,) = compare(old, step).changes
    assert (change.topic, change.new) == ("Cautions", "")
    assert change.old == f"mind-the-legs: {text}"
    calculator = bundle_of(tmp_path / "b", ("    cautions: [mind-the-legs]\n", ""))
    (change,) = compare(old, calculator).changes
    assert change.topic == "Cautions"
    assert change.line.endswith("cautions loses mind-the-legs")
