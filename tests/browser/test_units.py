"""The owner's units on every page: US as the plant file says, metric where it says that."""

from __future__ import annotations

import re
import signal
import time
from typing import TYPE_CHECKING

import pytest

from dashboard.web.rooms import ROOMS
from tests.browser.conftest import PHONE, Server, free_port
from tests.browser.test_everyone import settled
from tests.dashboard import made

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import BrowserContext, Page

pytestmark = pytest.mark.browser
US = re.compile(r"\d[   ]?(psi|gal|gpm|°F|in|ft)\b")
METRIC = re.compile(r"\d[   ]?(bar|kPa|L|L/min|m³|°C|m|cm|mm)\b")
#: Practice builds its healthy copy for half a minute; its words come through the same `shown`.
PATHS = [room.path for room in ROOMS if room.shown(made.juniper()) and room.path != "practice"]


@pytest.mark.parametrize(("units", "said", "unsaid"), [("us", US, METRIC), ("metric", METRIC, US)])
def test_every_room_speaks_the_owners_units(
    browser: Callable[..., BrowserContext],
    shot: Callable[[Page, str], None],
    tmp_path: Path,
    units: str,
    said: re.Pattern[str],
    unsaid: re.Pattern[str],
) -> None:
    plant_file = tmp_path / made.PLANT_FILE.name
    plant_file.write_text(made.PLANT_FILE.read_text().replace('units = "us"', f'units = "{units}"'))
    now = int(time.time())
    made.fill(tmp_path, now, days=3)
    server = Server(tmp_path, free_port(), plant_file)
    server.start()
    try:
        page = browser(**PHONE).new_page()
        texts = {}
        for path in PATHS:
            settled(page, f"{server.url}/at/juniper-bench/{path}")
            texts[path] = page.locator("main").inner_text()
        shot(page, f"units-{units}")
    finally:
        server.kill(signal.SIGTERM)
    strangers = {path: found.group() for path, text in texts.items() if (found := unsaid.search(text))}
    assert strangers == {}
    assert said.search(texts[""])
