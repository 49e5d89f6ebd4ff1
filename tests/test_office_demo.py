"""The demo's week, written through the interface as the demo writes it, read at the office."""

from __future__ import annotations

import io
import re
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from pypdf import PdfReader
from werkzeug.serving import make_server

from demo import run
from demo.client import Office
from demo.company import COMPANY, PASSWORD, PERSON
from demo.run import PACKS, first_minute
from demo.week import write_week
from kneewall.compiler import compile_packs
from kneewall.records.present import look_at
from kneewall.records.view import View
from tests.office_double import OfficeDouble, held_lines

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OfficeDouble]:
    opened = OfficeDouble(tmp_path_factory.mktemp("demo") / "data")
    here = opened.office
    raw = compile_packs([ROOT / "rules", *(ROOT / "demo" / "packs" / name for name in PACKS)]).raw
    here.editions.publish(raw, author="t", note="t", least_app="0.1.0", prove=lambda _: [])
    here.accounts.add(PERSON, PASSWORD)
    with here.store.writing() as connection:
        here.store.set_meta(connection, "office_name", COMPANY)
        here.store.set_meta(connection, "demo", f"{PERSON} {PASSWORD}")
    server = make_server("127.0.0.1", 0, opened.app, threaded=True)
    serving = threading.Thread(target=server.serve_forever)
    serving.start()
    try:
        write_week(Office(f"http://127.0.0.1:{server.port}", here.store, here.folder))
        opened.desk.post("/office/sign-in", data={"name": PERSON, "password": PASSWORD})
        yield opened
    finally:
        server.shutdown()
        serving.join()
        server.server_close()
        opened.close()


def test_the_week_has_visits_in_every_state_and_what_is_told_of_them(office: OfficeDouble) -> None:
    assert held_lines(office.office.store, "quarantined") == []
    found = {}
    for row in office.office.view.visit_rows(50):
        ledger = office.office.view.of_site(row.site)[1]
        visit = ledger.visits[row.visit]
        page = look_at(office.office.editions, ledger, visit) if visit.first else None
        if page:
            assert page.found.ignored == []
            assert page.found.differences == []
        failed = (
            {line.check for line in page.verdicts() if line.verdict == "fail"} if page else set()
        )
        found[ledger.sites[visit.site].name] = (visit.state, bool(visit.signatures), failed)
    assert {name: (state, signed) for name, (state, signed, _) in found.items()} == {
        "14 Alder Lane": ("closed", True),
        "Pear Tree House": ("closed", False),
        "8 Tannery Yard": ("in work", False),
        "3 Quarry Road": ("in work", False),
        "The Old Chapel": ("in work", True),
        "41 Weir Lane": ("in work", False),
        "Mill Cottage": ("in work", False),
        "27 Fern Rise": ("planned", False),
        "5 Limekiln Hill": ("planned", False),
        "Fuller's Barn": ("planned", False),
    }
    assert "test.tight" in found["3 Quarry Road"][2] or "test.leak" in found["3 Quarry Road"][2]
    assert "static.within_rating" in found["The Old Chapel"][2]
    assert {"pairing.zoning", "pairing.listing"} <= found["8 Tannery Yard"][2]
    assert found["14 Alder Lane"][2] == set()


def test_what_the_first_page_names_is_there(office: OfficeDouble) -> None:
    page = office.page("")
    assert "First minute" in page
    visits = office.page("visits")
    for name in re.findall(
        r"\b(?:\d+ \w+ (?:Road|Yard|Lane|Rise)|The Old Chapel|Mill Cottage)", page
    ):
        assert name in visits, name
    assert PASSWORD in office.app.test_client().get("/office/sign-in").get_data(as_text=True)


def test_the_start_says_where_and_how() -> None:
    said = first_minute("http://localhost:8137", "AB3CD-EFGH2")
    for part in ("http://localhost:8137/office/", PERSON, PASSWORD, "AB3CD-EFGH2", "Ctrl-C"):
        assert part in said
    assert "under Phones" in first_minute("http://localhost:8137", "")


def test_a_pack_is_renewed_unless_somebody_changed_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    data, pack = tmp_path / "data", tmp_path / "house"
    monkeypatch.setattr("bootstrap.ROOT", tmp_path)
    monkeypatch.setattr(run, "DATA", data)
    monkeypatch.setattr(run, "STAMP", data / "demo.json")
    pack.mkdir()
    kept = data / "packs" / "house"
    kept.mkdir(parents=True)
    for text in ("one", "two"):
        (pack / "pack.yaml").write_text(text)
        run.renew_pack(kept, pack)
        assert (kept / "pack.yaml").read_text() == text
    (kept / "pack.yaml").write_text("our own")
    run.renew_pack(kept, pack)
    assert (kept / "pack.yaml").read_text() == "our own"
    assert "was changed here" in capsys.readouterr().out


def test_every_visit_has_its_report(office: OfficeDouble) -> None:
    view: View = office.office.view
    (alder,) = [
        row
        for row in view.visit_rows(50)
        if view.of_site(row.site)[1].sites[row.site].name[:2] == "14"
    ]
    answer = office.desk.get(f"/office/visits/{alder.visit}/report.pdf")
    pages = PdfReader(io.BytesIO(answer.data)).pages
    text = " ".join(page.extract_text() for page in pages)
    assert "OU-S24-B" in text
    assert "reading, micron" in text
    assert "J. Thornbury (invented)" in text
    assert [image for page in pages for image in page.images]
