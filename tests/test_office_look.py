"""Every page of the office, in both themes: contrast, names, sizes, and no page wider than its window."""

from __future__ import annotations

import hashlib
import threading
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect, sync_playwright
from werkzeug.serving import make_server

from kneewall.records.devices import revoke
from tests.office_double import (
    PASSWORD,
    PERSON,
    OfficeDouble,
    worked_visit,
    write_pack,
)
from tests.phone_hand import FLAGS, chromium

pytestmark = pytest.mark.browser

AXE = Path(__file__).resolve().parents[1] / "pwa" / "node_modules" / "axe-core" / "axe.min.js"
LEAST_TARGET = 36
WIDTHS = (1280, 390)
LIMITS = "quantities:\n  x.y: {label: X, unit: V, limits: 0 V to 1 m}\n"
WIRES = "size [wire_size], resistance [ohm/kft]\n8 AWG, 0.8\n12 AWG, thick\n"
ROWS = """sources:
  our-own: {title: What we measured, kind: practice, confirmed: true}
rows:
  wire: {source: our-own, file: wires.csv}
"""


@dataclass
class Desk:
    page: Page
    address: str
    visit: str
    phone: str
    edition: str
    office: OfficeDouble

    def show(self, name: str, theme: str) -> None:
        self.page.context.add_cookies([{"name": "theme", "value": theme, "url": self.address}])
        path = PAGES[name]
        for word, value in (("VISIT", self.visit), ("PHONE", self.phone), ("OLD", self.edition)):
            path = path.replace(word, value)
        self.page.goto(f"{self.address}/office/{path}")
        expect(self.page.locator("body")).to_be_visible()
        self.page.evaluate(
            "document.querySelectorAll('details').forEach((one) => (one.open = true))"
        )


PAGES = {
    "signing in": "sign-in",
    "first minute": "",
    "visits": "visits",
    "visit": "visits/VISIT",
    "plan": "plan",
    "sites": "sites",
    "phones": "phones",
    "revoking": "phones/PHONE/revoke",
    "rules": "rules",
    "draft": "rules/draft",
    "going back": "rules/OLD/again",
    "table": "rules/files/wires.csv",
    "rule file": "rules/files/limits.yaml",
    "handbook": "handbook",
    "chapter": "handbook/run-drop",
    "to confirm": "handbook/to-confirm",
    "held back": "held-back",
    "told": "told",
    "nowhere": "no-such-place",
}


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """An office with a failed visit on it, a broken draft, an edition to go back to, and odd lines."""
    folder = tmp_path_factory.mktemp("look")
    trade = write_pack(folder / "trade")
    office = OfficeDouble.furnished(folder / "data")
    first = office.office.editions.live()
    assert first
    office.publish("3", "stricter")
    with office.office.store.writing() as connection:
        office.office.store.set_meta(connection, "demo", f"{PERSON} {PASSWORD}")
    wire = furnish(office)
    for name, text in (("wires.csv", WIRES), ("wires.yaml", ROWS), ("limits.yaml", LIMITS)):
        office.office.draft.write(name, text)
    server = make_server("127.0.0.1", 0, office.app, threaded=True)
    serving = threading.Thread(target=server.serve_forever)
    serving.start()
    address = f"http://localhost:{server.port}"
    try:
        with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
            patch.setattr("kneewall.web.draft.trade_pack", lambda: trade)
            browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
            # The accessibility checker builds its own scripts, which the office's policy forbids.
            context = browser.new_context(bypass_csp=True, viewport={"width": 1280, "height": 900})
            page = context.new_page()
            page.goto(f"{address}/office/sign-in")
            page.get_by_label("Name").fill(PERSON)
            page.get_by_label("Password").fill(PASSWORD)
            page.get_by_role("button", name="Sign in").click()
            expect(page.locator("h1")).to_have_text("First minute")
            yield Desk(page, address, wire.phone.visit, wire.phone.device, first.hash, office)
            browser.close()
    finally:
        server.shutdown()
        serving.join()
        server.server_close()
        office.close()


def furnish(office: OfficeDouble) -> Any:
    """A visit with everything that a visit can have, a revoked phone, and lines that are held back."""
    wire, other, gone = (office.enrol(name) for name in ("Rosa", "Abe", "Tom"))
    circuit = worked_visit(wire, current=45)
    phone = wire.phone
    step = {"checklist": "short", "step": "dead", "outcome": "skipped", "reason": "no key"}
    phone.write("step-done", step)
    phone.write("timer-started", {"timer": str(uuid.uuid4()), "step": "hold", "target_s": 60})
    slip = phone.write("note", {"text": "Whip is 4 ft."})
    phone.write("corrected", {"record": slip["id"], "text": "Whip is 6 ft."})
    picture = b"\x89PNG\r\n\x1a\n" + bytes(40)
    digest = hashlib.sha256(picture).hexdigest()
    photo = {"photo": digest, "mime": "image/png", "size": len(picture), "caption": "Box"}
    phone.write("photo", photo)
    wrong = [{"id": "run.drop_small", "member": circuit, "verdict": "pass"}]
    signed = {"name": "J. T.", "statement": "Seen.", "strokes": "M40 130 L560 110"}
    phone.write("signed", signed | {"results": {"results": [], "checks": wrong}})
    wire.send()
    second = other.phone
    second.site, second.system, second.visit = phone.site, phone.system, phone.visit
    second.set("run.length", 30.0, "98.4", unit="ft", member=circuit)
    other.send()
    gone.phone.begin()
    revoke(office.office.store, gone.phone.device)
    gone.send([*gone.phone.lines, b"garbage"])
    told = {"id": str(uuid.uuid4()), "kind": "self-test-failed", "wall": "x", "text": "3 of 40"}
    wire.report(events=[told])
    return wire


@pytest.mark.parametrize("theme", ["sun", "attic"])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_readable_by_everyone(desk: Desk, name: str, theme: str) -> None:
    desk.show(name, theme)
    desk.page.evaluate(AXE.read_text(encoding="utf-8"))
    found: list[dict[str, Any]] = desk.page.evaluate(
        """async () => {
          const { violations } = await axe.run(document, {
            runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "wcag2aaa", "best-practice"],
            rules: { "color-contrast-enhanced": { enabled: true } },
          });
          return violations.map(({ id, nodes }) =>
            ({ id, at: nodes.map(({ html, any }) => `${html.slice(0, 160)} ${any[0]?.message ?? ""}`) }));
        }"""
    )
    assert found == []


@pytest.mark.parametrize("name", PAGES)
def test_what_is_pressed_is_large_and_nothing_runs_off_the_page(desk: Desk, name: str) -> None:
    for width in WIDTHS:
        desk.page.set_viewport_size({"width": width, "height": 900})
        desk.show(name, "sun")
        measured: dict[str, Any] = desk.page.evaluate(
            """least => ({
              wide: document.documentElement.scrollWidth - innerWidth,
              small: [...document.querySelectorAll("button, input:not([type=hidden]), select, textarea, a.button")]
                .filter(one => one.getBoundingClientRect().width > 0)
                .filter(one => (one.closest("label") ?? one).getBoundingClientRect().height < least)
                .map(one => one.outerHTML.slice(0, 120)),
            })""",
            LEAST_TARGET,
        )
        assert measured == {"wide": 0, "small": []}
    desk.page.set_viewport_size({"width": 1280, "height": 900})
