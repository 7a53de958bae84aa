"""A phone away from its server: asleep, without a network, or the server down. What is old says so."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import BrowserContext, Page

    from tests.browser.conftest import Feed, Server

pytestmark = pytest.mark.browser
READY = "() => navigator.serviceWorker.ready.then(r => navigator.serviceWorker.controller !== null)"


def asleep(page: Page, hidden: bool) -> None:
    """What a phone tells a page when its screen goes dark or comes back."""
    page.evaluate(
        """hidden => { Object.defineProperty(document, 'hidden', {value: hidden, configurable: true});
                       document.dispatchEvent(new Event('visibilitychange')); }""",
        hidden,
    )


@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_the_last_state_is_shown_and_marked_old_when_the_server_is_gone(
    browser: Callable[..., BrowserContext],
    own_server: tuple[Server, Feed],
    shot: Callable[[Page, str], None],
    screen: dict[str, object],
) -> None:
    server, _ = own_server
    context = browser(**screen)
    page = context.new_page()
    address = f"{server.url}/at/juniper-bench/"
    page.goto(address)
    page.wait_for_function(READY)
    page.reload()  # now through the worker, which keeps it
    expect(page.locator("body")).to_have_attribute("data-link", "live")
    asleep(page, True)
    page.wait_for_timeout(500)
    last = page.locator("#tank .figure b").inner_text()
    server.kill()

    page.goto(address)
    expect(page.locator("body")).to_have_attribute("data-link", "lost", timeout=15_000)
    expect(page.locator(".lost")).to_contain_text("cannot be reached")
    expect(page.locator("#age")).to_have_text(re.compile(r"heard \d+ (s|min) ago"))
    assert page.locator("#tank .figure b").inner_text() == last
    assert page.evaluate("document.body.dataset.flow") == "unknown"
    shot(page, "away-last-known" if screen is PHONE else "away-last-known-desk")

    page.goto(f"{address}cycles")
    expect(page.locator("h1")).to_have_text("Holdwater cannot be reached")
    page.get_by_role("link", name="as it was last seen").click()
    expect(page.locator("#tank .figure b")).to_have_text(last)

    server.start()
    expect(page.locator("body")).to_have_attribute("data-link", "live", timeout=20_000)
    expect(page.locator(".lost")).to_be_hidden()


def test_a_network_that_drops_and_comes_back(
    browser: Callable[..., BrowserContext], own_server: tuple[Server, Feed]
) -> None:
    server, _ = own_server
    context = browser(**PHONE)
    page = context.new_page()
    page.goto(server.url)
    expect(page.locator("body")).to_have_attribute("data-link", "live")
    context.set_offline(True)
    expect(page.locator("body")).to_have_attribute("data-link", "lost", timeout=5000)
    context.set_offline(False)
    expect(page.locator("body")).to_have_attribute("data-link", "live", timeout=15_000)


def test_it_can_be_put_on_the_home_screen(
    browser: Callable[..., BrowserContext], well_server: Server
) -> None:
    """What Chromium itself asks of a page before it offers to install it."""
    page = browser(**PHONE).new_page()
    page.goto(f"{well_server.url}/at/juniper-bench/")
    page.wait_for_function(READY)
    wire = page.context.new_cdp_session(page)
    manifest = wire.send("Page.getAppManifest")
    assert manifest["errors"] == []
    about = json.loads(manifest["data"])
    assert about["display"] == "standalone"
    errors = wire.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert [one["errorId"] for one in errors if one["errorId"] != "in-incognito"] == []
