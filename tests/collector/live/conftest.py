"""A real mosquitto, and a real daemon in a process of its own."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from analytics.plant.description import Plant
from collector.plantfile import load_plant
from collector.store import History

PLANT_FILE = """
version = 1
title = "Juniper Bench"
timezone = "America/Boise"
[switch]
cut_in = "30 psi"
cut_out = "50 psi"
[pressure_tank]
volume = "44 gal"
precharge = "28 psi"
[[signal]]
name = "pressure"
measures = "line_pressure"
topic = "bench/pressure"
unit = "psi"
valid = ["0 psi", "100 psi"]
[[signal]]
name = "motor"
measures = "pump_current"
topic = "bench/motor"
pointer = "/ain/0"
unit = "A"
[[signal]]
name = "outlet"
measures = "discharge_pressure"
topic = "bench/outlet"
unit = "kPa"
"""


def until(what: Callable[[], bool], within_s: float = 20.0) -> None:
    """Wait for something to become true; fail where it does not."""
    deadline = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < deadline, "it did not come about in time"
        time.sleep(0.05)


class Broker:
    """mosquitto on a loopback port, with its persistence in a folder."""

    def __init__(self, folder: Path, more: str = "allow_anonymous true\n") -> None:
        program = shutil.which("mosquitto", path=f"{os.environ['PATH']}:/usr/sbin")
        assert program, "these tests need Debian's mosquitto: apt-get install mosquitto"
        self._program = program
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self._configuration = folder / "mosquitto.conf"
        self._configuration.write_text(
            f"listener {self.port} 127.0.0.1\n{more}persistence true\n"
            f"persistence_location {folder}/\nmax_queued_messages 1000000\nuser root\n"
        )
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> None:
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._configuration)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until(self._answers)

    def stop(self) -> None:
        """In order: it saves what it keeps."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10)
            self._process = None

    def _answers(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def publisher(self) -> mqtt.Client:
        client = mqtt.Client(CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        return client


class Running:
    """`holdwater run` on the plant above, without a dashboard."""

    def __init__(
        self, broker: Broker, folder: Path, text: str = PLANT_FILE, settings: Path | None = None
    ) -> None:
        self.file = folder / "bench.toml"
        self.file.write_text(text)
        self.plant: Plant = load_plant(self.file)
        self.data = folder / "data"
        self.log = folder / "daemon.log"
        self.url = broker.url
        self._settings = settings
        self.also: list[Path] = []  # further plant files
        self.program = [sys.executable, "-m", "collector.cli"]
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        words = [*self.program, "run", str(self.file), *map(str, self.also), "--no-dashboard"]
        words += ["--broker", self.url, "--data", str(self.data)]
        if self._settings is not None:
            words += ["--settings", str(self._settings)]
        self.process = subprocess.Popen(words, stderr=self.log.open("ab"))

    def connected(self, times: int = 1) -> bool:
        return self.log.exists() and self.log.read_text().count("connected to") >= times

    def kill(self) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait(10)

    def stop(self) -> int:
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(20)

    def history(self) -> History:
        return History(self.data, self.plant)

    def stored(self) -> int:
        with self.history() as history:
            return history.counts().get("readings", 0)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Broker(folder)
    made.start()
    yield made
    made.stop()


@pytest.fixture
def daemon(broker: Broker, tmp_path: Path) -> Iterator[Running]:
    made = Running(broker, tmp_path)
    yield made
    if made.process is not None and made.process.poll() is None:
        made.process.kill()
        made.process.wait(10)
