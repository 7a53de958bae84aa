"""A plant's history, as anyone may read it while the daemon writes.

It needs no writer and no file: where nothing was written yet it answers with nothing, and as soon
as there is something, with that. It may be used from several threads. Times are microseconds UTC;
a span is from_us <= time < to_us.
"""

from __future__ import annotations

import os
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Literal, TypeVar

import numpy as np

from analytics.readings import Readings
from collector.store import connection as connections
from collector.store import journal, queries, records, response, schema, tallies
from collector.store.blocks import HOUR_US, MINUTE_US
from collector.store.errors import translating
from collector.store.rollups import Rollup
from collector.store.shapes import Bands, Sample, Series, SetAside
from collector.store.signals import Streams

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from analytics.alarms.records import Alarm, Change
    from analytics.plant.description import Plant, Signal
    from analytics.records import Cycle, Finding, Outlook

T = TypeVar("T")
STEP_US = {"minute": MINUTE_US, "hour": HOUR_US}


class History:
    """Reading. Raises HistoryError where the world is in the way, KeyError for an unknown signal."""

    FILE = "history.sqlite"

    def __init__(self, folder: Path, plant: Plant) -> None:
        """`folder` is the data folder; the plant's own is below it."""
        self.plant = plant
        self.folder = folder / plant.name
        self.path = self.folder / self.FILE
        self._files = (f"{self.path}-wal", str(self.path))
        self._streams = Streams(plant)
        self._hot = journal.Hot()
        self._connection: sqlite3.Connection | None = None
        self._opened: tuple[int, int] | None = None  # device and inode: another file may take its place
        self._lock = threading.RLock()

    def close(self) -> None:
        with self._lock:
            if self._connection is not None:
                self._connection.close()
            self._connection = self._opened = None

    def __enter__(self) -> History:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def at_once(self) -> Iterator[None]:
        """Whatever is asked inside is answered as of one commit, and sooner than one by one."""
        with self._transaction():
            yield

    # --- readings ---------------------------------------------------------------------------

    def latest(self, not_after_us: int = queries.LAST_US) -> dict[str, Sample]:
        """The newest reading, not later than a time, of each signal that has one."""
        with self._transaction() as connection:
            return {} if connection is None else dict(self._latest(connection, not_after_us))

    def readings(self, signal: str, from_us: int, to_us: int) -> Series:
        """One signal at full resolution, in its declared unit."""
        one, (from_us, to_us) = self._signal(signal), _within(from_us, to_us)
        with self._transaction() as connection:
            if connection is None:
                return Series.none()
            streams = self._streams.of(one)
            parts = [queries.series(connection, self._hot, s, from_us, to_us) for s in streams]
            return queries.joined(one, streams, parts)

    def rollup(
        self, signal: str, from_us: int, to_us: int, step: Literal["minute", "hour"] = "minute"
    ) -> Bands:
        """One signal by minutes or hours; the first and last step are whole ones."""
        return self._bands(signal, from_us, to_us, STEP_US[step])

    def bands(self, signal: str, from_us: int, to_us: int, points: int) -> Bands:
        """One signal in at most about `points` steps, from whatever holds them most cheaply.

        `step_us` of the answer is 0 where these are the readings themselves.
        """
        step_us = queries.step_for(to_us - from_us, points)
        if step_us:
            return self._bands(signal, from_us, to_us, step_us)
        found = self.readings(signal, from_us, to_us)
        if len(found) <= points:
            return queries.bands_of(found)
        step_us = max(1, -(-(to_us - from_us) // points))
        whole = Rollup.of(found.time_us, found.value, step_us)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = whole.total / whole.count
        return Bands(whole.time_us, whole.minimum, mean, whole.maximum, whole.count, step_us)

    def tail(self, after_seq: int) -> tuple[int, dict[str, Series]]:
        """What was committed after `after_seq`, and the seq to ask with next time.

        For a live view: cheap where nothing is new. Begin with `seq()`; what was moved into sealed
        hours before it was asked for is not repeated here.
        """
        with self._transaction(refresh=False) as connection:
            if connection is None:
                return after_seq, {}
            seq, new = journal.span(connection, after_seq)
            if not len(new):
                return self._last_seq(connection), {}
            positions = self._streams.positions()
            if any(int(one) >= 0 and int(one) not in self._streams.all for one in np.unique(new["signal"])):
                self._streams.load(connection)
                positions = self._streams.positions()
            return seq, self._by_name(new, positions)

    def seq(self) -> int:
        """The number of the newest commit; 0 before the first."""
        with self._transaction(refresh=False) as connection:
            return 0 if connection is None else self._last_seq(connection)

    def stamp(self) -> tuple[int, ...]:
        """Differs after every commit, as far as the file system's clock tells (milliseconds).

        It opens nothing: for whoever would else ask `seq` many times a second. A commit goes to the
        log; the file itself counts where there is none.
        """
        for path in self._files:
            try:
                status = os.stat(path)  # noqa: PTH116 (asked ten times a second)
            except OSError:
                continue
            return status.st_ino, status.st_size, status.st_mtime_ns
        return ()

    def span(self) -> tuple[int, int] | None:
        """Times of the oldest and the newest reading at full resolution, None where there is none."""
        with self._transaction() as connection:
            if connection is None:
                return None
            streams = [stream.number for signal in self.plant.signals for stream in self._streams.of(signal)]
            first = queries.first_time(connection, self._hot, streams)
            newest = [sample.time_us for _, sample in self._latest(connection)]
            return None if first is None or not newest else (first, max(newest))

    def recording(self, signals: Sequence[str], from_us: int, to_us: int) -> Iterator[Readings]:
        """Several signals as one recording, an hour or so at a time, in time order and then in the
        plant file's; values as stored, in the declared unit."""
        positions = sorted(self.plant.index(name) for name in signals)
        names = [self.plant.signals[position].name for position in positions]
        for hour in self._occupied(names, *_within(from_us, to_us)):
            start, stop = max(hour * HOUR_US, from_us), min((hour + 1) * HOUR_US, to_us)
            found = [self.readings(name, start, stop) for name in names]
            yield Readings(
                np.repeat(np.array(positions, np.int16), [len(one) for one in found]),
                np.concatenate([one.time_us for one in found]),
                np.concatenate([one.value for one in found]),
            ).in_time_order()

    # --- records ----------------------------------------------------------------------------

    def cycles(self, from_us: int = queries.FIRST_US, to_us: int = queries.LAST_US) -> list[Cycle]:
        """Pump runs that began in the span, in order."""
        return self._ask(lambda connection: records.read_cycles(connection, *_within(from_us, to_us)), [])

    def findings(self, open_only: bool = False) -> list[Finding]:
        """Findings in order of `raised`."""
        return self._ask(lambda connection: records.read_findings(connection, open_only), [])

    def outlooks(self) -> list[Outlook]:
        """The newest of each kind and object."""
        return self._ask(records.read_outlooks, [])

    def set_aside(self, limit: int = 100) -> list[SetAside]:
        """Messages that could not be used, the newest first."""
        return self._ask(lambda connection: records.read_set_aside(connection, limit), [])

    def alarms(self) -> list[Alarm]:
        """Every alarm that ever was, with its state."""
        return self._ask(response.read_alarms, [])

    def alarm_changes(self, limit: int = 200, fault: str | None = None) -> list[Change]:
        """What became of alarms, the newest first."""
        return self._ask(lambda connection: response.read_changes(connection, limit, fault), [])

    def logbook(
        self, limit: int = 200, kind: str | None = None, watching: bool = False
    ) -> list[response.Entry]:
        """Entries, the newest first; `watching`: only repairs whose proof is still awaited."""
        return self._ask(lambda connection: response.read_logbook(connection, limit, kind, watching), [])

    def due(self, channel: str | None = None, limit: int = 500) -> list[response.Due]:
        """Messages that are not delivered yet, in order."""
        return self._ask(lambda connection: response.read_due(connection, channel, limit), [])

    def carried(self, key: str) -> response.Carried | None:
        """What became of a command; None where it was not carried out (yet)."""
        return self._ask(lambda connection: response.read_carried(connection, key), None)

    def last_id(self, table: str) -> int:
        """The highest id of "logbook" or "outbox"; 0 for none."""
        return self._ask(lambda connection: response.last_id(connection, table), 0)

    def counts(self) -> dict[str, int]:
        """Tallies by name: "readings" stored, "repeated", "set_aside", and those given in a Batch."""
        with self._transaction() as connection:
            if connection is None:
                return {"readings": 0}
            hot = int((self._hot.records["signal"] >= 0).sum())
            sealed = tallies.get(connection, tallies.SEALED_READINGS)
            return {"readings": sealed + hot} | tallies.everything(connection)

    def engine_state(self) -> bytes | None:
        """The newest `Engine.snapshot()` that was stored."""

        def newest(connection: sqlite3.Connection) -> bytes | None:
            row = connection.execute("SELECT state FROM engine").fetchone()
            return row[0] if row else None

        return self._ask(newest, None)

    # --- inside -----------------------------------------------------------------------------

    def _signal(self, name: str) -> Signal:
        return self.plant.signals[self.plant.index(name)]

    def _bands(self, signal: str, from_us: int, to_us: int, step_us: int) -> Bands:
        one = self._signal(signal)
        base_us = HOUR_US if step_us % HOUR_US == 0 else MINUTE_US
        from_us, to_us = _within(from_us // step_us * step_us, -(-to_us // step_us) * step_us)
        with self._transaction() as connection:
            streams = self._streams.of(one) if connection is not None else []
            if connection is None or not streams:
                return queries.bands_of(Series.none())
            parts = [
                queries.rollup(connection, self._hot, s, from_us, to_us, base_us).by(step_us) for s in streams
            ]
            return queries.bands(one, streams, parts, step_us)

    def _occupied(self, names: list[str], from_us: int, to_us: int) -> list[int]:
        """Hours that hold readings of these signals, rising."""
        first, last = from_us // HOUR_US, (to_us - 1) // HOUR_US
        with self._transaction() as connection:
            if connection is None:
                return []
            streams = [stream.number for name in names for stream in self._streams.of(self._signal(name))]
            return queries.occupied(connection, self._hot, streams, first, last)

    def _latest(
        self, connection: sqlite3.Connection, not_after_us: int = queries.LAST_US
    ) -> Iterator[tuple[str, Sample]]:
        for signal in self.plant.signals:
            streams = self._streams.of(signal)
            found = [(queries.newest(connection, self._hot, s, not_after_us), s) for s in streams]
            there = [(sample, stream) for sample, stream in found if sample is not None]
            if there:
                sample, stream = max(there, key=lambda pair: pair[0].time_us)
                value = stream.in_unit_of(signal, np.array([sample.value]))[0]
                yield signal.name, Sample(sample.time_us, float(value))

    def _by_name(self, new: np.ndarray, positions: dict[int, int]) -> dict[str, Series]:
        found = {}
        for number in np.unique(new["signal"]):
            position = positions.get(int(number))
            if position is None:
                continue
            signal = self.plant.signals[position]
            mine = new[new["signal"] == number]
            time_us, value = journal.in_order(mine["time_us"], mine["value"])
            found[signal.name] = Series(time_us, self._streams.all[int(number)].in_unit_of(signal, value))
        return found

    def _last_seq(self, connection: sqlite3.Connection) -> int:
        (last,) = connection.execute("SELECT max(seq) FROM journal").fetchone()
        return int(last) if last is not None else tallies.get(connection, tallies.SEALED_SEQ)

    def _ask(self, question: Callable[[sqlite3.Connection], T], nothing: T) -> T:
        with self._transaction(refresh=False) as connection:
            return nothing if connection is None else question(connection)

    @contextmanager
    def _transaction(self, refresh: bool = True) -> Iterator[sqlite3.Connection | None]:
        """One view of the file for all that is asked inside; None where there is nothing yet."""
        with self._lock, translating(self.path):
            if self._connection is not None and self._connection.in_transaction:  # inside `at_once`
                yield self._connection
                return
            connection = self._connected()
            if connection is None:
                yield None
                return
            connection.execute("BEGIN")
            try:
                if refresh:
                    self._streams.load(connection)
                    self._hot.refresh(connection, tallies.get(connection, tallies.SEALED_SEQ))
                yield connection
            finally:
                if connection.in_transaction:
                    connection.execute("COMMIT")

    def _connected(self) -> sqlite3.Connection | None:
        """The connection, made where there is a file that was written to, and made anew where
        another file took its place."""
        try:
            status = self.path.stat()
        except FileNotFoundError:
            self.close()
            return None
        if self._connection is not None and self._opened != (status.st_dev, status.st_ino):
            self.close()
        if self._connection is None:
            opened = connections.reading(self.path)
            if not schema.require_current(opened, self.path):
                opened.close()
                return None
            self._connection, self._opened = opened, (status.st_dev, status.st_ino)
            self._hot = journal.Hot()
        return self._connection


def _within(from_us: int, to_us: int) -> tuple[int, int]:
    return max(from_us, queries.FIRST_US), min(to_us, queries.LAST_US)
