"""No page breaks WCAG 2.2 A or AA as axe-core can tell, light and dark; thumbs and narrow screens."""

from __future__ import annotations

import re
import signal
import time
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.web.rooms import ROOMS as TABLE
from tests.browser.conftest import DESK, PHONE, Server, free_port
from tests.dashboard import made
from tests.dashboard.attended import Attended

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import BrowserContext, Page

pytestmark = pytest.mark.browser
#: Every room of the table, and what lies below one.
ROOMS = tuple(room.path for room in TABLE if room.shown(made.juniper()))
BELOW = ("history?span=year", "salt/plan", "test/leak_down", "test/delivery/now?t={now}&m=1")
#: Charts that are not hidden from a screen reader, or that nothing beside them says in words.
UNSAID = """[...document.querySelectorAll('.chart')].filter(chart => {
    const said = chart.closest('figure')?.querySelector('figcaption')?.textContent ?? '';
    return said.length < 25 || !chart.closest('[aria-hidden=true]'); }).map(chart => chart.id || 'a chart')"""
#: On how many lines the alarm's first word stands.
LINES = """() => {
    const text = document.querySelector('.alarm').lastChild, range = new Range(), word = 'Unacknowledged';
    const at = text.data.indexOf(word);
    range.setStart(text, at);
    range.setEnd(text, at + word.length);
    return new Set([...range.getClientRects()].map(one => Math.round(one.top))).size;
}"""
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def settled(page: Page, url: str) -> None:
    """The page, with its charts drawn (Plotly's, or the picture that stands for it)."""
    page.goto(url)
    page.wait_for_selector("main h1, main h2")
    if page.locator(".chart").count():
        page.wait_for_selector(".chart .main-svg, .chart .still svg")
    page.wait_for_timeout(300)


def finding_address(page: Page, server: Server) -> str:
    page.goto(server.url)
    address = page.locator("a.way-to").first.get_attribute("href")
    assert address is not None
    return address


@pytest.mark.parametrize(("scheme", "width"), [("light", 360), ("dark", 390)])
def test_every_page_is_for_everyone(
    browser: Callable[..., BrowserContext],
    wrong_server: Server,
    scheme: str,
    width: int,
    shot: Callable[[Page, str], None],
) -> None:
    """No rule broken that axe knows, nothing wider than the phone, at twice the text too (in the dark,
    to open each page no more often than need be), and every chart said in words."""
    # so tall that the bar of rooms covers nothing: axe would take what can be scrolled free for covered
    screen = PHONE | {"viewport": {"width": width, "height": 4000}, "color_scheme": scheme}
    page = browser(**screen).new_page()
    below = [one.format(now=round(time.time() * 1000) - 9000) for one in BELOW]
    addresses = [f"/at/juniper-bench/{room}" for room in (*ROOMS, *below)]
    addresses.append(finding_address(page, wrong_server))
    for address in addresses:
        settled(page, wrong_server.url + address)
        if address.endswith("/"):
            page.locator(".do summary").first.click()
            page.locator(".more summary").first.click()
        shot(page, f"{scheme}-{re.sub(r'[^a-z_-]', '', address.split('juniper-bench/')[1][:18]) or 'water'}")
        found = Axe().run(page, options=RULES)
        assert found.violations_count == 0, f"{address}: {found.generate_report()}"
        assert page.evaluate("document.documentElement.scrollWidth") <= width, address
        unsaid = page.evaluate(UNSAID)
        assert unsaid == [], address
        if scheme == "dark":
            page.add_style_tag(content="html { font-size: 200% }")
            page.wait_for_timeout(150)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, f"{address} at 200 %"


def test_full_sun_too(browser: Callable[..., BrowserContext], wrong_server: Server) -> None:
    page = browser(**PHONE).new_page()
    settled(page, f"{wrong_server.url}/at/juniper-bench/set-up")
    page.get_by_role("button", name="Full sun").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "sun")
    expect(page.get_by_role("button", name="Full sun")).to_have_attribute("aria-pressed", "true")
    settled(page, wrong_server.url)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()


