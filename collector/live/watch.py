"""One plant and a session of its own at the broker, so that a plant in trouble holds up no other.

What cannot be stored is not acknowledged, and a broker that is owed too much stops sending: to this
plant's session, and to no other's.
"""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING

from collector.live.link import Link

if TYPE_CHECKING:
    from collections.abc import Callable

    from collector.live.site import Site
    from collector.settings import Broker

#: A broker that allows few messages in flight (mosquitto: 20) waits for us long before the second is
#: over: when messages stop coming and so many are owed, commit at once.
_WINDOW = 16
#: A disk that is full is not helped by being asked each second, and asking may hold the others up.
_LONGEST_WAIT_S = 10.0


class Watch:
    """Hears for one plant, and acknowledges what it has stored."""

    def __init__(self, site: Site, broker: Broker, now_us: Callable[[], int]) -> None:
        self.site = site
        # By the plant's name, also where there is one plant: the second one must not end a session.
        own = replace(broker, client_id=f"{broker.client_id}-{site.plant.name}")
        self.link = Link(own, list(site.topics), self._hear)
        self.heard = 0
        self._now_us = now_us
        self._received_us: dict[str, int] = {}
        self._failures = 0
        self._next_try = 0.0

    def _hear(self, topic: str, payload: bytes, retained: bool, waited: bool) -> None:
        self.heard += 1
        # Two values of one topic in one millisecond are two: a bare one has no other time to be told by.
        received_us = max(self._now_us(), self._received_us.get(topic, 0) + 1)
        if topic in self.site.topics:
            self._received_us[topic] = received_us
            self.site.hear(topic, payload, retained, waited, received_us)

    def turn_back(self, now_us: int) -> None:
        """The clock was set back to now."""
        self._received_us.clear()
        self.site.turn_back(now_us)

    def work(self, wait_s: float) -> None:
        """Wait up to `wait_s` for the network and take what came; commit where the broker waits for it."""
        heard = self.heard
        self.link.work(wait_s)
        if self.heard == heard and self.link.owed >= _WINDOW:
            self.commit(self._now_us())

    def commit(self, now_us: int) -> None:
        """Examine, store, and only then acknowledge. While it fails, not so often."""
        # No ticks while the link is down, since then silence is ours and not the sensors'; nor before
        # what the broker kept for us is through, since it is older than now.
        if self.link.settled():
            self.site.tick(now_us)
        if self._failures and time.monotonic() < self._next_try:
            return
        if self.site.commit(now_us):
            self._failures = 0
            self.link.acknowledge()
            return
        self._next_try = time.monotonic() + min(2.0**self._failures, _LONGEST_WAIT_S)
        self._failures += 1

    def close(self, now_us: int) -> None:
        """Store what was heard, and take leave of the broker; the site is still open."""
        self._failures = 0
        self.commit(now_us)
        self.link.close()
