"""Whole jobs on the trade's own rules and an invented maker's catalogue: planned at the office, done in an attic
without signal on a screen of a phone's size, read at the office.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from kneewall.bundle import Bundle
from kneewall.compiler import compile_packs
from kneewall.web.accounts import Accounts
from tests.jobs import ONE_ZONE, VACUUM
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
    plan(sit_down(hand), hand.office.address, lists, indoor, circuits)
    hand.go("/phone")
    hand.press("Contact the office")
    hand.go("/")
    hand.press("Commissioning")
    expect(hand.heading).to_have_text("Commissioning")
    hand.office.kill()
    return hand.page.url.removeprefix(hand.office.address)


def test_one_zone_with_a_heat_kit(office: PhoneOffice, tmp_path: Path) -> None:
    with in_hand(office, tmp_path / "phone", color_scheme="dark") as hand:
        hand.page.clock.install()
        visit = set_out(hand, ONE_ZONE_LISTS, "Attic air handler", "Outdoor unit\nHeat kit")
        work = Work(hand, bundle(), visit, ONE_ZONE, VACUUM)
        for name in ONE_ZONE_LISTS:
            print(name, work.through(name))
        hand.go(visit)
        said = hand.page.locator("main").inner_text()
        for done, all_ in re.findall(r"(\d+) of (\d+) steps", said):
            assert done == all_
