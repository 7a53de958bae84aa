"""The machine's clock starts in 1970, jumps, is set back: readings stay in true order, no fault arises."""

from __future__ import annotations

import json
import sys
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from analytics.plant.parsing import parse_plant
from collector.live.site import Site
from collector.store import History
from tests.collector.live import faked
from tests.collector.live.conftest import PLANT_FILE, Broker, Running, until

S = 1_000_000
BEGIN_US = 1_790_000_000 * S


def hear(site: Site, wall_us: int, second: int) -> None:
    """A second of a sound plant: from 30 to 50 psi in 150 s, and down again in 450 s."""
    phase = second % 600
    running = phase < 150
    pressure = 30 + 20 * (phase / 150 if running else 1 - (phase - 150) / 450)
    site.hear("bench/pressure", f"{pressure + second * 7919 % 13 / 100:.2f}".encode(), False, False, wall_us)
    amps = 5.8 + second * 7919 % 7 / 100 if running else 0.0
    site.hear("bench/motor", json.dumps({"ain": [amps]}).encode(), False, False, wall_us)
    if second % 10 == 9:
        site.commit(wall_us)


@pytest.mark.parametrize("back_s", [360, 3600, 3 * 86_400])
def test_a_clock_set_back_is_followed_at_once_and_no_fault_arises(tmp_path: Path, back_s: int) -> None:
    plant = parse_plant(PLANT_FILE, "bench")
    site = Site(plant, PLANT_FILE, tmp_path, BEGIN_US)
    for second in range(3600):
        hear(site, BEGIN_US + second * S, second)
    turned_us = BEGIN_US + (3600 - back_s) * S
    site.turn_back(turned_us)
    for second in range(3600, 7200):
        hear(site, turned_us + (second - 3600) * S + S // 2, second)  # between the seconds of before
    site.close(turned_us + 3600 * S)
    with History(tmp_path, plant) as history:
        counts = history.counts()
        after = history.cycles(turned_us, turned_us + 3600 * S)
        assert counts["readings"] == 14_400
        assert counts.get("late", 0) == 0
        assert len(after) >= 5  # of six; the last is not over
        # One sensor of the plant has never spoken, which is no matter of the clock.
        assert [finding.summary for finding in history.findings() if finding.of != "outlet"] == []
        assert [alarm.fault for alarm in history.alarms() if alarm.of != "outlet"] == []
        # What was stamped ahead does not stand on the page for as long as it takes to catch up.
        ahead_us = BEGIN_US + 3600 * S
        assert history.latest()["pressure"].time_us >= ahead_us - S
        shown = history.latest(turned_us + 1000 * S)["pressure"]
        assert 0 <= turned_us + 1000 * S - shown.time_us < S
    again = Site(plant, PLANT_FILE, tmp_path, turned_us + 3600 * S)  # and so after a restart
    for second in range(7200, 7300):
        hear(again, turned_us + (second - 3600) * S + S // 2, second)
    again.close(turned_us + 3700 * S)
    with History(tmp_path, plant) as history:
        assert history.counts().get("late", 0) == 0


@pytest.mark.broker
def test_the_daemon_waits_for_1970_to_end_and_for_a_clock_that_went_back_while_it_was_off(
    broker: Broker, tmp_path: Path
) -> None:
    off = tmp_path / "off"
    off.write_text(str(-time.time()))
    daemon = Running(broker, tmp_path)
    daemon.program = [sys.executable, faked.__file__, str(off)]
    daemon.start()
    out = broker.publisher()

    def publish(value: int) -> None:
        out.publish("bench/pressure", str(value), qos=1).wait_for_publish(5)

    try:
        until(lambda: "waiting until it is set" in daemon.log.read_text())
        off.write_text("0")
        until(daemon.connected)
        publish(31)
        until(lambda: daemon.stored() == 1)
        off.write_text("7200")  # a step forward
        publish(32)
        until(lambda: daemon.stored() == 2)
        off.write_text("7080")  # two minutes back: waited for at a slowed pace
        publish(33)
        until(lambda: daemon.stored() == 3)
        assert daemon.stop() == 0
        off.write_text("4000")  # without a battery, up again with the time of the last hour
        daemon.start()
        until(lambda: "before the newest that is stored" in daemon.log.read_text())
        publish(34)
        time.sleep(1.5)
        assert not daemon.connected(2)
        off.write_text("7300")  # network time has come
        until(lambda: daemon.stored() == 4)
        publish(35)
        until(lambda: daemon.stored() == 5)
        off.write_text("3700")  # an hour back under way: believed
        publish(36)
        until(lambda: daemon.stored() == 6)
        until(lambda: "set back by more than five minutes" in daemon.log.read_text())
        publish(37)
        until(lambda: daemon.stored() == 7)
        assert daemon.stop() == 0
    finally:
        out.disconnect()
        if daemon.process is not None and daemon.process.poll() is None:
            daemon.kill()
    with daemon.history() as history:
        found = history.readings("pressure", 0, 2**62)
        assert found.value.tolist() == [31, 36, 37, 32, 33, 34, 35]
        assert all(a < b for a, b in pairwise(found.time_us.tolist()))
        now_us = time.time_ns() // 1000
        ahead_s = np.round((found.time_us - now_us) / 60e6)
        assert ahead_s[0] <= 0
        assert [round(float(one)) for one in (found.time_us[1:3] - now_us) / 600e6] == [
            6,
            6,
        ]  # as the clock said
        assert history.findings() == []
        # A lone leap forward of more than an hour wants a second witness, twice here.
        assert history.counts().get("late", 0) <= 2
