"""The pictures of the readme, from the real app on the real rules and the demo's week. Run by hand:

.venv/bin/python -m tests.pictures
"""

from __future__ import annotations

import base64
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import expect

from demo import run
from demo.client import Office
from demo.company import COMPANY, PASSWORD, PERSON
from demo.week import write_week
from kneewall.compiler import compile_packs
from kneewall.records.folder import DataFolder
from kneewall.records.store import Store
from kneewall.web.accounts import Accounts
from tests.phone_hand import Hand, in_hand
from tests.phone_office import ROOT, PhoneOffice

OUT = ROOT / "demo" / "pictures"
PACKS = [ROOT / "rules", *(ROOT / "demo" / "packs" / name for name in run.PACKS)]
DROP = {"supply.length": "85", "load.current": "24", "supply.source_voltage": "240"}


def calculator(hand: Hand) -> bytes:
    """Voltage drop with its worked line, in the dark."""
    hand.page.emulate_media(color_scheme="dark")
    hand.go("/calculators/voltage-drop")
    hand.field("conductor.size").select_option("10 AWG")
    hand.choose("supply.material", "copper")
    hand.choose("supply.raceway", "none")
    for quantity, text in DROP.items():
        hand.enter(quantity, text)
    answer = hand.page.locator(".big").first
    expect(answer).to_contain_text("5.06")
    answer.evaluate("big => big.scrollIntoView({ block: 'start' })")
    hand.page.mouse.wheel(0, -90)
    hand.page.wait_for_timeout(300)
    return hand.page.screenshot()


def checklist(hand: Hand) -> bytes:
    """A checklist with its first steps done, in daylight."""
    hand.page.emulate_media(color_scheme="light")
    hand.open_visit(checklist="Power wiring")
    hand.press("Power wiring")
    expect(hand.heading).to_have_text("Power wiring")
    address = hand.page.url.removeprefix(hand.office.address)
    hand.press("Next")
    hand.choose("power.proven_dead", "yes")
    hand.press("Done")
    expect(hand.heading).to_contain_text("Read the plate")
    hand.go(address)
    hand.page.wait_for_timeout(300)
    return hand.page.screenshot()


def side_by_side(hand: Hand, pictures: list[bytes]) -> bytes:
    """Both on one sheet, as the browser draws them."""
    images = "".join(
        f'<img src="data:image/png;base64,{base64.b64encode(picture).decode()}">'
        for picture in pictures
    )
    sheet = hand.context.new_page()
    sheet.set_viewport_size({"width": 828, "height": 880})
    style = "body{margin:16px;display:flex;gap:16px;background:#8a857c}"
    sheet.set_content(f"<style>{style}</style>{images}")
    return sheet.screenshot()


def desk(hand: Hand) -> bytes:
    """The office: the week's visits, and one of them as it was computed again."""
    office = hand.office

    def furnish(store: Store, folder: DataFolder) -> None:
        with store.writing() as connection:
            store.set_meta(connection, "office_name", COMPANY)
        Accounts(store).add(PERSON, PASSWORD)
        write_week(Office(office.address, store, folder))

    office.with_store(furnish)
    page = hand.context.new_page()
    page.set_viewport_size({"width": 1280, "height": 860})
    page.goto(f"{office.address}/office/sign-in")
    page.get_by_label("Name").fill(PERSON)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="The Old Chapel").click()
    expect(page.locator("h1")).to_have_text("Noisy return, little air")
    return page.screenshot()


def main() -> None:
    with TemporaryDirectory() as folder:
        office = PhoneOffice(Path(folder) / "office")
        office.publish(compile_packs(PACKS))
        office.start()
        try:
            with in_hand(office, Path(folder) / "phone", accept_downloads=False) as hand:
                hand.enrol()
                sheet = side_by_side(hand, [checklist(hand), calculator(hand)])
                (OUT / "phone.png").write_bytes(sheet)
                (OUT / "office.png").write_bytes(desk(hand))
        finally:
            office.kill()
    print(OUT)


if __name__ == "__main__":
    main()
