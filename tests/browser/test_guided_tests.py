"""The guided tests played through: a simulated plant over mosquitto, the daemon, a phone, and a person
who opens taps and shuts valves as each step asks.

What the test tells is held against what is true of the simulated plant, whose physics were written
apart: the air charge, the water that goes back through the check valve, the delivery. Time is told to
the daemon by the test (`told_time`), so that half an hour of waiting takes as long as its readings need
through the broker.
"""

from __future__ import annotations

import os
import re
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from analytics.trials.course import TRIALS
from collector.store import History
from simulator.onset import FaultPlan
from simulator.publish import connected, send
from simulator.scenario_file import parse_scenario
from simulator.sensing.messages import messages
from simulator.simulation import Simulation
from simulator.works.hands import Hands
from tests.browser.conftest import COOKIES, DESK, PHONE, free_port
from tests.browser.test_live_chain import answers
from tests.collector.live.conftest import Broker, until
from tests.dashboard import made
from tests.dashboard.paired import cookie_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import BrowserContext, Page

pytestmark = [pytest.mark.browser, pytest.mark.broker]
ROOM = "/at/juniper-bench/test/"
S_US = 1_000_000
#: No day and night: the air charge goes with the tank's warmth; what is told of it would hang on the hour.
NOBODY = """
version = 1
title = "Nobody at home"
about = "For guided tests: no water is drawn but what the person at the plant draws."
season = "06-05"
storage_at_start = 0.95
programmes = []
[life]
people = 0
[hand_watering]
per_day = 0.0
[weather]
day_swing_c = 0.0
spread_c = 0.0
"""
#: At mid-band: the water that the tank holds runs out in some twenty minutes.
SLOW_M3_S, QUICK_M3_S = 5e-5, 5e-4


class Plant:
    """The simulated plant, its sensors, and the person beside it. Times are the plant's own."""

    def __init__(self, url: str, data: Path, clock: Path, start_us: int) -> None:
        plant = made.juniper()
        self.simulation = Simulation(plant, parse_scenario(NOBODY, "nobody", plant), 5, start_us)
        self.hands = Hands(self.simulation.world)
        self._data, self._clock = data, os.open(clock, os.O_WRONLY)
        client = connected(url)
        assert client is not None
        self._client = client

    @property
    def running(self) -> bool:
        return self.simulation.world.motor.energised

    @property
    def line_pa(self) -> float:
        return self.simulation.world.line_pa

    def breaks(self, plan: FaultPlan) -> None:
        """From now on something is wrong with the plant."""
        self.simulation = self.simulation.forked(plan)
        self.hands = Hands(self.simulation.world)

    def play(self, seconds: float) -> None:
        """Let time go on, and see the readings stored."""
        self.play_on(seconds)
        self._stored()

    def play_on(self, seconds: float) -> None:
        """The same without waiting for the store."""
        self._on(self.simulation.now_us + round(seconds * S_US))

    def play_until(self, so: Callable[[], bool], within_s: float = 3600.0) -> None:
        """Let time go on until something is so, and until the readings show it."""
        last_us = self.simulation.now_us + round(within_s * S_US)
        while not so():
            assert self.simulation.now_us < last_us, "it did not come about in time"
            self._on(self.simulation.now_us + 5 * S_US)
        self.settle()

    def settle(self) -> None:
        """Until the readings have come to what was done by hand last."""
        ahead = self.simulation.world.now_s - (self.simulation.now_us - self.simulation.start_us) / 1e6
        self.play(max(ahead, 0.0) + 3.0)

    def close(self) -> None:
        os.close(self._clock)
        self._client.disconnect()
        self._client.loop_stop()

    def _on(self, until_us: int) -> None:
        while self.simulation.now_us < until_us:
            batch = self.simulation.advance(min(self.simulation.now_us + 10 * S_US, until_us))
            os.pwrite(self._clock, struct.pack("<q", self.simulation.now_us), 0)  # it is mapped: never cut
            send(self._client, messages(self.simulation.plant, batch, self.simulation.decimals()))

    def _stored(self) -> None:
        with History(self._data, self.simulation.plant) as kept:
            until(lambda: _newest_us(kept) > self.simulation.now_us - 3 * S_US, 30.0)


