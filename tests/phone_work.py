"""A technician who works checklists through on the phone, with everything known that will be asked."""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from playwright.sync_api import expect

from kneewall.bundle import Bundle, Quantity, Step
from tests.phone_hand import Hand

LATER = """
const real = Date;
const later = () => Number(sessionStorage.getItem("later") ?? 0);
globalThis.Date = class extends real {
  constructor(...given) {
    if (given.length === 0) super(real.now() + later());
    else super(...given);
  }
  static now() { return real.now() + later(); }
};
const mono = performance.now.bind(performance);
performance.now = () => mono() + later();
"""
"""Clocks that can be put on. Playwright's own also drives the frames, and each press then takes two seconds."""
STEP = re.compile(r"/lists/([^/?#]+)/([^/?#]+)")
MOST_STEPS = 400
PRESS = {
    "do": "Done",
    "read": "Keep and go on",
    "choose": "Keep and go on",
    "time": "Keep and go on",
    "photo": "Done",
}


@dataclass
class Work:
    """What is found on this job, by quantity: one text for all members, or one for each in turn.

    A series is a list of (minutes since the reading before, text).
    """

    hand: Hand
    bundle: Bundle
    visit: str
    found: Mapping[str, str | Sequence[str]]
    series: Mapping[str, Sequence[tuple[float, str]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.hand.page.add_init_script(LATER)

    def later(self, minutes: float) -> None:
        """So much time goes by at once, as for a phone that sleeps."""
        self.hand.page.evaluate(
            "ms => sessionStorage.setItem('later', Number(sessionStorage.getItem('later') ?? 0) + ms)",
            minutes * 60_000,
        )

    def through(self, checklist: str) -> list[str]:
        """Work a list to its end. Returns its steps in the order in which they came."""
        page = self.hand.page
        self.hand.go(f"{self.visit}/lists/{checklist}")
        done: list[str] = []
        onward = page.get_by_role("link", name=re.compile("^Next: "))
        if not onward.count():
            return done
        onward.first.click()
        for _ in range(MOST_STEPS):
            page.wait_for_url(STEP)
            before = page.url
            at = STEP.search(page.url)
            assert at is not None
            assert at[1] == checklist
            step = self._step(checklist, at[2])
            expect(self.hand.heading).to_have_text(step.title)
            self._fill(step)
            if self._close(step):
                done.append(step.id)
                self._onward(before)
            page.wait_for_url(lambda now, before=before: now != before)  # type: ignore[misc]
            if not STEP.search(page.url):
                return done
        raise AssertionError(f"{checklist} has no end")

    def _step(self, checklist: str, step: str) -> Step:
        found = next(each for each in self.bundle.checklists if each.id == checklist)
        return next(each for each in found.steps if each.id == step)

    def _quantity(self, name: str) -> Quantity:
        return next(each for each in self.bundle.quantities if each.id == name)

    def _fill(self, step: Step) -> None:
        for name in [*step.enter, *step.if_known]:
            quantity = self._quantity(name)
            if step.act == "time" and quantity.type == "series":
                continue
            if name in self.found:
                self._put(quantity, self.found[name])
            else:
                assert name in step.if_known or quantity.default is not None, (
                    f"{step.id} asks for {name}, which is not known on this job"
                )

    def _put(self, quantity: Quantity, texts: str | Sequence[str]) -> None:
        page = self.hand.page
        start = f"f-{quantity.id}-"
        assert quantity.type != "series", f"{quantity.id} is typed in rows of two"
        radios = page.locator(f'input[type=radio][name^="{start}"]')
        fields = page.locator(f'input:not([type=radio])[id^="{start}"], select[id^="{start}"]')
        names = list(
            dict.fromkeys(radios.evaluate_all("all => all.map(each => each.name)"))
        ) or fields.evaluate_all("all => all.map(each => each.id)")
        each = [texts] * len(names) if isinstance(texts, str) else list(texts)
        assert names, f"no field for {quantity.id}"
        if quantity.type == "list":
            names = [name.removesuffix("-0") for name in names if name.endswith("-0")]
        assert len(each) == len(names), f"{quantity.id} is asked {len(names)} times"
        for place, text in zip(names, each, strict=True):
            one = page.locator(f'[id="{place}"]')
            if quantity.type == "list":
                for row, entry in enumerate(text.split("; ")):
                    page.locator(f'[id="{place}-{row}"]').fill(entry)
                continue
            if radios.count():
                page.locator(f'input[name="{place}"][value="{text}"]').check()
            elif one.evaluate("it => it.tagName") == "SELECT":
                one.select_option(text)
            elif one.input_value() != text:
                one.fill(text)

    def _close(self, step: Step) -> bool:
        """Press what closes the step; false where another must be done first."""
        bar = self.hand.page.locator(".bar")
        first = bar.get_by_role("link", name=re.compile("^First: "))
        if first.count():
            first.click()
            return False
        if step.act == "time":
            self._hold(step)
        if step.act == "photo":
            photograph(self.hand)
        if step.act == "sign":
            self.hand.press("Sign")
            sign(self.hand)
        else:
            bar.get_by_role("button", name=PRESS[step.act]).click()
        return True

    def _onward(self, step: str) -> None:
        """A step with a verdict to heed stays until it was seen."""
        page = self.hand.page
        closed = "step => location.href !== step || !document.querySelector('.bar button')"
        page.wait_for_function(closed, arg=step)
        if page.url == step:
            assert page.locator("#said .verdict:is(.fail, .caution)").count()
            page.locator(".bar").get_by_role("link").last.click()

    def _hold(self, step: Step) -> None:
        page = self.hand.page
        self.hand.press("Start the timer")
        expect(page.get_by_role("timer")).to_be_visible()
        for name in step.enter:
            for number, (minutes, text) in enumerate(self.series.get(name, ()), 1):
                self.later(minutes)
                page.locator(f'input[id="f-{name}-"]').fill(text)
                self.hand.press("Take this reading now")
                said = "1 reading taken" if number == 1 else f"{number} readings taken"
                expect(page.locator("main")).to_contain_text(said)
        if not any(name in self.series for name in step.enter):
            self.later(self._least_minutes(step))
        if step.least:
            expect(page.locator("main")).to_contain_text("The time is complete.")
        self.hand.press("Stop the timer")
        expect(page.get_by_role("timer")).to_have_count(0)

    def _least_minutes(self, step: Step) -> float:
        """The hold asked for, a minute longer."""
        least = self._quantity(step.least).default if step.least else None
        return (least if isinstance(least, float) else 0) / 60 + 1


def photograph(hand: Hand) -> None:
    """A small picture where the step asks for one, shown."""
    shot = {"name": "found.png", "mimeType": "image/png", "buffer": picture()}
    hand.page.locator("#photo").set_input_files(shot)  # type: ignore[arg-type]
    expect(hand.page.get_by_role("img", name="Photo of this step")).to_be_visible()


def sign(hand: Hand) -> None:
    """A stroke on the pad, kept."""
    pad = hand.page.locator(".strokes").bounding_box()
    assert pad
    hand.page.mouse.move(pad["x"] + 30, pad["y"] + 60)
    hand.page.mouse.down()
    hand.page.mouse.move(pad["x"] + 150, pad["y"] + 30)
    hand.page.mouse.move(pad["x"] + 220, pad["y"] + 80)
    hand.page.mouse.up()
    hand.press("Sign and keep")
    expect(hand.page.locator(".strokes")).to_have_count(0)


def picture() -> bytes:
    """A small PNG."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        checked = kind + content
        return struct.pack(">I", len(content)) + checked + struct.pack(">I", zlib.crc32(checked))

    size = struct.pack(">IIBBBBB", 8, 8, 8, 2, 0, 0, 0)
    pixels = zlib.compress(b"".join(b"\0" + b"\xc0\x80\x40" * 8 for _ in range(8)))
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", size) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")
    )
