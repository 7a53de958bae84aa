"""Several plants in one daemon: each with a session of its own, so that one in trouble holds up no other."""

from __future__ import annotations

import json
import sqlite3
import time
from contextlib import closing
from typing import TYPE_CHECKING

import pytest

from collector.live.pulse import read_pulse
from collector.plantfile import load_plant
from collector.store import History
from tests.collector.live.conftest import PLANT_FILE, Broker, Running, until

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.broker

#: More than the link lets the broker send ahead of our acknowledgements.
MANY = 22_000


def records(out: object, topic: str, begin_s: int, count: int) -> None:
    for i in range(count):
        record = [{"n": "pressure", "u": "Pa", "t": begin_s + i, "v": 250_000 + i % 1000}]
        last = out.publish(topic, json.dumps(record), qos=1)  # type: ignore[attr-defined]
        if i % 2000 == 1999:
            last.wait_for_publish(60)
    last.wait_for_publish(60)


def test_a_plant_that_cannot_be_stored_holds_up_no_other_and_loses_nothing(
    broker: Broker, tmp_path: Path
) -> None:
    daemon = Running(broker, tmp_path)
    other = tmp_path / "orchard.toml"
    other.write_text(PLANT_FILE.replace("bench/", "orchard/"))
    daemon.also = [other]
    plant = load_plant(other)
    begin_s = round(time.time()) - 100_000

    def orchard() -> int:
        with History(daemon.data, plant) as history:
            return history.counts()["readings"]

    daemon.start()
    out = broker.publisher()
    try:
        until(lambda: daemon.connected(2))
        records(out, "orchard/pressure", begin_s, 10)
        until(lambda: orchard() == 10)
        with closing(
            sqlite3.connect(daemon.data / "orchard" / "history.sqlite", isolation_level=None)
        ) as hold:
            hold.execute("BEGIN IMMEDIATE")  # another program that has the file and does not let go
            records(out, "orchard/pressure", begin_s + 10, MANY)
            until(lambda: "orchard: nothing is being stored" in daemon.log.read_text())
            until(lambda: "orchard" in getattr(read_pulse(daemon.data), "trouble", {}))
            records(out, "bench/pressure", begin_s, 3000)
            until(lambda: daemon.stored() == 3000, 60)
            assert orchard() == 10
            hold.execute("ROLLBACK")
        until(lambda: orchard() == MANY + 10, 60)
        until(lambda: getattr(read_pulse(daemon.data), "trouble", None) == {})
        assert daemon.stop() == 0
    finally:
        out.disconnect()
        if daemon.process is not None and daemon.process.poll() is None:
            daemon.kill()
    assert daemon.log.read_text().count("nothing is being stored") == 1
    with History(daemon.data, plant) as history:
        times = history.readings("pressure", 0, 2**62).time_us.tolist()
    assert times == [(begin_s + i) * 1_000_000 for i in range(MANY + 10)]
