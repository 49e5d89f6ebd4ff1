"""How figures go in: signs, commas, units, limits, and what the phone answers."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import expect

from tests.phone_hand import Hand, enrolled

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def hand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hand]:
    with enrolled(tmp_path_factory.mktemp("entry")) as hand:
        yield hand


@pytest.fixture
def gap(hand: Hand) -> Hand:
    """The calculator, empty."""
    hand.go("/calculators/gap")
    clear = hand.page.get_by_role("button", name="Clear")
    if clear.is_enabled():
        clear.click()
    expect(hand.field("gap.cold")).to_have_value("")
    return hand


def found(hand: Hand) -> str:
    return hand.page.locator(".answer .big").inner_text()


def test_a_minus_needs_no_minus_key(gap: Hand) -> None:
    gap.enter("gap.cold", "5")
    gap.enter("gap.hot", "20")
    assert found(gap) == "15.0 °F"
    gap.page.get_by_role("button", name="Plus or minus: Cold side").click()
    expect(gap.field("gap.cold")).to_have_value("−5")
    assert found(gap) == "25.0 °F"
    gap.page.get_by_role("button", name="Plus or minus: Cold side").click()
    expect(gap.field("gap.cold")).to_have_value("5")


@pytest.mark.parametrize("text", ["1.5", "1,5", " 1.50", "3/2", "1 1/2"])
def test_point_comma_and_fraction_are_the_same(gap: Hand, text: str) -> None:
    gap.enter("gap.cold", text)
    gap.enter("gap.hot", "11,5")
    assert found(gap) == "10.0 °F"
    assert gap.says("gap.cold").startswith("= 1.5 °F")


def test_what_could_be_a_grouping_is_asked_about(gap: Hand) -> None:
    gap.enter("gap.cold", "1,234")
    assert "This could be 1234 or 1.234" in gap.says("gap.cold")
    expect(gap.page.locator(".answer .big")).to_have_count(0)


@pytest.mark.parametrize("text", ["abc", "1.2.3", "--4", "4 psi"])
def test_what_is_no_such_number_is_refused_in_place(gap: Hand, text: str) -> None:
    gap.enter("gap.cold", text)
    expect(gap.page.locator('[id="f-gap.cold--says"] .problem')).to_be_visible()
    expect(gap.field("gap.cold")).to_have_attribute("aria-invalid", "true")
    expect(gap.field("gap.cold")).to_have_value(text)


def test_a_limit_is_named_in_the_unit_used(gap: Hand) -> None:
    gap.enter("gap.hot", "301")
    assert "it can only be −60 °F to 300 °F" in gap.says("gap.hot")
    gap.page.get_by_role("button", name=re.compile("Hot side is in °F")).click()
    gap.enter("gap.hot", "200")
    assert "it can only be −51.11 °C to 148.9 °C" in gap.says("gap.hot")


def test_what_is_unusual_is_asked_again(gap: Hand) -> None:
    gap.enter("gap.hot", "200")
    gap.enter("gap.cold", "150")
    expect(gap.page.locator("main")).to_contain_text("this is usually −20 °F to 100 °F")
    expect(gap.page.locator(".answer .big")).to_have_count(0)
    gap.press("150 °F is right")
    assert found(gap) == "50.0 °F"
    gap.enter("gap.cold", "160")
    expect(gap.page.locator(".answer .big")).to_have_count(0)


def test_a_unit_may_be_switched_or_typed(gap: Hand) -> None:
    gap.enter("gap.hot", "100")
    gap.enter("gap.cold", "10")
    gap.page.get_by_role("button", name=re.compile("Cold side is in °F")).click()
    expect(gap.field("gap.cold")).to_have_value("10")
    assert gap.says("gap.cold").startswith("= 10 °C")
    assert found(gap) == "50.0 °F"
    gap.enter("gap.cold", "50 °F")
    assert gap.says("gap.cold").startswith("= 50 °F")
    assert found(gap) == "50.0 °F"


def test_a_default_is_shown_and_named_in_the_result(gap: Hand) -> None:
    gap.enter("gap.cold", "10")
    gap.enter("gap.hot", "30")
    fold = gap.page.locator("details.fold summary")
    expect(fold).to_contain_text("Share of the gap that counts 50 %")
    gap.page.get_by_role("link", name="Part that counts").click()
    expect(gap.heading).to_have_text("Part that counts")
    expect(gap.page.locator(".work")).to_contain_text(
        "Taken without an entry: Share of the gap that counts 50 %"
    )


def test_every_kind_of_field_takes_its_value(gap: Hand) -> None:
    gap.page.locator("details.fold summary").click()
    gap.choose("gap.metal", "Copper")
    gap.field("gap.gauge").select_option("8 AWG")
    gap.choose("gap.sealed", "yes")
    gap.field("gap.day").fill("2026-11-25")
    gap.page.locator('[id="f-gap.marks--0"]').fill("1,5")
    gap.page.locator('[id="f-gap.marks--1"]').fill("2")
    expect(gap.page.get_by_role("link", name="Number of marks")).to_contain_text("2")
    gap.rejoin()
    gap.page.locator("details.fold summary").click()
    expect(gap.page.locator('input[name="f-gap.metal-"][value="Copper"]')).to_be_checked()
    expect(gap.field("gap.gauge")).to_have_value("8 AWG")
    expect(gap.page.locator('input[name="f-gap.sealed-"][value="yes"]')).to_be_checked()
    expect(gap.field("gap.day")).to_have_value("2026-11-25")
    expect(gap.page.locator('[id="f-gap.marks--1"]')).to_have_value("2")


def test_what_is_missing_leads_to_its_field(gap: Hand) -> None:
    gap.enter("gap.cold", "10")
    gap.page.locator(".answer").get_by_role("link", name="Hot side").click()
    expect(gap.field("gap.hot")).to_be_focused()


def test_the_other_system_of_units_is_shown_throughout(gap: Hand) -> None:
    gap.enter("gap.cold", "10")
    gap.enter("gap.hot", "40")
    # Within the app, so that nothing typed is cut off on its way to the disk.
    gap.press("Calculators")
    expect(gap.heading).to_have_text("Calculators")
    gap.press("This phone")
    expect(gap.heading).to_have_text("This phone")
    gap.page.get_by_label("SI").check()
    gap.go("/calculators/gap")
    expect(gap.field("gap.cold")).to_have_value("10")
    assert gap.says("gap.cold").startswith("= 10 °F (−12.22 °C)")
    assert found(gap) == "16.7 °C"
    gap.go("/phone")
    gap.page.get_by_label("Inch-pound").check()


def test_in_a_visit_it_is_kept_as_typed_and_said_whose_it_is(hand: Hand) -> None:
    visit = hand.open_visit()
    hand.go(f"{visit}/calculators/gap")
    hand.enter("gap.cold", "−1,5")
    hand.enter("gap.hot", "30")
    hand.press("Keep in this visit")
    expect(hand.page.locator("main")).to_contain_text(re.compile(r"kept \d\d:\d\d"))
    expect(hand.field("gap.cold")).to_have_value("−1,5")
    values = {r["body"]["quantity"]: r["body"] for r in hand.records("value-set")}
    assert values["gap.cold"]["text"] == "−1,5"
    assert values["gap.cold"]["unit"] == "degF"
    assert values["gap.cold"]["si"] == pytest.approx((-1.5 + 459.67) * 5 / 9)
    assert values["gap.cold"]["origin"] == "typed"


def test_several_coils_are_asked_for_one_at_a_time(hand: Hand) -> None:
    visit = hand.open_visit(site="9 Birch Row")
    hand.press("Add coil")
    expect(hand.page.locator("main")).to_contain_text("Coil 2")
    hand.go(f"{visit}/calculators/coils")
    hand.page.get_by_role("textbox", name="Length, Coil 1").fill("10")
    hand.press("Keep in this visit")
    expect(hand.page.locator("main")).to_contain_text("kept")
    hand.page.get_by_role("link", name="Coil 2", exact=True).click()
    hand.page.get_by_role("textbox", name="Length, Coil 2").fill("15")
    expect(hand.page.get_by_role("link", name="All lengths together")).to_contain_text("25")
