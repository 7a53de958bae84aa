"""Practice in a browser: a fault watched, its twin laid under it, one named blind; by thumb and by key."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.practice.record import Record
from tests.browser.conftest import DESK, PHONE, go
from tests.browser.test_everyone import RULES
from tests.browser.test_paths import listening

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import BrowserContext, Page

    from tests.browser.conftest import Server

pytestmark = pytest.mark.browser
ROOM = "/at/juniper-bench/practice"
PLAYING_MS = 60_000


def begun(page: Page, server: Server, lesson: str) -> None:
    """An exercise, at its first moment."""
    page.goto(server.url + ROOM)
    page.get_by_label(lesson, exact=True).check()
    page.get_by_role("button", name="Go", exact=True).click()
    page.wait_for_selector("#scrub", timeout=PLAYING_MS)
    page.wait_for_selector("#strip path", state="attached", timeout=PLAYING_MS)  # its script hears presses
    page.select_option("#speed", "600")


def is_clean(page: Page) -> None:
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()


def at_twice_the_text(page: Page) -> None:
    """Nothing wider than the phone, and banner and dock do not stand in the way: they scroll."""
    style = page.add_style_tag(content="html { font-size: 200% }")
    page.wait_for_timeout(200)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for part in (".field", ".foot"):
        assert page.locator(part).evaluate("one => getComputedStyle(one).position") == "static"
    style.evaluate("one => one.remove()")
    page.wait_for_timeout(200)
    assert page.locator(".foot").evaluate("one => getComputedStyle(one).position") == "sticky"


@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_a_fault_is_watched_and_compared(
    browser: Callable[..., BrowserContext],
    well_server: Server,
    screen: dict[str, object],
    shot: Callable[[Page, str], None],
) -> None:
    page = browser(**screen).new_page()
    said = listening(page)
    page.goto(well_server.url)
    go(page, "Practice")
    expect(page.locator("header.field")).to_contain_text("Nothing here is happening")
    begun(page, well_server, "The line has parted")
    expect(page.locator("section.station")).to_have_count(5)
    expect(page.locator(".station.wrong")).to_have_count(0)
    page.get_by_role("button", name="Healthy twin").click()
    page.get_by_role("button", name="Play").click()
    # it stops by itself where the fault is called
    expect(page.locator(".station.wrong")).to_have_count(1, timeout=PLAYING_MS)
    expect(page.locator("#play")).to_have_attribute("aria-pressed", "false")
    expect(page.locator("#marks .onset")).to_contain_text("truly began")
    expect(page.locator("#marks .called")).to_contain_text("after it began")
    expect(page.locator(".small .ghost")).to_have_count(1)
    expect(page.locator("#strip .twin")).not_to_have_count(0)
    shot(page, f"practice-{'phone' if screen is PHONE else 'desk'}")
    # scrubbing back, the column knows of nothing
    page.locator("#marks .onset button").click()
    expect(page.locator(".station.wrong")).to_have_count(0)
    page.get_by_role("button", name="Cycles").click()
    page.wait_for_selector("#view-runs .main-svg")
    expect(page.locator("#view-water")).to_be_hidden()
    page.get_by_role("button", name="Beside my own").click()
    expect(page.locator("figure.mine")).to_contain_text("My own plant")
    expect(page.locator("figure.copy")).to_contain_text("Practice")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert said == []


def test_a_fault_is_mended_and_its_finding_clears(
    browser: Callable[..., BrowserContext], well_server: Server, shot: Callable[[Page, str], None]
) -> None:
    page = browser(**PHONE).new_page()
    said = listening(page)
    begun(page, well_server, "The line has parted")
    expect(page.locator("#mend")).to_be_hidden()
    page.get_by_role("button", name="Play").click()
    expect(page.locator(".station.wrong")).to_have_count(1, timeout=PLAYING_MS)
    first = page.url
    page.get_by_role("button", name="Mend it now").click()
    page.wait_for_url(lambda url: url != first and "/practice/" in url)
    page.wait_for_selector("#scrub", timeout=PLAYING_MS)
    # it opens shortly before the repair, with the finding standing, once it has been simulated so far
    expect(page.locator("#marks .mended")).to_contain_text("You mended it", timeout=PLAYING_MS)
    expect(page.locator("#marks .cleared")).to_contain_text("it is over", timeout=PLAYING_MS)
    shot(page, "practice-mending")
    page.locator("#marks .called button").click()
    expect(page.locator(".station.wrong")).to_have_count(1)
    page.locator("#marks .cleared button").click()
    expect(page.locator(".station.wrong")).to_have_count(0)
    expect(page.locator("#summary")).to_contain_text("the finding cleared")
    expect(page.locator("#coming")).to_be_hidden(timeout=PLAYING_MS)
    shot(page, "practice-mended")
    is_clean(page)
    assert said == []


@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_one_is_named_blind(
    browser: Callable[..., BrowserContext], well_server: Server, screen: dict[str, object]
) -> None:
    page = browser(**screen).new_page()
    said = listening(page)
    page.goto(well_server.url + ROOM)
    page.get_by_role("button", name="Show me one blind").click()
    page.wait_for_selector("#scrub", timeout=PLAYING_MS)
    expect(page.locator("h1")).to_have_text("Which fault is this?")
    expect(page.locator("#marks li")).to_have_count(0)
    page.get_by_role("link", name="I know it").click()
    page.locator("#ask input").first.check()
    page.get_by_role("button", name="That is it").click()
    expect(page.locator("#answer")).to_contain_text("The tell-tale.")
    expect(page.locator("#answer")).to_be_focused()
    page.goto(well_server.url + ROOM)
    expect(page.locator(".score")).to_contain_text("named right")
    assert said == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_practice(
    browser: Callable[..., BrowserContext],
    well_server: Server,
    scheme: str,
    shot: Callable[[Page, str], None],
) -> None:
    # so tall that the dock covers nothing: what lies half under it is no small target, it scrolls out
    page = browser(**PHONE | {"viewport": {"width": 390, "height": 4000}}, color_scheme=scheme).new_page()
    page.goto(well_server.url + ROOM)
    is_clean(page)
    begun(page, well_server, "The line has parted")
    page.get_by_role("button", name="Play").click()
    page.wait_for_selector(".station.wrong", timeout=PLAYING_MS)
    is_clean(page)
    page.get_by_role("button", name="Beside my own").click()
    page.wait_for_selector("figure.mine")
    is_clean(page)
    shot(page, f"practice-{scheme}")
    page.get_by_role("button", name="Water column").click()
    at_twice_the_text(page)
    page.get_by_role("link", name="Why we think so").first.click()
    expect(page.locator("main h2").first).to_have_text("Why Holdwater thinks so")
    expect(page.locator("header.field")).to_be_visible()
    is_clean(page)
    page.goto(well_server.url + ROOM)
    page.get_by_role("button", name="Show me one blind").click()
    page.wait_for_selector("#ask", timeout=PLAYING_MS)
    is_clean(page)


def test_a_lesson_keeps_its_name_once_it_was_answered(
    browser: Callable[..., BrowserContext], well_server: Server
) -> None:
    page = browser(**PHONE).new_page()
    kept = Record(well_server.data / "juniper-bench")
    for right in (True, True, True, False):  # some right; mastered; not mastered any more
        kept.answered("burst_line", right)
        page.goto(well_server.url + ROOM)
        lesson = page.get_by_role("radio", name="The line has parted", exact=True)
        expect(lesson).to_have_accessible_description(re.compile("right|mastered"))
        expect(page.get_by_label("The line has parted", exact=True)).to_have_count(1)
    is_clean(page)


def test_by_keyboard_alone_and_with_thumbs(
    browser: Callable[..., BrowserContext], well_server: Server
) -> None:
    page = browser(**PHONE).new_page()
    begun(page, well_server, "The line has parted")
    small = page.evaluate(
        """[...document.querySelectorAll('.dock button, .dock select, .dock input, .tabs button, .field a')]
           .map(e => [e.id || e.textContent.trim(), e.getBoundingClientRect()])
           .filter(([t, r]) => r.height < 44 || r.width < 44).map(([t, r]) => [t, r.width, r.height])"""
    )
    assert small == []
    page.locator("#scrub").focus()
    before = page.locator("#clock").inner_text()
    page.keyboard.press("PageUp")
    expect(page.locator("#clock")).not_to_have_text(before)
    assert page.locator("#scrub").get_attribute("aria-valuetext") == page.locator("#clock").inner_text()
    page.locator("#play").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#play")).to_have_text("Pause")
    page.keyboard.press("Enter")
    expect(page.locator("#play")).to_have_text("Play")
