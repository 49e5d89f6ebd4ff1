"""The picture of the readme, from the real app on the real rules. Run by hand:

.venv/bin/python -m tests.pictures
"""

from __future__ import annotations

import base64
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import expect

from kneewall.compiler import compile_packs
from tests.phone_hand import Hand, in_hand
from tests.phone_office import ROOT, PhoneOffice

OUT = ROOT / "demo" / "pictures" / "phone.png"
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
    hand.open_visit(checklist="Pressure test, supply and filter")
    hand.press("Pressure test, supply and filter")
    address = hand.page.url.removeprefix(hand.office.address)
    hand.press("Next")
    for step in ("Lay planks", "Lock out both"):
        expect(hand.heading).to_contain_text(step)
        hand.press("Done")
    expect(hand.heading).to_contain_text("Read the plates")
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


def main() -> None:
    with TemporaryDirectory() as folder:
        office = PhoneOffice(Path(folder) / "office")
        office.publish(compile_packs([ROOT / "rules"]))
        office.start()
        try:
            with in_hand(office, Path(folder) / "phone", accept_downloads=False) as hand:
                hand.enrol()
                OUT.write_bytes(side_by_side(hand, [checklist(hand), calculator(hand)]))
        finally:
            office.kill()
    print(OUT)


if __name__ == "__main__":
    main()
