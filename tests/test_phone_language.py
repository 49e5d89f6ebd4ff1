"""The phone in Spanish: chosen without signal, one step done in it, and back."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from kneewall.bundle import Bundle
from kneewall.compiler import compile_packs
from tests.phone_hand import Hand, in_hand
from tests.phone_office import ROOT, PhoneOffice

pytestmark = pytest.mark.browser

# The note of the calculator, the caution of another step and one verdict are left in English.
SPANISH = """
quantities:
  gap.cold: {label: Lado frío}
  gap.hot: {label: Lado caliente}
  gap.found: {label: La diferencia}
  gap.metal: {label: Metal}
choices:
  metal: {values: {Copper: Cobre, Aluminum: Aluminio}}
checks:
  gap.small: {label: Diferencia, says: {fail: "{gap.found} pasa del límite. Cierre la diferencia."}}
cautions:
  hot: {text: Una superficie caliente quema. Use guantes y mangas abajo.}
checklists:
  walk:
    title: Recorrido
    steps: {safe: {title: Hágalo seguro}, sides: {title: Lea los dos lados}, metal: {title: Elija el metal}}
"""


def spanish_rules(folder: Path) -> Bundle:
    shutil.copytree(ROOT / "tests" / "phone_rules", folder)
    shutil.copyfile(ROOT / "rules" / "units.csv", folder / "units.csv")
    (folder / "es.yaml").write_text(SPANISH, encoding="utf-8")
    return compile_packs([folder])


@pytest.fixture
def hand(tmp_path: Path) -> Iterator[Hand]:
    office = PhoneOffice(tmp_path / "office")
    office.publish(spanish_rules(tmp_path / "rules"))
    office.start()
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        yield hand
    office.kill()


def speak(hand: Hand, language: str, heading: str) -> None:
    hand.go("/phone")
    hand.page.locator(f'input[name="language"][value="{language}"]').check()
    expect(hand.heading).to_have_text(heading)
    expect(hand.page.locator(f'html[lang="{language}"]')).to_be_attached()


def test_a_step_is_done_in_spanish_without_signal(hand: Hand) -> None:
    page = hand.page
    visit = hand.open_visit()
    hand.office.kill()
    speak(hand, "es", "Teléfono")

    hand.go(f"{visit}/lists/walk/safe")
    expect(hand.heading).to_have_text("Hágalo seguro")
    expect(page.locator(".warn")).to_contain_text("Una superficie caliente quema.")
    hand.press("Hecho")
    expect(hand.heading).to_have_text("Lea los dos lados")
    hand.enter("gap.cold", "−5,5")
    hand.enter("gap.hot", "90")
    verdict = page.locator(".verdict.fail")
    expect(verdict).to_contain_text("Diferencia: No cumple")
    expect(verdict).to_contain_text("95.5 °F pasa del límite. Cierre la diferencia.")
    # What has no words is read out in the language it stands in.
    hand.enter("gap.hot", "40")
    left = page.locator('.verdict.caution [lang="en"]')
    expect(left).to_have_text("45.5 °F is large. Look for the reason.")
    expect(hand.heading).not_to_have_attribute("lang", "en")
    hand.press("Guardar y seguir")
    page.locator(".bar").get_by_role("link", name="Sigue: elija el metal").click()
    expect(hand.heading).to_have_text("Elija el metal")
    page.get_by_role("radio", name="Cobre").check()
    hand.press("Guardar y seguir")
    expect(hand.heading).to_have_text("Hold it")
    expect(hand.heading).to_have_attribute("lang", "en")
    kept = {record["body"]["quantity"]: record["body"] for record in hand.records("value-set")}
    assert kept["gap.cold"]["text"] == "−5,5"
    assert kept["gap.metal"]["text"] == kept["gap.metal"]["si"] == "Copper"

    hand.go(f"{visit}/report")
    expect(page.locator("main")).to_contain_text("Hallazgos")
    expect(page.locator("main")).to_contain_text("Cobre")
    speak(hand, "en", "This phone")
    hand.go(f"{visit}/report")
    expect(page.locator("main")).to_contain_text("Findings")
    expect(page.locator("main")).to_contain_text("Copper")
    assert page.locator('main [lang="en"]').count() == 0


@pytest.mark.long
@pytest.mark.parametrize(("locale", "heading"), [("es-US", "Visitas"), ("fr-FR", "Visits")])
def test_a_phone_speaks_its_own_language_at_first(
    locale: str, heading: str, tmp_path: Path
) -> None:
    office = PhoneOffice(tmp_path / "office").start()
    with in_hand(office, tmp_path / "phone", locale=locale) as hand:
        hand.go("/")
        expect(hand.heading).to_have_text(heading)
    office.kill()