def _newest_us(kept: History) -> int:
    newest = kept.latest().get("pressure")
    return newest.time_us if newest is not None else 0


@pytest.fixture
def chain(tmp_path: Path) -> Iterator[tuple[str, Plant]]:
    data, clock, start_us = tmp_path / "data", tmp_path / "clock", time.time_ns() // 1000
    clock.write_bytes(struct.pack("<q", start_us))
    broker, port = Broker(tmp_path), free_port()
    broker.start()
    COOKIES[port] = cookie_of(data, port)
    words = [sys.executable, "-m", "collector.cli", "run", str(made.PLANT_FILE), "--broker", broker.url]
    words += ["--data", str(data), "--listen", f"127.0.0.1:{port}"]
    told = {"PYTHONPATH": str(Path(__file__).parent / "told_time"), "HOLDWATER_TEST_CLOCK": str(clock)}
    daemon = subprocess.Popen(
        words, start_new_session=True, env=os.environ | told | {"HOLDWATER_SETTINGS": ""}
    )
    try:
        answers(f"http://127.0.0.1:{port}/health", daemon)
        plant = Plant(broker.url, data, clock, start_us)
        yield f"http://127.0.0.1:{port}", plant
        plant.close()
    finally:
        daemon.send_signal(signal.SIGTERM)
        daemon.wait(20)
        broker.stop()


class Person:
    """Follows a test's steps on the phone, and does at the plant what each asks."""

    def __init__(self, page: Page, url: str, plant: Plant, shot: Callable[[Page, str], None]) -> None:
        self.page, self._url, self._plant, self._shot = page, url, plant, shot

    def begin(self, key: str) -> None:
        self._trial = TRIALS[key]
        self.page.goto(self._url + ROOM + key)
        self.page.get_by_role("button", name="Begin").click()
        self._position = 0
        self._here()

    def done(self, act: Callable[[], object] | None = None) -> None:
        """A step of the hands."""
        if act is not None:
            act()
            self._plant.settle()
        self.page.get_by_role("link", name="Done").click()
        self._next()

    def waited(self) -> None:
        """A judged step, which the page ends by itself."""
        self._next()

    def told(self, name: str) -> str:
        """What the readings showed, in words; a picture of it at both sizes."""
        words = self.page.locator(".said").inner_text()
        for screen, size in (("phone", PHONE), ("desk", DESK)):
            self.page.set_viewport_size(size["viewport"])  # type: ignore[arg-type]
            self._shot(self.page, f"guided-{name}-{screen}")
        self.page.set_viewport_size(PHONE["viewport"])  # type: ignore[arg-type]
        return words

    def figure(self, name: str) -> tuple[float, float, float]:
        """(value, low, high) of a figure as the page shows it, in the owner's unit."""
        shown = self.page.locator("dl.pairs div", has=self.page.get_by_text(name, exact=True)).first
        numbers = re.findall(r"-?[\d.]+", shown.locator("dd").inner_text().replace(",", ""))
        return float(numbers[0]), float(numbers[1]), float(numbers[2])

    def _next(self) -> None:
        self._position += 1
        self._here()

    def _here(self) -> None:
        """The page asks for the step that is next, with its caution."""
        if self._position == len(self._trial.steps):
            expect(self.page.locator(".step")).to_have_count(0)
            return
        step = self._trial.steps[self._position]
        expect(self.page.locator(".step")).to_have_text(step.do)
        if step.caution:
            expect(self.page.locator(".caution")).to_contain_text(step.caution)
            self._shot(self.page, f"guided-{self._trial.key}-{self._position + 1}")
        else:
            expect(self.page.locator(".caution")).to_have_count(0)


def filled(plant: Plant) -> None:
    """Draw until the pump starts, then let it run to its stop."""
    plant.hands.open_tap(QUICK_M3_S)
    plant.play_until(lambda: plant.running)
    plant.hands.shut_tap()
    plant.play_until(lambda: not plant.running)


