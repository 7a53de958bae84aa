"""A disk that really is full, beneath the real daemon: a small one of its own, in a namespace of its own."""

from __future__ import annotations

import contextlib
import json
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from collector.live.pulse import read_pulse
from tests.collector.live.conftest import Running, until

if TYPE_CHECKING:
    from tests.collector.live.conftest import Broker

pytestmark = pytest.mark.broker

#: The program's own words follow; $0 is the data folder.
ON_A_SMALL_DISK = 'mount -t tmpfs -o size=1500k tmpfs "$0" && exec "$@"'
#: Once in order, and then again when something else has taken all the room.
FULL_AT_ITS_START = (
    'mount -t tmpfs -o size=1500k tmpfs "$0" && timeout -s TERM 5 "$@";'
    ' cat /dev/zero > "$0/photographs"; exec "$@"'
)


def fill(file: Path) -> None:
    """With as much as there is room for."""
    with contextlib.suppress(OSError), file.open("wb", buffering=0) as out:
        while out.write(bytes(4096)):
            pass


def status(daemon: Running) -> str:
    """What `holdwater status` says, asked where the daemon's disk is to be seen."""
    assert daemon.process is not None
    there = ["nsenter", "--target", str(daemon.process.pid), "--user", "--mount", "--preserve-credentials"]
    ask = [sys.executable, "-m", "collector.cli", "status", str(daemon.file), "--data", str(daemon.data)]
    return subprocess.run([*there, *ask], capture_output=True, text=True, check=True).stdout


def on_a_disk_of_its_own(broker: Broker, folder: Path, script: str) -> Running:
    daemon = Running(broker, folder)
    daemon.data.mkdir()
    within = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c"]
    tried = subprocess.run(
        [*within, ON_A_SMALL_DISK, str(daemon.data), "true"], capture_output=True, text=True
    )
    assert tried.returncode == 0, f"this test needs leave to make namespaces: {tried.stderr}"
    daemon.program = [*within, script, str(daemon.data), *daemon.program]
    return daemon


def test_a_full_disk_is_said_and_what_waited_is_stored_when_there_is_room(
    broker: Broker, tmp_path: Path
) -> None:
    daemon = on_a_disk_of_its_own(broker, tmp_path, ON_A_SMALL_DISK)
    daemon.start()
    out = broker.publisher()
    begin_s = round(time.time()) - 100_000
    sent = 0

    def publish(count: int) -> None:
        nonlocal sent
        for _ in range(count):
            record = [{"n": "pressure", "u": "Pa", "t": begin_s + sent, "v": 250_000 + sent % 1000}]
            last = out.publish("bench/pressure", json.dumps(record), qos=1)
            sent += 1
        last.wait_for_publish(30)

    def stored() -> int:
        return int(re.findall(r"([\d,]+) readings", status(daemon))[0].replace(",", ""))

    def trouble() -> str:
        pulse = read_pulse(data)
        return "" if pulse is None else pulse.trouble.get("bench", "")

    try:
        until(daemon.connected)
        assert daemon.process is not None
        data = Path(f"/proc/{daemon.process.pid}/root{daemon.data}")  # the disk as the daemon sees it
        publish(100)
        until(lambda: stored() == 100)
        filler = data / "photographs"
        fill(filler)
        until(lambda: publish(200) or "disk is full" in trouble(), 60)  # type: ignore[func-returns-value]
        (line,) = [line for line in daemon.log.read_text().splitlines() if "nothing is being stored" in line]
        assert "the disk is full" in line
        assert "bench: nothing is being stored" in status(daemon)
        assert "the disk is full" in status(daemon)
        publish(500)
        assert stored() < sent
        filler.unlink()
        until(lambda: stored() == sent, 60)
        until(lambda: trouble() == "")
        assert "storing again" in daemon.log.read_text()
    finally:
        out.disconnect()
        assert daemon.stop() == 0


def test_a_disk_that_is_full_at_the_start_is_waited_for(broker: Broker, tmp_path: Path) -> None:
    daemon = on_a_disk_of_its_own(broker, tmp_path, FULL_AT_ITS_START)
    daemon.start()
    assert daemon.process is not None
    data = Path(f"/proc/{daemon.process.pid}/root{daemon.data}")
    try:
        until(lambda: "its history cannot be opened, and is waited for" in daemon.log.read_text(), 40)
        assert daemon.connected(1)
        assert not daemon.connected(2)
        pulse = read_pulse(data)
        assert pulse is not None
        assert pulse.running
        assert "bench" in pulse.trouble
        (data / "photographs").unlink()
        until(lambda: daemon.connected(2))
        until(lambda: getattr(read_pulse(data), "trouble", None) == {})
    finally:
        assert daemon.stop() == 0
