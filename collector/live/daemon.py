"""The daemon's loop, in one thread: listen, examine, commit, and only then acknowledge."""

from __future__ import annotations

import logging
import signal
import threading
import time
from collections import defaultdict
from typing import TYPE_CHECKING

from collector.live import clock, systemd
from collector.live.link import Link
from collector.live.pulse import Pulse, write_pulse
from collector.notify.office import Office

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from collector.live.companion import Companion
    from collector.live.site import Site
    from collector.settings import Broker

log = logging.getLogger("holdwater.daemon")

_COMMIT_S = 1.0
#: A broker that allows few messages in flight (mosquitto: 20) waits for us long before the second is
#: over: when messages stop coming and so many are owed, commit at once.
_WINDOW = 16
_LULL_S = 0.05
_PULSE_S = 10.0
_GIVE_UP_S = 600.0


class Daemon:
    """Watches some sites over one broker until `stop` is set."""

    def __init__(
        self,
        sites: Sequence[Site],
        broker: Broker,
        data: Path,
        companion: Companion | None,
        office: Office | None = None,
    ) -> None:
        self._sites = list(sites)
        self._hearers: dict[str, list[Site]] = defaultdict(list)
        for site in self._sites:
            for topic in site.topics:
                self._hearers[topic].append(site)
        self._link = Link(broker, list(self._hearers), self._hear)
        self._broker = broker
        self._data = data
        self._companion = companion
        self._office = office or Office()
        self._stamps = clock.Stamps()
        self._received_us: dict[str, int] = {}
        self._heard = 0
        self._pulse_at = 0.0
        self._give_up_at = 0.0
        self.stop = threading.Event()

    def run(self) -> None:
        """Until stopped. Everything heard is stored before it returns."""
        began_us = clock.now_us()
        committed = time.monotonic()
        self._office.begin()
        systemd.tell("READY=1")
        while not self.stop.is_set():
            heard = self._heard
            self._link.work(_LULL_S)
            lull = self._heard == heard and self._link.owed >= _WINDOW
            if lull or time.monotonic() - committed >= _COMMIT_S:
                self._commit()
                committed = time.monotonic()
                self._tend(began_us)
        systemd.tell("STOPPING=1")
        self._close(began_us)

    def _hear(self, topic: str, payload: bytes, retained: bool, waited: bool) -> None:
        self._heard += 1
        # Two values of one topic in one millisecond are two: a bare one has no other time to be told by.
        received_us = max(self._now_us(), self._received_us.get(topic, 0) + 1)
        if topic in self._hearers:
            self._received_us[topic] = received_us
        for site in self._hearers.get(topic, ()):
            site.hear(topic, payload, retained, waited, received_us)

    def _now_us(self) -> int:
        """The time of receipt."""
        stamp_us, turned_back = self._stamps.at(clock.now_us(), clock.running_us())
        if turned_back:
            self._received_us.clear()
        return stamp_us

    def _commit(self) -> None:
        now_us = self._now_us()
        # No ticks while the link is down, since then silence is ours and not the sensors'; nor before
        # what the broker kept for us is through, since it is older than now.
        if self._link.settled():
            for site in self._sites:
                site.tick(now_us)
        stored = {id(site): site.commit(now_us) for site in self._sites}
        self._link.acknowledge(lambda topic: all(stored[id(site)] for site in self._hearers.get(topic, ())))

    def _tend(self, began_us: int) -> None:
        """The companion's health and our own sign of life, which need not wear the card each second."""
        systemd.tell("WATCHDOG=1")
        self._office.tend()
        if self._companion is not None:
            self._companion.tend()
        if time.monotonic() >= self._pulse_at or self._link.connections != self._link.told:
            self._pulse_at = time.monotonic() + _PULSE_S
            self._link.told = self._link.connections
            write_pulse(self._data, self._pulse(began_us, running=True))
        if time.monotonic() >= self._give_up_at:
            self._give_up_at = time.monotonic() + _GIVE_UP_S
            for site in self._sites:
                site.give_up_old(self._now_us())

    def _pulse(self, began_us: int, running: bool) -> Pulse:
        return Pulse(
            time_us=clock.now_us(),
            began_us=began_us,
            running=running,
            broker=f"{self._broker.host}:{self._broker.port}",
            connected=self._link.connected,
            connections=self._link.connections,
            messages=self._heard,
            trouble={site.plant.name: site.trouble for site in self._sites if site.trouble},
        )

    def _close(self, began_us: int) -> None:
        if self._companion is not None:
            self._companion.stop()
        self._commit()
        self._link.close()
        self._office.end()  # what it has delivered goes into the sites' last commit
        for site in self._sites:
            site.close(self._now_us())
        write_pulse(self._data, self._pulse(began_us, running=False))
        log.info("stopped; everything heard is stored")


def stop_on_signals(daemon: Daemon) -> None:
    """SIGTERM and SIGINT end the loop in order."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: daemon.stop.set())


def wait_for_clock(stop: threading.Event) -> None:
    """A clock that was never set would stamp readings with 1970: wait, the broker keeps what comes."""
    if clock.is_set():
        return
    log.warning("the clock shows a time before 2026: waiting until it is set")
    while not clock.is_set() and not stop.wait(1.0):
        pass
