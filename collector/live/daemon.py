"""The daemon's loop, in one thread: listen, examine, commit, and only then acknowledge."""

from __future__ import annotations

import gc
import logging
import select
import signal
import threading
import time
from typing import TYPE_CHECKING

from collector.live import clock, systemd
from collector.live.pulse import RENEWED_S, Pulse, read_pulse, write_pulse
from collector.live.watch import Watch
from collector.notify.office import Office

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from collector.live.companion import Companion
    from collector.live.site import Site
    from collector.settings import Broker

log = logging.getLogger("holdwater.daemon")

_COMMIT_S = 1.0
_LULL_S = 0.05
_GIVE_UP_S = 600.0
#: How long a clock that shows less than when we last lived is given to be set; then it is believed.
_SET_WITHIN_S = 600.0


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
        self._watches = [Watch(site, broker, self._now_us) for site in sites]
        self._broker = broker
        self._data = data
        self._companion = companion
        self._office = office or Office()
        before = read_pulse(data)
        self._lived_us = 0 if before is None else before.time_us
        self._stamps = clock.Stamps(self._lived_us)
        self._told: object = None  # what the last sign of life said, but for its time
        self._pulse_at = 0.0
        self._give_up_at = 0.0
        self.stop = threading.Event()

    def run(self) -> None:
        """Until stopped. Everything heard is stored before it returns."""
        self._await_clock()
        began_us = clock.now_us()
        committed = time.monotonic()
        # at once: on a disk that fills up the file must be there to be written over
        write_pulse(self._data, self._pulse(began_us, running=True))
        self._office.begin()
        gc.collect()
        gc.freeze()  # what start-up made lives as long as we do: collections need not walk it
        systemd.tell("READY=1")
        while not self.stop.is_set():
            self._listen()
            if time.monotonic() - committed >= _COMMIT_S:
                now_us = self._now_us()
                for watch in self._watches:
                    watch.commit(now_us)
                committed = time.monotonic()
                self._tend(began_us)
        systemd.tell("STOPPING=1")
        self._close(began_us)

    def _await_clock(self) -> None:
        """A clock that was never set, or shows less than when we last lived, would stamp readings with a
        time before theirs: wait until it is set; the broker keeps what comes."""
        until = time.monotonic() + _SET_WITHIN_S
        if not clock.is_set():
            log.warning("the clock shows a time before 2026: waiting until it is set")
        elif not clock.is_set(self._lived_us):
            log.warning("the clock shows a time before the newest that is stored: waiting for it to be set")
        while not self.stop.is_set() and not clock.is_set(self._lived_us):
            if clock.is_set() and time.monotonic() >= until:
                log.warning("the clock was not set in ten minutes and is believed: it was wrong before")
                return
            if self._companion is not None:
                self._companion.tend()
            self.stop.wait(1.0)

    def _listen(self) -> None:
        """Take what came for each plant, waiting a moment where nothing does."""
        if len(self._watches) == 1:
            self._watches[0].work(_LULL_S)
            return
        heard, began = self._heard(), time.monotonic()
        for watch in self._watches:
            watch.work(0.0)
            if time.monotonic() - began > _COMMIT_S:  # a broker that does not answer: the others in turn
                return
        if self._heard() == heard:
            links = [watch.link for watch in self._watches]
            there = [(link.socket, link.sending) for link in links if link.socket is not None]
            sockets = [socket for socket, _ in there]
            select.select(sockets, [socket for socket, sending in there if sending], [], _LULL_S)

    def _heard(self) -> int:
        return sum(watch.heard for watch in self._watches)

    def _now_us(self) -> int:
        """The time of receipt."""
        stamp_us, turned_back = self._stamps.at(clock.now_us(), clock.running_us())
        if turned_back:
            log.warning("the clock was set back by more than five minutes: going on from the earlier time")
            for watch in self._watches:
                watch.turn_back(stamp_us)
        return stamp_us

    def _tend(self, began_us: int) -> None:
        """The companion's health and our own sign of life, which need not wear the card each second."""
        systemd.tell("WATCHDOG=1")
        self._office.tend()
        if self._companion is not None:
            self._companion.tend()
        pulse = self._pulse(began_us, running=True)
        says = (pulse.connected, pulse.connections, pulse.trouble)
        if time.monotonic() >= self._pulse_at or says != self._told:
            self._pulse_at = time.monotonic() + RENEWED_S
            self._told = says
            write_pulse(self._data, pulse)
        if time.monotonic() >= self._give_up_at:
            self._give_up_at = time.monotonic() + _GIVE_UP_S
            for watch in self._watches:
                watch.site.give_up_old(self._now_us())

    def _pulse(self, began_us: int, running: bool) -> Pulse:
        sites = [watch.site for watch in self._watches]
        return Pulse(
            time_us=clock.now_us(),
            began_us=began_us,
            running=running,
            broker=f"{self._broker.host}:{self._broker.port}",
            connected=all(watch.link.connected for watch in self._watches),
            connections=sum(watch.link.connections for watch in self._watches),
            messages=self._heard(),
            trouble={site.plant.name: site.trouble for site in sites if site.trouble},
        )

    def _close(self, began_us: int) -> None:
        if self._companion is not None:
            self._companion.stop()
        for watch in self._watches:
            watch.close(self._now_us())
        self._office.end()  # what it has delivered goes into the sites' last commit
        for watch in self._watches:
            watch.site.close(self._now_us())
        write_pulse(self._data, self._pulse(began_us, running=False))
        log.info("stopped; everything heard is stored")


def stop_on_signals(daemon: Daemon) -> None:
    """SIGTERM and SIGINT end the loop in order."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: daemon.stop.set())
