"""An alarm from its call to its end, as a person with a phone lives it; with a script and without."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.telling.status import finding_id
from tests.browser.conftest import PHONE, Server, free_port
from tests.browser.test_everyone import RULES
from tests.browser.test_paths import listening
from tests.dashboard import made
from tests.dashboard.attended import Attended

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import BrowserContext, Page

pytestmark = pytest.mark.browser


class Plant:
    """A served plant whose desk is attended, with a finding that can be told and cleared."""

    def __init__(self, server: Server, desk: Attended) -> None:
        self.server, self.desk = server, desk
        self.finding = made.clogged(time.time_ns() // 1000)

    @property
    def address(self) -> str:
        return f"{self.server.url}/at/juniper-bench/findings/{finding_id(self.finding)}"

    def clear(self) -> None:
        self.desk.tell(replace(self.finding, cleared_us=time.time_ns() // 1000))


@pytest.fixture
def plant(tmp_path: Path) -> Iterator[Plant]:
    now_s = int(time.time())
    made.fill(tmp_path, now_s, days=1, coarse_s=60)
    server = Server(tmp_path, free_port())
    with Attended(tmp_path) as desk:
        server.start()
        yield Plant(server, desk)
        server.kill()


def test_an_alarm_is_seen_acknowledged_shelved_repaired_and_over(
    browser: Callable[..., BrowserContext],
    plant: Plant,
    shot: Callable[[Page, str], None],
) -> None:
    page = browser(**PHONE).new_page()
    said = listening(page)
    plant.desk.tell(plant.finding)
    page.goto(f"{plant.server.url}/at/juniper-bench/findings")
    expect(page.get_by_text("Unacknowledged since")).to_be_visible(timeout=10_000)
    page.get_by_role("link", name=re.compile("filter wants flushing")).click()
    expect(page.locator(".evidence svg")).to_be_visible()
    expect(page.locator(".caution").first).to_be_visible()
    shot(page, "alarm-raised")

    page.get_by_role("button", name="Acknowledge").click()
    expect(page.locator(".alarm")).to_contain_text("Acknowledged today")
    expect(page.get_by_role("button", name="Acknowledge")).to_have_count(0)

    page.locator("summary", has_text="Shelve").click()
    shot(page, "alarm-shelving")
    page.get_by_label("Why", exact=True).fill("Flushing on Friday")
    page.get_by_label("3 days").check()
    page.get_by_role("button", name="Shelve it").click()
    expect(page.locator(".alarm")).to_contain_text(re.compile(r"Shelved until \w+ \d\d:\d\d by"))
    expect(page.locator(".alarm")).to_contain_text("Flushing on Friday")
    page.get_by_role("button", name="Unshelve").click()
    expect(page.locator(".alarm")).to_contain_text("Unacknowledged since")

    page.locator("summary", has_text="Log a repair").click()
    page.get_by_label("What was done").fill("Flushed for a minute, brushed the screen.")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".pipe")).to_contain_text("brushed the screen")
    expect(page.locator(".alarm")).to_contain_text("Acknowledged today")

    plant.clear()
    # the page renews itself when the server speaks, which is at least every five seconds
    expect(page.locator(".pipe")).to_contain_text("It worked:", timeout=15_000)
    expect(page.locator(".urgency")).to_have_text("Over")
    shot(page, "alarm-over")
    page.get_by_role("link", name="Logbook", exact=True).last.click()
    expect(page.locator("h1")).to_have_text("Logbook")
    expect(page.locator(".pipe")).to_contain_text("It worked:")
    shot(page, "logbook")
    assert said == []


def test_all_of_it_without_a_script(browser: Callable[..., BrowserContext], plant: Plant) -> None:
    page = browser(**PHONE, java_script_enabled=False).new_page()
    plant.desk.tell(plant.finding)
    time.sleep(1.0)
    page.goto(plant.address)
    page.get_by_role("button", name="Acknowledge").click()
    expect(page.locator(".alarm")).to_contain_text("Acknowledged today")
    page.locator("summary", has_text="Shelve").click()
    page.get_by_label("Why", exact=True).fill("Lunch")
    page.get_by_role("button", name="Shelve it").click()
    expect(page.locator(".alarm")).to_contain_text("Lunch")
    page.locator("summary", has_text="Log a repair").click()
    page.get_by_label("What was done").fill("Flushed.")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".pipe")).to_contain_text("Flushed.")
    plant.clear()
    time.sleep(1.0)
    page.reload()
    expect(page.locator(".pipe")).to_contain_text("It worked:")


def test_what_is_being_written_is_not_swept_away_nor_lost(
    browser: Callable[..., BrowserContext], plant: Plant
) -> None:
    page = browser(**PHONE).new_page()
    plant.desk.tell(plant.finding)
    time.sleep(1.0)
    page.goto(plant.address)
    page.locator("summary", has_text="Log a repair").click()
    page.get_by_label("What was done").fill("Flushed.")
    plant.clear()
    page.wait_for_timeout(6000)  # longer than the server is ever silent
    assert page.get_by_label("What was done").input_value() == "Flushed."
    plant.server.kill()
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("form .answer")).to_contain_text("Nothing was sent; try again")
    plant.server.start()
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".pipe")).to_contain_text("Flushed.")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everyone_can_use_it(
    browser: Callable[..., BrowserContext], plant: Plant, scheme: str, shot: Callable[[Page, str], None]
) -> None:
    page = browser(**PHONE, color_scheme=scheme).new_page()
    plant.desk.tell(plant.finding)
    time.sleep(1.0)
    for name, path in (
        ("finding", plant.address),
        ("logbook", f"{plant.server.url}/at/juniper-bench/logbook"),
    ):
        page.goto(path)
        for summary in page.locator("details.act > summary").all():
            summary.click()
        found = Axe().run(page, options=RULES).response["violations"]
        assert [(one["id"], [n["html"][:120] for n in one["nodes"]]) for one in found] == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        small = page.evaluate(
            "[...document.querySelectorAll('main button, main summary, main select, main label.choice')]"
            ".filter(e => e.offsetHeight && e.offsetHeight < 44).map(e => e.outerHTML.slice(0, 80))"
        )
        assert small == []
        shot(page, f"{name}-open-{scheme}")
