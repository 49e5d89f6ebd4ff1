"""The phone without signal, without an office, and after a sudden death."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from kneewall.web.accounts import Accounts
from tests.office_double import held_lines
from tests.phone_hand import in_hand
from tests.phone_office import PhoneOffice, rules
from tests.test_story import sit_down

pytestmark = pytest.mark.browser


@pytest.fixture
def office(tmp_path: Path) -> Iterator[PhoneOffice]:
    office = PhoneOffice(tmp_path / "office")
    office.publish(rules())
    yield office.start()
    office.kill()


def test_after_one_visit_everything_works_with_a_dead_office(
    office: PhoneOffice, tmp_path: Path
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
    office.kill()
    with in_hand(office, tmp_path / "phone") as hand:
        hand.go("/calculators/gap")
        hand.enter("gap.cold", "10")
        hand.enter("gap.hot", "40")
        expect(hand.page.locator(".answer .big")).to_have_text("30.0 °F")
        visit = hand.open_visit()
        hand.go(f"{visit}/lists/walk")
        expect(hand.page.get_by_role("link", name="Make it safe to do")).to_be_visible()
        hand.go("/phone")
        expect(hand.page.locator('[data-offline="ready"]')).to_be_visible()


def test_a_record_that_was_shown_as_saved_survives_the_death_of_the_browser(
    office: PhoneOffice, tmp_path: Path
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        office.kill()
        visit = hand.open_visit()
        hand.go(f"{visit}/lists/walk/safe")
        hand.press("Done")
        expect(hand.heading).to_have_text("Read both sides")
        hand.enter("gap.cold", "−5,5")
        hand.enter("gap.hot", "40")
        hand.press("Keep and go on")
        expect(hand.page.locator(".bar").get_by_role("link", name="Next: ")).to_be_visible()
        expect(hand.page.locator(".strip")).to_contain_text("· saved")
        written = hand.unsent
        hand.kill_browser()
    with in_hand(office, tmp_path / "phone") as hand:
        hand.go(f"{visit}/lists/walk/sides")
        expect(hand.field("gap.cold")).to_have_value("−5,5")
        assert hand.unsent == written
        office.start()
        hand.go("/phone")
        hand.press("Contact the office")
        expect(hand.page.locator("[data-unsent='0']")).to_be_visible()
    assert len(office.with_store(lambda store, _: held_lines(store))) == written


def test_what_is_typed_survives_too(office: PhoneOffice, tmp_path: Path) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        hand.go("/calculators/gap")
        hand.enter("gap.cold", "12.5")
        expect(hand.page.locator('[id="f-gap.cold--says"]')).to_contain_text("= 12.5 °F")
        hand.rejoin()
        expect(hand.field("gap.cold")).to_have_value("12.5")


def test_without_an_enrolment_the_phone_says_what_to_do(
    office: PhoneOffice, tmp_path: Path
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.go("/")
        expect(hand.page.locator("main")).to_contain_text("Ask the office for a code")
        expect(hand.page.locator("main")).to_contain_text("The calculators work already")
        hand.go("/calculators/gap")
        hand.enter("gap.cold", "10")
        hand.enter("gap.hot", "40")
        expect(hand.page.locator(".answer .big")).to_have_text("30.0 °F")
        hand.go("/enrol")
        hand.page.get_by_label("Code from the office").fill("AAAAA AAAAA")
        hand.page.get_by_label("Whose phone this is").fill("Rosa")
        hand.press("Enrol")
        expect(hand.page.get_by_role("alert").last).to_contain_text("Ask the office for a new one")


def test_an_emptied_store_is_noticed_and_told(office: PhoneOffice, tmp_path: Path) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        hand.open_visit()
        expect(hand.page.locator("[data-unsent='0']")).to_be_visible()
        hand.page.goto(f"{office.address}/release.json")
        hand.page.evaluate(
            "new Promise(done => { indexedDB.deleteDatabase('kneewall').onsuccess = done })"
        )
        hand.go("/")
        expect(hand.page.locator(".verdict.fail")).to_contain_text("The store was emptied")
        hand.rejoin()
        hand.press("I know")
        expect(hand.page.locator(".verdict.fail")).to_have_count(0)
        # Its own records come back from the office.
        expect(hand.page.get_by_role("link", name="Commissioning, 14 Alder Lane")).to_be_visible()


def test_the_file_of_all_not_sent_is_what_the_office_takes_in(
    office: PhoneOffice, tmp_path: Path
) -> None:
    office.with_store(lambda store, _: Accounts(store).add("Dana", "a long enough password"))
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        office.kill()
        hand.open_visit()
        written = hand.unsent
        hand.go("/phone")
        with hand.page.expect_download() as leaving:
            hand.press("File of all not sent")
        file = tmp_path / "unsent.txt"
        leaving.value.save_as(file)
        assert len(file.read_bytes().splitlines()) == written
    # Another phone's browser would do; what matters is that the phone itself never came back.
    office.start()
    with in_hand(office, tmp_path / "desk") as hand:
        desk = sit_down(hand)
        desk.goto(f"{office.address}/office/held-back")
        for _ in range(2):
            desk.locator("input[type=file]").set_input_files(file)
            desk.get_by_role("button", name="Read it in").click()
    assert len(office.with_store(lambda store, _: held_lines(store))) == written


@pytest.mark.long
def test_at_whatever_moment_the_browser_dies_what_was_saved_is_there(
    office: PhoneOffice, tmp_path: Path
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        visit = hand.open_visit()
    office.kill()
    saved = 0
    for death in range(10):
        with in_hand(office, tmp_path / "phone") as hand:
            hand.go(visit)
            notes = hand.page.locator("main p", has_text="note number")
            expect(notes).to_have_count(saved)
            for _ in range(1 + death % 3):
                hand.page.locator("#note").fill(f"note number {saved}")
                hand.press("Keep the note")
                expect(notes).to_have_count(saved + 1)
                saved += 1
            hand.kill_browser()
