"""A technician's hand on the phone app in a real browser."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import (
    BrowserContext,
    Locator,
    Page,
    ViewportSize,
    expect,
    sync_playwright,
)

from tests.phone_office import PhoneOffice, rules

FLAGS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
# A loaded machine may be slow; what does not come at all fails all the same.
expect.set_options(timeout=40_000)
SIZE: ViewportSize = {"width": 390, "height": 844}


def chromium() -> str:
    path = os.environ.get("KNEEWALL_CHROMIUM") or shutil.which("chromium")
    if not path:
        pytest.fail("No browser: set KNEEWALL_CHROMIUM to the path of a Chromium.")
    return path


@dataclass
class Hand:
    """One phone in one hand; the profile folder is what stays on the phone."""

    page: Page
    context: BrowserContext
    office: PhoneOffice
    profile: Path

    def go(self, path: str = "/") -> None:
        """Open an address as from a link outside, and wait for the screen."""
        self.page.goto(f"{self.office.address}{path}")
        expect(self.heading).to_be_visible()

    @property
    def heading(self) -> Locator:
        return self.page.locator("h1")

    @property
    def unsent(self) -> int:
        count = self.page.locator("[data-unsent]").get_attribute("data-unsent")
        return int(count or 0)

    def press(self, name: str) -> None:
        """A button or a link, by the beginning of its name."""
        label = re.compile(f"^{re.escape(name)}")
        either = self.page.get_by_role("button", name=label)
        either.or_(self.page.get_by_role("link", name=label)).first.click()

    def field(self, quantity: str, member: str = "") -> Locator:
        return self.page.locator(f'[id="f-{quantity}-{member}"]')

    def enter(self, quantity: str, text: str, member: str = "") -> None:
        self.field(quantity, member).fill(text)

    def says(self, quantity: str, member: str = "") -> str:
        """What stands below a field."""
        return self.page.locator(f'[id="f-{quantity}-{member}-says"]').inner_text()

    def choose(self, quantity: str, value: str) -> None:
        self.page.locator(f'input[name="f-{quantity}-"][value="{value}"]').check()

    def enrol(self, name: str = "Rosa") -> None:
        """Enrol, fetch the rules, and wait until the app is whole on the phone."""
        self.go("/enrol")
        self.page.get_by_label("Code from the office").fill(self.office.code())
        self.page.get_by_label("Whose phone this is").fill(name)
        self.press("Enrol")
        expect(self.heading).to_have_text("Visits")
        expect(self.page.locator(".strip")).to_contain_text(re.compile(r"Rules \d+"))
        self.wait_ready()

    def wait_ready(self) -> None:
        self.go("/phone")
        expect(self.page.locator('[data-offline="ready"]')).to_be_visible()

    def open_visit(self, site: str = "14 Alder Lane", checklist: str = "Walk-through") -> str:
        """A new visit with everything new. Returns its address."""
        self.go("/visits/new")
        self.page.get_by_role("radio", name="Commissioning").check()
        if self.page.locator("select#site").count():
            self.page.locator("select#site").select_option("new")
        self.page.get_by_label("Name of the site").fill(site)
        self.page.get_by_label("What the system is called").fill("Attic")
        self.page.get_by_role("checkbox", name=checklist).check()
        self.press("Open the visit")
        expect(self.heading).to_contain_text("Commissioning")
        return self.page.url.removeprefix(self.office.address)

    def keep(self) -> None:
        """Keeps what was typed in a calculator."""
        self.press("Keep in this visit")
        expect(self.page.get_by_role("button", name="Keep in this visit")).to_be_disabled()

    def close_visit(self, visit: str) -> None:
        self.go(visit)
        self.press("Close the visit")
        self.press("Yes, close it")
        expect(self.page.locator("main")).to_contain_text("closed")

    def come_back(self, site: str) -> str:
        """A maintenance visit to the one system of a site. Returns its address."""
        self.go("/visits/new")
        self.page.get_by_label("Maintenance").check()
        self.page.locator("select#site").select_option(label=site)
        self.page.get_by_label("Attic").check()
        self.press("Open the visit")
        expect(self.heading).to_contain_text("Maintenance")
        return self.page.url.removeprefix(self.office.address)

    def rejoin(self) -> None:
        """A fresh look at the screen, as after a swipe to another app and back."""
        self.page.reload()
        expect(self.heading).to_be_visible()

    def database(self, script: str) -> Any:
        """Run JavaScript with `db`, the phone's opened database."""
        opening = (
            "const db = await new Promise((done, failed) => {"
            "const asked = indexedDB.open('kneewall');"
            "asked.onsuccess = () => done(asked.result); asked.onerror = failed; });"
        )
        return self.page.evaluate(f"async () => {{ {opening} {script} }}")

    def records(self, kind: str) -> list[dict[str, Any]]:
        """What is written on this phone, in the order of its arrival."""
        every: list[dict[str, Any]] = self.database(
            "return await new Promise((done) => { db.transaction('records').objectStore('records')"
            ".index('order').getAll().onsuccess = (event) =>"
            " done(event.target.result.map(({line}) => JSON.parse(line))) });"
        )
        return [record for record in every if record["kind"] == kind]

    def kill_browser(self) -> None:
        """As a phone that drops dead: every process of this browser, at once."""
        listing = subprocess.run(
            ["ps", "-eo", "pid,args"], capture_output=True, text=True, check=True
        )
        for line in listing.stdout.splitlines():
            pid, _, args = line.strip().partition(" ")
            if f"--user-data-dir={self.profile}" in args:
                os.kill(int(pid), signal.SIGKILL)


@contextmanager
def in_hand(office: PhoneOffice, profile: Path, **context: Any) -> Iterator[Hand]:
    """Start the browser on a profile folder. Faults of the page fail the test."""
    faults: list[str] = []
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=chromium(),
            args=FLAGS,
            viewport=SIZE,
            has_touch=True,
            **context,
        )
        opened.set_default_timeout(40_000)
        page = opened.pages[0]
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        try:
            yield Hand(page, opened, office, profile)
        finally:
            try:
                opened.close()
            except Exception as fault:  # noqa: BLE001  a browser that was killed cannot be closed
                faults += [] if "closed" in str(fault) else [str(fault)]
    assert not faults


@contextmanager
def enrolled(folder: Path, **context: Any) -> Iterator[Hand]:
    """A phone enrolled at an office of its own, which has the invented rules."""
    office = PhoneOffice(folder / "office")
    office.publish(rules())
    office.start()
    with in_hand(office, folder / "phone", **context) as hand:
        hand.enrol()
        yield hand
    office.kill()
