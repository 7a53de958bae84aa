"""The whole chain as it stands at a plant: simulated sensors, mosquitto, the daemon, its dashboard, a phone.

Some hours of history are kept and examined first, up to a moment at which the pump is about to start.
Then the simulator goes on through the real broker, seven times as fast as the clock (readings may be up
to five minutes ahead of it), with one fault: the pump has lost its prime. A person acknowledges it and
logs the repair.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from analytics.advice import advice
from analytics.readings import Readings
from collector.backfill import backfill
from collector.store import Writer
from simulator.publish import connected, send
from simulator.scenario_file import parse_scenario
from simulator.sensing.messages import messages
from simulator.simulation import Simulation
from tests.browser.conftest import COOKIES, DESK, PHONE, free_port
from tests.collector.live.conftest import Broker
from tests.dashboard import made
from tests.dashboard.paired import cookie_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import BrowserContext, Page

    from analytics.plant.description import Plant

pytestmark = [pytest.mark.browser, pytest.mark.broker]
S_US = 1_000_000
PAST_US = 6 * 3600 * S_US
#: Of simulated time after the broker took over: prime is lost and regained; the sensors stop.
LOST_S, FOUND_S, END_S = 1, 150, 200
SPEED = 7.0
TITLE = advice("lost_prime", None).title
#: The pump starts so long after the broker took over.
STARTS_S = 3
#: The simulated day is always this one, whose rhythm of the pump is known; its times are moved to today.
BEGAN_US = 1_780_660_800 * S_US  # 2026-06-05, 12:00 UTC


def world(plant: Plant, past_us: int) -> Simulation:
    """A hose that runs all along, so that the pump does each few minutes; and, after `past_us`, the fault."""
    lost, found = ((past_us + s * S_US) / 86_400e6 for s in (LOST_S, FOUND_S))
    text = f"""
version = 1
title = "Prime lost and regained"
about = "For a test of the whole chain."
season = "06-05"
storage_at_start = 0.95
[life]
people = 0
[[forgotten_hose]]
from = "0 days"
until = "2 days"
flow = "2 gpm"
[[fault]]
fault = "lost_prime"
severity = 1.0
from = "{lost:.7f} days"
until = "{found:.7f} days"
"""
    return Simulation(plant, parse_scenario(text, "chain", plant), 11, BEGAN_US)


def about_to_run(plant: Plant) -> tuple[Simulation, Readings, int]:
    """(the simulation, its past, by how much its times are to be moved to end now), just before a run."""
    begin_us = next_start_us(plant, BEGAN_US + PAST_US) - STARTS_S * S_US
    one = world(plant, begin_us - BEGAN_US)
    past, moved_us = one.advance(begin_us), time.time_ns() // 1000 - begin_us
    return one, Readings.of(past.signal, past.time_us + moved_us, past.value).in_time_order(), moved_us


def next_start_us(plant: Plant, after_us: int) -> int:
    """When the pump starts next, as long as it is well."""
    seen = world(plant, 2 * PAST_US).advance(after_us + 1_200 * S_US)
    mine = seen.signal == plant.index("motor")
    time_us, on = seen.time_us[mine], seen.value[mine] > 1.0
    starts = time_us[1:][on[1:] & ~on[:-1]]
    return int(starts[starts > after_us][0])


class Sensors:
    """The simulated sensors, publishing in a thread once they are let."""

    def __init__(self, world: Simulation, url: str, moved_us: int) -> None:
        self._world, self._url, self._moved_us = world, url, moved_us
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Sensors:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(20)

    def _run(self) -> None:
        client = connected(self._url)
        assert client is not None
        end_us = self._world.now_us + END_S * S_US
        while not self._stop.wait(0.2) and self._world.now_us < end_us:
            batch = self._world.advance(self._world.now_us + round(0.2 * SPEED * S_US))
            now = replace(batch, time_us=batch.time_us + self._moved_us)
            send(client, messages(self._world.plant, now, self._world.decimals()))
        client.disconnect()
        client.loop_stop()


@pytest.fixture
def chain(tmp_path: Path) -> Iterator[tuple[str, Sensors]]:
    """A day of history, mosquitto, `holdwater run` with its dashboard; yields its address and the sensors."""
    plant, data = made.juniper(), tmp_path / "data"
    simulated, past, moved_us = about_to_run(plant)
    with Writer(data, plant) as kept:
        backfill(kept, iter([past]), lambda done: None)
    broker, port = Broker(tmp_path), free_port()
    broker.start()
    COOKIES[port] = cookie_of(data, port)
    words = [sys.executable, "-m", "collector.cli", "run", str(made.PLANT_FILE), "--broker", broker.url]
    words += ["--data", str(data), "--listen", f"127.0.0.1:{port}"]
    daemon = subprocess.Popen(words, start_new_session=True, env=os.environ | {"HOLDWATER_SETTINGS": ""})
    try:
        answers(f"http://127.0.0.1:{port}/health", daemon)
        yield f"http://127.0.0.1:{port}", Sensors(simulated, broker.url, moved_us)
    finally:
        daemon.send_signal(signal.SIGTERM)
        daemon.wait(20)
        broker.stop()


def answers(address: str, daemon: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 30
    while time.monotonic() < until:
        assert daemon.poll() is None, "the daemon ended"
        try:
            urllib.request.urlopen(address, timeout=1).close()
            return
        except urllib.error.HTTPError:
            return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the dashboard did not come up")


@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_a_fault_over_a_real_broker_shows_and_is_seen_to(
    browser: Callable[..., BrowserContext],
    chain: tuple[str, Sensors],
    screen: dict[str, object],
    shot: Callable[[Page, str], None],
) -> None:
    url, sensors = chain
    page, size = browser(**screen).new_page(), "phone" if screen is PHONE else "desk"
    page.goto(url)
    expect(page.locator("body")).to_have_attribute("data-link", "live")
    with sensors:
        expect(page.locator("#verdict")).to_contain_text(TITLE, timeout=40_000)
        expect(page.locator(".station.wrong h3")).to_contain_text(TITLE)
        shot(page, f"chain-prime-lost-{size}")
        page.locator(".do summary").first.click()
        expect(page.locator(".steps").first).to_contain_text("breaker")
    # that it goes again takes the next good run, minutes later: test_paths sees it go from the page
    # the daemon that found it also takes what a person does about it
    page.goto(f"{url}/at/juniper-bench/findings")
    page.get_by_role("link", name=re.compile(TITLE)).first.click()
    page.get_by_role("button", name="Acknowledge").click()
    expect(page.locator(".pipe")).to_contain_text("Acknowledged by Ana")
    page.locator("summary", has_text="Log a repair").click()
    page.get_by_label("What was done").fill("Filled the suction pipe through the priming plug.")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".pipe")).to_contain_text("Filled the suction pipe")
    shot(page, f"chain-repair-logged-{size}")
