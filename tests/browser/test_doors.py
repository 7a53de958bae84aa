"""First start and pairing, as a person goes it: with a phone, with and without script."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.access import codes
from dashboard.access.book import Book
from tests.browser.conftest import COOKIES, PHONE, Server, free_port
from tests.dashboard import made

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import BrowserContext, Page

pytestmark = pytest.mark.browser


@pytest.fixture
def new_server(tmp_path: Path) -> Iterator[Server]:
    """A server to which no phone was ever paired."""
    made.fill(tmp_path, int(time.time()), days=0.2)
    server = Server(tmp_path, free_port())
    server.start(paired=False)
    yield server
    server.kill()
    COOKIES.pop(server.port, None)


def no_violations(page: Page) -> None:
    found = Axe().run(page).response["violations"]
    assert found == [], [(one["id"], [node["target"] for node in one["nodes"]]) for one in found]


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_first_start_and_pairing(
    browser: Callable[..., BrowserContext],
    new_server: Server,
    shot: Callable[[Page, str], None],
    script: bool,
) -> None:
    phone = browser(paired=False, **PHONE, java_script_enabled=script).new_page()
    phone.goto(new_server.url)
    expect(phone.get_by_role("heading", level=1)).to_have_text("No phone is paired yet")
    book = Book(new_server.data)
    code = codes.new_code(book, "Owner", "caretaker", time.time())
    book.close()
    phone.get_by_label("Code").fill(code.lower())
    phone.get_by_role("button", name="Go on").click()
    expect(phone.get_by_text("It will be Owner's")).to_be_visible()
    phone.get_by_label("What to call this phone").fill("Barn phone")
    phone.get_by_text("Choose a passphrase").click()
    phone.get_by_label("Passphrase", exact=True).fill("glacier lantern ninety")
    if script:
        no_violations(phone)
        shot(phone, "pair")
    phone.get_by_role("button", name="Pair this phone").click()
    expect(phone.locator("#verdict")).to_be_visible()
    assert any(one["name"].startswith("holdwater") for one in phone.context.cookies())
    if script:
        assert phone.evaluate("document.cookie") == ""  # no script of anybody's can read it

    phone.goto(f"{new_server.url}/people")
    expect(phone.get_by_text("Barn phone (this one)")).to_be_visible()
    if script:
        no_violations(phone)
        shot(phone, "people")
    phone.get_by_role("button", name="Sign out").click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("Who is there?")
    phone.goto(f"{new_server.url}/at/juniper-bench/set-up")
    phone.get_by_label("Name").fill("owner")
    phone.get_by_label("Passphrase").fill("glacier lantern ninety")
    if script:
        no_violations(phone)
        shot(phone, "sign-in")
    phone.get_by_role("button", name="Sign in").click()
    expect(phone).to_have_url(f"{new_server.url}/at/juniper-bench/set-up")
