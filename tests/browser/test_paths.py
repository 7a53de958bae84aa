"""A person's paths through the pages: a healthy day, a finding that comes, a server that dies, a year."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE, go
from tests.browser.test_everyone import settled
from tests.dashboard import made

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import BrowserContext, Page

    from tests.browser.conftest import Feed, Server

pytestmark = pytest.mark.browser


def listening(page: Page) -> list[str]:
    """Everything that the page complains of."""
    said: list[str] = []
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("console", lambda m: said.append(m.text) if m.type == "error" else None)
    return said


@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_a_healthy_day(
    browser: Callable[..., BrowserContext],
    well_server: Server,
    screen: dict[str, object],
    shot: Callable[[Page, str], None],
) -> None:
    page = browser(**screen).new_page()
    said = listening(page)
    page.goto(well_server.url)
    expect(page.locator("section.station")).to_have_count(5)
    expect(page.locator(".station.wrong")).to_have_count(0)
    page.locator("#tank .more summary").click()
    expect(page.locator("#tank .more dl")).to_contain_text("Should give")
    shot(page, f"healthy-{'phone' if screen is PHONE else 'desk'}")
    for room, heading in (
        ("Cycles", "The shape of a run"),
        ("Storage", "Storage"),
        ("Findings", "Standing now"),
    ):
        go(page, room)
        expect(page.locator("main h1")).to_have_text(heading)
    go(page, "Water")
    expect(page.locator("section.station")).to_have_count(5)
    assert said == []


def test_the_text_is_there_without_any_script(
    browser: Callable[..., BrowserContext], wrong_server: Server
) -> None:
    page = browser(**PHONE, java_script_enabled=False).new_page()
    page.goto(wrong_server.url)
    expect(page.locator("#verdict")).not_to_be_empty()
    expect(page.locator("section.station")).to_have_count(5)
    page.locator(".do summary").first.click()
    expect(page.locator(".steps").first).to_be_visible()


def test_values_move_by_the_second_and_a_finding_appears(
    browser: Callable[..., BrowserContext],
    own_server: tuple[Server, Feed],
    shot: Callable[[Page, str], None],
) -> None:
    server, feed = own_server
    page = browser(**PHONE).new_page()
    said = listening(page)
    page.goto(server.url)
    expect(page.locator("body")).to_have_attribute("data-link", "live")
    before = page.locator(".live").get_attribute("d") or ""
    newest = page.evaluate(
        "new Promise(d => document.body.addEventListener('heard', e => d(e.detail.newest)))"
    )
    assert time.time() * 1000 - newest < 3000
    expect(page.locator(".live")).not_to_have_attribute("d", before)
    expect(page.locator("#age")).to_have_text(re.compile(r"heard (just now|[1-4] s ago)"))
    page.locator("#line h2").scroll_into_view_if_needed()
    page.mouse.wheel(0, 2000)
    expect(page.locator(".heard")).to_be_visible()  # the head is out of sight, the age is not
    expect(page.locator(".heard")).to_have_text(re.compile(r"heard (just now|\d+ s ago)"))

    clogged = made.clogged(int(time.time()) * 1_000_000)
    feed.tell(clogged)
    expect(page.locator("#filter.wrong")).to_be_visible(timeout=5000)
    assert page.evaluate("document.body.dataset.mood") == "wrong"
    expect(page.locator("#verdict svg")).to_be_visible()
    shot(page, "finding-came")
    page.locator(".do summary").click()
    expect(page.locator(".steps")).to_be_visible()
    page.get_by_text("Why we think so").click()
    expect(page.locator("h2", has_text="Why we think so")).to_be_visible()
    expect(page.locator(".evidence svg")).to_be_visible()
    shot(page, "why-we-think-so")
    page.goto(server.url)
    expect(page.locator("#filter.wrong")).to_be_visible()
    feed.tell(replace(clogged, cleared_us=int(time.time()) * 1_000_000))
    expect(page.locator(".station.wrong")).to_have_count(0)  # over, without a touch of the page
    expect(page.locator("body")).to_have_attribute("data-mood", "well")
    assert said == []


@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_the_page_comes_back_when_the_server_does(
    browser: Callable[..., BrowserContext],
    own_server: tuple[Server, Feed],
    shot: Callable[[Page, str], None],
    screen: dict[str, object],
) -> None:
    server, _ = own_server
    page = browser(**screen).new_page()
    page.goto(server.url)
    expect(page.locator("body")).to_have_attribute("data-link", "live")
    server.kill()
    expect(page.locator("body")).to_have_attribute("data-link", "lost", timeout=15_000)
    expect(page.locator(".lost")).to_contain_text("cannot be reached")
    expect(page.locator("#tank .figure b")).to_be_visible()
    shot(page, "server-lost" if screen is PHONE else "server-lost-desk")
    server.start()
    expect(page.locator("body")).to_have_attribute("data-link", "live", timeout=15_000)
    expect(page.locator(".lost")).to_be_hidden()


def test_a_hidden_page_holds_no_stream(
    browser: Callable[..., BrowserContext], own_server: tuple[Server, Feed]
) -> None:
    server, _ = own_server
    page = browser(**PHONE).new_page()
    page.goto(server.url)
    expect(page.locator("body")).to_have_attribute("data-link", "live")
    page.evaluate(
        """() => { Object.defineProperty(document, 'hidden', {value: true, configurable: true});
                   document.dispatchEvent(new Event('visibilitychange'));
                   window.heardSince = 0;
                   document.body.addEventListener('heard', () => window.heardSince++); }"""
    )
    page.wait_for_timeout(2500)
    assert page.evaluate("window.heardSince") == 0
    page.evaluate(
        """() => { Object.defineProperty(document, 'hidden', {value: false, configurable: true});
                   document.dispatchEvent(new Event('visibilitychange')); }"""
    )
    page.wait_for_timeout(2500)
    assert page.evaluate("window.heardSince") > 0


@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_history_from_afar_and_from_near(
    browser: Callable[..., BrowserContext],
    year_server: Server,
    screen: dict[str, object],
    shot: Callable[[Page, str], None],
) -> None:
    page = browser(**screen).new_page()
    said = listening(page)
    settled(page, f"{year_server.url}/at/juniper-bench/history")
    first = page.locator("#history-dates").inner_text()
    page.get_by_role("link", name="year").click()
    expect(page.locator("#history-dates")).not_to_have_text(first)
    words = page.locator("#history-chart-words")
    expect(words).to_contain_text("of each 3 days" if screen is PHONE else "lowest to highest of each")
    far = page.locator("#history-dates").inner_text()
    for _ in range(5):
        dates = page.locator("#history-dates").inner_text()
        page.get_by_role("link", name="Closer").click()
        expect(page.locator("#history-dates")).not_to_have_text(dates)
    near = page.locator("#history-dates").inner_text()
    assert near != far
    page.get_by_role("link", name="Storage level").click()
    expect(page.locator("main h1")).to_have_text("Storage level")
    page.go_back()
    expect(page.locator("main h1")).to_have_text("Line pressure")
    expect(page.locator("#history-dates")).to_have_text(near)
    page.go_forward()
    expect(page.locator("main h1")).to_have_text("Storage level")
    shot(page, f"history-{'phone' if screen is PHONE else 'desk'}")
    with page.expect_download() as download:
        page.get_by_text("CSV of what is shown").click()
    assert download.value.suggested_filename == "juniper-bench-rain_tank.csv"
    with page.expect_download() as download:
        page.get_by_text("Picture to send").click()
    assert download.value.path().read_bytes()[1:4] == b"PNG"
    assert said == []
