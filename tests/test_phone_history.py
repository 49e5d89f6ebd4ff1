"""Looking back without signal: what each visit on a system found, drawn and listed."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Locator, expect

from tests.phone_hand import Hand, enrolled

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def hand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hand]:
    with enrolled(tmp_path_factory.mktemp("history")) as hand:
        yield hand


def figures(chart: Locator) -> list[str]:
    """The cells of the list beside a chart, without their heads."""
    return [" ".join(cell.split()) for cell in chart.locator("td").all_inner_texts()]


def test_two_visits_of_a_system_stand_in_one_chart(hand: Hand) -> None:
    first = hand.open_visit(site="12 Rowan Way")
    hand.go(f"{first}/calculators/wear")
    worn, left = hand.page.locator("figure.chart-of").all()
    expect(worn).to_contain_text("No visit on this phone has it yet.")
    expect(worn.locator("svg.chart")).to_have_count(0)
    hand.page.get_by_role("textbox", name="Wear", exact=True).fill("0.2")
    hand.page.locator("details.fold summary").click()
    hand.page.get_by_role("textbox", name="Most wear").fill("0.5")
    expect(worn.locator(".dot")).to_have_count(1)
    hand.keep()
    hand.close_visit(first)

    hand.context.set_offline(True)
    second = hand.come_back("12 Rowan Way")
    hand.go(f"{second}/calculators/wear")
    worn, left = hand.page.locator("figure.chart-of").all()
    expect(worn.locator(".dot")).to_have_count(1)
    hand.page.get_by_role("textbox", name="Wear", exact=True).fill("0.6")
    expect(worn.locator(".dot")).to_have_count(2)
    expect(worn.locator(".ring")).to_have_count(1)
    expect(worn.locator("svg.chart")).to_contain_text("Most wear 0.5 in")
    expect(worn.locator("svg.chart .value")).to_have_text(["0.2 in when new", "0.6 in"])
    assert figures(worn) == ["0.2 in Within", "0.6 in Fails", "Most wear 0.5 in"]
    days = worn.get_by_role("rowheader")
    expect(days).to_have_count(2)
    expect(days.first).to_contain_text("put into service")
    expect(days.last).not_to_contain_text("put into service")
    assert figures(left) == ["0.30 in", "−0.10 in"]
    hand.keep()

    hand.go("/phone")
    hand.page.get_by_role("radio", name="SI", exact=True).check()
    hand.go(f"{second}/calculators/wear")
    expect(worn.locator("svg.chart .value").last).to_contain_text("mm")
    hand.go(f"{second}/report")
    sheet = hand.page.locator(".sheet figure.chart-of")
    expect(sheet).to_have_count(2)
    expect(sheet.first.locator(".dot")).to_have_count(2)
    hand.go("/calculators/wear")
    expect(hand.page.locator("figure.chart-of")).to_have_count(0)
    hand.context.set_offline(False)
