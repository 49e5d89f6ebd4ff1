"""The office's rules on its pages: the draft, what it would change, publishing, going back, editing."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from werkzeug.test import TestResponse

from tests.office_double import OfficeDouble, bundle, worked_visit, write_pack

STRICTER = """checks:
  run.drop_small:
    scope: circuit
    label: Voltage drop
    fail: run.drop > quantity(3, "V")
    says:
      pass: "{run.drop} is lost on the way."
      fail: "{run.drop} is lost on the way. Fit a thicker wire."
    source: demo
"""
ONE_WAY = """quantities:
  run.drop:
    scope: circuit
    label: Voltage lost
    unit: V
    limits: 0 V to 500 V
    decimals: 2
    formula: run.current * run.length * run.ohms
    source: demo
"""
SOUND = """sources:
  our-own: {title: What we measured, kind: practice, confirmed: true}
rows:
  wire: {source: our-own, file: wires.csv}
"""
WIRES = "# measured on our reels\nsize [wire_size], resistance [ohm/kft]\n"


@pytest.fixture
def office(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[OfficeDouble]:
    """An office whose trade pack is the one published in it."""
    trade = write_pack(tmp_path / "trade")
    monkeypatch.setattr("kneewall.web.draft.trade_pack", lambda: trade)
    opened = OfficeDouble.furnished(tmp_path / "data")
    yield opened
    opened.close()


def text_of(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def keep(office: OfficeDouble, name: str, text: str) -> TestResponse:
    """Write a file of the house pack as its page does."""
    if name not in office.office.draft.files():
        assert office.send_form("rules/files", name=name).status_code == 302
    page = office.page(f"rules/files/{name}?text=1")
    return office.send_form(f"rules/files/{name}", text=text, was=hidden(page, "was"))


def hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found, name
    return found[1]


def stricter(office: OfficeDouble, rule: str = STRICTER) -> None:
    """A house pack that replaces the limit, by what the fault says is to be written."""
    keep(office, "limits.yaml", rule)
    (fault,) = office.office.draft.made().faults
    found = re.search(r'replaces: "(\w+)"', fault.what)
    assert found, fault
    why = f'    because: long runs flicker\n    replaces: "{found[1]}"\n'
    assert keep(office, "limits.yaml", rule + why).status_code == 302


def publish(office: OfficeDouble, note: str = "stricter") -> TestResponse:
    looked_at = hidden(office.page("rules/draft"), "looked_at")
    return office.send_form("rules/draft/publish", looked_at=looked_at, note=note)


# --- looking, publishing, going back ----------------------------------------------------------


def test_a_draft_shows_what_it_would_change_and_is_published(office: OfficeDouble) -> None:
    wire = office.enrol()
    worked_visit(wire)
    wire.send()
    assert "The live edition has these very bytes." in text_of(office.page("rules/draft"))
    stricter(office)
    page = text_of(office.page("rules/draft"))
    assert "Rules for tests, then House rules" in page
    assert "7.2" in page
    assert "Drop on a run" in page
    assert "14 Alder Lane, Commissioning" in page
    assert "Voltage drop · Outdoor unit: Within → Failed" in page
    assert "1 visits with readings were computed under both" in page
    assert office.office.editions.all()[0].number == 1
    assert publish(office).status_code == 302
    live = office.office.editions.live()
    assert live
    assert (live.number, live.author, live.note) == (2, "Dana", "stricter")
    assert not office.office.draft.begun
    assert office.office.draft.files() == ["limits.yaml", "pack.yaml"]
    assert "The live edition has these very bytes." in text_of(office.page("rules/draft"))
    # The visit was begun under edition 1 and keeps it.
    visit = text_of(office.page(f"visits/{wire.phone.visit}"))
    assert "edition 1" in visit
    assert "4.46 V is lost on the way. Fit a thicker wire." not in visit


def test_going_back_is_a_new_number_for_old_bytes(office: OfficeDouble) -> None:
    first = office.office.editions.live()
    assert first
    stricter(office)
    publish(office)
    page = office.page(f"rules/{first.hash}/again")
    assert "Back to edition 1" in text_of(page)
    assert "7.2" in text_of(page)
    answer = office.send_form(f"rules/{first.hash}/again", note="Too strict", looked_at=first.hash)
    assert answer.status_code == 302
    live = office.office.editions.live()
    assert live
    assert (live.number, live.hash, live.note) == (3, first.hash, "Too strict")
    page = text_of(office.page("rules"))
    assert [f"Edition {n}" in page for n in (1, 2, 3)] == [True] * 3
    assert office.desk.get(f"/office/rules/{'0' * 64}/again").status_code == 404


def test_nothing_is_published_that_was_not_looked_at(office: OfficeDouble) -> None:
    stricter(office)
    looked_at = hidden(office.page("rules/draft"), "looked_at")
    text = office.office.draft.read("limits.yaml")
    keep(office, "limits.yaml", text.replace("quantity(3", "quantity(2"))
    answer = office.send_form("rules/draft/publish", looked_at=looked_at, note="n")
    assert answer.status_code == 409
    assert "has changed since you looked" in text_of(answer.get_data(as_text=True))
    assert len(office.office.editions.all()) == 1


def test_an_edition_without_a_note_is_not_published(office: OfficeDouble) -> None:
    stricter(office)
    answer = publish(office, " ")
    assert answer.status_code == 422
    assert "needs an author and a note" in text_of(answer.get_data(as_text=True))
    assert office.office.draft.begun
    assert len(office.office.editions.all()) == 1


def test_the_first_edition_is_published_from_the_page(office: OfficeDouble) -> None:
    bare = OfficeDouble(office.data.parent / "bare")
    try:
        bare.sign_in()
        page = text_of(bare.page("rules/draft"))
        assert "this would be edition 1" in page
        assert publish(bare, "first").status_code == 302
        live = bare.office.editions.live()
        assert live
        assert live.hash == bundle().hash
    finally:
        bare.close()


def test_a_maker_pack_lies_under_the_house_pack(office: OfficeDouble) -> None:
    maker = office.data / "packs" / "example-works"
    maker.mkdir(parents=True)
    (maker / "pack.yaml").write_text("id: works\nrank: maker\ntitle: Example works\nformat: 1\n")
    stricter(office)
    assert "Rules for tests, then Example works, then House rules" in office.page("rules/draft")
    (maker / "pack.yaml").write_text("id: works\n")
    page = text_of(office.page("rules/draft"))
    assert "example-works/pack.yaml:1:1" in page
    assert "rank is missing" in page


# --- what is wrong, at its place ----------------------------------------------------------------


def test_faults_stand_at_their_place_and_nothing_is_published(office: OfficeDouble) -> None:
    answer = keep(office, "limits.yaml", STRICTER.replace("run.drop >", "run.dorp >"))
    assert answer.status_code == 302
    page = text_of(office.page("rules/draft"))
    assert "house/limits.yaml:2:3" in page
    keep(office, "more.yaml", "quantities:\n  x.y: {label: X, unit: V, limits: 0 V to 1 m}\n")
    faults = office.office.draft.made().faults
    assert {fault.file for fault in faults} == {"limits.yaml"}  # names come before meanings
    keep(office, "limits.yaml", "")
    page = office.page("rules/draft")
    assert "house/more.yaml:2:" in page
    assert re.search(r"^ +\| +\^", html.unescape(page), re.MULTILINE), "no caret under the column"
    file = office.page("rules/files/more.yaml")
    assert 'id="line-2" class="fail"' in file
    assert office.send_form("rules/draft/publish", looked_at="x", note="n").status_code == 422
    assert len(office.office.editions.all()) == 1


def test_a_cell_that_is_wrong_is_marked(office: OfficeDouble) -> None:
    keep(office, "wires.csv", WIRES + "8 AWG, 0.8\n12 AWG, thick\n")
    keep(office, "wires.yaml", SOUND)
    page = office.page("rules/files/wires.csv")
    assert (
        'name="c1-1" value="thick" aria-label="resistance [ohm/kft], line 4" aria-invalid' in page
    )
    assert 'name="c0-0" value="8 AWG" aria-label="size [wire_size], line 3" aria-invalid' in page
    assert "'thick' is not a number" in html.unescape(page)
    assert "3 faults here." in text_of(page)


def test_a_draft_says_which_worked_examples_it_overrules(office: OfficeDouble) -> None:
    assert "Worth a look" not in text_of(office.page("rules/draft"))
    stricter(office, ONE_WAY)
    page = text_of(office.page("rules/draft"))
    assert "Worth a look" in page
    assert "run.drop overrules a worked example of trade, 75 ft of 10 AWG at 24 A" in page
    assert "expected 4.46 V; see whether that is meant" in page
    assert "W111" in page


def test_dropping_a_draft_leaves_what_was_published(office: OfficeDouble) -> None:
    stricter(office)
    publish(office)
    published = office.office.draft.read("limits.yaml")
    keep(office, "limits.yaml", published.replace("quantity(3", "quantity(1"))
    assert office.office.draft.begun
    office.send_form("rules/draft/drop")
    assert office.office.draft.read("limits.yaml") == published


# --- editing --------------------------------------------------------------------------------------


@pytest.fixture
def wires(office: OfficeDouble) -> OfficeDouble:
    keep(office, "wires.yaml", "")
    keep(office, "wires.csv", WIRES + "10 AWG, 1.2\n\n# thin\n14 AWG,3.1\n")
    return office


def cells(office: OfficeDouble, **changes: str) -> dict[str, str]:
    """The form of the grid as the page shows it, with changes."""
    page = office.page("rules/files/wires.csv")
    found = dict(re.findall(r'<input name="(c\d+-\d+)" value="([^"]*)"', page))
    return {**found, "was": hidden(page, "was"), "where": "below", "pasted": ""} | changes


def test_a_grid_keeps_comments_and_untouched_rows(wires: OfficeDouble) -> None:
    form = cells(wires, **{"c1-1": "3.2", "c2-0": "12 AWG", "c2-1": "2.0"})
    assert wires.send_form("rules/files/wires.csv", **form).status_code == 302
    assert wires.office.draft.read("wires.csv") == (
        WIRES + "10 AWG, 1.2\n\n# thin\n14 AWG,3.2\n12 AWG,2.0\n"
    )
    wires.send_form("rules/files/wires.csv", **cells(wires, **{"c0-0": "", "c0-1": " "}))
    assert wires.office.draft.read("wires.csv") == WIRES + "\n# thin\n14 AWG,3.2\n12 AWG,2.0\n"


@pytest.mark.parametrize(
    ("pasted", "where", "becomes"),
    [
        ("12 AWG\t2.0\r\n", "below", "10 AWG, 1.2\n\n# thin\n14 AWG,3.1\n12 AWG,2.0\n"),
        ("12 AWG,2.0", "instead", "12 AWG,2.0\n\n# thin\n"),
        (
            "size [wire_size]\tresistance [ohm/kft]\n10 AWG\t1.25\n12 AWG\t2\n14 AWG\t3",
            "instead",
            "10 AWG,1.25\n\n# thin\n12 AWG,2\n14 AWG,3\n",
        ),
    ],
)
def test_rows_pasted_from_a_spreadsheet(
    wires: OfficeDouble, pasted: str, where: str, becomes: str
) -> None:
    form = cells(wires, pasted=pasted, where=where)
    assert wires.send_form("rules/files/wires.csv", **form).status_code == 302
    assert wires.office.draft.read("wires.csv") == WIRES + becomes


def test_half_rows_are_not_pasted_and_nothing_typed_is_lost(wires: OfficeDouble) -> None:
    before = wires.office.draft.read("wires.csv")
    form = cells(wires, pasted="12 AWG\n8 AWG", **{"c0-1": "1.3"})
    answer = wires.send_form("rules/files/wires.csv", **form)
    assert answer.status_code == 409
    page = answer.get_data(as_text=True)
    assert "Row 1 of what was pasted has 1 cells, the table has 2 columns." in page
    assert 'value="1.3"' in page
    assert "12 AWG\n8 AWG" in page.replace("\r", "")
    assert wires.office.draft.read("wires.csv") == before


def test_a_large_table_is_kept_whole(wires: OfficeDouble) -> None:
    keep(wires, "wires.csv", WIRES + "".join(f"{n} AWG,{n}\n" for n in range(700)))
    assert (
        wires.send_form("rules/files/wires.csv", **cells(wires, **{"c699-1": "1"})).status_code
        == 302
    )
    assert wires.office.draft.read("wires.csv").endswith("\n698 AWG,698\n699 AWG,1\n")


def test_two_people_do_not_overwrite_each_other(wires: OfficeDouble) -> None:
    form = cells(wires, **{"c0-1": "9.9"})
    keep(wires, "wires.csv", WIRES + "14 AWG,1\n")
    answer = wires.send_form("rules/files/wires.csv", **form)
    assert answer.status_code == 409
    assert "Somebody changed this file" in answer.get_data(as_text=True)
    assert 'value="9.9"' in answer.get_data(as_text=True)
    assert wires.office.draft.read("wires.csv") == WIRES + "14 AWG,1\n"


def test_rows_for_a_table_of_the_packs_below(office: OfficeDouble) -> None:
    assert '<option value="wire">wire</option>' in office.page("rules/draft")
    answer = office.send_form("rules/tables", table="wire")
    assert answer.headers["Location"] == "/office/rules/files/wire.csv"
    page = office.page("rules/files/wire.csv")
    assert "The draft compiles." in text_of(page)
    assert "14 AWG 3.14" in text_of(page)
    assert "12 AWG 1.98" in text_of(page)
    keep(office, "wire.csv", office.office.draft.read("wire.csv") + "12 AWG,2.05,,\n")
    (fault,) = office.office.draft.made().faults
    found = re.search(r"\((\w{12})\)", fault.what)
    assert found
    row = f"12 AWG,2.05,our reels,{found[1]}\n"
    keep(office, "wire.csv", office.office.draft.read("wire.csv").replace("12 AWG,2.05,,\n", row))
    assert "12 AWG 2.05" in text_of(office.page("rules/files/wire.csv"))
    assert "1.98" in text_of(office.page("rules/draft"))
    form = {"was": hidden(office.page("rules/files/wire.csv"), "was"), "where": "instead"}
    office.send_form("rules/files/wire.csv", pasted="12 AWG\t2.1\n10 AWG\t1.3\n", **form)
    assert office.office.draft.read("wire.csv").endswith("\n12 AWG,2.1,,\n10 AWG,1.3,,\n")
    for table in ("wire", "none", ""):
        assert office.send_form("rules/tables", table=table).status_code == 409


@pytest.mark.parametrize(
    "name", ["../pack.yaml", "a/b.yaml", "x.py", ".yaml", "Ä.yaml", "", "x" * 70 + ".yaml"]
)
def test_a_file_is_called_plainly_and_lies_in_the_pack(office: OfficeDouble, name: str) -> None:
    assert office.send_form("rules/files", name=name).status_code == 409
    assert office.desk.get(f"/office/rules/files/{name or 'none'}").status_code in (302, 404, 405)
    assert not office.office.draft.begun


def test_a_file_can_be_taken_out_of_the_draft(wires: OfficeDouble) -> None:
    assert wires.send_form("rules/files/wires.csv", remove="1").status_code == 302
    assert "wires.csv" not in wires.office.draft.files()
    assert wires.send_form("rules/files/pack.yaml", remove="1").status_code == 409


def test_a_broken_table_is_mended_as_text(wires: OfficeDouble) -> None:
    keep(wires, "wires.csv", WIRES + "10 AWG\n")
    page = wires.page("rules/files/wires.csv")
    assert 'name="text"' in page
    keep(wires, "wires.yaml", SOUND)
    assert "1 cell, but the header has 2" in text_of(wires.page("rules/files/wires.csv"))


def test_what_is_written_in_a_rule_is_text_on_its_page(office: OfficeDouble) -> None:
    keep(office, "odd.yaml", "# </textarea><script>alert(1)</script>\n")
    page = office.page("rules/files/odd.yaml")
    assert "<script>" not in page
    assert office.office.draft.read("odd.yaml") == "# </textarea><script>alert(1)</script>\n"
