"""Whole jobs on the trade's own rules and an invented maker's catalogue: planned at the office, done in an attic
without signal on a screen of a phone's size, read at the office.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect

from kneewall.bundle import Bundle
from kneewall.compiler import compile_packs
from kneewall.web.accounts import Accounts
from tests.jobs import ONE_ZONE, THREE_ZONES, VACUUM, Found
from tests.phone_hand import Hand, in_hand
from tests.phone_office import ROOT, PhoneOffice
from tests.phone_work import Work
from tests.test_story import PASSWORD, PERSON, sit_down

pytestmark = pytest.mark.browser

ONE_ZONE_LISTS = [
    "pressure-test",
    "evacuate-and-release",
    "power-wiring",
    "heat-kit",
    "start-up",
    "commissioning-readings",
    "handover",
]
THREE_ZONE_LISTS = [
    "pressure-test",
    "evacuate-and-release",
    "control-wiring",
    "start-up",
    "commissioning-readings",
]
ONE_ZONE_FOUND = [
    "The lines held their pressure.",
    "Levelled at 361 micron, within 1000 micron: tight and dry.",
    "18.9 oz, 18.9 oz to add.",
    "25 A is within the 25 A allowed.",
    "Every group is protected at 60 A or less.",
    "9.73 kW measured, 9.83 kW to expect.",
    "21890 Btu/h delivered, 91 % of the listed 23959 Btu/h.",
    "Registered on 2026-05-12, in time for 2026-07-11.",
]
THREE_ZONE_FOUND = [
    "The lines held their pressure.",
    "Levelled at 361 micron, within 1000 micron: tight and dry.",
    "16.4 oz, 16.4 oz to add.",
    "Every indoor unit has a port of its own.",
    "AH-18-M and OU-M36-B are made for the same: Multi-zone.",
    "108 % connected, at most 130 %.",
    "3/8 in port to 1/2 in line",
    "Its own lines answered, port C.",
]


@cache
def bundle() -> Bundle:
    return compile_packs([ROOT / "rules", ROOT / "demo" / "packs" / "maker"])


@pytest.fixture
def office(tmp_path: Path) -> Iterator[PhoneOffice]:
    office = PhoneOffice(tmp_path / "office")
    office.publish(bundle())
    office.with_store(lambda store, _: Accounts(store).add(PERSON, PASSWORD))
    yield office.start()
    office.kill()


def plan(desk: Page, address: str, lists: list[str], indoor: str, circuits: str) -> None:
    desk.goto(f"{address}/office/plan")
    desk.get_by_label("Name of a new site").fill("14 Alder Lane")
    desk.get_by_label("Label of a new system").fill("Attic, north side")
    desk.get_by_label("Indoor units, one a line").fill(indoor)
    desk.get_by_label("Circuits, one a line").fill(circuits)
    desk.get_by_label("Title").fill("Commissioning")
    desk.get_by_label("Kind").select_option("commissioning")
    for name in lists:
        desk.locator(f'input[name="checklists"][value="{name}"]').check()
    desk.get_by_role("button", name="Plan the visit").click()
    expect(desk.locator("h1")).to_have_text("Commissioning")


def set_out(hand: Hand, lists: list[str], indoor: str, circuits: str) -> str:
    """A visit planned at the office and taken along; from there on nobody answers. Returns its address."""
    hand.enrol()
    desk = sit_down(hand)
    plan(desk, hand.office.address, lists, indoor, circuits)
    desk.close()  # a browser draws the page behind another only once a second
    hand.go("/phone")
    hand.press("Contact the office")
    hand.go("/")
    hand.press("Commissioning")
    expect(hand.heading).to_have_text("Commissioning")
    hand.office.kill()
    return hand.page.url.removeprefix(hand.office.address)


def all_done(hand: Hand, visit: str, lists: list[str]) -> None:
    """Every list of the visit says that all its steps are done."""
    hand.go(visit)
    for name in lists:
        line = hand.page.locator(f'a.line[href="{visit}/lists/{name}"]')
        expect(line).to_contain_text(re.compile(r"(\d+) of \1 steps"))


def formulas_fit(hand: Hand, chapter: str) -> None:
    """The longest formulas of the trade do not push the handbook over the edge of the phone."""
    hand.go(f"/handbook/{chapter}")
    expect(hand.page.get_by_role("heading", name="On the way there")).to_be_visible()
    assert hand.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def read_at_the_office(hand: Hand, visit: str) -> Locator:
    """The phone sends all it has; the office computes it again and finds the same."""
    hand.office.start()
    hand.go("/phone")
    hand.press("Contact the office")
    expect(hand.page.locator("[data-unsent='0']")).to_be_visible()
    desk = hand.context.new_page()
    desk.set_viewport_size({"width": 1280, "height": 900})
    desk.goto(f"{hand.office.address}/office{visit}")
    page = desk.locator("main")
    expect(page).to_contain_text("The office finds what the phone found")
    href = page.get_by_role("link", name="Report as PDF").get_attribute("href")
    assert desk.request.get(f"{hand.office.address}{href}").body().startswith(b"%PDF-")
    return page


@dataclass(frozen=True)
class Job:
    """A visit: its lists, the members of the system, what is found on it and what the office then says."""

    lists: list[str]
    indoor: str
    circuits: str
    found: Found
    said: list[str]


ONE = Job(ONE_ZONE_LISTS, "Attic air handler", "Outdoor unit\nHeat kit", ONE_ZONE, ONE_ZONE_FOUND)
THREE = Job(
    THREE_ZONE_LISTS, "Hall\nKitchen\nRooms above", "Outdoor unit", THREE_ZONES, THREE_ZONE_FOUND
)


@pytest.mark.parametrize(
    ("job", "light"), [(ONE, "dark"), (THREE, "light")], ids=["one zone, heat kit", "three zones"]
)
def test_a_whole_job(office: PhoneOffice, tmp_path: Path, job: Job, light: str) -> None:
    with in_hand(office, tmp_path / "phone", color_scheme=light) as hand:
        visit = set_out(hand, job.lists, job.indoor, job.circuits)
        work = Work(hand, bundle(), visit, job.found, VACUUM)
        for name in job.lists:
            work.through(name)
        all_done(hand, visit, job.lists)
        formulas_fit(hand, "balance-point")
        page = read_at_the_office(hand, visit)
        for said in job.said:
            expect(page).to_contain_text(said)
