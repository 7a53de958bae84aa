"""Couriers: a thread a channel, so that a dead network holds up neither ingestion nor another channel.

A message is handed over when its row is committed, and reported back when the other side has it; the
daemon then commits that. Killed between the two, the row is still due, and the message is sent again:
at least once, never lost.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import msgspec

from collector.live import clock
from collector.notify import channels
from collector.notify.channels import Undelivered
from collector.notify.planning import going, wait_s
from collector.notify.topics import Topics
from collector.notify.words import Message

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.alarms.records import Alarm
    from analytics.records import Priority
    from collector.notify.channels import Channel
    from collector.notify.planning import Quiet
    from collector.notify.settings import Notify
    from collector.settings import Broker
    from collector.store import Due

log = logging.getLogger("holdwater.notify")

_LOOK_S = 0.5
_END_WITHIN_S = 3.0


class Courier(threading.Thread):
    """Brings one channel's messages, in order, and reports what was delivered or tried."""

    def __init__(self, channel: Channel, least: Priority, quiet: Quiet, reports: Reports) -> None:
        super().__init__(name=f"courier {channel.name}", daemon=True)
        self.channel, self.least = channel, least
        self._quiet, self._reports = quiet, reports
        self._handed: queue.SimpleQueue[tuple[str, Due]] = queue.SimpleQueue()
        self._held: list[tuple[str, Due, Message]] = []
        self._failures = 0
        self._next_try = 0.0
        self._last_us = 0
        self._ends = threading.Event()
        self.told_dead = False

    def take(self, plant: str, due: Due) -> None:
        self._handed.put((plant, due))

    def end(self) -> None:
        self._ends.set()

    def run(self) -> None:
        while not self._ends.is_set():
            self.work()
            self._ends.wait(_LOOK_S)

    def work(self) -> None:
        """One look: take what was handed over, and send what is to go now."""
        while not self._handed.empty():
            plant, due = self._handed.get_nowait()
            try:
                self._held.append((plant, due, msgspec.json.decode(due.body, type=Message)))
            except msgspec.MsgspecError as error:  # another version wrote it
                log.warning("%s: a message cannot be read and is given up: %s", self.channel.name, error)
                self._reports.put(plant, replace(due, done_us=clock.now_us()))
        if not self._held or time.monotonic() < self._next_try:
            return
        now_us = clock.now_us()
        go = going([message for _, _, message in self._held], self._quiet, now_us, self._last_us)
        if go:
            self._bring([self._held[position] for position in go], now_us)

    def _bring(self, batch: list[tuple[str, Due, Message]], now_us: int) -> None:
        try:
            self.channel.send([message for _, _, message in batch])
        except Undelivered as error:
            self._failed(batch, str(error))
            return
        if self._failures:
            log.info("%s: messages arrive again", self.channel.name)
        self._failures, self._last_us = 0, now_us
        for plant, due, _ in batch:
            self._reports.put(plant, replace(due, tries=due.tries + 1, done_us=now_us))
        sent = {id(due) for _, due, _ in batch}
        self._held = [one for one in self._held if id(one[1]) not in sent]

    def _failed(self, batch: list[tuple[str, Due, Message]], why: str) -> None:
        """Try again later; say so once, and note the first try, not every one: each wears the card."""
        self._failures += 1
        self._next_try = time.monotonic() + wait_s(self._failures)
        if self._failures == 1:
            log.warning("%s: a message did not arrive, it is tried again: %s", self.channel.name, why)
            for plant, due, _ in batch:
                self._reports.put(plant, replace(due, tries=due.tries + 1))


class Reports:
    """What couriers say, by plant, for the daemon to commit."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._said: dict[str, list[Due]] = {}

    def put(self, plant: str, due: Due) -> None:
        with self._lock:
            self._said.setdefault(plant, []).append(due)

    def waiting(self, plant: str) -> bool:
        return bool(self._said.get(plant))

    def take(self, plant: str) -> list[Due]:
        with self._lock:
            return self._said.pop(plant, [])


class Office:
    """All channels. Where none is set, messages are not even written."""

    def __init__(
        self,
        to: Sequence[tuple[Channel, Priority]] = (),
        quiet: Quiet = None,
        topics: Topics | None = None,
    ) -> None:
        self.reports = Reports()
        self._topics = topics
        every: list[tuple[Channel, Priority]] = list(to)
        if topics is not None:
            every.append((topics, "low"))
        self.couriers = {
            channel.name: Courier(channel, least, quiet, self.reports) for channel, least in every
        }

    @classmethod
    def of(cls, said: Notify, broker: Broker) -> Office:
        """As the settings want it. OSError where a password or certificate cannot be read."""
        channels.silence()
        topics = Topics(broker, said.mqtt_prefix) if said.mqtt_prefix else None
        to = [(channels.Elsewhere(one, said.address), one.least) for one in said.to]
        return cls(to, said.quiet, topics)

    def begin(self) -> None:
        if self._topics is not None:
            self._topics.begin()
        for courier in self.couriers.values():
            courier.start()

    def tend(self) -> None:
        """Say it where a courier has died, which is a mistake of ours; the rest goes on without it."""
        for courier in self.couriers.values():
            if courier.ident is not None and not courier.is_alive() and not courier.told_dead:
                courier.told_dead = True
                log.error("%s: its courier died; messages wait for a restart", courier.channel.name)

    def end(self) -> None:
        """Let couriers finish what they are at, for a moment; their last reports can then be taken."""
        for courier in self.couriers.values():
            courier.end()
        deadline = time.monotonic() + _END_WITHIN_S
        for courier in self.couriers.values():
            if courier.is_alive():
                courier.join(max(0.0, deadline - time.monotonic()))
        if self._topics is not None:
            self._topics.close()

    def hand_over(self, plant: str, due: Sequence[Due]) -> None:
        """Messages whose rows are committed."""
        for one in due:
            if one.done_us is None and one.channel in self.couriers:
                self.couriers[one.channel].take(plant, one)

    def show(self, plant: str, alarms: Sequence[Alarm]) -> None:
        """Alarms as they are, for whoever listens at the broker."""
        if self._topics is not None:
            self._topics.show(plant, alarms)
