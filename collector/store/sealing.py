"""From the journal into hours for good: merge, compress, roll up.

What is moved is a prefix of the journal, whole rows, so that a reading is in exactly one place.
An hour that is already sealed and gets more (late readings, or its own second half) is opened,
merged and sealed again; its rollups are made anew from all its readings, so they are always what
adding up by hand would give.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from collector.store import tallies
from collector.store.blocks import HOUR_US, MINUTE_US, decode_readings, encode_readings, encode_rollup
from collector.store.journal import in_order
from collector.store.rollups import Rollup

if TYPE_CHECKING:
    import sqlite3

    from numpy.typing import NDArray


def seal(connection: sqlite3.Connection, records: NDArray[np.void], through_seq: int) -> None:
    """Put journal records, of rows up to `through_seq`, into their hours and drop those rows.

    For use inside a transaction.
    """
    before = after = 0
    for stream in np.unique(records["signal"][records["signal"] >= 0]):
        mine = records[records["signal"] == stream]
        time_us, value = in_order(mine["time_us"], mine["value"])
        hour = time_us // HOUR_US
        edges = np.flatnonzero(np.diff(hour)) + 1
        for times, values in zip(np.split(time_us, edges), np.split(value, edges), strict=True):
            had, has = _seal_hour(connection, int(stream), int(times[0] // HOUR_US), times, values)
            before, after = before + had, after + has
    tallies.add(connection, tallies.SEALED_READINGS, after - before)
    tallies.put(connection, tallies.SEALED_SEQ, through_seq)
    connection.execute("DELETE FROM journal WHERE seq <= ?", (through_seq,))


#: Hours of signals that are given up in one transaction: a second's work for a slow card.
_PRUNED_AT_ONCE = 500


def prune(connection: sqlite3.Connection, before_hour: int) -> int:
    """Drop some of the sealed readings before an hour, not their rollups; how many rows went.

    For use inside a transaction.
    """
    doomed = connection.execute(
        "SELECT signal, hour, count FROM sealed WHERE hour < ? LIMIT ?", (before_hour, _PRUNED_AT_ONCE)
    ).fetchall()
    connection.executemany("DELETE FROM sealed WHERE signal = ? AND hour = ?", [row[:2] for row in doomed])
    tallies.add(connection, tallies.SEALED_READINGS, -sum(row[2] for row in doomed))
    kept_from = tallies.find(connection, tallies.KEPT_FROM_HOUR)
    if kept_from is None or before_hour > kept_from:
        tallies.put(connection, tallies.KEPT_FROM_HOUR, before_hour)
    return len(doomed)


def _seal_hour(
    connection: sqlite3.Connection,
    stream: int,
    hour: int,
    time_us: NDArray[np.int64],
    value: NDArray[np.float64],
) -> tuple[int, int]:
    """Merge one stream's readings into its hour; how many it held before, and now."""
    row = connection.execute(
        "SELECT body FROM sealed WHERE signal = ? AND hour = ?", (stream, hour)
    ).fetchone()
    held = 0
    if row is not None:
        old_time, old_value = decode_readings(row[0])
        held = len(old_time)
        time_us, value = in_order(np.concatenate((old_time, time_us)), np.concatenate((old_value, value)))
    store(connection, stream, hour, time_us, value)
    return held, len(time_us)


def store(
    connection: sqlite3.Connection,
    stream: int,
    hour: int,
    time_us: NDArray[np.int64],
    value: NDArray[np.float64],
) -> None:
    """Write one stream's hour, readings and rollups, in place of what was there."""
    body = encode_readings(time_us, value)
    connection.execute("REPLACE INTO sealed VALUES (?, ?, ?, ?)", (stream, hour, len(time_us), body))
    minutes = Rollup.of(time_us, value, MINUTE_US)
    connection.execute("REPLACE INTO minutes VALUES (?, ?, ?)", (stream, hour, encode_rollup(minutes, hour)))
    whole = minutes.by(HOUR_US)
    connection.execute(
        "REPLACE INTO hours VALUES (?, ?, ?, ?, ?, ?)",
        (
            stream,
            hour,
            int(whole.count[0]),
            float(whole.minimum[0]),
            float(whole.total[0]),
            float(whole.maximum[0]),
        ),
    )
