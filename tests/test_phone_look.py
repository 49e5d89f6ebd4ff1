"""Every screen, in both themes: contrast, names, target sizes, letter sizes, and what stays in sight."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.phone_hand import Hand, in_hand
from tests.phone_office import ROOT, PhoneOffice, rules

pytestmark = pytest.mark.browser

AXE = ROOT / "pwa" / "node_modules" / "axe-core" / "axe.min.js"
LEAST_TARGET = 48
LEAST_GAP = 8
LEAST_LETTERS = 16


@pytest.fixture(scope="module")
def hand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hand]:
    """A phone with a visit in work: some steps done, one check failed, one reading missing."""
    folder = tmp_path_factory.mktemp("look")
    office = PhoneOffice(folder / "office")
    office.publish(rules())
    office.start()
    # The accessibility checker builds its own scripts, which the app's policy forbids.
    with in_hand(office, folder / "phone", bypass_csp=True) as hand:
        hand.enrol()
        visit = hand.open_visit()
        hand.go(f"{visit}/lists/walk/safe")
        hand.press("Done")
        expect(hand.heading).to_have_text("Read both sides")
        hand.enter("gap.cold", "10")
        hand.enter("gap.hot", "90")
        hand.press("Keep and go on")
        expect(hand.page.locator(".bar").get_by_role("link", name="Next: ")).to_be_visible()
        hand.go("/calculators/gap")
        hand.enter("gap.cold", "10")
        hand.enter("gap.hot", "60")
        hand.page.evaluate(f"globalThis.visit = {visit!r}")
        hand.visit = visit  # type: ignore[attr-defined]
        yield hand
    office.kill()


SCREENS = {
    "visits": "/",
    "new visit": "/visits/new",
    "visit": "VISIT",
    "checklist": "VISIT/lists/walk",
    "step to do": "VISIT/lists/walk/safe",
    "step to read": "VISIT/lists/walk/sides",
    "step to time": "VISIT/lists/walk/wait",
    "step to photograph": "VISIT/lists/walk/picture",
    "step held back": "VISIT/lists/walk/name",
    "signing": "VISIT/sign",
    "report": "VISIT/report",
    "entry": "VISIT/entries/RECORD",
    "calculators of the visit": "VISIT/calculators",
    "calculator in the visit": "VISIT/calculators/gap",
    "calculators": "/calculators",
    "calculator": "/calculators/gap",
    "calculator, empty": "/calculators/hold",
    "result": "/calculators/gap/gap.counted",
    "result, unknown": "/calculators/hold/hold.last",
    "handbook": "/handbook",
    "handbook, a chapter": "/handbook/gap",
    "handbook, to confirm": "/handbook/to-confirm",
    "this phone": "/phone",
    "set aside": "/phone/parked",
    "log": "/phone/log",
    "enrolment": "/enrol",
    "nowhere": "/no-such-place",
}


def show(hand: Hand, screen: str, theme: str) -> None:
    hand.page.evaluate(
        "theme => localStorage.setItem('kneewall.settings', JSON.stringify({theme, system: 'ip'}))",
        theme,
    )
    path = SCREENS[screen].replace("VISIT", hand.visit)  # type: ignore[attr-defined]
    if "RECORD" in path:
        path = path.replace("RECORD", hand.records("value-set")[0]["id"])
    hand.go(path)
    hand.page.evaluate("document.querySelectorAll('details').forEach((each) => (each.open = true))")


@pytest.mark.parametrize("theme", ["sun", "attic"])
@pytest.mark.parametrize("screen", SCREENS)
def test_a_screen_is_readable_by_everyone(hand: Hand, screen: str, theme: str) -> None:
    show(hand, screen, theme)
    hand.page.evaluate(AXE.read_text(encoding="utf-8"))
    found: list[dict[str, Any]] = hand.page.evaluate(
        """async () => {
          const { violations } = await axe.run(document, {
            runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "wcag2aaa", "best-practice"],
            rules: { "color-contrast-enhanced": { enabled: true } },
          });
          return violations.map(({ id, nodes }) => ({ id, at: nodes.map(({ html }) => html) }));
        }"""
    )
    assert found == []


@pytest.mark.parametrize("screen", SCREENS)
def test_what_can_be_pressed_is_large_and_apart(hand: Hand, screen: str) -> None:
    show(hand, screen, "attic")
    boxes: list[dict[str, Any]] = hand.page.evaluate(
        """() => [...document.querySelectorAll("a, button, input, select, textarea, summary")]
          .map((each) => {
            const { x, y, width, height } = each.getBoundingClientRect();
            return { what: each.outerHTML.slice(0, 120), x, y: y + scrollY, width, height,
                     inside: !!each.closest(".field, .bar, .strip, .places, .line") };
          })
          .filter(({ width }) => width > 0)"""
    )
    assert boxes
    small = [b["what"] for b in boxes if min(b["width"], b["height"]) < LEAST_TARGET]
    assert small == []
    free = [box for box in boxes if not box["inside"]]
    close = [
        (a["what"], b["what"])
        for place, a in enumerate(free)
        for b in free[place + 1 :]
        if gap_between(a, b) < LEAST_GAP
    ]
    assert close == []


def gap_between(a: dict[str, float], b: dict[str, float]) -> float:
    across = max(a["x"] - b["x"] - b["width"], b["x"] - a["x"] - a["width"])
    down = max(a["y"] - b["y"] - b["height"], b["y"] - a["y"] - a["height"])
    return max(across, down)


@pytest.mark.parametrize("screen", SCREENS)
def test_letters_are_large_and_nothing_runs_over_the_edge(hand: Hand, screen: str) -> None:
    show(hand, screen, "sun")
    small: list[str] = hand.page.evaluate(
        """(least) => [...document.querySelectorAll("body *")]
          .filter((each) => each.checkVisibility() && !each.closest(".unseen") &&
            [...each.childNodes].some((node) => node.nodeType === 3 && node.data.trim()))
          .filter((each) => parseFloat(getComputedStyle(each).fontSize) < least)
          .map((each) => each.outerHTML.slice(0, 120))""",
        LEAST_LETTERS,
    )
    assert small == []
    inputs = hand.page.evaluate(
        "[...document.querySelectorAll('input, select, textarea')]"
        ".map((each) => parseFloat(getComputedStyle(each).fontSize))"
    )
    assert all(size >= LEAST_LETTERS for size in inputs)
    assert hand.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_with_the_keyboard_open_field_and_button_do_not_cover_each_other(hand: Hand) -> None:
    hand.page.set_viewport_size({"width": 390, "height": 400})
    try:
        show(hand, "calculator", "attic")
        hand.field("gap.hot").focus()
        box = hand.field("gap.hot").bounding_box()
        bar = hand.page.locator(".bar").bounding_box()
        assert box
        assert bar
        assert box["y"] + box["height"] <= 400
        assert bar["y"] >= box["y"] + box["height"]
    finally:
        hand.page.set_viewport_size({"width": 390, "height": 844})


def test_the_chosen_light_stays_and_the_phone_decides_else(hand: Hand, tmp_path: Path) -> None:
    show(hand, "this phone", "auto")
    hand.page.emulate_media(color_scheme="dark")
    expect(hand.page.locator("html")).to_have_class("attic")
    hand.page.get_by_label("Sun").check()
    expect(hand.page.locator("html")).not_to_have_class("attic")
    hand.rejoin()
    expect(hand.page.locator("html")).not_to_have_class("attic")


def test_moving_on_moves_the_reader_along(hand: Hand) -> None:
    show(hand, "calculators", "sun")
    hand.page.get_by_role("link", name="Gap between two sides").click()
    expect(hand.heading).to_have_text("Gap between two sides")
    expect(hand.page.locator("main")).to_be_focused()
    expect(hand.page).to_have_title("Gap between two sides · Kneewall")
