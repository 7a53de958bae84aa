"""The hot end: one row a commit, its readings side by side in order of arrival.

Fixed-width records, not compressed: they live an hour or two, a commit then touches one page or
two, and a whole span decodes by joining the bodies.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from collector.store.shapes import Sample

if TYPE_CHECKING:
    import sqlite3

    from numpy.typing import NDArray

#: `signal` is the stream's number in the table `signal`, or TICK
RECORD = np.dtype([("signal", "<i2"), ("time_us", "<i8"), ("value", "<f8")])


def append(connection: sqlite3.Connection, seq: int, records: NDArray[np.void]) -> None:
    connection.execute("INSERT INTO journal (seq, body) VALUES (?, ?)", (seq, records.tobytes()))


def span(connection: sqlite3.Connection, after_seq: int) -> tuple[int, NDArray[np.void]]:
    """All records after `after_seq` as one array, and the seq of the last row (`after_seq` if none)."""
    found = connection.execute(
        "SELECT seq, body FROM journal WHERE seq > ? ORDER BY seq", (after_seq,)
    ).fetchall()
    if not found:
        return after_seq, np.empty(0, RECORD)
    return found[-1][0], np.frombuffer(b"".join(body for _, body in found), RECORD)


class Hot:
    """The journal in memory, brought up to date by what is new. For use inside a transaction."""

    def __init__(self) -> None:
        self.sealed_seq = -1
        self.last_seq = 0
        self.records = np.empty(0, RECORD)
        self.newest: dict[int, Sample] = {}  # by stream
        self.newest_sealed: dict[int, Sample | None] = {}  # as far as it was asked for

    def refresh(self, connection: sqlite3.Connection, sealed_seq: int) -> None:
        if sealed_seq != self.sealed_seq:
            self.sealed_seq = sealed_seq
            self.last_seq, self.records = span(connection, sealed_seq)
            self.newest, self.newest_sealed = {}, {}
            self._note(self.records)
            return
        last_seq, new = span(connection, self.last_seq)
        if len(new):
            self.records = np.concatenate((self.records, new))
            self._note(new)
        self.last_seq = last_seq

    def _note(self, new: NDArray[np.void]) -> None:
        """Keep each stream's newest reading; of equal times the first that came."""
        for stream in np.unique(new["signal"]).tolist():
            mine = new[new["signal"] == stream]
            at = int(mine["time_us"].argmax())
            time_us, held = int(mine["time_us"][at]), self.newest.get(stream)
            if held is None or time_us > held.time_us:
                self.newest[stream] = Sample(time_us, float(mine["value"][at]))

    def of(self, stream: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """One stream's readings in the journal, in time order; of equal times the first that came."""
        mine = self.records[self.records["signal"] == stream]
        return in_order(mine["time_us"], mine["value"])


def in_order(
    time_us: NDArray[np.int64], value: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Time order, each time once: the first in the order given wins."""
    if len(time_us) < 2 or bool((np.diff(time_us) > 0).all()):
        return time_us, value
    distinct, first = np.unique(time_us, return_index=True)
    return distinct, value[first]
