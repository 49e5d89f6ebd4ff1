"""What records amount to."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kneewall.records.envelope import RECORD
from kneewall.records.fold import fold
from kneewall.records.ledger import Ledger, Visit
from tests.phone_double import PhoneDouble


def ledger(*phones: PhoneDouble) -> Ledger:
    return fold(RECORD.validate_json(raw) for phone in phones for raw in phone.lines)


def visit(*phones: PhoneDouble) -> Visit:
    return ledger(*phones).visits[phones[0].visit]


def shown(*phones: PhoneDouble, quantity: str = "filter.width") -> Any:
    return visit(*phones).readings[quantity, None].si


def beside(phone: PhoneDouble) -> PhoneDouble:
    return PhoneDouble(site=phone.site, system=phone.system, visit=phone.visit, clock=phone.clock)


def test_the_last_value_of_a_phone_stands() -> None:
    phone = PhoneDouble().begin()
    phone.set("filter.width", 0.4)
    phone.set("filter.width", 0.5)
    reading = visit(phone).readings["filter.width", None]
    assert (reading.si, reading.conflicts) == (0.5, ())
    assert [earlier.si for earlier in reading.earlier] == [0.4]


@pytest.mark.parametrize("jump", [-1, 1])
def test_a_clock_set_back_or_ahead_does_not_reorder(jump: int) -> None:
    phone = PhoneDouble().begin()
    phone.set("filter.width", 0.4)
    phone.clock += timedelta(days=jump)
    phone.set("filter.width", 0.5)
    phone.clock -= timedelta(days=jump)
    phone.write("note", {"text": "one"})
    phone.offset_min = 600
    phone.set("filter.width", 0.6)
    assert shown(phone) == 0.6
    wall = json.loads(phone.lines[-1])["at"]
    assert wall["offset_min"] == 600


def test_a_doubtful_clock_is_marked() -> None:
    phone = PhoneDouble(server_offset_ms=None).begin()
    phone.set("filter.width", 0.4)
    phone.server_offset_ms = 3_600_000
    phone.set("filter.depth", 0.1)
    readings = visit(phone).readings
    assert readings["filter.width", None].source.when.doubtful
    late = readings["filter.depth", None].source.when
    assert late.doubtful
    assert late.corrected - phone.clock == timedelta(hours=1)


def test_two_phones_both_stay_and_the_later_is_shown() -> None:
    rosa = PhoneDouble().begin()
    rosa.set("filter.width", 0.4)
    abe = beside(rosa)
    abe.set("filter.width", 0.5)
    for order in ((rosa, abe), (abe, rosa)):
        reading = visit(*order).readings["filter.width", None]
        assert reading.si == 0.5
        assert [c.si for c in reading.conflicts] == [0.4]
        assert reading.conflicts[0].source.device == rosa.device


def test_two_phones_that_agree_are_no_conflict() -> None:
    rosa = PhoneDouble().begin()
    rosa.set("filter.width", 0.4)
    abe = beside(rosa)
    abe.set("filter.width", 0.4)
    assert visit(rosa, abe).readings["filter.width", None].conflicts == ()


def test_a_value_that_replaces_what_was_on_the_screen_is_later_whatever_the_clocks_say() -> None:
    rosa = PhoneDouble().begin()
    abe = beside(rosa)
    rosa.clock += timedelta(hours=5)
    first = rosa.set("filter.width", 0.4)
    abe.set("filter.width", 0.5, replaces=first["id"])
    reading = visit(rosa, abe).readings["filter.width", None]
    assert (reading.si, reading.conflicts) == (0.5, ())


def test_a_later_value_not_seen_by_the_other_is_a_conflict_again() -> None:
    rosa = PhoneDouble().begin()
    first = rosa.set("filter.width", 0.4)
    abe = beside(rosa)
    abe.set("filter.width", 0.5, replaces=first["id"])
    rosa.clock = abe.clock
    rosa.set("filter.width", 0.6)
    reading = visit(rosa, abe).readings["filter.width", None]
    assert reading.si == 0.6
    assert [c.si for c in reading.conflicts] == [0.5]


def test_members_are_apart() -> None:
    phone = PhoneDouble().begin()
    one, two = str(uuid.uuid4()), str(uuid.uuid4())
    phone.add_member("indoor", one, "Hall")
    phone.add_member("indoor", two, "Loft")
    phone.set("line.length", 10.0, member=one)
    phone.set("line.length", 12.0, member=two)
    book = ledger(phone)
    readings = book.visits[phone.visit].readings
    assert [readings["line.length", m].si for m in (one, two)] == [10.0, 12.0]
    members = book.systems[phone.system].members
    assert [(m.label, m.id) for m in members] == [("Hall", one), ("Loft", two)]


def test_a_correction_changes_what_is_said_and_keeps_both() -> None:
    phone = PhoneDouble().begin()
    record = phone.set("filter.width", 4.0, "400", unit="cm")
    phone.write(
        "corrected",
        {"record": record["id"], "text": "40", "unit": "cm", "si": 0.4, "reason": "slip"},
    )
    reading = visit(phone).readings["filter.width", None]
    assert (reading.si, reading.text) == (0.4, "40")
    assert reading.source.record == record["id"]
    assert [(c.text, c.reason) for c in reading.corrections] == [("40", "slip")]


def test_a_voided_correction_gives_the_first_reading_back() -> None:
    phone = PhoneDouble().begin()
    record = phone.set("filter.width", 0.4)
    made = phone.write("corrected", {"record": record["id"], "text": "5", "si": 0.5})
    again = phone.write("corrected", {"record": made["id"], "text": "6", "si": 0.6})
    assert shown(phone) == 0.6
    phone.write("voided", {"record": again["id"], "reason": "no"})
    assert shown(phone) == 0.5
    phone.write("voided", {"record": made["id"], "reason": "no"})
    assert shown(phone) == 0.4


def test_a_void_takes_out_and_cannot_be_taken_back() -> None:
    phone = PhoneDouble().begin()
    phone.set("filter.width", 0.4)
    last = phone.set("filter.width", 0.5)
    void = phone.write("voided", {"record": last["id"], "reason": "wrong unit"})
    phone.write("voided", {"record": void["id"], "reason": "no, right"})
    found = visit(phone)
    assert found.readings["filter.width", None].si == 0.4
    assert (found.voids[0].kind, found.voids[0].reason) == ("value-set", "wrong unit")


def test_the_office_may_void_what_a_phone_wrote() -> None:
    phone = PhoneDouble().begin()
    record = phone.set("filter.width", 0.4)
    other = beside(phone)
    other.write("voided", {"record": record["id"], "reason": "another house"})
    assert ("filter.width", None) not in visit(phone, other).readings


def test_corrections_that_name_each_other_end() -> None:
    phone = PhoneDouble().begin()
    one, two = PhoneDouble().set("x.y", 1)["id"], PhoneDouble().set("x.y", 1)["id"]
    phone.write("corrected", {"record": two, "text": "a"}, id=one)
    phone.write("corrected", {"record": one, "text": "b"}, id=two)
    assert visit(phone).readings == {}


def test_the_first_field_record_fixes_the_edition() -> None:
    phone = PhoneDouble(edition="a" * 64).begin()
    assert visit(phone).edition is None
    phone.edition = "b" * 64
    phone.set("filter.width", 0.4)
    phone.edition = "c" * 64
    phone.set("filter.depth", 0.1)
    assert visit(phone).edition == "b" * 64
    phone.write("edition-moved", {"left": "b" * 64})
    assert visit(phone).edition == "c" * 64


def test_state_of_a_visit() -> None:
    phone = PhoneDouble().begin()
    assert visit(phone).state == "planned"
    phone.set("filter.width", 0.4)
    assert visit(phone).state == "in work"
    closing = phone.write("closed", {})
    assert visit(phone).state == "closed"
    phone.write("voided", {"record": closing["id"], "reason": "more to do"})
    assert visit(phone).state == "in work"


def test_steps_done_and_opened_again() -> None:
    phone = PhoneDouble().begin()
    step = {"checklist": "drain", "step": "trap"}
    phone.write("step-done", step | {"outcome": "skipped", "reason": "no trap here"})
    assert [s.outcome for s in visit(phone).steps.values()] == ["skipped"]
    phone.write("step-done", step | {"outcome": "open-again"})
    assert visit(phone).steps == {}


def test_a_timer_keeps_its_gaps_and_its_readings() -> None:
    phone = PhoneDouble().begin()
    timer = str(uuid.uuid4())
    about = {"timer": timer, "checklist": "vacuum", "step": "hold"}
    phone.write("timer-started", about | {"target_s": 600})
    reading = {"timer": timer, "text": "340", "unit": "micron", "si": 45.3}
    phone.write("timer-read", reading | {"elapsed_s": 300, "quantity": "vacuum.final"})
    phone.write(
        "timer-stopped",
        {"timer": timer, "elapsed_s": 1860, "observed": False, "asleep_s": 1800},
    )
    found = visit(phone)
    (state,) = found.timers
    assert (state.elapsed_s, state.observed, state.asleep_s) == (1860, False, 1800)
    assert state.readings == ((300, "340", "micron"),)
    assert found.readings["vacuum.final", None].origin == "timer"


def test_merged_sites_and_systems_are_one() -> None:
    rosa, abe = PhoneDouble().begin(), PhoneDouble()
    abe.add_site("14 Alder Ln")
    abe.add_system("attic unit")
    abe.open_visit()
    same = {"keep": rosa.site, "other": abe.site}
    rosa.write("same-as", same | {"sort": "site"}, system=None, visit=None)
    same = {"keep": rosa.system, "other": abe.system}
    rosa.write("same-as", same | {"sort": "system"}, visit=None)
    book = ledger(rosa, abe)
    assert list(book.sites) == [rosa.site]
    assert book.sites[rosa.site].name == "14 Alder Lane"
    assert book.sites[rosa.site].also == (abe.site,)
    assert list(book.systems) == [rosa.system]
    assert book.visits[abe.visit].system == rosa.system


def test_merges_in_a_circle_end_at_one() -> None:
    rosa, abe = PhoneDouble().begin(), PhoneDouble().begin()
    for one, other in ((rosa, abe), (abe, rosa)):
        body = {"sort": "site", "keep": one.site, "other": other.site}
        one.write("same-as", body, system=None, visit=None)
    assert list(ledger(rosa, abe).sites) == [min(rosa.site, abe.site)]


def test_a_visit_whose_opening_is_lost_still_shows() -> None:
    phone = PhoneDouble().begin()
    phone.set("filter.width", 0.4)
    phone.lines = phone.lines[3:]
    found = visit(phone)
    assert (found.title, found.system, found.state) == ("", phone.system, "in work")


def carries(quantity: str) -> str:
    return {"site.altitude": "site", "nameplate.mca": "system"}.get(quantity, "visit")


def test_what_belongs_to_the_system_is_kept_from_visit_to_visit() -> None:
    phone = PhoneDouble().begin()
    for quantity in ("site.altitude", "nameplate.mca", "filter.drop"):
        phone.set(quantity, 1.0)
    first = phone.visit
    phone.visit = str(uuid.uuid4())
    phone.clock += timedelta(days=30)
    phone.open_visit()
    phone.set("filter.drop", 2.0)
    second = phone.visit
    phone.visit = str(uuid.uuid4())
    phone.clock += timedelta(days=30)
    phone.open_visit()
    phone.set("nameplate.mca", 3.0)
    book = ledger(phone)

    def worth(visit_id: str) -> dict[str, Any]:
        found = book.values(book.visits[visit_id], carries)
        return {quantity: of[None].si for quantity, of in found.items()}

    assert worth(first) == {"site.altitude": 1, "nameplate.mca": 1, "filter.drop": 1}
    assert worth(second) == {"site.altitude": 1, "nameplate.mca": 1, "filter.drop": 2}
    assert worth(phone.visit) == {"site.altitude": 1, "nameplate.mca": 3}


def test_another_system_of_the_site_shares_the_site_alone() -> None:
    phone = PhoneDouble().begin()
    phone.set("site.altitude", 1.0)
    phone.set("nameplate.mca", 1.0)
    phone.system, phone.visit = str(uuid.uuid4()), str(uuid.uuid4())
    phone.clock += timedelta(days=1)
    phone.add_system("Garage")
    phone.set("filter.drop", 2.0)
    book = ledger(phone)
    found = book.values(book.visits[phone.visit], carries)
    assert set(found) == {"site.altitude", "filter.drop"}


def test_a_cleared_value_is_none() -> None:
    phone = PhoneDouble().begin()
    phone.set("site.altitude", 1.0)
    phone.set("site.altitude", None, "")
    book = ledger(phone)
    assert book.values(book.visits[phone.visit], carries) == {}


@given(st.randoms(use_true_random=False))
def test_any_order_gives_the_same(random: Any) -> None:
    rosa = PhoneDouble().begin()
    abe = beside(rosa)
    twin = PhoneDouble(device=rosa.device, epoch=rosa.epoch, site=rosa.site, system=rosa.system)
    twin.visit = rosa.visit
    for phone in (rosa, abe, twin):
        for si in (0.3, 0.4):
            phone.set("filter.width", si)
        record = phone.set("load.current", 20)
        made = phone.write("corrected", {"record": record["id"], "text": "21", "si": 21})
        phone.write("corrected", {"record": made["id"], "text": "22", "si": 22})
        phone.write("note", {"text": "n"})
        phone.write("signed", {"name": "A. Owner", "statement": "Shown the filter"})
    lines = [raw for phone in (rosa, abe, twin) for raw in phone.lines]
    expected = fold(map(RECORD.validate_json, lines))
    random.shuffle(lines)
    assert fold(map(RECORD.validate_json, lines)) == expected
