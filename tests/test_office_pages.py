"""The office's pages as a person at the desk meets them."""

from __future__ import annotations

import base64
import hashlib
import html
import io
import json
import re
import uuid
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from kneewall.records.devices import revoke
from tests.office_double import (
    DROP_AT_24_A,
    PASSWORD,
    PERSON,
    OfficeDouble,
    held_lines,
    problem,
    worked_visit,
)
from tests.phone_double import PhoneDouble


@pytest.fixture
def office(tmp_path: Path) -> Iterator[OfficeDouble]:
    opened = OfficeDouble.furnished(tmp_path / "data")
    yield opened
    opened.close()


def text_of(page: str) -> str:
    """What is read on a page: without tags, entities resolved, blanks as one."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


# --- signing in -------------------------------------------------------------------------------


def test_without_signing_in_there_is_nothing(tmp_path: Path) -> None:
    office = OfficeDouble(tmp_path / "data")
    try:
        for rule in office.app.url_map.iter_rules():
            path = re.sub(r"<[^>]+>", str(uuid.uuid4()), str(rule))
            if not path.startswith("/office/") or path in (
                "/office/sign-in",
                "/office/office.css",
                "/office/theme",
            ):
                continue
            for method in sorted((rule.methods or set()) & {"GET", "POST"}):
                answer = office.desk.open(path, method=method)
                assert answer.status_code == 302, path
                assert answer.headers["Location"].startswith("/office/sign-in")
    finally:
        office.close()


def test_signing_in_leads_back_to_where_one_wanted(office: OfficeDouble) -> None:
    desk = office.app.test_client()
    answer = desk.get("/office/phones")
    assert answer.headers["Location"] == "/office/sign-in?back=/office/phones"
    form = {"name": PERSON, "password": PASSWORD, "back": "/office/phones"}
    answer = desk.post("/office/sign-in", data=form)
    assert answer.headers["Location"] == "/office/phones"
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert desk.get("/office/phones").status_code == 200


@pytest.mark.parametrize(
    "back", ["https://elsewhere.example/", "//elsewhere.example", "/office/\\x", "javascript:1"]
)
def test_signing_in_never_leads_elsewhere(office: OfficeDouble, back: str) -> None:
    form = {"name": PERSON, "password": PASSWORD, "back": back}
    answer = office.app.test_client().post("/office/sign-in", data=form)
    assert answer.headers["Location"] == "/office/visits"


@pytest.mark.parametrize(
    ("name", "password"), [(PERSON, "wrong"), ("Nobody", PASSWORD), ("", ""), (PERSON, "x" * 9999)]
)
def test_a_wrong_name_or_password(office: OfficeDouble, name: str, password: str) -> None:
    desk = office.app.test_client()
    answer = desk.post("/office/sign-in", data={"name": name, "password": password})
    assert answer.status_code == 401
    assert "do not fit" in answer.get_data(as_text=True)
    assert desk.get("/office/visits").status_code == 302


def test_guessing_passwords_is_slowed(
    office: OfficeDouble, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("kneewall.web.office.sign_in._TRIES", 3)
    desk = office.app.test_client()
    form = {"name": "Nobody", "password": "x"}
    statuses = [desk.post("/office/sign-in", data=form).status_code for _ in range(4)]
    assert statuses == [401, 401, 401, 429]


def test_signing_out_ends_the_sitting(office: OfficeDouble) -> None:
    cookie = office.desk.get_cookie("kneewall")
    assert cookie is not None
    office.send_form("sign-out")
    other = office.app.test_client()
    other.set_cookie("kneewall", cookie.value)
    assert other.get("/office/visits").status_code == 302


def test_a_new_password_ends_old_sittings(office: OfficeDouble) -> None:
    office.office.accounts.add(PERSON, "another long password")
    assert office.desk.get("/office/visits").status_code == 302


def test_an_idle_sitting_ends(office: OfficeDouble, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("kneewall.web.accounts.IDLE", timedelta(seconds=-1))
    assert office.desk.get("/office/visits").status_code == 302


def test_passwords_are_kept_hashed(office: OfficeDouble) -> None:
    files = [file for file in office.data.rglob("*") if file.is_file()]
    assert all(PASSWORD.encode() not in file.read_bytes() for file in files)


# --- forms only from our own pages --------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [{}, {"Origin": "https://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}],
)
def test_a_form_without_its_token_changes_nothing(
    office: OfficeDouble, headers: dict[str, str]
) -> None:
    phone = office.enrol().phone.device
    answer = office.desk.post(f"/office/phones/{phone}/revoke", data={}, headers=headers)
    assert answer.status_code == 403
    assert "Revoked" not in office.page("phones")


@pytest.mark.parametrize(
    "headers", [{"Origin": "https://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}]
)
def test_a_form_with_its_token_from_elsewhere_changes_nothing(
    office: OfficeDouble, headers: dict[str, str]
) -> None:
    phone = office.enrol().phone.device
    token = re.search(r'name="form_token" value="([^"]+)"', office.page("phones"))
    assert token
    form = {"form_token": token[1]}
    answer = office.desk.post(f"/office/phones/{phone}/revoke", data=form, headers=headers)
    assert answer.status_code == 403
    assert "Revoked" not in office.page("phones")
    assert office.desk.post(f"/office/phones/{phone}/revoke", data=form).status_code == 302
    assert "Revoked" in office.page("phones")


def test_no_page_has_script_or_inline_style(office: OfficeDouble) -> None:
    wire = office.enrol()
    worked_visit(wire)
    wire.send()
    pages = ["visits", f"visits/{wire.phone.visit}", "plan", "phones", "rules", "held-back", "told"]
    pages += ["sites", f"phones/{wire.phone.device}/revoke"]
    for path in pages:
        page = office.page(path)
        assert "<script" not in page
        assert not re.search(r"\sstyle=|\son\w+=", page)


# --- a visit ----------------------------------------------------------------------------------


def test_every_reading_is_on_the_page(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    worked_visit(wire)
    phone = wire.phone
    slip = phone.set("run.strange", 7.25, "7.25", unit="qx")
    phone.write("corrected", {"record": slip["id"], "text": "8.5", "si": 8.5, "reason": "slip"})
    wire.send()
    page = text_of(office.page(f"visits/{phone.visit}"))
    for shown in ("75 ft", "24 A", "10 AWG", "8.5", "slip", "run.strange"):
        assert shown in page, shown
    assert "not in this edition" in page
    records = [json.loads(line) for line in phone.lines]
    readings = [one["body"] for one in records if one["kind"] == "value-set"]
    assert len(readings) == 4
    for reading in readings:
        assert page.count(reading["text"]) >= 1
    assert "4.46 V" in page
    assert "4.46 V is lost on the way." in page
    assert "2 × " in page or "2 * " in page
    for raw in phone.lines[2:3] + phone.lines[4:]:
        assert raw.decode() in html.unescape(office.page(f"visits/{phone.visit}"))


def test_a_failed_check_stands_in_the_list(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    worked_visit(wire, current=60)
    wire.send()
    assert "1 failed" in text_of(office.page("visits"))
    page = text_of(office.page(f"visits/{wire.phone.visit}"))
    assert "11.16 V is lost on the way. Fit a thicker wire." in page


def snapshot(circuit: str, verdict: str, drop: float | None, why: str | None = None) -> Any:
    return {
        "checks": [{"id": "run.drop_small", "member": circuit, "verdict": verdict}],
        "results": [{"quantity": "run.drop", "member": circuit, "si": drop, "why": why}],
    }


@pytest.mark.parametrize(
    ("verdict", "drop", "why", "differ"),
    [
        ("pass", DROP_AT_24_A, None, 0),
        ("pass", DROP_AT_24_A * (1 + 1e-10), None, 0),
        ("pass", DROP_AT_24_A * (1 + 1e-8), None, 1),
        ("fail", DROP_AT_24_A, None, 1),
        ("fail", 7.5, None, 2),
        ("unknown", None, "missing", 2),
    ],
)
def test_what_the_phone_found_otherwise_is_flagged(
    office: OfficeDouble, verdict: str, drop: float | None, why: str | None, differ: int
) -> None:
    wire = office.enrol()
    circuit = worked_visit(wire)
    wire.phone.write("closed", {"results": snapshot(circuit, verdict, drop, why)})
    wire.send()
    page = text_of(office.page(f"visits/{wire.phone.visit}"))
    listed = "phone and office differ" in text_of(office.page("visits"))
    if differ:
        assert f"{differ} found otherwise here." in page
        assert listed
    else:
        assert "The office finds what the phone found." in page
        assert not listed


def test_a_reading_corrected_after_closing_is_flagged(office: OfficeDouble) -> None:
    wire = office.enrol()
    circuit = worked_visit(wire)
    current = json.loads(wire.phone.lines[-1])["id"]
    wire.phone.write("closed", {"results": snapshot(circuit, "pass", DROP_AT_24_A)})
    wire.phone.write("corrected", {"record": current, "text": "60", "unit": "A", "si": 60})
    wire.send()
    page = text_of(office.page(f"visits/{wire.phone.visit}"))
    assert "2 found otherwise here." in page


def test_a_visit_keeps_its_edition_and_can_be_seen_under_another(office: OfficeDouble) -> None:
    wire = office.enrol()
    worked_visit(wire)
    wire.send()
    path = f"visits/{wire.phone.visit}"
    assert "1 failed" not in text_of(office.page("visits"))
    stricter = office.publish("3", "stricter")
    assert "edition 1" in text_of(office.page(path))
    assert "Fit a thicker wire" not in office.page(path)
    other = text_of(office.page(f"{path}?edition={stricter.hash}"))
    assert "Fit a thicker wire" in other
    assert "not the visit's own" in other


def test_an_edition_not_here_leaves_the_readings(office: OfficeDouble) -> None:
    wire = office.enrol()
    wire.phone.edition = "e" * 64
    worked_visit(wire)
    wire.send()
    page = text_of(office.page(f"visits/{wire.phone.visit}"))
    assert "Not evaluated." in page
    assert "75 ft" in page
    assert "not evaluated" in text_of(office.page("visits"))


def test_two_readings_are_both_shown_and_one_can_be_taken_out(office: OfficeDouble) -> None:
    rosa, abe = office.enrol("Rosa"), office.enrol("Abe")
    circuit = worked_visit(rosa)
    other = abe.phone
    other.site, other.system, other.visit = rosa.phone.site, rosa.phone.system, rosa.phone.visit
    other.clock = rosa.phone.clock + timedelta(minutes=5)
    late = other.set("run.current", 61.0, unit="A", member=circuit, calculator="run-drop")
    rosa.send()
    abe.send()
    path = f"visits/{rosa.phone.visit}"
    page = text_of(office.page(path))
    assert "also read as 24.0 A by Rosa" in page
    assert "two readings" in text_of(office.page("visits"))
    assert "Fit a thicker wire" in page
    form = {"record": late["id"], "reason": "another house"}
    assert office.send_form(f"{path}/void", **form).status_code == 302
    page = text_of(office.page(path))
    assert "also read as" not in page
    assert "A value-set record: another house" in page
    assert "Fit a thicker wire" not in page
    assert office.send_form(f"{path}/void", record=late["id"]).status_code == 409


def test_the_other_kinds_of_records_show(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    worked_visit(wire)
    phone, timer = wire.phone, str(uuid.uuid4())
    phone.write("step-done", {"checklist": "short", "step": "dead", "outcome": "done"})
    skipped = {"checklist": "short", "step": "drop", "outcome": "skipped", "reason": "no meter"}
    phone.write("step-done", skipped)
    phone.write("step-done", {"checklist": "gone", "step": "old-step", "outcome": "done"})
    phone.write("timer-started", {"timer": timer, "step": "hold", "target_s": 600})
    stopped = {"timer": timer, "elapsed_s": 4320, "observed": False, "asleep_s": 1260}
    phone.write("timer-stopped", stopped)
    phone.write("note", {"text": "Drip under the pan"})
    strokes = {"name": "A. Owner", "statement": "Shown the filter", "strokes": "M0 0L5 5"}
    phone.write("signed", strokes)
    wire.send()
    page = office.page(f"visits/{phone.visit}")
    words = text_of(page)
    for shown in (
        "A short list 1 of 2, 1 skipped",
        "Switch off and prove dead",
        "Skipped, because no meter",
        "old-step",
        "1 h 12 min",
        "The phone slept for 21 min 00 s of it.",
        "Drip under the pan",
        "A. Owner",
        "Shown the filter",
    ):
        assert shown in words, shown
    assert 'd="M0 0L5 5"' in page


def test_markup_is_shown_as_text(office: OfficeDouble) -> None:
    evil = "<script>alert(1)</script><img src=x onerror=alert(2)>"
    wire = office.enrol(evil)
    phone = wire.phone
    phone.add_site(evil)
    phone.add_system(evil)
    phone.open_visit(evil)
    phone.add_member("circuit", str(uuid.uuid4()), evil)
    phone.set("run.length", evil, evil, unit=evil)
    phone.write("note", {"text": evil})
    phone.write("signed", {"name": evil, "statement": evil})
    wire.send([*phone.lines, evil.encode()])
    told = {"id": str(uuid.uuid4()), "kind": "fault", "wall": evil, "text": evil}
    wire.report(events=[told], platform=evil)
    for path in ("visits", f"visits/{phone.visit}", "phones", "held-back", "told", "sites", "plan"):
        page = office.page(path)
        assert "<script" not in page
        assert "<img src=x" not in page
        assert evil in html.unescape(page)


def test_a_photo_is_shown_once_it_is_here(office: OfficeDouble) -> None:
    content = b"\x89PNG\r\n\x1a\n" + bytes(500)
    digest = hashlib.sha256(content).hexdigest()
    wire = office.enrol()
    worked_visit(wire)
    body = {"photo": digest, "mime": "image/png", "size": len(content), "caption": "Filter box"}
    wire.phone.write("photo", body)
    wire.send()
    path = f"visits/{wire.phone.visit}"
    assert "Not here yet" in office.page(path)
    assert office.desk.get(f"/office/photos/{digest}").status_code == 404
    wire.put(f"photos/{digest}", content)
    assert f'src="/office/photos/{digest}"' in office.page(path)
    answer = office.desk.get(f"/office/photos/{digest}")
    assert answer.data == content
    assert answer.mimetype == "image/png"
    assert "sandbox" in answer.headers["Content-Security-Policy"]
    assert office.app.test_client().get(f"/office/photos/{digest}").status_code == 302


def test_the_records_of_a_visit_are_a_file(office: OfficeDouble) -> None:
    wire = office.enrol()
    worked_visit(wire)
    wire.send()
    answer = office.desk.get(f"/office/visits/{wire.phone.visit}/records.jsonl")
    assert answer.data.splitlines() == wire.phone.lines[2:3] + wire.phone.lines[4:]
    assert "attachment" in answer.headers["Content-Disposition"]


@pytest.mark.parametrize("visit", [str(uuid.uuid4()), "x", "../phones", "0" * 36])
def test_a_visit_that_is_none(office: OfficeDouble, visit: str) -> None:
    assert office.desk.get(f"/office/visits/{visit}").status_code == 404


def test_searching_and_paging(office: OfficeDouble, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("kneewall.web.office.visits.PER_PAGE", 2)
    wire = office.enrol()
    for name in ("Alder Lane", "Quarry Road", "Mill Cottage"):
        wire.phone = PhoneDouble(
            device=wire.phone.device, epoch=wire.phone.epoch, lines=wire.phone.lines
        )
        wire.phone.add_site(name)
        wire.phone.add_system()
        wire.phone.open_visit()
    wire.send()
    first = text_of(office.page("visits"))
    assert "Mill Cottage" in first
    assert "Alder Lane" not in first
    assert "Alder Lane" in text_of(office.page("visits?from=2"))
    found = text_of(office.page("visits?search=quarry"))
    assert "Quarry Road" in found
    assert "Mill Cottage" not in found
    assert "No visit at a site like" in text_of(office.page("visits?search=nowhere"))
    for odd in ("from=-1", "from=x", "from=99999999999999", "search=%00%ff", "search=%25"):
        assert office.desk.get(f"/office/visits?{odd}").status_code == 200


# --- planning ---------------------------------------------------------------------------------

PLAN = {
    "site_name": "3 Quarry Road",
    "system_label": "Loft",
    "members_circuit": "Outdoor unit\n\n Heater \n",
    "title": "Spring check",
    "kind": "maintenance",
    "date": "2026-12-01",
    "checklists": ["short", "unknown"],
}


def test_a_plan_reaches_its_phone_and_comes_back_done(office: OfficeDouble) -> None:
    rosa, abe = office.enrol("Rosa"), office.enrol("Abe")
    answer = office.send_form("plan", to=rosa.phone.device, **PLAN)
    assert answer.status_code == 302
    path = answer.headers["Location"].removeprefix("/office/")
    got = [json.loads(line) for line in rosa.fetch_all()]
    kinds = [one["kind"] for one in got]
    assert sorted(kinds) == [
        "assigned",
        "member-added",
        "member-added",
        "site-added",
        "system-added",
        "visit-opened",
    ]
    opened = next(one for one in got if one["kind"] == "visit-opened")
    assert opened["body"]["checklists"] == ["short"]
    assert "visit-opened" not in [json.loads(line)["kind"] for line in abe.fetch_all()]
    page = text_of(office.page(path))
    assert "planned" in page
    assert "Outdoor unit, Heater" in page
    phone = rosa.phone
    phone.site, phone.system, phone.visit = opened["site"], opened["system"], opened["visit"]
    member = next(one for one in got if one["kind"] == "member-added")["body"]["member"]
    phone.set("run.length", 22.86, "75", unit="ft", member=member)
    rosa.send()
    page = text_of(office.page(path))
    assert "in work" in page
    assert "75 ft" in page
    assert office.send_form(f"{path}/comment", text="Take the ladder").status_code == 302
    office.send_form(f"{path}/assign", to=abe.phone.device)
    bodies = [json.loads(line)["body"] for line in abe.fetch_all()]
    assert {"text": "Take the ladder", "record": None} in bodies or {
        "text": "Take the ladder"
    } in bodies
    assert phone.lines[0].decode() in abe.fetch_all()


def test_a_second_visit_to_a_system_adds_no_second_system(office: OfficeDouble) -> None:
    office.send_form("plan", **PLAN)
    (system,) = office.office.view.places().systems.values()
    again = PLAN | {"system": system.id, "site_name": "", "system_label": ""}
    assert office.send_form("plan", **again).status_code == 302
    (system,) = office.office.view.places().systems.values()
    assert [member.label for member in system.members] == ["Outdoor unit", "Heater"]


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("title", "", "Give the visit a title."),
        ("title", "x" * 201, "Give the visit a title."),
        ("site_name", " ", "Choose a site, or name a new one."),
        ("system_label", "", "Choose a system, or name a new one."),
        ("kind", "holiday", "Choose what kind of visit it is."),
        ("date", "tomorrow", "Write the day as 2026-11-25."),
        ("date", "2026-02-30", "Write the day as 2026-11-25."),
        ("to", str(uuid.uuid4()), "That phone is not enrolled any more. Choose another."),
        ("system", str(uuid.uuid4()), "That system is not in the list any more. Choose again."),
        ("site", str(uuid.uuid4()), "That site is not in the list any more. Choose again."),
        ("members_circuit", "x\n" * 13, "Name at most 12, each with at most 100 characters."),
    ],
)
def test_a_plan_that_cannot_be_says_so_and_writes_nothing(
    office: OfficeDouble, field: str, value: str, says: str
) -> None:
    answer = office.send_form("plan", **(PLAN | {field: value}))
    assert answer.status_code == 422
    page = html.unescape(answer.get_data(as_text=True))
    assert says in page
    assert "Spring check" in page or field == "title"
    assert held_lines(office.office.store) == []


def test_a_revoked_phone_cannot_be_planned_for(office: OfficeDouble) -> None:
    phone = office.enrol().phone.device
    revoke(office.office.store, phone)
    assert office.send_form("plan", to=phone, **PLAN).status_code == 422


# --- sites ------------------------------------------------------------------------------------


def test_merging_sites_and_systems(office: OfficeDouble) -> None:
    wires = [office.enrol("Rosa"), office.enrol("Abe")]
    for wire in wires:
        wire.phone.begin()
        wire.send()
    one, other = (wire.phone for wire in wires)
    sites = {"sort": "site", "keep": one.site, "other": other.site}
    systems = {"sort": "system", "keep": one.system, "other": other.system}
    assert office.send_form("sites/merge", **systems).status_code == 409
    assert office.send_form("sites/merge", **sites).status_code == 302
    assert office.send_form("sites/merge", **systems).status_code == 302
    places = office.office.view.places()
    assert (list(places.sites), list(places.systems)) == ([one.site], [one.system])
    assert office.send_form("sites/merge", **sites).status_code == 409
    visits = office.office.view.of_site(other.site)[1].visits
    assert {visit.system for visit in visits.values()} == {one.system}
    assert text_of(office.page("visits")).count("14 Alder Lane") == 2


# --- phones -----------------------------------------------------------------------------------


def test_a_code_is_shown_as_text_and_picture_and_serves(office: OfficeDouble) -> None:
    page = office.send_form("phones/code").get_data(as_text=True)
    found = re.search(r'<p class="big">([^<]+)</p>', page)
    assert found
    assert "data:image/svg+xml" in page
    answer = office.app.test_client().post(
        "/api/1/enrol",
        json={"code": found[1], "name": "Abe", "app": "0.1.0"},
        headers={"X-Kneewall": "1"},
    )
    assert answer.status_code == 200
    assert "Abe" in office.page("phones")


def test_phones_say_what_is_not_here(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    live = office.office.editions.live()
    assert live
    wire.phone.begin()
    digest = "ab" * 32
    wire.phone.write("photo", {"photo": digest, "mime": "image/png", "size": 9})
    wire.send([wire.phone.lines[0], wire.phone.lines[3]])
    head = {"epoch": wire.phone.epoch, "seq": 6, "count": 6, "hash": None}
    wire.report(heads=[head], edition=live.hash, unsent=4)
    page = text_of(office.page("phones"))
    assert "4 held of 6 the phone has, missing 2–3" in page
    assert "4 not here yet" in page
    assert "1 photos not here yet" in page
    assert "rules 1" in page
    assert "4 unsent" in page


def test_revoking(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    path = f"phones/{wire.phone.device}/revoke"
    assert "Revoke Rosa" in text_of(office.page(path))
    assert office.send_form(path).status_code == 302
    assert wire.get("records").status_code == 403
    assert office.send_form(path).status_code == 409
    assert office.send_form(f"phones/{uuid.uuid4()}/revoke").status_code == 409


def test_naming_the_office(office: OfficeDouble) -> None:
    office.send_form("name", name="Alder Hollow Air")
    assert "Alder Hollow Air" in office.page("visits")
    assert office.send_form("name", name="").status_code == 409


# --- what needs looking at ----------------------------------------------------------------------


def test_told_and_noticed(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    wire.phone.begin()
    wire.phone.set("run.length", 1.0)
    wire.send()
    wire.phone.lines.pop()
    wire.phone.set("run.length", 2.0)
    wire.send()
    told = {"id": str(uuid.uuid4()), "kind": "self-test-failed", "wall": "x", "text": "3 of 40"}
    wire.report(events=[told])
    page = text_of(office.page("told"))
    assert "Two records with one number" in page
    assert "An edition failed its self-test" in page
    assert re.search(r"Told by phones 2\b", text_of(office.page("visits")))
    office.send_form("told/seen")
    assert not re.search(r"Told by phones \d", text_of(office.page("visits")))
    assert "3 of 40" in office.page("told")


def test_held_back_lines_can_be_taken(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    wire.phone.begin()
    revoke(office.office.store, wire.phone.device)
    wire.send([*wire.phone.lines, b"garbage"])
    page = office.page("held-back")
    positions = re.findall(r'name="pos" value="(\d+)"', page)
    assert len(positions) == 4
    answer = office.send_form("held-back/accept", pos=positions)
    assert "3 taken, 1 stay here" in text_of(answer.get_data(as_text=True))
    assert held_lines(office.office.store) == wire.phone.lines
    assert "garbage" in office.page("held-back")
    assert office.send_form("held-back/accept", pos=["x", "-1", "999"]).status_code == 302


def import_file(office: OfficeDouble, content: bytes) -> str:
    answer = office.send_form("held-back/import", file=(io.BytesIO(content), "records.jsonl"))
    return text_of(answer.get_data(as_text=True))


def test_a_phones_file_is_read_in_and_twice_changes_nothing(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    wire.phone.begin()
    wire.send(wire.phone.lines[:1])
    content = wire.phone.body + b"not a record\r\n"
    assert "4 lines read: 2 new, 1 held before, 1 held back." in import_file(office, content)
    assert "4 lines read: 0 new, 3 held before, 1 held back." in import_file(office, content)
    assert held_lines(office.office.store) == wire.phone.lines
    stranger = PhoneDouble().begin()
    assert "3 lines read: 0 new, 0 held before, 3 held back." in import_file(office, stranger.body)
    assert "never enrolled here" in office.page("held-back")


def test_a_phones_file_brings_its_photos_too(office: OfficeDouble) -> None:
    wire = office.enrol("Rosa")
    wire.phone.begin()
    picture = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 100
    digest = hashlib.sha256(picture).hexdigest()

    def photo_line(named: str, content: bytes) -> bytes:
        line = {"photo": named, "mime": "image/png", "size": len(content)}
        text = base64.b64encode(content).decode("ascii")
        # As the phone writes it: no space between its parts.
        return json.dumps({**line, "base64": text}, separators=(",", ":")).encode() + b"\n"

    content = wire.phone.body + photo_line(digest, picture)
    assert "1 photos read: 1 new, 0 held before, 0 not taken." in import_file(office, content)
    assert office.office.photos.read(digest) == picture
    assert "1 photos read: 0 new, 1 held before, 0 not taken." in import_file(office, content)
    other = photo_line("0" * 64, picture) + photo_line(digest, picture)[:-40] + b"\n"
    said = import_file(office, other)
    assert "2 photos read: 0 new, 0 held before, 2 not taken." in said
    assert "do not have the hash" in said
    assert "cut off or damaged" in said
    assert "0 lines read" in said


def test_an_empty_or_missing_file_says_so(office: OfficeDouble) -> None:
    assert "Choose the file" in import_file(office, b"")
    answer = office.send_form("held-back/import")
    assert answer.status_code == 422


# --- the rest ---------------------------------------------------------------------------------


def test_rules_and_their_files(office: OfficeDouble) -> None:
    second = office.publish("3", "stricter")
    page = text_of(office.page("rules"))
    assert "Edition 2, live stricter" in page
    answer = office.desk.get(f"/office/rules/{second.hash}.json")
    assert hashlib.sha256(answer.data).hexdigest() == second.hash
    assert office.desk.get(f"/office/rules/{'0' * 64}.json").status_code == 404


@pytest.mark.parametrize("theme", ["sun", "attic", "auto"])
def test_themes(office: OfficeDouble, theme: str) -> None:
    office.send_form("theme", theme=theme)
    assert f'class="theme-{theme}"' in office.page("visits")
    office.send_form("theme", theme='"><script>')
    assert 'class="theme-auto"' in office.page("visits")


def test_a_fault_of_ours_is_a_plain_page(
    office: OfficeDouble, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: object, **_more: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr(office.office.editions, "all", broken)
    answer = office.desk.get("/office/rules")
    assert answer.status_code == 500
    page = answer.get_data(as_text=True)
    assert "Something went wrong at the office." in page
    assert "secret" not in page
    assert "Traceback" not in page


def test_an_api_address_answers_as_an_api_also_where_there_is_none(office: OfficeDouble) -> None:
    answer = office.desk.get("/api/1/nothing")
    assert answer.status_code == 404
    problem(answer)


@pytest.mark.parametrize(
    ("quantity", "si"),
    [
        ("run.length", "long"),
        ("run.length", True),
        ("run.length", [1.0]),
        ("run.size", 12),
        ("run.size", "13 AWG"),
        ("run.current", 1e300),
        ("run.current", -5),
    ],
)
def test_a_value_that_cannot_be_leaves_the_page_standing(
    office: OfficeDouble, quantity: str, si: Any
) -> None:
    wire = office.enrol()
    member = worked_visit(wire)
    wire.phone.set(quantity, si, "as typed", member=member)
    wire.send()
    page = text_of(office.page(f"visits/{wire.phone.visit}"))
    assert "as typed" in page
    assert "Not evaluated" not in page
    assert "4.46 V" not in page
    office.page("visits")


def test_an_engine_that_fails_leaves_the_readings(
    office: OfficeDouble, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr("kneewall.engine.Engine.evaluate", broken)
    wire = office.enrol()
    worked_visit(wire)
    wire.send()
    page = text_of(office.page(f"visits/{wire.phone.visit}"))
    assert "Not evaluated." in page
    assert "75" in page
    assert "secret" not in page
    assert "not evaluated" in text_of(office.page("visits"))


def test_a_series_is_evaluated(office: OfficeDouble) -> None:
    wire = office.enrol()
    wire.phone.begin()
    readings = [[0.0, 46.7], [240.0, 53.3], [600.0, 60.0]]
    wire.phone.set("hold.readings", readings, "0 min: 350 micron, …", calculator="hold")
    wire.send()
    page = text_of(office.page(f"visits/{wire.phone.visit}"))
    assert "Last reading 450" in page
