"""Lines coming in at the office: nothing lost, nothing twice, nothing overwritten."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kneewall.records import devices, feed, heads, intake, office, schema
from kneewall.records.chain import new_uuid
from kneewall.records.envelope import RECORD, Record
from kneewall.records.errors import FolderError
from kneewall.records.fold import fold
from kneewall.records.schema import line
from kneewall.records.store import Store
from tests.office_double import alarms, empty_store, held_lines
from tests.phone_double import PhoneDouble

PEPPER = b"pepper for tests"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = empty_store(tmp_path)
    yield opened
    opened.close()


def enrolled(store: Store, name: str = "Rosa") -> PhoneDouble:
    code = devices.make_code(store, PEPPER, "tester")
    device, _token = devices.enrol(store, PEPPER, code, name)
    return PhoneDouble(device=device)


def all_records(store: Store) -> list[Record]:
    return [RECORD.validate_json(raw) for raw in held_lines(store)]


def test_the_migrations_make_the_tables_the_code_reads(tmp_path: Path) -> None:
    store = Store.open(f"sqlite:///{tmp_path / 'kneewall.sqlite'}")
    with store.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), schema.metadata) == []
    store.close()


def test_a_database_of_a_newer_release_is_refused_in_one_line(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'k.sqlite'}"
    store = Store.open(url)
    with store.writing() as connection:
        connection.execute(sa.text("update alembic_version set version_num = '9999'"))
    store.close()
    with pytest.raises(FolderError, match="newer Kneewall") as caught:
        Store.open(url)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("url", ["nonsense", "oracle://x/y", "sqlite:////no/such/folder/k.sqlite"])
def test_a_wrong_address_is_one_line(url: str) -> None:
    with pytest.raises(FolderError) as caught:
        Store.open(url)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_no_database_is_one_line(tmp_path: Path) -> None:
    file = tmp_path / "k.sqlite"
    file.write_bytes(b"this is no database, and long enough to be read as one" * 40)
    with pytest.raises(FolderError, match="cannot be opened"):
        Store.open(f"sqlite:///{file}")


def test_lines_are_kept_byte_for_byte(store: Store) -> None:
    phone = enrolled(store).begin()
    odd = phone.lines[-1].replace(b'{"id":', b'{ "id" :', 1)
    lines = [*phone.lines[:-1], odd]
    answers = intake.take_in(store, lines, phone.device)
    assert [answer.status for answer in answers] == ["stored"] * 3
    assert held_lines(store) == lines


def test_the_same_again_is_a_duplicate(store: Store) -> None:
    phone = enrolled(store).begin()
    intake.take_in(store, phone.lines, phone.device)
    again = intake.take_in(store, [*phone.lines, phone.lines[0]], phone.device)
    assert [answer.status for answer in again] == ["duplicate"] * 4
    assert held_lines(store) == phone.lines


def test_one_line_twice_in_a_batch_is_stored_once(store: Store) -> None:
    phone = enrolled(store).begin()
    answers = intake.take_in(store, [phone.lines[0]] * 2, phone.device)
    assert [answer.status for answer in answers] == ["stored", "duplicate"]


def test_same_id_other_bytes_keeps_both(store: Store) -> None:
    phone = enrolled(store).begin()
    first = phone.set("filter.width", 0.4)
    intake.take_in(store, phone.lines, phone.device)
    other = json.dumps(first | {"body": first["body"] | {"si": 0.6}}).encode()
    answer = intake.take_in(store, [other], phone.device)[0]
    assert answer.status == "quarantined"
    assert "other content" in str(answer.reason)
    assert held_lines(store) == phone.lines
    assert held_lines(store, "quarantined") == [other]
    assert alarms(store) == ["same-id"]
    assert intake.take_in(store, [other], phone.device)[0] == answer


def test_a_fork_keeps_both_and_raises_an_alarm(store: Store) -> None:
    phone = enrolled(store).begin()
    phone.set("filter.width", 0.4)
    intake.take_in(store, phone.lines, phone.device)
    phone.lines.pop()
    phone.set("filter.width", 0.5)
    answer = intake.take_in(store, [phone.lines[-1]], phone.device)[0]
    assert answer.status == "stored"
    assert alarms(store) == ["fork"]
    assert len(held_lines(store)) == 5


def test_a_broken_chain_raises_an_alarm_whatever_comes_first(store: Store) -> None:
    phone = enrolled(store).begin()
    last = json.loads(phone.lines[2])
    changed = json.dumps(last | {"prev": "0" * 64}).encode()
    intake.take_in(store, [changed], phone.device)
    assert alarms(store) == []
    intake.take_in(store, phone.lines[:2], phone.device)
    assert alarms(store) == ["chain"]
    assert len(held_lines(store)) == 3


def test_an_unbroken_chain_raises_none_in_any_order(store: Store) -> None:
    phone = enrolled(store).begin()
    for raw in reversed(phone.lines):
        intake.take_in(store, [raw], phone.device)
    assert alarms(store) == []


GARBAGE = [
    b"this is not JSON",
    b'{"id": "cut sho',
    b"\xff\xfe\x00",
    b"[]",
    b"null",
    b"42",
    b"{}",
    b"[" * 100_000,
    b'{"id":"' + b"x" * 300_000 + b'"}',
    b'{"seq": 1e400, "kind": "value-set"}',
    b'{"id": "\x00"}',
]


@pytest.mark.parametrize("garbage", GARBAGE, ids=range(len(GARBAGE)))
def test_garbage_is_held_and_does_not_block(store: Store, garbage: bytes) -> None:
    phone = enrolled(store).begin()
    answers = intake.take_in(store, [phone.lines[0], garbage, *phone.lines[1:]], phone.device)
    assert [a.status for a in answers] == ["stored", "quarantined", "stored", "stored"]
    assert answers[1].reason
    assert "\n" not in answers[1].reason
    assert held_lines(store, "quarantined") == [garbage]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"kind": "teleported"}, "'teleported' is not known"),
        ({"version": 7}, "newer than this office"),
        ({"seq": 0}, "seq"),
        ({"visit": None}, "visit"),
        ({"at": {"wall": "yesterday", "offset_min": 0, "mono_ms": 0}}, "at."),
        ({"extra": 1}, "extra"),
        ({"device": "someone"}, "device"),
    ],
)
def test_the_reason_says_where(store: Store, changes: dict[str, Any], says: str) -> None:
    phone = enrolled(store)
    phone.set("filter.width", 0.4)
    record = json.loads(phone.lines[0]) | changes
    answer = intake.take_in(store, [json.dumps(record).encode()], phone.device)[0]
    assert answer.status == "quarantined"
    assert says in str(answer.reason)


def test_no_number_that_is_none(store: Store) -> None:
    phone = enrolled(store)
    phone.set("filter.width", 0.4)
    for bad in (b"NaN", b"Infinity", b"1e999"):
        raw = phone.lines[0].replace(b'"si":0.4', b'"si":' + bad)
        assert intake.take_in(store, [raw], phone.device)[0].status == "quarantined"


def test_a_phone_speaks_for_itself_alone(store: Store) -> None:
    rosa, abe = enrolled(store, "Rosa"), enrolled(store, "Abe")
    rosa.begin()
    answers = intake.take_in(store, rosa.lines, abe.device)
    assert {a.status for a in answers} == {"quarantined"}
    assert answers[0].reason == "Abe brought it; Rosa wrote it."
    with store.reading() as connection:
        positions = list(connection.execute(sa.select(line.c.pos)).scalars())
        assert heads.held(connection, rosa.device, rosa.epoch).contiguous_through == 0
    assert intake.accept(store, positions) == []
    assert held_lines(store) == rosa.lines
    assert {a.status for a in intake.take_in(store, rosa.lines, rosa.device)} == {"duplicate"}


def test_a_revoked_phone_delivers_into_quarantine(store: Store) -> None:
    phone = enrolled(store).begin()
    intake.take_in(store, phone.lines[:1], phone.device)
    devices.revoke(store, phone.device)
    answers = intake.take_in(store, phone.lines, phone.device)
    assert [a.status for a in answers] == ["duplicate", "quarantined", "quarantined"]
    assert "revoked" in str(answers[1].reason)


def test_accepting_garbage_changes_nothing(store: Store) -> None:
    phone = enrolled(store)
    intake.take_in(store, [b"garbage"], phone.device)
    with store.reading() as connection:
        pos = connection.execute(sa.select(line.c.pos)).scalar_one()
    assert [p for p, _ in intake.accept(store, [pos, pos, 999])] == [pos]
    assert held_lines(store, "quarantined") == [b"garbage"]


def test_a_fault_while_judging_holds_the_line_for_later(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = enrolled(store).begin()
    poison = phone.lines[1]
    sound = intake._read

    def faulty(raw: bytes) -> Record:
        if raw == poison:
            raise RuntimeError("a fault of ours")
        return sound(raw)

    monkeypatch.setattr(intake, "_read", faulty)
    answers = intake.take_in(store, phone.lines, phone.device)
    assert [a.status for a in answers] == ["stored", "quarantined", "stored"]
    monkeypatch.undo()
    assert intake.rejudge_quarantined(store) == 1
    assert sorted(held_lines(store)) == sorted(phone.lines)


def test_lines_kept_but_not_judged_before_a_crash_are_judged_at_the_next_start(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = enrolled(store).begin()

    def killed(_store: Store, _hashes: object = None) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(intake, "judge_received", killed)
    with pytest.raises(KeyboardInterrupt):
        intake.take_in(store, phone.lines, phone.device)
    monkeypatch.undo()
    assert held_lines(store) == []
    intake.judge_received(store)
    assert held_lines(store) == phone.lines
    assert {a.status for a in intake.take_in(store, phone.lines, phone.device)} == {"duplicate"}


def test_holes_are_listed(store: Store) -> None:
    phone = enrolled(store).begin()
    for i in range(10):
        phone.set("filter.width", 0.1 * i)
    brought = [phone.lines[i] for i in (0, 1, 4, 5, 9)]
    intake.take_in(store, brought, phone.device)
    with store.reading() as connection:
        found = heads.held(connection, phone.device, phone.epoch)
    assert found.contiguous_through == 2
    assert found.highest == 10
    assert found.holes == [(3, 4), (7, 9)]
    intake.take_in(store, phone.lines, phone.device)
    with store.reading() as connection:
        found = heads.held(connection, phone.device, phone.epoch)
    assert (found.contiguous_through, found.highest, found.holes) == (13, 13, [])


def test_the_first_record_missing_is_a_hole(store: Store) -> None:
    phone = enrolled(store).begin()
    intake.take_in(store, phone.lines[1:], phone.device)
    with store.reading() as connection:
        assert heads.held(connection, phone.device, phone.epoch).holes == [(1, 1)]


def test_what_was_not_understood_counts_as_held(store: Store) -> None:
    phone = enrolled(store).begin()
    phone.write("teleported", {})
    phone.set("filter.width", 0.4)
    intake.take_in(store, phone.lines, phone.device)
    with store.reading() as connection:
        assert heads.held(connection, phone.device, phone.epoch).contiguous_through == 5


def test_a_phone_set_back_raises_an_alarm(store: Store) -> None:
    phone = enrolled(store).begin()
    intake.take_in(store, phone.lines, phone.device)
    with store.writing() as connection:
        told = heads.Claim(phone.epoch, 2, 2, intake.line_hash(phone.lines[1]))
        heads.note_claims(connection, phone.device, [told])
    assert alarms(store) == ["behind"]


def test_a_phone_with_another_record_at_its_head_raises_an_alarm(store: Store) -> None:
    phone = enrolled(store).begin()
    intake.take_in(store, phone.lines, phone.device)
    with store.writing() as connection:
        heads.note_claims(connection, phone.device, [heads.Claim(phone.epoch, 3, 3, "0" * 64)])
    assert alarms(store) == ["fork"]


def test_a_phone_ahead_of_the_office_raises_none(store: Store) -> None:
    phone = enrolled(store).begin()
    intake.take_in(store, phone.lines, phone.device)
    with store.writing() as connection:
        heads.note_claims(connection, phone.device, [heads.Claim(phone.epoch, 9, 9, "0" * 64)])
    assert alarms(store) == []


# --- the office as a device, and what reaches whom --------------------------------------------


def fed(store: Store, phone: str, *, own: bool = False) -> list[bytes]:
    lines: list[bytes] = []
    after = None
    more = True
    while more:
        page = feed.page(store, phone, after, 3, own)
        lines += page.lines
        after, more = page.next, page.more
    return lines


def plan(store: Store, to: str | None) -> tuple[str, str, str]:
    site, system, visit = (new_uuid() for _ in range(3))
    place = {"site": site, "system": system, "visit": visit}
    office.write(store, "site-added", {"name": "3 Quarry Road"}, site=site)
    office.write(store, "system-added", {"label": "Loft"}, site=site, system=system)
    body = {"title": "Check", "visit_kind": "maintenance", "date": "2026-12-01"}
    if to is not None:
        office.write(store, "assigned", {"to": to}, **place)
    office.write(store, "visit-opened", body, **place)
    return site, system, visit


def test_the_office_writes_a_gapless_chain(store: Store) -> None:
    plan(store, enrolled(store).device)
    with store.reading() as connection:
        device, epoch = (store.meta(connection, f"office_{part}") for part in ("device", "epoch"))
        assert heads.held(connection, device, epoch).contiguous_through == 4
    assert alarms(store) == []


def test_an_assigned_visit_reaches_its_phone_and_no_other(store: Store) -> None:
    rosa, abe = enrolled(store, "Rosa"), enrolled(store, "Abe")
    plan(store, rosa.device)
    kinds = {
        phone.device: [json.loads(raw)["kind"] for raw in fed(store, phone.device)]
        for phone in (rosa, abe)
    }
    assert sorted(kinds[rosa.device]) == ["assigned", "site-added", "system-added", "visit-opened"]
    assert sorted(kinds[abe.device]) == ["site-added", "system-added"]


def test_a_visit_for_any_phone_reaches_all_and_those_enrolled_later(store: Store) -> None:
    rosa = enrolled(store, "Rosa")
    _, _, visit = plan(store, None)
    plan(store, rosa.device)
    for phone in (rosa, enrolled(store, "Abe")):
        opened = [json.loads(raw) for raw in fed(store, phone.device)]
        visits = {one["visit"] for one in opened if one["kind"] == "visit-opened"}
        assert visit in visits
        assert len(visits) == (2 if phone is rosa else 1)


def test_what_was_recorded_before_follows_an_assignment(store: Store) -> None:
    rosa, abe = enrolled(store, "Rosa"), enrolled(store, "Abe")
    site, system, visit = plan(store, rosa.device)
    rosa.site, rosa.system, rosa.visit = site, system, visit
    rosa.set("supply.length", 25.9)
    intake.take_in(store, rosa.lines, rosa.device)
    assert rosa.lines[0] not in fed(store, abe.device)
    after = feed.page(store, abe.device, None, 500, own=False).next
    office.write(store, "assigned", {"to": abe.device}, site=site, system=system, visit=visit)
    later = feed.page(store, abe.device, after, 500, own=False).lines
    assert rosa.lines[0] in later
    assert len(later) == len(set(later)) == 4


def test_own_records_come_back_only_when_asked(store: Store) -> None:
    phone = enrolled(store).begin()
    intake.take_in(store, phone.lines, phone.device)
    assert fed(store, phone.device) == []
    assert fed(store, phone.device, own=True) == phone.lines


def test_merged_systems_are_fed_as_one(store: Store) -> None:
    rosa, abe = enrolled(store, "Rosa").begin(), enrolled(store, "Abe").begin()
    for phone in (rosa, abe):
        phone.set("supply.length", 25.9)
        intake.take_in(store, phone.lines, phone.device)
    assert rosa.lines[-1] not in fed(store, abe.device)
    body = {"sort": "system", "keep": rosa.system, "other": abe.system}
    office.write(store, "same-as", body, site=rosa.site, system=rosa.system)
    assert rosa.lines[-1] in fed(store, abe.device)
    rosa.set("supply.length", 26.0)
    intake.take_in(store, rosa.lines, rosa.device)
    assert rosa.lines[-1] in fed(store, abe.device)


def test_a_cursor_of_another_generation_starts_again(store: Store) -> None:
    phone = enrolled(store)
    plan(store, phone.device)
    page = feed.page(store, phone.device, None, 500, own=False)
    assert feed.page(store, phone.device, page.next, 500, own=False).lines == []
    with store.writing() as connection:
        store.renew_generation(connection)
    again = feed.page(store, phone.device, page.next, 500, own=False)
    assert again.lines == page.lines
    assert again.next != page.next


@pytest.mark.parametrize("cursor", ["", "x", "a.b", "a.-1", "a.9999999999999999999999"])
def test_a_cursor_that_is_none_is_refused(store: Store, cursor: str) -> None:
    phone = enrolled(store)
    with pytest.raises(ValueError, match=r"^.*$"):
        feed.page(store, phone.device, cursor, 500, own=False)


def test_after_a_restore_the_office_begins_a_new_epoch(store: Store) -> None:
    plan(store, None)
    with store.writing() as connection:
        store.renew_generation(connection)
    record = office.write(store, "site-added", {"name": "x"}, site=str(uuid.uuid4()))
    assert record.seq == 1
    assert alarms(store) == []


# --- enrolment --------------------------------------------------------------------------------


def test_a_code_serves_once(store: Store) -> None:
    code = devices.make_code(store, PEPPER, "tester")
    devices.enrol(store, PEPPER, f" {code[:5].lower()}-{code[5:]} ", "Rosa")
    with pytest.raises(devices.CodeError):
        devices.enrol(store, PEPPER, code, "Abe")


def test_a_code_allows_five_tries(store: Store) -> None:
    code = devices.make_code(store, PEPPER, "tester")
    wrong = code[:-1] + ("2" if code[-1] != "2" else "3")
    for _ in range(devices.CODE_TRIES):
        with pytest.raises(devices.CodeError):
            devices.enrol(store, PEPPER, wrong, "Abe")
    with pytest.raises(devices.CodeError):
        devices.enrol(store, PEPPER, code, "Rosa")


def test_four_wrong_tries_leave_one(store: Store) -> None:
    code = devices.make_code(store, PEPPER, "tester")
    for _ in range(devices.CODE_TRIES - 1):
        with pytest.raises(devices.CodeError):
            devices.enrol(store, PEPPER, code + "X", "Abe")
    devices.enrol(store, PEPPER, code, "Rosa")


def test_a_code_expires(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    code = devices.make_code(store, PEPPER, "tester")
    later = datetime.now(UTC) + devices.CODE_LIFE + timedelta(seconds=1)
    monkeypatch.setattr(devices, "stamp", lambda moment=None: (moment or later).isoformat())
    with pytest.raises(devices.CodeError):
        devices.enrol(store, PEPPER, code, "Rosa")


def test_neither_code_nor_token_is_kept_in_clear(store: Store, tmp_path: Path) -> None:
    code = devices.make_code(store, PEPPER, "tester")
    _device, token = devices.enrol(store, PEPPER, code, "Rosa")
    with store.writing() as connection:
        connection.exec_driver_sql("select 1")
    raw = b"".join(file.read_bytes() for file in tmp_path.iterdir())
    assert code.encode() not in raw
    assert token.encode() not in raw
    found = devices.by_token(store, token)
    assert found is not None
    assert found.name == "Rosa"
    assert devices.by_token(store, token + "x") is None


# --- any delivery gives the same state ----------------------------------------------------------


def two_phones(one: str, other: str) -> list[PhoneDouble]:
    """Two phones on one visit, with a void, a correction, a merge and clocks that jump."""
    rosa = PhoneDouble(one).begin()
    abe = PhoneDouble(other, site=rosa.site, system=rosa.system, visit=rosa.visit, edition="e" * 64)
    first = rosa.set("supply.length", 25.9, "85", unit="ft")
    rosa.clock = rosa.clock.replace(day=26)
    rosa.set("supply.length", 26.2, "86", unit="ft")
    rosa.clock = rosa.clock.replace(day=24)
    rosa.set("load.current", 24)
    abe.set("supply.length", 30.0, replaces=first["id"])
    doubtful = abe.set("load.current", 23)
    abe.write("corrected", {"record": doubtful["id"], "text": "22", "unit": "A", "si": 22})
    note = abe.write("note", {"text": "Drip under the pan"})
    rosa.write("voided", {"record": note["id"], "reason": "wrong house"})
    step = {"checklist": "drain", "step": "trap", "outcome": "done"}
    abe.write("step-done", step)
    rosa.write("step-done", step | {"outcome": "open-again"})
    abe.write("closed", {"note": ""})
    return [rosa, abe]


@settings(
    deadline=None,
    max_examples=20,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_any_interleaving_and_repetition_of_batches_gives_the_same_state(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("any")
    store = empty_store(folder)
    try:
        phones = two_phones(*(enrolled(store, name).device for name in ("Rosa", "Abe")))
        every = [(phone.device, raw) for phone in phones for raw in phone.lines]
        expected = fold(RECORD.validate_json(raw) for _, raw in every)
        deliveries = data.draw(st.permutations(every)) + data.draw(
            st.lists(st.sampled_from(every), max_size=12)
        )
        size = data.draw(st.integers(1, 7))
        while deliveries:
            device = deliveries[0][0]
            batch: list[bytes] = []
            while deliveries and deliveries[0][0] == device and len(batch) < size:
                batch.append(deliveries.pop(0)[1])
            intake.take_in(store, batch, device)
        assert sorted(held_lines(store)) == sorted(raw for _, raw in every)
        assert held_lines(store, "quarantined") == []
        assert fold(all_records(store)) == expected
        assert alarms(store) == []
        for phone in phones:
            with store.reading() as connection:
                found = heads.held(connection, phone.device, phone.epoch)
            assert (found.contiguous_through, found.holes) == (len(phone.lines), [])
    finally:
        store.close()
