"""A day as it is meant: planned at the office, done in an attic without signal, read at the office."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from kneewall.web.accounts import Accounts
from tests.office_double import held_lines
from tests.phone_hand import Hand, in_hand
from tests.phone_office import PhoneOffice, rules
from tests.phone_work import photograph, sign

pytestmark = pytest.mark.browser

PERSON, PASSWORD = "Dana", "a long enough password"


@pytest.fixture
def office(tmp_path: Path) -> Iterator[PhoneOffice]:
    office = PhoneOffice(tmp_path / "office")
    office.publish(rules())
    office.with_store(lambda store, _: Accounts(store).add(PERSON, PASSWORD))
    yield office.start()
    office.kill()


def sit_down(hand: Hand) -> Page:
    """The office's pages, signed in, on a screen of a desk's size."""
    desk = hand.context.new_page()
    desk.set_viewport_size({"width": 1280, "height": 900})
    desk.goto(f"{hand.office.address}/office/sign-in")
    desk.get_by_label("Name").fill(PERSON)
    desk.get_by_label("Password").fill(PASSWORD)
    desk.get_by_role("button", name="Sign in").click()
    expect(desk).to_have_url(re.compile(r"/office/visits"))
    return desk


def plan_visit(desk: Page, address: str, phone: str) -> None:
    desk.goto(f"{address}/office/plan")
    desk.get_by_label("Name of a new site").fill("14 Alder Lane")
    desk.get_by_label("Label of a new system").fill("Attic, north side")
    desk.get_by_label("Coils, one a line").fill("Left\nRight")
    desk.get_by_label("Title").fill("Commissioning after install")
    desk.get_by_label("Kind").select_option("commissioning")
    desk.get_by_label("For", exact=True).select_option(label=phone)
    desk.get_by_label("Walk-through").check()
    desk.get_by_role("button", name="Plan the visit").click()
    expect(desk.locator("h1")).to_have_text("Commissioning after install")


def test_planned_done_without_signal_and_read(office: PhoneOffice, tmp_path: Path) -> None:
    phone = tmp_path / "phone"
    with in_hand(office, phone) as hand:
        desk = sit_down(hand)
        desk.goto(f"{office.address}/office/phones")
        desk.get_by_role("button", name="Make a code").click()
        code = desk.locator(".code .big").inner_text()
        hand.go("/enrol")
        hand.page.get_by_label("Code from the office").fill(code)
        hand.page.get_by_label("Whose phone this is").fill("Rosa")
        hand.press("Enrol")
        expect(hand.heading).to_have_text("Visits")
        hand.wait_ready()
        plan_visit(desk, office.address, "Rosa")
        hand.go("/phone")
        hand.press("Contact the office")
        hand.go("/")
        expect(hand.page.locator("main")).to_contain_text("Planned at the office")
        hand.press("Commissioning after install")
        expect(hand.heading).to_have_text("Commissioning after install")

        office.kill()
        hand.press("Next: make it safe")
        expect(hand.page.locator(".warn")).to_contain_text("Hot surfaces burn")
        hand.press("Done")
        expect(hand.heading).to_have_text("Read both sides")
        hand.enter("gap.cold", "−5,5")
        hand.enter("gap.hot", "40")
        expect(hand.page.locator(".verdict.caution")).to_contain_text("45.5 °F is large")
        visit = hand.page.url.removeprefix(office.address).split("/lists/")[0]

    # The phone was put away with two readings typed and not kept, and its browser was closed.
    with in_hand(office, phone) as hand:
        hand.page.clock.install()
        hand.go(f"{visit}/lists/walk/sides")
        expect(hand.field("gap.cold")).to_have_value("−5,5")
        hand.press("Keep and go on")
        # A caution is seen before the next step is.
        expect(hand.page.locator("#said .verdict.caution")).to_be_in_viewport()
        hand.page.locator(".bar").get_by_role("link", name="Next: choose the metal").click()
        expect(hand.heading).to_have_text("Choose the metal")
        hand.choose("gap.metal", "Copper")
        hand.press("Keep and go on")
        hold(hand)
        photograph(hand)
        hand.press("Done")
        expect(hand.heading).to_have_text("Close the hatch")
        hand.press("Done")
        sign_and_close(hand)
        written = hand.unsent
        assert written > 10

        office.start()
        hand.go("/phone")
        hand.press("Contact the office")
        expect(hand.page.locator("[data-unsent='0']")).to_be_visible()
        read_at_the_office(hand, visit)
    assert len(office.with_store(lambda store, _: held_lines(store))) > written


def hold(hand: Hand) -> None:
    """A hold of ten minutes, most of which the phone sleeps through."""
    expect(hand.heading).to_have_text("Hold it")
    hand.press("Start the timer")
    clock = hand.page.get_by_role("timer")
    expect(clock).to_be_visible()
    hand.page.get_by_label("Gauge", exact=True).fill("340")
    hand.press("Take this reading now")
    expect(hand.page.locator("main")).to_contain_text("1 reading taken")
    hand.page.clock.fast_forward("11:00")
    expect(clock).to_contain_text("11:0")
    expect(hand.page.locator("main")).to_contain_text("The phone slept 11:0")
    hand.page.get_by_label("Gauge", exact=True).fill("360")
    hand.press("Take this reading now")
    expect(hand.page.locator("main")).to_contain_text("2 readings taken")
    hand.press("Stop the timer")
    expect(hand.page.locator(".verdict.pass")).to_contain_text("Held 11")
    hand.press("Keep and go on")
    expect(hand.heading).to_have_text("Take a picture")


def sign_and_close(hand: Hand) -> None:
    expect(hand.heading).to_have_text("Sign")
    hand.press("Sign")
    sign(hand)
    expect(hand.heading).to_have_text("Commissioning after install")
    expect(hand.page.locator("main")).to_contain_text("7 of 7 steps")
    hand.press("Close the visit")
    hand.press("Yes, close it")
    expect(hand.page.locator("main")).to_contain_text("closed")


def read_at_the_office(hand: Hand, visit: str) -> None:
    desk = sit_down(hand)
    desk.goto(f"{hand.office.address}/office{visit}")
    page = desk.locator("main")
    expect(page).to_contain_text("The office finds what the phone found")
    expect(page).to_contain_text("−5,5")
    expect(page).to_contain_text("45.5 °F is large. Look for the reason.")
    expect(page).to_contain_text("The phone slept")
    expect(page).to_contain_text("closed")
    expect(page.locator("section[aria-labelledby=photos] img")).to_be_visible()