def air_charge(person: Person, plant: Plant) -> None:
    person.begin("air_charge")
    filled(plant)
    person.waited()
    person.done(lambda: plant.hands.breaker(on=False))
    person.done(lambda: plant.hands.open_tap(SLOW_M3_S))
    plant.play_until(lambda: plant.line_pa < 20e3)  # the tap is a metre and a half above the gauge
    plant.play(70.0)
    person.waited()
    plant.hands.shut_tap()
    person.done(lambda: plant.hands.breaker(on=True))
    plant.play_until(lambda: not plant.running)


def leak_down(person: Person, plant: Plant) -> None:
    person.begin("leak_down")
    filled(plant)
    person.waited()
    person.done(lambda: plant.hands.breaker(on=False))
    person.done(lambda: plant.hands.tank_valve(is_open=False))
    plant.play(640.0)
    person.waited()
    person.done(lambda: plant.hands.tank_valve(is_open=True))
    plant.play(1520.0)
    person.waited()
    person.done(lambda: plant.hands.breaker(on=True))


def delivery(person: Person, plant: Plant) -> float:
    """The true mean delivery over the lower half of the band [m3/s]."""
    person.begin("delivery")
    person.done()
    plant.hands.open_tap(QUICK_M3_S)
    plant.play_until(lambda: plant.running)
    plant.hands.shut_tap()
    world, seen = plant.simulation.world, []
    switch = made.juniper().switch
    assert switch is not None
    while plant.running:
        plant.play_on(1.0)
        if 0.15 <= (plant.line_pa - switch.cut_in_pa) / (switch.cut_out_pa - switch.cut_in_pa) <= 0.5:
            seen.append((world.now_s, world.totals.drawn + world.totals.from_well))
    plant.settle()
    (began, before), (ended, after) = seen[0], seen[-1]
    return (after - before) / (ended - began)


def check_valve(person: Person, plant: Plant) -> float:
    """The true mean flow back through the valve [m3/s]."""
    person.begin("check_valve")
    filled(plant)
    person.waited()
    person.done(lambda: plant.hands.breaker(on=False))
    person.done(lambda: plant.hands.garden_valve(is_open=False))
    totals, began = plant.simulation.world.totals, plant.simulation.world.now_s
    before = totals.drawn
    plant.play(1520.0)
    back = (before - totals.drawn) / (plant.simulation.world.now_s - began)
    person.waited()
    plant.hands.garden_valve(is_open=True)
    person.done(lambda: plant.hands.breaker(on=True))
    return back


def test_each_guided_test_finds_what_is_true_of_the_plant(
    browser: Callable[..., BrowserContext], chain: tuple[str, Plant], shot: Callable[[Page, str], None]
) -> None:
    url, plant = chain
    person = Person(browser(**PHONE).new_page(), url, plant, shot)
    page = person.page
    plant.play(300.0)

    air_charge(person, plant)
    assert "Well." in person.told("air-charge")
    vessel, hardware = plant.simulation.world.vessel, plant.simulation.world.hardware
    charge = hardware.charge_abs_pa * vessel.wall_k / vessel.charge_k - hardware.atmosphere_pa
    value, low, high = person.figure("Air charge")
    assert low <= charge / made.PSI <= high
    assert high - low < 5.0  # a band that holds everything tells nothing
    page.get_by_role("button", name="keep it as this plant when well").click()
    plant.play(5.0)
    page.goto(f"{url}/at/juniper-bench/set-up")
    expect(page.locator("main")).to_contain_text(re.compile(rf"Air charge, today\s*{value} psi"))
    shot(page, "guided-kept")

    leak_down(person, plant)
    assert "Nothing is lost" in person.told("leak-down")

    true = delivery(person, plant)
    assert "as near as this can tell" in person.told("delivery")
    _, low, high = person.figure("Delivery near cut-in")
    assert low <= true / made.GPM <= high

    after_s = plant.simulation.world.now_s + 60.0
    plant.breaks(FaultPlan("supply_leak", "check_valve", 0.3, after_s))
    plant.play(400.0)
    back = check_valve(person, plant)
    assert "goes back through the check valve" in person.told("check-valve")
    _, low, high = person.figure("Water lost")
    assert low <= back * 86_400.0 / made.GAL <= high
    page.goto("about:blank")  # an open stream would hold the server's end back
