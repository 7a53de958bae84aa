"""Killed at random moments under load, the broker restarted too, the daemon must end where a twin
ends that was never killed."""

from __future__ import annotations

import json
import os
import random
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from tests.collector.live.conftest import PLANT_FILE, Running, until

if TYPE_CHECKING:
    from collector.store import History
    from tests.collector.live.conftest import Broker

pytestmark = pytest.mark.broker

#: 6 in the suite; `HOLDWATER_KILLS=50 pytest tests/collector/live/test_kills.py` for the whole trial.
KILLS = int(os.environ.get("HOLDWATER_KILLS", "6"))
#: Every sensor speaks SenML here: only a value that brings its own time can be the same after a redelivery.
TIMED = PLANT_FILE.replace('pointer = "/ain/0"\n', "")
SECONDS = 400 * KILLS


def test_nothing_is_lost_or_doubled_and_the_findings_are_the_same(broker: Broker, tmp_path: Path) -> None:
    killed, twin = (_daemon(broker, tmp_path, name) for name in ("killed", "twin"))
    twin.start()
    killed.start()
    try:
        until(twin.connected)
        until(killed.connected)
        begin_s = round(time.time()) - SECONDS - 60
        sent = _publish_and_kill(broker, killed, begin_s, random.Random(1))
        for one in (killed, twin):
            until(lambda one=one: one.stored() >= sent, 90.0)  # type: ignore[misc]
            assert one.stored() == sent
    finally:
        assert killed.stop() == 0
        assert twin.stop() == 0
    _same(killed, twin, end_us=(begin_s + SECONDS) * 1_000_000)


def _daemon(broker: Broker, folder: Path, name: str) -> Running:
    made = folder / name
    made.mkdir()
    settings = made / "settings.toml"
    settings.write_text(f'[broker]\nclient_id = "{name}"\n')
    return Running(broker, made, TIMED, settings)


def _publish_and_kill(broker: Broker, daemon: Running, begin_s: int, chance: random.Random) -> int:
    """A saw-tooth of pressure and motor, much faster than life; returns how many readings were sent."""
    out = broker.publisher()
    kill_at = chance.sample(range(60, SECONDS - 60), KILLS)
    restart_at = set(kill_at[:: max(KILLS // 5, 2)])  # the broker as well: a power cut takes both
    sent = 0
    for second in range(SECONDS):
        for topic, unit, value in _moment(second):
            record = [{"n": topic, "u": unit, "t": begin_s + second, "v": value}]
            last = out.publish(f"bench/{topic}", json.dumps(record), qos=1)
            sent += 1
        if second % 20 == 19:
            last.wait_for_publish(30)
            # Two seconds a kill, so that most find it listening; and no second without a word, since then
            # the twin's clock would tick, hours ahead of these readings.
            time.sleep(0.1)
        if second in kill_at:
            daemon.kill()
            if second in restart_at:
                last.wait_for_publish(30)
                broker.stop()
                until(lambda: not out.is_connected())
                broker.start()
                until(out.is_connected)
            daemon.start()
    last.wait_for_publish(30)
    out.disconnect()
    lives = daemon.log.read_text().count("connected to")
    assert lives > KILLS // 2, f"in {KILLS} kills it had reached the broker {lives} times only"
    return sent


def _moment(second: int) -> tuple[tuple[str, str, float], ...]:
    """A tank without air: 45 starts an hour, 25 s each."""
    phase = second % 80
    running = phase < 25
    pressure = 206_843 + 137_895 * (phase / 25 if running else 1 - (phase - 25) / 55)
    ripple = second * 7919 % 13  # the last digits of a real sensor are never still
    return (
        ("pressure", "Pa", round(pressure + 40 * ripple, 0)),
        ("outlet", "Pa", round(pressure + 9_000 * running + 40 * ripple, 0)),
        ("motor", "A", 5.8 + 0.01 * ripple if running else 0.0),
    )


def _same(killed: Running, twin: Running, end_us: int) -> None:
    with killed.history() as ours, twin.history() as theirs:
        for name in ("outlet", "motor", "pressure"):
            a, b = ours.readings(name, 0, 2**62), theirs.readings(name, 0, 2**62)
            np.testing.assert_array_equal(a.time_us, b.time_us)
            np.testing.assert_array_equal(a.value, b.value)
        assert len(theirs.cycles(0, end_us)) >= SECONDS // 80 - 2
        assert ours.cycles(0, end_us) == theirs.cycles(0, end_us)
        # What silence after the end brings depends on the moment of each daemon's ticks, not on kills.
        before = [[f for f in h.findings() if f.raised_us <= end_us] for h in (ours, theirs)]
        assert before[1], "the twin found nothing: the trial would compare two empty lists"
        assert before[0] == before[1]
        lives = [_lives(h, end_us) for h in (ours, theirs)]
        assert lives[1], "the twin raised no alarm"
        assert lives[0] == lives[1]


def _lives(history: History, end_us: int) -> list[tuple[str, int, str, str]]:
    """What became of each alarm, in order; the moments are each daemon's own."""
    changes = reversed(history.alarm_changes(1000))
    return [(one.fault, one.raised_us, one.before, one.after) for one in changes if one.raised_us <= end_us]
