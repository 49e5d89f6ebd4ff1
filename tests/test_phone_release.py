"""A new release of the app comes onto the phone whole or not at all, and only when a person says so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.phone_hand import Hand, in_hand
from tests.phone_office import PhoneOffice, build_app, events, rules

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def newer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_app(tmp_path_factory.mktemp("app") / "newer", "0.1.1")


@pytest.fixture
def office(tmp_path: Path) -> Iterator[PhoneOffice]:
    office = PhoneOffice(tmp_path / "office")
    office.publish(rules())
    yield office.start()
    office.kill()


def look_for_a_release(hand: Hand) -> str:
    """What became of the worker that an update check found: its last state."""
    state: str = hand.page.evaluate(
        """async () => {
          const registration = await navigator.serviceWorker.ready;
          await registration.update();
          const worker = registration.installing ?? registration.waiting;
          if (!worker) return "none";
          while (!["installed", "activated", "redundant"].includes(worker.state))
            await new Promise((done) => worker.addEventListener("statechange", done, { once: true }));
          return worker.state;
        }"""
    )
    return state


def cache_names(hand: Hand) -> list[str]:
    names: list[str] = hand.page.evaluate("caches.keys()")
    return names


@pytest.mark.parametrize(
    ("broken", "how"),
    [("/assets/main-", "500"), ("/icon-512.png", "cut"), ("/notices.txt", "other")],
)
def test_a_release_with_one_broken_file_leaves_nothing_behind(
    office: PhoneOffice, newer: Path, tmp_path: Path, broken: str, how: str
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        before = cache_names(hand)
        office.kill()
        office.app = newer
        office.start(broken, how)
        assert look_for_a_release(hand) == "redundant"
        assert cache_names(hand) == before
        expect(hand.page.locator("main")).to_contain_text("The old one goes on")
        hand.rejoin()
        expect(hand.page.locator("main")).to_contain_text("App 0.1.0")
        expect(hand.page.locator('[data-offline="ready"]')).to_be_visible()
        office.eventually(lambda store: "install-failed" in events(store))


def test_a_new_release_waits_for_the_person_and_then_is_whole(
    office: PhoneOffice, newer: Path, tmp_path: Path
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        (old,) = cache_names(hand)
        office.kill()
        office.app = newer
        office.start()
        assert look_for_a_release(hand) == "installed"
        hand.rejoin()
        expect(hand.page.locator("main")).to_contain_text("App 0.1.0")
        assert len(cache_names(hand)) == 2
        hand.press("Start the new release")
        expect(hand.page.locator("main")).to_contain_text("App 0.1.1")
        expect(hand.page.locator('[data-offline="ready"]')).to_be_visible()
        assert old not in cache_names(hand)
        office.kill()
        hand.rejoin()
        expect(hand.page.locator("main")).to_contain_text("App 0.1.1")


def test_while_a_timer_runs_no_release_is_offered(
    office: PhoneOffice, newer: Path, tmp_path: Path
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        visit = hand.open_visit()
        hand.go(f"{visit}/lists/walk/safe")
        hand.press("Done")
        expect(hand.heading).to_have_text("Read both sides")
        hand.enter("gap.cold", "10")
        hand.enter("gap.hot", "20")
        hand.press("Keep and go on")
        expect(hand.heading).to_have_text("Choose the metal")
        hand.go(f"{visit}/lists/walk/wait")
        hand.press("Start the timer")
        expect(hand.page.get_by_role("timer")).to_be_visible()
        office.kill()
        office.app = newer
        office.start()
        assert look_for_a_release(hand) == "installed"
        hand.go("/phone")
        expect(hand.page.get_by_role("button", name="Contact the office")).to_be_visible()
        assert hand.page.get_by_role("button", name="Start the new release").count() == 0


def test_a_file_that_the_browser_lost_is_noticed_and_fetched_again(
    office: PhoneOffice, tmp_path: Path
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        hand.enrol()
        office.kill()
        hand.page.evaluate(
            """async () => {
              const [name] = await caches.keys();
              const cache = await caches.open(name);
              for (const request of await cache.keys())
                if (new URL(request.url).pathname.startsWith("/icon")) await cache.delete(request);
            }"""
        )
        verify = "document.querySelector('kw-app').phone.release.verify()"
        hand.page.evaluate(verify)
        expect(hand.page.locator('[data-offline="incomplete"]')).to_be_visible()
        office.start()
        hand.page.evaluate(verify)
        expect(hand.page.locator('[data-offline="ready"]')).to_be_visible()


def test_nothing_of_another_origin_is_asked_for_and_nothing_redirected_is_kept(
    office: PhoneOffice, tmp_path: Path
) -> None:
    with in_hand(office, tmp_path / "phone") as hand:
        elsewhere: list[str] = []
        hand.context.on(
            "request",
            lambda request: (
                elsewhere.append(request.url)
                if not request.url.startswith((office.address, "blob:", "data:"))
                else None
            ),
        )
        hand.enrol()
        hand.go("/calculators/gap")
        kept = hand.page.evaluate(
            """async () => {
              const [name] = await caches.keys();
              const cache = await caches.open(name);
              const found = await Promise.all((await cache.keys()).map((key) => cache.match(key)));
              return found.map(({ type, redirected, status }) => [type, redirected, status]);
            }"""
        )
        assert elsewhere == []
        assert kept
        assert all(entry == ["basic", False, 200] for entry in kept)
