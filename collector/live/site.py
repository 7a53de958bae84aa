"""One plant as the daemon holds it: decoder, engine, history, and what is not committed yet."""

from __future__ import annotations

import logging
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from analytics.plant.payload import Decoder, Rows
from analytics.readings import TICK, Readings
from collector.backfill import resumed
from collector.store import Batch, HistoryError, SetAside
from collector.store.salvage import opened
from collector.store.signals import in_si

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.plant.description import Plant

log = logging.getLogger("holdwater.site")

#: A sensor's own clock may be ahead of ours by so much; a reading further ahead is set aside, since
#: it would make everything after it look late.
AHEAD_US = 5 * 60 * 1_000_000
_TICK_US = 1_000_000
#: Ticks alone are worth a commit this seldom (each commit wears the card).
_TICKS_COMMIT_US = 10 * 1_000_000
_SNAPSHOT_US = 5 * 60 * 1_000_000


class Site:
    """A plant that is being watched. All times are given; no clock is read here."""

    def __init__(self, plant: Plant, plant_file: str, data: Path, now_us: int) -> None:
        self.plant = plant
        self._decoder = Decoder(plant)
        self.topics = self._decoder.topics
        self._history, salvaged = opened(data, plant)
        if salvaged is not None:
            log.error(
                "%s: its history was damaged: set aside as %s; %s readings could be saved into a new one",
                plant.name,
                salvaged.aside,
                f"{salvaged.readings:,}",
            )
        self._history.keep_plant_file(plant_file)
        self._engine = resumed(self._history)
        self._rows = Rows()
        self._waited = Rows()  # kept, and not examined
        self._aside: list[SetAside] = []
        self._counted: Counter[str] = Counter()
        self._pending = Batch()
        self._late = self._engine.late
        self._last_us = now_us  # of the newest tick or message
        self._snapshot_us = now_us
        self._committed_us = now_us
        self.trouble: str | None = None

    # -- hearing -------------------------------------------------------------------------------

    def hear(self, topic: str, payload: bytes, retained: bool, waited: bool, received_us: int) -> None:
        """Decode one message. A value without a time of its own that was retained is not fresh and not
        kept; one that waited at the broker is kept, and not examined: nobody knows when it was true."""
        self._last_us = max(self._last_us, received_us)
        decoded = self._decoder.decode(topic, payload, received_us)
        for reject in decoded.rejects:
            self._put_aside(received_us, reject.topic, reject.reason, reject.excerpt)
        rows = decoded.readings
        for signal, time_us, value in zip(rows.signal, rows.time_us, rows.value, strict=True):
            if retained and time_us == received_us:
                self._counted["retained"] += 1
            elif waited and time_us == received_us:
                self._counted["waited"] += 1
                self._waited.add(signal, time_us, value)
            elif time_us > received_us + AHEAD_US:
                self._put_aside(received_us, topic, "its time lies in the future", str(time_us / 1e6))
            else:
                self._rows.add(signal, time_us, value)

    def _put_aside(self, time_us: int, topic: str, reason: str, excerpt: str) -> None:
        self._counted["rejected"] += 1
        self._aside.append(SetAside(time_us, topic, reason, excerpt))

    def tick(self, now_us: int) -> None:
        """Time goes on: a tick where nothing was heard for a second."""
        if now_us - self._last_us >= _TICK_US:
            self._rows.add(TICK, now_us, float("nan"))
            self._last_us = now_us

    # -- keeping -------------------------------------------------------------------------------

    def commit(self, now_us: int, final: bool = False) -> bool:
        """Examine and store what was heard, in one transaction. Whether nothing is left unstored."""
        heard = any(signal != TICK for signal in self._rows.signal) or bool(
            self._aside or self._waited.signal
        )
        due = heard or final or now_us - self._committed_us >= _TICKS_COMMIT_US
        if not due and not len(self._pending.readings):
            return True
        self._examine(final or now_us - self._snapshot_us >= _SNAPSHOT_US)
        try:
            self._history.commit(self._pending)
        except HistoryError as error:
            if self.trouble is None:
                log.error("%s: nothing is being stored: %s", self.plant.name, error)
            self.trouble = str(error)
            return False
        if self.trouble is not None:
            log.info("%s: storing again", self.plant.name)
            self.trouble = None
        if self._pending.snapshot is not None:
            self._snapshot_us = now_us
        self._pending = Batch()
        self._committed_us = now_us
        return True

    def _examine(self, snapshot: bool) -> None:
        """What was heard goes through the engine and into the pending batch."""
        rows, self._rows = self._rows, Rows()
        waited, self._waited = self._waited, Rows()
        fresh = self._history.admit(Readings.of(rows.signal, rows.time_us, rows.value))
        unseen = self._history.admit(Readings.of(waited.signal, waited.time_us, waited.value))
        # A restart examines what came after the last snapshot: so that it leaves these out as well.
        snapshot |= len(unseen) > 0
        outcome = self._engine.feed(in_si(fresh, self.plant))
        if self._engine.late > self._late:
            self._counted["late"] += self._engine.late - self._late
            self._late = self._engine.late
        before = self._pending
        self._pending = replace(
            before,
            readings=Readings.concatenate([before.readings, fresh, unseen]),
            cycles=(*before.cycles, *outcome.cycles),
            findings=(*before.findings, *outcome.findings),
            outlooks=(*before.outlooks, *outcome.outlooks),
            set_aside=(*before.set_aside, *self._aside),
            counted=dict(Counter(before.counted) + self._counted),
            snapshot=self._engine.snapshot() if snapshot else before.snapshot and self._engine.snapshot(),
        )
        self._aside = []
        self._counted = Counter()

    def close(self, now_us: int) -> None:
        """Store what is left, with a snapshot, and let go of the history."""
        self.commit(now_us, final=True)
        self._history.close()
