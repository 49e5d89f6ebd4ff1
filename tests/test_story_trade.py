"""Whole jobs on the trade's own rules, in a real browser at a phone's size, without signal, read at the office."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from playwright.sync_api import expect

from kneewall.bundle import Bundle
from kneewall.compiler import compile_packs
from kneewall.web.accounts import Accounts
from tests.phone_hand import in_hand
from tests.phone_office import ROOT, PhoneOffice
from tests.phone_work import Work
from tests.test_story import PASSWORD, PERSON

pytestmark = pytest.mark.browser


@cache
def bundle() -> Bundle:
    return compile_packs([ROOT / "rules"])


@pytest.fixture
def office(tmp_path: Path) -> Iterator[PhoneOffice]:
    office = PhoneOffice(tmp_path / "office")
    office.publish(bundle())
    office.with_store(lambda store, _: Accounts(store).add(PERSON, PASSWORD))
    yield office.start()
    office.kill()


FOUND = {
    "nameplate.design_pressure": "550",
    "load.current": "18",
    "site.altitude": "640",
    "nameplate.mca": "20",
    "test.start_pressure": "500",
    "test.start_temperature": "62",
    "test.hottest_temperature": "75",
    "test.end_pressure": "503",
    "test.end_temperature": "65",
    "conductor.size": "10 AWG",
    "supply.material": "copper",
    "supply.raceway": "pvc",
    "conductor.stranding": "stranded",
    "supply.length": "85",
    "supply.source_voltage": "240",
    "load.power_factor": "1",
    "air.flow": "900",
    "filter.width": "20",
    "filter.height": "25",
    "filter.depth": "4",
    "filter.count": "1",
    "filter.rated_flow": "1200",
    "filter.rated_drop": "0.2",
}


def test_one_zone(office: PhoneOffice, tmp_path: Path) -> None:
    with in_hand(office, tmp_path / "phone", color_scheme="dark") as hand:
        hand.page.clock.install()
        hand.enrol()
        visit = hand.open_visit(checklist="Pressure test, supply and filter")
        office.kill()
        work = Work(hand, bundle(), visit, FOUND)
        steps = work.through("pressure-and-power")
        print(steps)
        hand.go(visit)
        expect(hand.page.locator("main")).to_contain_text("12 of 12 steps")
