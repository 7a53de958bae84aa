"""The one process that writes a plant's history.

    fresh = history.admit(readings)          # stored values, ticks too, in order of arrival
    outcome = engine.feed(<fresh in SI>)
    history.commit(Batch(fresh, outcome.cycles, outcome.findings, outcome.outlooks, snapshot=...))
    # only now acknowledge

A commit that raised HistoryError stored nothing: keep the batch and commit it again, joined with
what came since; after `admit`, what is in it counts as held.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import sqlite3
from typing import TYPE_CHECKING

import numpy as np

from analytics.readings import TICK, Readings
from collector.store import connection as connections
from collector.store import journal, queries, records, response, schema, tallies
from collector.store.blocks import HOUR_US, decode_readings
from collector.store.errors import HistoryFull, HistoryReadOnly, HistoryTaken, translating
from collector.store.history import History
from collector.store.sealing import prune, seal
from collector.store.seen import Seen
from collector.store.shapes import Batch, Resumption
from collector.store.signals import fingerprint

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from analytics.plant.description import Plant

#: An hour is moved this long after it ended, when what comes late has mostly come.
_LATENESS_US = 120_000_000
#: A batch this large (an import's) goes to its hours at once, if it brings a snapshot.
_LARGE = 20_000
_REPLAY_ROWS = 2_000
_FOREVER = 2**62


class Writer(History):
    """Reading and writing. One at a time for a plant: a second one gets HistoryTaken."""

    def __init__(self, folder: Path, plant: Plant) -> None:
        super().__init__(folder, plant)
        self._fingerprint = fingerprint(plant)
        self._kept_from_us = -_FOREVER
        self._sealed_now = False
        self._repeated = 0
        self._too_old = 0
        self._waiting = 0  # admitted and not yet committed
        self._held = hold(self.folder)
        try:
            with translating(self.path):
                self._write = connections.writing(self.path)
                schema.migrate(self._write, self.path)
                self._begin()
        except BaseException:
            os.close(self._held)
            raise

    def close(self) -> None:
        """Work the log into the file and let go."""
        super().close()
        if self._held >= 0:
            self._write.close()
            os.close(self._held)
            self._held = -1

    def __enter__(self) -> Writer:
        return self

    def keep_plant_file(self, text: str) -> None:
        """Keep the plant file in force beside the history, so that the folder holds everything. Raises
        HistoryError."""
        kept = self.folder / "plant.toml"
        try:
            if not kept.exists() or kept.read_text("utf-8") != text:
                fresh = kept.with_suffix(".new")
                fresh.write_text(text, "utf-8")
                fresh.replace(kept)
        except OSError as error:
            kind = HistoryFull if error.errno == errno.ENOSPC else HistoryReadOnly
            raise kind(kept, error.strerror or "") from error

    def admit(self, readings: Readings) -> Readings:
        """Those that the history does not hold yet, in the order given; ticks always.

        What is let through counts as held from now on: feed it to the engine and commit it. A
        repeat, by signal and time, is counted, whatever its value: the first one stays. So is, and not
        let through, what is older than the owner keeps.
        """
        with self._lock, translating(self.path):
            measured = readings.signal != TICK
            fresh = np.ones(len(readings), np.bool_)
            if measured.any():
                fresh[measured] = self._seen.fresh(readings.signal[measured], readings.time_us[measured])
            self._repeated += len(fresh) - int(fresh.sum())
            old = fresh & measured & (readings.time_us < self._kept_from_us)
            self._too_old += int(old.sum())
            fresh &= ~old
            self._waiting += int((fresh & measured).sum())
            return readings if fresh.all() else readings[fresh]

    def commit(self, batch: Batch) -> int:
        """Make the batch durable, whole; returns the number of the commit (unchanged if empty)."""
        with self._lock, translating(self.path):
            self._widen(batch.readings.time_us[batch.readings.signal != TICK])
            self._write.execute("BEGIN IMMEDIATE")
            try:
                seq = self._put(batch)
                self._write.execute("COMMIT")
            except BaseException:
                self._roll_back()
                raise
            self._repeated = self._too_old = 0
            self._waiting -= _measured(batch.readings)
            self._seq = seq
            if self._sealed_now:
                self._begin()
            return seq

    def give_up(self, before_us: int) -> int:
        """Drop full-resolution readings of whole hours before a time; rollups, cycles and findings
        stay. A bounded piece a call: returns how many hours of signals went, 0 when done."""
        with self._lock, translating(self.path):
            self._write.execute("BEGIN IMMEDIATE")
            try:
                gone = prune(self._write, before_us // HOUR_US)
                self._write.execute("COMMIT")
            except BaseException:
                self._roll_back()
                raise
            self._kept_from_us = max(self._kept_from_us, before_us // HOUR_US * HOUR_US)
            return gone

    def resume(self) -> Resumption:
        """Where the engine stood at the last commit; see Resumption. Before the first feed."""
        row = self._write.execute("SELECT seq, plant, state FROM engine").fetchone()
        seq, signals, state = row or (self._sealed_seq, self._fingerprint, None)
        return Resumption(state, self._replay(seq), signals == self._fingerprint)

    # --- inside -----------------------------------------------------------------------------

    def _begin(self) -> None:
        """Learn from the file where it stands."""
        self._sealed_seq = tallies.get(self._write, tallies.SEALED_SEQ)
        self._seq, hot = journal.span(self._write, self._sealed_seq)
        kept_from = tallies.find(self._write, tallies.KEPT_FROM_HOUR)
        self._kept_from_us = -_FOREVER if kept_from is None else kept_from * HOUR_US
        self._begin_streams()
        self._seen = Seen(self._sealed_times)
        for position, signal in enumerate(self.plant.signals):
            for stream in self._streams.of(signal):
                self._seen.add(position, hot["time_us"][hot["signal"] == stream.number])
                newest = queries.newest_sealed(self._write, stream)
                if newest is not None:
                    self._seen.reached(position, newest.time_us)
        self._oldest_us, self._newest_us = _FOREVER, -_FOREVER
        self._widen(hot["time_us"][hot["signal"] != TICK])

    def _widen(self, time_us: NDArray[np.int64]) -> None:
        """The journal's span, with these in it."""
        if len(time_us):
            self._oldest_us = min(self._oldest_us, int(time_us.min()))
            self._newest_us = max(self._newest_us, int(time_us.max()))

    def _roll_back(self) -> None:
        """Undo what the failed transaction did; SQLite has done so itself where the disk was full."""
        with contextlib.suppress(sqlite3.Error):
            if self._write.in_transaction:
                self._write.execute("ROLLBACK")
        self._begin_streams()

    def _begin_streams(self) -> None:
        with contextlib.suppress(sqlite3.Error):
            self._streams.load(self._write)

    def _put(self, batch: Batch) -> int:
        """Everything of the batch, inside the transaction."""
        write, seq = self._write, self._seq
        new = self._as_records(batch.readings)
        # What was admitted and waits for a later commit is known to `_seen` alone: no sealing then.
        whole = self._waiting == _measured(batch.readings)
        straight = whole and batch.snapshot is not None and len(new) >= _LARGE
        self._sealed_now = False
        if len(new):
            seq += 1
            if not straight:
                journal.append(write, seq, new)
        records.write_cycles(write, batch.cycles)
        records.write_findings(write, batch.findings)
        records.write_outlooks(write, batch.outlooks)
        records.write_set_aside(write, batch.set_aside)
        response.write(write, batch.response)
        tallies.add(write, tallies.REPEATED, self._repeated)
        tallies.add(write, tallies.TOO_OLD, self._too_old)
        for name, more in batch.counted.items():
            tallies.add(write, name, more)
        if batch.snapshot is not None:
            write.execute("REPLACE INTO engine VALUES (1, ?, ?, ?)", (seq, self._fingerprint, batch.snapshot))
            self._sealed_now = whole and (straight or self._ripe())
            if self._sealed_now:
                hot = journal.span(write, self._sealed_seq)[1]
                seal(write, np.concatenate((hot, new)) if straight else hot, seq)
        return seq

    def _ripe(self) -> bool:
        """Whether the journal's oldest reading is of an hour that ended a while ago."""
        return self._newest_us - _LATENESS_US >= (self._oldest_us // HOUR_US + 1) * HOUR_US

    def _as_records(self, readings: Readings) -> NDArray[np.void]:
        rows = np.empty(len(readings), journal.RECORD)
        rows["time_us"], rows["value"] = readings.time_us, readings.value
        for position in np.unique(readings.signal):
            where = readings.signal == position
            if position == TICK:
                rows["signal"][where], rows["value"][where] = TICK, 0.0
            else:
                since = int(readings.time_us[where].min())
                rows["signal"][where] = self._streams.number(self._write, int(position), since)
        return rows

    def _sealed_times(self, position: int, hour: int) -> NDArray[np.int64]:
        found = [np.empty(0, np.int64)]
        for stream in self._streams.of(self.plant.signals[position]):
            row = self._write.execute(
                "SELECT body FROM sealed WHERE signal = ? AND hour = ?", (stream.number, hour)
            ).fetchone()
            if row:
                found.append(decode_readings(row[0])[0])
        return np.concatenate(found)

    def _replay(self, after_seq: int) -> Iterator[Readings]:
        """Journal rows after a seq as SI readings, a bounded number of rows at a time."""
        positions = self._streams.positions()
        while True:
            rows = self._write.execute(
                "SELECT seq, body FROM journal WHERE seq > ? ORDER BY seq LIMIT ?", (after_seq, _REPLAY_ROWS)
            ).fetchall()
            if not rows:
                return
            after_seq = rows[-1][0]
            yield self._in_si(np.frombuffer(b"".join(body for _, body in rows), journal.RECORD), positions)

    def _in_si(self, found: NDArray[np.void], positions: dict[int, int]) -> Readings:
        signal = np.full(len(found), TICK, np.int16)
        value = np.zeros(len(found))
        keep = found["signal"] == TICK
        for number in np.unique(found["signal"][~keep]):
            position = positions.get(int(number))
            if position is None:
                continue  # a signal that the plant file no longer names
            where = found["signal"] == number
            one = self.plant.signals[position]
            signal[where] = position
            value[where] = one.to_si(self._streams.all[int(number)].in_unit_of(one, found["value"][where]))
            keep |= where
        return Readings(signal[keep], found["time_us"][keep].astype(np.int64), value[keep])


def _measured(readings: Readings) -> int:
    return int((readings.signal != TICK).sum())


def hold(folder: Path) -> int:
    """Take the plant's folder for writing, until this process ends; a descriptor."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o750)
        held = os.open(folder / "writer.lock", os.O_RDWR | os.O_CREAT, 0o640)
    except OSError as error:
        raise HistoryReadOnly(folder, error.strerror or "") from error
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(held)
        raise HistoryTaken(folder) from error
    return held


@contextlib.contextmanager
def held_folder(folder: Path) -> Iterator[None]:
    """The plant's folder held for writing, for a while."""
    held = hold(folder)
    try:
        yield
    finally:
        os.close(held)