def test_set_up_reckons_another_setting(
    browser: Callable[..., BrowserContext], wrong_server: Server, shot: Callable[[Page, str], None]
) -> None:
    """By keyboard: Dash comes when the part that calls back is unfolded, and not before."""
    page = browser(**PHONE | {"viewport": {"width": 390, "height": 6000}}).new_page()
    asked: list[str] = []
    page.on("request", lambda one: asked.append(one.url))
    settled(page, f"{wrong_server.url}/at/juniper-bench/set-up")
    assert not any("dash.js" in one or "/dash/" in one for one in asked)
    page.get_by_text("What if it were set otherwise?").focus()
    page.keyboard.press("Enter")
    choice = page.get_by_role("button", name="40 to 60 psi")
    expect(choice).to_have_attribute("aria-pressed", "false", timeout=20_000)
    choice.focus()
    page.keyboard.press("Enter")
    expect(choice).to_have_attribute("aria-pressed", "true")
    expect(page.locator("#then")).to_contain_text("38 psi (now")
    expect(page.locator("#then .caution")).to_have_count(3)
    page.get_by_role("button", name="Twice as large").click()
    expect(page.get_by_role("button", name="Twice as large")).to_have_attribute("aria-pressed", "true")
    shot(page, "set-up-otherwise")
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()


def test_targets_are_right_for_thumbs(browser: Callable[..., BrowserContext], wrong_server: Server) -> None:
    page = browser(**PHONE).new_page()
    for room in ("", "history", "findings", "test/leak_down"):
        settled(page, f"{wrong_server.url}/at/juniper-bench/{room}")
        small = page.evaluate(
            """[...document.querySelectorAll('nav a, summary, button, .way-to, .entries a, .pick, .button')]
               .filter(e => e.offsetParent !== null)
               .map(e => [e.textContent.trim(), e.getBoundingClientRect()])
               .filter(([t, r]) => r.height < 44 || r.width < 44).map(([t, r]) => [t, r.width, r.height])"""
        )
        assert small == [], room
        page.locator("a.skip").focus()  # seen by whoever goes by keyboard
        box = page.locator("a.skip").bounding_box()
        assert box is not None
        assert box["height"] >= 44


def test_no_word_of_an_alarm_is_torn_at_twice_the_text(
    browser: Callable[..., BrowserContext], tmp_path: Path, now_s: int, shot: Callable[[Page, str], None]
) -> None:
    made.fill(tmp_path, now_s, days=1)
    server = Server(tmp_path, free_port())
    server.start()
    try:
        with Attended(tmp_path) as desk:
            desk.tell(made.clogged(now_s * 1_000_000))
            page = browser(**PHONE | {"viewport": {"width": 360, "height": 780}}).new_page()
            page.goto(server.url)
            page.get_by_role("link", name="Why we think so").first.click()
            page.wait_for_selector(".alarm")
            page.add_style_tag(content="html { font-size: 200% }")
            page.wait_for_timeout(200)
            lines = page.evaluate(LINES)
            assert lines == 1
            # the evidence grows with the text, and is scrolled sideways in a frame of its own
            drawn = page.locator(".evidence .drawn")
            assert drawn.evaluate("one => one.scrollWidth > one.clientWidth")
            assert page.evaluate("document.documentElement.scrollWidth") <= 360
            shot(page, "finding-large")
    finally:
        server.kill(signal.SIGTERM)


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


def test_by_keyboard_alone_into_a_room_that_stands_under_more(
    browser: Callable[..., BrowserContext], well_server: Server
) -> None:
    page = browser(**DESK).new_page()
    page.goto(well_server.url)
    page.locator("nav.rooms summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Cycles"
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY"
    expect(page.locator("nav.rooms").get_by_role("link", name="Cycles")).to_be_hidden()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("main h1")).to_have_text("The shape of a run", timeout=20_000)
