"""Which rules a phone goes by: new ones whole, proven and for new visits; a visit keeps its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from kneewall.bundle import bytes_of, document_of
from tests.phone_hand import Hand, in_hand
from tests.phone_office import PhoneOffice, events, rules

pytestmark = pytest.mark.browser


@pytest.fixture
def office(tmp_path: Path) -> Iterator[PhoneOffice]:
    office = PhoneOffice(tmp_path / "office")
    office.publish(rules())
    yield office.start()
    office.kill()


@pytest.fixture
def hand(office: PhoneOffice, tmp_path: Path) -> Iterator[Hand]:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        yield hand


def contact(hand: Hand) -> None:
    hand.go("/phone")
    hand.press("Contact the office")
    expect(hand.page.get_by_role("button", name="Contact the office")).to_be_enabled()


def enter_a_gap_of_50(hand: Hand, visit: str) -> None:
    hand.go(f"{visit}/calculators/gap")
    hand.enter("gap.cold", "10")
    hand.enter("gap.hot", "60")


def test_a_visit_keeps_its_rules_until_its_technician_moves_it(hand: Hand) -> None:
    visit = hand.open_visit()
    enter_a_gap_of_50(hand, visit)
    expect(hand.page.locator(".verdict.caution")).to_be_visible()
    hand.press("Keep in this visit")
    expect(hand.page.locator(".strip")).to_contain_text("saved")
    hand.office.publish(rules(limit=45))
    contact(hand)
    expect(hand.page.locator(".strip")).to_contain_text("Rules 2")
    hand.go(f"{visit}/calculators/gap")
    expect(hand.page.locator(".verdict.caution")).to_be_visible()
    other = hand.open_visit(site="9 Birch Row")
    enter_a_gap_of_50(hand, other)
    expect(hand.page.locator(".verdict.fail")).to_be_visible()

    hand.go(visit)
    hand.press("Go on with rules 2")
    expect(hand.page.get_by_role("button", name="Go on with rules 2")).to_have_count(0)
    hand.office.kill()
    hand.go(f"{visit}/calculators/gap")
    expect(hand.page.locator(".verdict.fail")).to_be_visible()


def test_rules_that_fail_their_test_on_the_phone_are_not_used_and_the_office_is_told(
    hand: Hand,
) -> None:
    document = document_of(rules(limit=45).raw)
    document["examples"][0]["expect"][0]["value"] = 1
    hand.office.publish_bytes(bytes_of(document), prove=lambda _: [])
    contact(hand)
    main = hand.page.locator("main")
    expect(main).to_contain_text("Rules 2 failed their test on this phone and are not used")
    expect(main).to_contain_text("“ten and forty”, gap.found should be 1")
    expect(hand.page.locator(".strip")).to_contain_text("Rules 1")
    contact(hand)
    hand.office.eventually(lambda store: events(store) == ["self-test-failed"])
    hand.go("/calculators/gap")
    hand.enter("gap.cold", "10")
    hand.enter("gap.hot", "60")
    expect(hand.page.locator(".verdict.caution")).to_be_visible()
    hand.office.publish(rules(limit=45))
    contact(hand)
    expect(hand.page.locator(".strip")).to_contain_text("Rules 3")


def test_rules_that_arrive_damaged_change_nothing_and_are_fetched_again(hand: Hand) -> None:
    hand.office.publish(rules(limit=45))
    hand.office.kill()
    hand.office.start("/api/1/editions/", "cut")
    contact(hand)
    expect(hand.page.locator(".strip")).to_contain_text("Rules 1")
    hand.office.kill()
    hand.office.start()
    contact(hand)
    expect(hand.page.locator(".strip")).to_contain_text("Rules 2")


def test_rules_of_a_visit_that_the_phone_lost_come_from_the_office(hand: Hand) -> None:
    visit = hand.open_visit()
    enter_a_gap_of_50(hand, visit)
    hand.press("Keep in this visit")
    expect(hand.page.locator("[data-unsent='0']")).to_be_visible()
    hand.office.publish(rules(limit=45))
    hand.database(
        "return await new Promise((done) => { const tx = db.transaction(['editions', 'meta'],"
        "'readwrite'); tx.objectStore('editions').clear(); tx.objectStore('meta').delete('edition');"
        "tx.oncomplete = () => done(null) });"
    )
    hand.go(visit)
    expect(hand.page.locator(".strip")).to_contain_text("Rules 2")
    hand.go(f"{visit}/calculators/gap")
    expect(hand.page.locator(".verdict.caution")).to_be_visible()
