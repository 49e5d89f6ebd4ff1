"""The phones' API, request by request."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import brotli
import pytest

from kneewall.records.devices import make_code, revoke
from kneewall.web import api_models as m
from kneewall.web import phone_app
from tests.office_double import OfficeDouble, Wire, bundle, problem

PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 2500


@pytest.fixture
def office(tmp_path: Path) -> Iterator[OfficeDouble]:
    opened = OfficeDouble(tmp_path / "data")
    yield opened
    opened.close()


@pytest.fixture
def wire(office: OfficeDouble) -> Wire:
    return office.enrol()


def statuses(reply: Any) -> list[str]:
    return [one["status"] for one in reply["records"]]


# --- who may ask ------------------------------------------------------------------------------


def test_health_needs_nothing(office: OfficeDouble) -> None:
    assert office.desk.get("/health").get_json() == {"ok": True}


@pytest.mark.parametrize("token", ["", "Bearer", "Bearer wrong", "Basic eDp5", "Bearer \xff"])
def test_without_a_token_nothing(office: OfficeDouble, token: str) -> None:
    answer = office.desk.get("/api/1/records", headers={"Authorization": token})
    assert answer.status_code == 401
    problem(answer)


@pytest.mark.parametrize(
    "headers",
    [
        {"X-Kneewall": ""},
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_change_from_elsewhere_is_refused(wire: Wire, headers: dict[str, str]) -> None:
    wire.phone.begin()
    answer = wire.client.post(
        "/api/1/records",
        data=wire.phone.body,
        content_type="application/x-ndjson",
        headers=wire.headers(**headers),
    )
    assert answer.status_code == 403
    problem(answer)
    assert statuses(wire.send().get_json()) == ["stored"] * 3


def test_our_own_origin_is_welcome(wire: Wire) -> None:
    wire.phone.begin()
    answer = wire.client.post(
        "/api/1/records",
        data=wire.phone.body,
        content_type="application/x-ndjson",
        headers=wire.headers(Origin="http://localhost", **{"Sec-Fetch-Site": "same-origin"}),
    )
    assert answer.status_code == 200


@pytest.mark.parametrize("sort", ["text/plain", "application/json", ""])
def test_a_wrong_content_type_is_refused(wire: Wire, sort: str) -> None:
    answer = wire.client.post(
        "/api/1/records", data=b"{}", content_type=sort, headers=wire.headers()
    )
    assert answer.status_code == 415
    problem(answer)


def test_too_many_requests_are_told_to_wait(wire: Wire, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("kneewall.web.api._PER_MINUTE", 2)
    wire.phone.begin()
    answers = [wire.send() for _ in range(3)]
    assert [one.status_code for one in answers] == [200, 200, 429]
    assert 1 <= int(answers[-1].headers["Retry-After"]) <= 60
    problem(answers[-1])


# --- enrolling --------------------------------------------------------------------------------


def enrol(office: OfficeDouble, code: str, name: str = "Rosa") -> Any:
    return office.app.test_client().post(
        "/api/1/enrol",
        json={"code": code, "name": name, "app": "0.1.0"},
        headers={"X-Kneewall": "1"},
    )


def test_enrolling(office: OfficeDouble) -> None:
    code = make_code(office.office.store, office.office.pepper, "tester")
    reply = enrol(office, f"{code[:5]} {code[5:]}".lower())
    assert reply.status_code == 200
    given = m.EnrolReply.model_validate(reply.get_json())
    assert given.store_generation == office.office.generation
    assert len(given.token) >= 43
    again = enrol(office, code)
    assert again.status_code == 403
    problem(again)


def test_the_sixth_try_of_a_code_fails_even_when_right(office: OfficeDouble) -> None:
    code = make_code(office.office.store, office.office.pepper, "tester")
    wrong = code[:3] + "2222222"
    assert {enrol(office, wrong).status_code for _ in range(5)} == {403}
    assert enrol(office, code).status_code == 403


def test_guessing_codes_from_one_address_is_slowed(office: OfficeDouble) -> None:
    answers = [enrol(office, f"ZZ{i:08}") for i in range(21)]
    assert [one.status_code for one in answers] == [403] * 20 + [429]
    assert "Retry-After" in answers[-1].headers


@pytest.mark.parametrize("body", [b"", b"{}", b"[]", b"nonsense", b'{"code": 5}', b"\xff"])
def test_an_enrolment_that_is_none_says_where(office: OfficeDouble, body: bytes) -> None:
    answer = office.desk.post(
        "/api/1/enrol",
        data=body,
        content_type="application/json",
        headers={"X-Kneewall": "1"},
    )
    assert answer.status_code == 422
    problem(answer)


def test_a_name_of_blanks_is_refused(office: OfficeDouble) -> None:
    code = make_code(office.office.store, office.office.pepper, "tester")
    assert enrol(office, code, "   ").status_code == 422
    assert enrol(office, code, "Rosa").status_code == 200


# --- records ----------------------------------------------------------------------------------


def test_a_batch_is_answered_line_by_line(wire: Wire) -> None:
    wire.phone.begin()
    lines = [*wire.phone.lines[:2], b"garbage", wire.phone.lines[2], wire.phone.lines[0]]
    reply = m.BatchReply.model_validate(wire.send(lines).get_json())
    assert [one.status for one in reply.records] == [
        "stored",
        "stored",
        "quarantined",
        "stored",
        "duplicate",
    ]
    assert [one.line for one in reply.records] == [0, 1, 2, 3, 4]
    assert [one.hash for one in reply.records] == [hashlib.sha256(x).hexdigest() for x in lines]
    assert [(h.epoch, h.contiguous_through) for h in reply.held] == [(wire.phone.epoch, 3)]


def test_blank_lines_and_carriage_returns_do_no_harm(wire: Wire) -> None:
    wire.phone.begin()
    answer = wire.send([b"", wire.phone.lines[0] + b"\r", b"\r", *wire.phone.lines[1:], b""])
    assert statuses(answer.get_json()) == ["stored"] * 3


def test_an_empty_batch_is_answered(wire: Wire) -> None:
    assert wire.send([]).get_json()["records"] == []


def test_too_many_lines_are_refused_whole(wire: Wire) -> None:
    answer = wire.send([b"{}"] * (m.BATCH_LINES + 1))
    assert answer.status_code == 413
    problem(answer)
    wire.phone.begin()
    assert statuses(wire.send().get_json()) == ["stored"] * 3


def test_too_many_bytes_are_refused_whole(wire: Wire) -> None:
    answer = wire.send([b"x" * (m.BATCH_BYTES + 1)])
    assert answer.status_code == 413
    problem(answer)


def test_pages_follow_the_order_of_commit(office: OfficeDouble) -> None:
    rosa, abe = office.enrol("Rosa"), office.enrol("Abe")
    rosa.phone.begin()
    abe.phone.site, abe.phone.system = rosa.phone.site, rosa.phone.system
    abe.phone.visit = rosa.phone.visit
    abe.phone.set("run.length", 1.0)
    abe.send()
    rosa.send(rosa.phone.lines[::-1])
    got = [json.loads(line)["seq"] for line in abe.fetch_all(limit=2)]
    assert got == [3, 2, 1]
    page = abe.get("records?limit=2").get_json()
    assert (len(page["lines"]), page["more"]) == (2, True)
    rest = abe.get(f"records?after={page['next']}").get_json()
    assert (len(rest["lines"]), rest["more"]) == (1, False)
    assert abe.get(f"records?after={rest['next']}").get_json()["lines"] == []


@pytest.mark.parametrize("query", ["after=x", "limit=0", "limit=-1", "limit=501", "limit=a"])
def test_a_page_that_cannot_be_says_so(wire: Wire, query: str) -> None:
    answer = wire.get(f"records?{query}")
    assert answer.status_code == 422
    problem(answer)


def test_a_revoked_phone_delivers_and_gets_nothing(office: OfficeDouble, wire: Wire) -> None:
    wire.phone.begin()
    revoke(office.office.store, wire.phone.device)
    assert statuses(wire.send().get_json()) == ["quarantined"] * 3
    assert wire.report().status_code == 200
    for path in ("records", f"photos/{'0' * 64}"):
        answer = wire.get(path)
        assert answer.status_code == 403
        problem(answer)


# --- reports ----------------------------------------------------------------------------------


def test_a_report_is_answered_with_what_is_held(wire: Wire) -> None:
    wire.phone.begin()
    wire.send([wire.phone.lines[0], wire.phone.lines[2]])
    head = {"epoch": wire.phone.epoch, "seq": 3, "count": 3, "hash": None}
    reply = m.ReportReply.model_validate(wire.report(heads=[head]).get_json())
    (held,) = reply.held
    assert (held.contiguous_through, held.highest, held.holes) == (1, 3, [(2, 2)])


def test_an_event_told_twice_is_one(office: OfficeDouble, wire: Wire) -> None:
    told = {"id": str(uuid.uuid4()), "kind": "witness-alarm", "wall": "x", "text": "402 of 800"}
    for _ in range(2):
        assert wire.report(events=[told, told]).status_code == 200
    office.sign_in()
    assert office.page("told").count("402 of 800") == 1


def test_a_report_of_an_unknown_shape_says_where(wire: Wire) -> None:
    answer = wire.report(unsent=-1)
    assert answer.status_code == 422
    assert "unsent" in problem(answer)["error"]


# --- editions ---------------------------------------------------------------------------------


def test_whoever_opens_the_app_gets_the_rules(office: OfficeDouble) -> None:
    published = office.publish()
    assert office.desk.get("/api/1/edition").get_json()["hash"] == published.hash
    assert office.desk.get(f"/api/1/editions/{published.hash}").status_code == 200


def test_editions(office: OfficeDouble, wire: Wire) -> None:
    assert wire.get("edition").status_code == 404
    first = office.publish("7.2")
    second = office.publish("3.0")
    pointer = m.EditionPointer.model_validate(wire.get("edition").get_json())
    assert (pointer.number, pointer.hash) == (2, second.hash)
    for published in (first, second):
        answer = wire.get(f"editions/{published.hash}")
        assert hashlib.sha256(answer.data).hexdigest() == published.hash
        assert len(answer.data) == published.size
        assert "immutable" in answer.headers["Cache-Control"]
    back = office.publish("7.2", "back again")
    assert (back.number, back.hash) == (3, first.hash)
    assert wire.get("edition").get_json()["number"] == 3


def test_an_edition_is_sent_packed_to_whoever_can_unpack_it(
    office: OfficeDouble, wire: Wire
) -> None:
    published = office.publish()
    packed_file = office.office.folder.packed_edition_file(published.hash)
    for before in ("nothing", "what was packed", "something else"):
        if before == "something else":
            packed_file.write_bytes(brotli.compress(b"{}"))
        answer = wire.get(f"editions/{published.hash}", accept="gzip, br")
        assert answer.headers["Content-Encoding"] == "br"
        assert "Accept-Encoding" in answer.headers["Vary"]
        assert hashlib.sha256(brotli.decompress(answer.data)).hexdigest() == published.hash
        assert packed_file.read_bytes() == answer.data, before
    for accepted in ("gzip", "br;q=0", ""):
        answer = wire.get(f"editions/{published.hash}", accept=accepted)
        assert "Content-Encoding" not in answer.headers
        assert len(answer.data) == published.size


@pytest.mark.parametrize("digest", ["0" * 64, "..%2f..%2fsecrets%2fpepper", "x", "A" * 64])
def test_an_edition_that_is_not_here(wire: Wire, digest: str) -> None:
    answer = wire.get(f"editions/{digest}")
    assert answer.status_code == 404
    problem(answer)


def test_an_edition_file_that_was_changed_is_not_given(office: OfficeDouble, wire: Wire) -> None:
    published = office.publish()
    file = office.office.folder.edition_file(published.hash)
    file.write_bytes(bundle().raw + b" ")
    answer = wire.get(f"editions/{published.hash}")
    assert answer.status_code == 404
    problem(answer)


# --- photos -----------------------------------------------------------------------------------


def photo_record(wire: Wire, content: bytes) -> str:
    digest = hashlib.sha256(content).hexdigest()
    body = {"photo": digest, "mime": "image/png", "size": len(content)}
    wire.phone.begin().write("photo", body)
    return digest


def test_a_photo_in_parts_resumes(wire: Wire) -> None:
    digest = photo_record(wire, PNG)
    assert wire.send().get_json()["missing_photos"] == [digest]
    parts = [PNG[i : i + m.PART_SIZE] for i in range(0, len(PNG), m.PART_SIZE)]
    assert len(parts) == 3
    commit = {"size": len(PNG), "mime": "image/png"}
    for number in (0, 2, 2):
        assert wire.put(f"photos/{digest}/parts/{number}", parts[number]).status_code == 204
    assert wire.get(f"photos/{digest}/parts").get_json() == {"complete": False, "parts": [0, 2]}
    answer = wire.post(f"photos/{digest}", commit)
    assert answer.status_code == 409
    assert "parts 1." in problem(answer)["mend"]
    assert wire.client.head(f"/api/1/photos/{digest}", headers=wire.headers()).status_code == 404
    wire.put(f"photos/{digest}/parts/1", parts[1])
    assert wire.post(f"photos/{digest}", commit).status_code == 204
    assert wire.post(f"photos/{digest}", commit).status_code == 204
    assert wire.client.head(f"/api/1/photos/{digest}", headers=wire.headers()).status_code == 200
    assert wire.get(f"photos/{digest}").data == PNG
    assert wire.send([]).get_json()["missing_photos"] == []


def test_parts_that_are_not_the_photo_are_refused(office: OfficeDouble, wire: Wire) -> None:
    digest = hashlib.sha256(PNG).hexdigest()
    wire.put(f"photos/{digest}/parts/0", b"\x89PNG\r\n\x1a\n other")
    answer = wire.post(f"photos/{digest}", {"size": 14, "mime": "image/png"})
    assert answer.status_code == 422
    problem(answer)
    assert office.office.photos.held(digest) is None
    assert wire.get(f"photos/{digest}/parts").get_json()["parts"] == []


@pytest.mark.parametrize(
    "content", [b"<svg xmlns='x'><script>1</script></svg>", b"GIF89a", b"PK\x03\x04", b"\xff\xd8"]
)
def test_what_is_no_picture_is_refused(office: OfficeDouble, wire: Wire, content: bytes) -> None:
    digest = hashlib.sha256(content).hexdigest()
    answer = wire.put(f"photos/{digest}", content)
    assert answer.status_code == 422
    problem(answer)
    assert office.office.photos.held(digest) is None


def test_a_picture_of_another_kind_than_announced_is_refused(wire: Wire) -> None:
    content = PNG[:1000]
    digest = hashlib.sha256(content).hexdigest()
    wire.put(f"photos/{digest}/parts/0", content)
    answer = wire.post(f"photos/{digest}", {"size": 1000, "mime": "image/jpeg"})
    assert answer.status_code == 422


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        (f"photos/{'0' * 64}/parts/48", b"x", 422),
        (f"photos/{'0' * 64}/parts/0", b"", 422),
        (f"photos/{'0' * 64}/parts/0", b"x" * (m.PART_SIZE + 1), 413),
        (f"photos/{'0' * 64}", b"x" * (m.WHOLE_PHOTO_BYTES + 1), 413),
        (f"photos/{'0' * 63}", b"x", 404),
    ],
)
def test_parts_out_of_bounds(wire: Wire, path: str, body: bytes, status: int) -> None:
    answer = wire.put(path, body)
    assert answer.status_code == status
    problem(answer)


# --- every answer -----------------------------------------------------------------------------


def test_a_fault_of_ours_is_a_problem_without_a_trace(
    office: OfficeDouble, wire: Wire, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr("kneewall.records.intake.take_in", broken)
    office.app.config["PROPAGATE_EXCEPTIONS"] = False
    answer = wire.send([b"{}"])
    assert answer.status_code == 500
    assert "secret" not in json.dumps(problem(answer))


def test_no_route_ever_clears_a_phone(office: OfficeDouble) -> None:
    office.sign_in()
    paths = [str(rule) for rule in office.app.url_map.iter_rules() if "<" not in str(rule)]
    assert len(paths) > 15
    for path in [*paths, "/visits/deep/link", "/nothing.png", "/api/2/x", "/office/nothing"]:
        for ask in (office.desk.get, office.desk.post):
            answer = ask(path, buffered=True)
            headers = answer.headers
            assert "Clear-Site-Data" not in headers
            assert headers["X-Content-Type-Options"] == "nosniff"
            policy = headers["Content-Security-Policy"]
            assert policy.startswith("default-src 'none'")
            assert "unsafe" not in policy
            if path != "/api/2/x" and not path.startswith("/api/"):
                assert "require-trusted-types-for 'script'" in policy
            assert answer.status_code != 500


def test_the_app_is_served_at_every_address_of_its_own(
    office: OfficeDouble, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    built = tmp_path / "pwa"
    (built / "assets").mkdir(parents=True)
    (built / "index.html").write_text("<!doctype html>the app")
    (built / "sw.js").write_text("// worker")
    (built / "manifest.webmanifest").write_text("{}")
    (built / "assets" / "main-AB12.js").write_text("// app")
    monkeypatch.setattr(phone_app, "BUILT", built)
    phone_app.keep_assets(office.data, built)
    client = office.app.test_client()
    for path in ("/", "/index.html", "/visits", "/visits/1/steps", "/this-phone?x=1"):
        answer = client.get(path, buffered=True)
        assert b"the app" in answer.data
        assert answer.headers["Cache-Control"] == "no-cache"
        assert "script-src 'self'" in answer.headers["Content-Security-Policy"]
    worker = client.get("/sw.js", buffered=True)
    assert worker.headers["Cache-Control"] == "no-cache"
    assert worker.mimetype == "text/javascript"
    assert (
        client.get("/manifest.webmanifest", buffered=True).mimetype == "application/manifest+json"
    )
    assert "immutable" in client.get("/assets/main-AB12.js", buffered=True).headers["Cache-Control"]
    for path in ("/assets/other.js", "/nothing.png", "/assets/../secrets/pepper", "/api/1/nope"):
        assert client.get(path, buffered=True).status_code == 404
    # The next release is there; a page of the old one still finds its parts.
    (built / "assets" / "main-AB12.js").unlink()
    assert client.get("/assets/main-AB12.js", buffered=True).data == b"// app"


def test_without_a_built_app_the_office_says_so(
    office: OfficeDouble, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(phone_app, "BUILT", tmp_path)
    answer = office.app.test_client().get("/")
    assert answer.status_code == 503
    assert "not part of this installation" in answer.get_data(as_text=True)
