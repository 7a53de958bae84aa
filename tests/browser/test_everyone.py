"""No page breaks WCAG 2.2 A or AA as axe-core can tell, light and dark; thumbs and narrow screens."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import BrowserContext, Page

    from tests.browser.conftest import Server

pytestmark = pytest.mark.browser
ROOMS = ("", "cycles", "storage", "findings", "history", "set-up")
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def settled(page: Page, url: str) -> None:
    """The page, with Dash and its charts drawn."""
    page.goto(url)
    page.wait_for_selector("main h1, main h2")
    if page.locator(".chart").count():
        page.wait_for_selector(".chart .main-svg")
    page.wait_for_timeout(300)


def finding_address(page: Page, server: Server) -> str:
    page.goto(server.url)
    address = page.locator("a.way-to").first.get_attribute("href")
    assert address is not None
    return address


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(
    browser: Callable[..., BrowserContext],
    wrong_server: Server,
    scheme: str,
    shot: Callable[[Page, str], None],
) -> None:
    page = browser(**PHONE, color_scheme=scheme).new_page()
    addresses = [f"/at/juniper-bench/{room}" for room in ROOMS] + [finding_address(page, wrong_server)]
    for address in addresses:
        settled(page, wrong_server.url + address)
        if address.endswith("/"):
            page.locator(".do summary").first.click()
            page.locator(".more summary").first.click()
        shot(page, f"{scheme}-{address.rsplit('/', 1)[-1][:14] or 'water'}")
        found = Axe().run(page, options=RULES)
        assert found.violations_count == 0, f"{address}: {found.generate_report()}"


def test_full_sun_too(browser: Callable[..., BrowserContext], wrong_server: Server) -> None:
    page = browser(**PHONE).new_page()
    settled(page, f"{wrong_server.url}/at/juniper-bench/set-up")
    page.get_by_role("button", name="Full sun").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "sun")
    settled(page, wrong_server.url)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("width", [360])
def test_nothing_is_wider_than_the_phone(
    browser: Callable[..., BrowserContext], wrong_server: Server, width: int
) -> None:
    page = browser(**(PHONE | {"viewport": {"width": width, "height": 800}})).new_page()
    for room in ROOMS:
        settled(page, f"{wrong_server.url}/at/juniper-bench/{room}")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, room


def test_twice_the_text_still_fits(browser: Callable[..., BrowserContext], wrong_server: Server) -> None:
    page = browser(**PHONE).new_page()
    page.goto(wrong_server.url)
    page.add_style_tag(content="html { font-size: 200% }")
    page.wait_for_timeout(200)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_targets_are_right_for_thumbs(browser: Callable[..., BrowserContext], wrong_server: Server) -> None:
    page = browser(**PHONE).new_page()
    for room in ("", "history", "findings"):
        settled(page, f"{wrong_server.url}/at/juniper-bench/{room}")
        small = page.evaluate(
            """[...document.querySelectorAll('nav a, summary, button, .way-to, .entries a, .pick, .button')]
               .filter(e => e.offsetParent !== null)
               .map(e => [e.textContent.trim(), e.getBoundingClientRect()])
               .filter(([t, r]) => r.height < 44 || r.width < 44).map(([t, r]) => [t, r.width, r.height])"""
        )
        assert small == [], room


def test_reduced_motion_stills_the_pipe(browser: Callable[..., BrowserContext], well_server: Server) -> None:
    page = browser(**PHONE, reduced_motion="reduce").new_page()
    page.goto(well_server.url)
    page.evaluate("document.body.dataset.flow = 'moving'")
    names = page.evaluate(
        "[...document.querySelectorAll('.way')].map(e => getComputedStyle(e, '::after').animationName)"
    )
    assert set(names) == {"none"}


def test_by_keyboard_alone_from_verdict_to_steps(
    browser: Callable[..., BrowserContext], wrong_server: Server
) -> None:
    page = browser(**DESK).new_page()
    page.goto(wrong_server.url)
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('.do summary')"):
            break
    page.keyboard.press("Enter")
    assert page.locator(".steps").first.is_visible()
