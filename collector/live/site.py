"""One plant as the daemon holds it: decoder, engine, history, and what is not committed yet."""

from __future__ import annotations

import contextlib
import logging
import sqlite3
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from analytics.plant.payload import Decoder, Rows
from analytics.readings import TICK, Readings
from collector.backfill import learned_anew, resumed
from collector.commands import Commands
from collector.live.clock import AHEAD_US
from collector.live.desk import Desk, everything
from collector.notify.office import Office
from collector.store import Batch, HistoryError, SetAside
from collector.store.errors import HistoryDamaged
from collector.store.salvage import opened
from collector.store.signals import in_si

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.plant.description import Plant

log = logging.getLogger("holdwater.site")

#: While nothing can be stored the broker stops sending when so many messages are unacknowledged (see
#: the link's window). What comes at QoS 0 knows no such bound: beyond this it is counted and lost.
MOST_UNSTORED = 200_000
_TICK_US = 1_000_000
_DAY_US = 86_400 * 1_000_000
#: Ticks alone are worth a commit this seldom (each commit wears the card).
_TICKS_COMMIT_US = 10 * 1_000_000
_SNAPSHOT_US = 5 * 60 * 1_000_000


class Site:
    """A plant that is being watched. All times are given; no clock is read here."""

    def __init__(
        self,
        plant: Plant,
        plant_file: str,
        data: Path,
        now_us: int,
        kept_days: int | None = None,
        office: Office | None = None,
    ) -> None:
        self.plant = plant
        self._decoder = Decoder(plant)
        self.topics = self._decoder.topics
        self._data = data
        self._plant_file = plant_file
        self._kept_us = None if kept_days is None else kept_days * _DAY_US
        lost = self._open()
        self._engine = resumed(self._history)
        self._desk = Desk(self._history, plant, Commands(data, plant.name), office or Office())
        if lost:
            self._desk.note(lost)
        self._rows = Rows()
        self._waited = Rows()  # kept, and not examined
        self._aside: list[SetAside] = []
        self._counted: Counter[str] = Counter()
        self._pending = Batch()
        self._late = self._engine.late
        self._last_us = now_us  # of the newest tick or message
        self._snapshot_us = now_us
        self._committed_us = now_us
        self._turned_us: int | None = None  # the clock was set back to this, and the engine knows not
        self.trouble: str | None = None
        self._damaged = False

    def _open(self, damaged: bool = False) -> str:
        """The history for writing; a damaged one is set aside first, and what came of it said. Raises
        HistoryError."""
        self._history, salvaged = opened(self._data, self.plant, damaged)
        self._history.keep_plant_file(self._plant_file)
        if salvaged is None:
            return ""
        saved = f"{salvaged.readings:,} readings could be saved into a new one"
        said = f"its history was damaged: set aside as {salvaged.aside}; {saved}"
        log.error("%s: %s", self.plant.name, said)
        advice = "A card that fails once fails again: copy it with holdwater backup, and put in a new one."
        return f"{said[0].upper()}{said[1:]}. {advice}"

    # -- hearing -------------------------------------------------------------------------------

    def hear(self, topic: str, payload: bytes, retained: bool, waited: bool, received_us: int) -> None:
        """Decode one message. A value without a time of its own that was retained is not fresh and not
        kept; one that waited at the broker is kept, and not examined: nobody knows when it was true."""
        self._last_us = max(self._last_us, received_us)
        decoded = self._decoder.decode(topic, payload, received_us)
        for reject in decoded.rejects:
            self._put_aside(received_us, reject.topic, reject.reason, reject.excerpt)
        rows = decoded.readings
        if len(self._rows.signal) + len(self._pending.readings) > MOST_UNSTORED:
            self._counted["lost"] += len(rows.signal)
            return
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

    def turn_back(self, now_us: int) -> None:
        """The clock was set back to now: what it stamped before lies ahead, and stays as it is stored.

        The engine would wait for time to catch up. So it is made anew from what is stored before now,
        and what is heard from here on follows that.
        """
        self._turned_us = now_us
        self._last_us = self._snapshot_us = self._committed_us = now_us
        self.commit(now_us)

    # -- keeping -------------------------------------------------------------------------------

    def commit(self, now_us: int, final: bool = False) -> bool:
        """Examine and store what was heard, in one transaction. Whether nothing is left unstored."""
        heard = any(signal != TICK for signal in self._rows.signal) or bool(
            self._aside or self._waited.signal
        )
        asked = self._desk.due(now_us)
        due = heard or asked or final or now_us - self._committed_us >= _TICKS_COMMIT_US
        due |= self._turned_us is not None
        if not due and not len(self._pending.readings):
            return True
        snapshot = final or now_us - self._snapshot_us >= _SNAPSHOT_US
        try:
            if self._damaged:
                self._mend()
            self._examine(snapshot, now_us)
            self._history.commit(self._pending)
        except HistoryError as error:
            self._damaged |= isinstance(error, HistoryDamaged)
            self._in_trouble(str(error))
            return False
        if self.trouble is not None:
            log.info("%s: storing again", self.plant.name)
            self.trouble = None
        self._committed_us = now_us
        self._desk.committed(self._pending.response)
        if self._pending.snapshot is not None:
            self._snapshot_us = now_us
        self._pending = Batch()
        if self._turned_us is not None:
            self._follow(self._turned_us)
        return True

    def _follow(self, now_us: int) -> None:
        """An engine that stands at a time before that of what is stored; tried again where it fails."""
        try:
            self._engine = learned_anew(self._history, now_us)
            self._desk.look_through(self._history.findings())
        except HistoryError as error:
            self._damaged |= isinstance(error, HistoryDamaged)
            self._in_trouble(str(error))
            return
        self._late = self._engine.late
        self._turned_us = None

    def _in_trouble(self, why: str) -> None:
        """Said once, not at every attempt."""
        if self.trouble is None:
            log.error("%s: nothing is being stored: %s", self.plant.name, why)
        self.trouble = why

    def _mend(self) -> None:
        """A new file in place of the damaged one, with what could be saved of it. Raises HistoryError."""
        with contextlib.suppress(HistoryError, sqlite3.Error):
            self._history.close()
        self._desk.note(self._open(damaged=True))
        self._damaged = False
        # The engine in memory knows more than what was saved: its state goes along with the next commit.
        self._pending = replace(
            self._pending,
            readings=self._history.admit(self._pending.readings),
            snapshot=self._engine.snapshot(),
            response=self._pending.response.joined(everything(self._desk)),
        )

    def give_up_old(self, now_us: int) -> None:
        """Let readings go that are older than the owner keeps, a bounded piece at a time."""
        if self._kept_us is None or self.trouble is not None:
            return
        try:
            if gone := self._history.give_up(now_us - self._kept_us):
                log.info("%s: gave up %d hours of signals older than is kept", self.plant.name, gone)
        except HistoryError as error:
            self._damaged |= isinstance(error, HistoryDamaged)
            self._in_trouble(str(error))

    def _examine(self, snapshot: bool, now_us: int) -> None:
        """What was heard goes through the engine and into the pending batch. Raises HistoryError."""
        self._keep_waited()
        fresh = self._history.admit(Readings.of(self._rows.signal, self._rows.time_us, self._rows.value))
        self._rows = Rows()
        outcome = self._engine.feed(in_si(fresh, self.plant))
        if self._engine.late > self._late:
            self._counted["late"] += self._engine.late - self._late
            self._late = self._engine.late
        response = self._desk.step(self._history, now_us, outcome.findings)
        before = self._pending
        snapshot = snapshot or before.snapshot is not None
        self._pending = replace(
            before,
            readings=Readings.concatenate([before.readings, fresh]),
            cycles=(*before.cycles, *outcome.cycles),
            findings=(*before.findings, *outcome.findings),
            outlooks=(*before.outlooks, *outcome.outlooks),
            set_aside=(*before.set_aside, *self._aside),
            counted=dict(Counter(before.counted) + self._counted),
            snapshot=self._engine.snapshot() if snapshot else None,
            response=before.response.joined(response),
        )
        self._aside = []
        self._counted = Counter()

    def _keep_waited(self) -> None:
        """What waited at the broker is kept and not examined; nor after a restart, which examines what
        came after the last snapshot: hence a snapshot with it."""
        if not self._waited.signal:
            return
        waited = Readings.of(self._waited.signal, self._waited.time_us, self._waited.value)
        unseen = self._history.admit(waited)
        self._waited = Rows()
        readings = Readings.concatenate([self._pending.readings, unseen])
        self._pending = replace(self._pending, readings=readings, snapshot=self._engine.snapshot())

    def close(self, now_us: int) -> None:
        """Store what is left, with a snapshot, and let go of the history."""
        self.commit(now_us, final=True)
        self._history.close()
