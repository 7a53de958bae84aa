"""A chart is a picture until it is touched; then values can be read off it, and a stretch drawn."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE
from tests.browser.test_paths import listening

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import BrowserContext, Page

    from tests.browser.conftest import Server

pytestmark = pytest.mark.browser


def test_a_touch_reads_a_value_off_and_further_steps_keep_the_chart(
    browser: Callable[..., BrowserContext], year_server: Server, shot: Callable[[Page, str], None]
) -> None:
    page = browser(**PHONE).new_page()
    said, asked = listening(page), []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{year_server.url}/at/juniper-bench/history?span=year")
    expect(page.locator(".chart .still path.in-water").first).to_be_attached()
    page.wait_for_timeout(1500)
    assert not any("charts.js" in url for url in asked)  # a look costs no chart library
    page.locator("#history-chart").tap()
    expect(page.locator(".chart .hoverlayer text").first).to_be_visible()
    expect(page.locator(".chart .still")).to_have_count(0)
    shot(page, "history-touched")
    page.get_by_role("link", name="Closer").click()
    expect(page.locator("#history-dates")).to_have_text(re.compile(r"to \d+ \w+ 20\d\d"))
    expect(page.locator(".chart .main-svg").first).to_be_visible()
    assert said == []


def test_with_a_mouse_a_stretch_is_drawn_and_looked_at_closer(
    browser: Callable[..., BrowserContext], year_server: Server
) -> None:
    page = browser(**DESK).new_page()
    said = listening(page)
    page.goto(f"{year_server.url}/at/juniper-bench/history?span=year")
    expect(page.locator("body[data-study]")).to_be_attached()
    before = page.locator("#history-dates").inner_text()
    box = page.locator(".chart .nsewdrag").first.bounding_box()
    assert box is not None
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] * 0.4, y)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.6, y, steps=8)
    page.mouse.up()
    expect(page.locator("#history-dates")).not_to_have_text(before)
    expect(page).to_have_url(re.compile(r"from=\d+&to=\d+"))
    expect(page.locator("#history-chart-words")).to_contain_text("of each")
    assert said == []


def test_without_a_script_the_picture_stands_and_every_way_leads_on(
    browser: Callable[..., BrowserContext], year_server: Server
) -> None:
    page = browser(**PHONE, java_script_enabled=False).new_page()
    page.goto(f"{year_server.url}/at/juniper-bench/history")
    page.get_by_role("link", name="year").click()
    expect(page.locator(".still path.in-water").first).to_be_attached()
    expect(page.locator("#history-chart-words")).to_contain_text("of each 3 days")
