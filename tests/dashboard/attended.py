"""A made-up plant whose history somebody writes: the desk of the daemon, without broker and engine."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

from collector.commands import Commands
from collector.live.desk import Desk
from collector.notify.office import Office
from collector.store import Batch, Writer
from tests.dashboard import made

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.records import Finding


class Attended:
    """Carries out commands and takes up findings, about five times a second, while it is open."""

    def __init__(self, data: Path) -> None:
        self.data, self.plant = data, made.juniper()
        self._told: list[Finding] = []
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Attended:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(5)

    def tell(self, finding: Finding) -> None:
        self._told.append(finding)

    def _run(self) -> None:
        with Writer(self.data, self.plant) as writer:
            desk = Desk(writer, self.plant, Commands(self.data, self.plant.name), Office())
            while not self._stop.wait(0.2):
                told, self._told = self._told, []
                now_us = time.time_ns() // 1000
                if desk.due(now_us) or told:
                    said = desk.step(writer, now_us, told)
                    writer.commit(Batch(findings=told, response=said))
                    desk.committed(said)
