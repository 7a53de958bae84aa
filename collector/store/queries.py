"""One signal's readings and rollups over a span, from journal and sealed hours as if they were one.

Everything here runs inside one read transaction, so that a reading that is just being moved from
the journal to its hour is seen once.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from collector.store.blocks import HOUR_US, MINUTE_US, decode_readings, decode_rollup
from collector.store.journal import in_order
from collector.store.rollups import Rollup
from collector.store.shapes import Bands, Sample, Series

if TYPE_CHECKING:
    import sqlite3

    from numpy.typing import NDArray

    from analytics.plant.description import Signal
    from collector.store.journal import Hot
    from collector.store.signals import Stream

    Arrays = tuple[NDArray[np.int64], NDArray[np.float64]]  # time_us, value

#: SQLite's integers; any time that a caller may ask for is brought inside
FIRST_US = -(2**62)
LAST_US = 2**62
#: A span of no more hours than this is a live view, which asks for the same hours every second.
_LIVE_HOURS = 2


@lru_cache(maxsize=32)
def _lately_decoded(block: bytes) -> Arrays:
    """An hour's readings, not to be written to; 32 hours at 1 Hz are some 2 MB."""
    time_us, value = decode_readings(block)
    time_us.flags.writeable = value.flags.writeable = False
    return time_us, value


def series(
    connection: sqlite3.Connection, hot: Hot, stream: Stream, from_us: int, to_us: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """(time_us, value) of one stream, from_us <= time < to_us, in time order."""
    times, values = [], []
    first, last = from_us // HOUR_US, (to_us - 1) // HOUR_US
    rows = connection.execute(
        "SELECT body FROM sealed WHERE signal = ? AND hour BETWEEN ? AND ?", (stream.number, first, last)
    ).fetchall()
    decode = _lately_decoded if len(rows) <= _LIVE_HOURS else decode_readings
    for (body,) in rows:
        time_us, value = decode(body)
        times.append(time_us)
        values.append(value)
    time_us, value = hot.of(stream.number)
    times.append(time_us)
    values.append(value)
    return clipped(*in_order(np.concatenate(times), np.concatenate(values)), from_us, to_us)


def clipped(
    time_us: NDArray[np.int64], value: NDArray[np.float64], from_us: int, to_us: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The part from_us <= time < to_us of arrays in time order."""
    keep = slice(*np.searchsorted(time_us, [from_us, to_us]))
    return time_us[keep], value[keep]


def joined(signal: Signal, streams: list[Stream], parts: list[Arrays]) -> Series:
    """Several streams of one signal as one series in the unit declared now; of equal times the newest
    stream wins."""
    if not parts:
        return Series.none()
    times = [time_us for time_us, _ in reversed(parts)]
    values = [
        stream.in_unit_of(signal, value)
        for stream, (_, value) in zip(reversed(streams), reversed(parts), strict=True)
    ]
    if len(parts) == 1:
        return Series(times[0], values[0])
    return Series(*in_order(np.concatenate(times), np.concatenate(values)))


def rollup(
    connection: sqlite3.Connection, hot: Hot, stream: Stream, from_us: int, to_us: int, step_us: int
) -> Rollup:
    """One stream by minutes or hours: the steps that begin in from_us <= time < to_us."""
    parts = _sealed_hours if step_us == HOUR_US else _sealed_minutes
    time_us, value = hot.of(stream.number)
    recent = Rollup.of(time_us, value, step_us)
    whole = Rollup.joined([*parts(connection, stream, from_us, to_us), recent], step_us)
    return whole.between(from_us, to_us)


def _sealed_minutes(connection: sqlite3.Connection, stream: Stream, from_us: int, to_us: int) -> list[Rollup]:
    rows = connection.execute(
        "SELECT hour, body FROM minutes WHERE signal = ? AND hour BETWEEN ? AND ?",
        (stream.number, from_us // HOUR_US, (to_us - 1) // HOUR_US),
    )
    return [decode_rollup(body, hour) for hour, body in rows]


def _sealed_hours(connection: sqlite3.Connection, stream: Stream, from_us: int, to_us: int) -> list[Rollup]:
    rows = connection.execute(
        "SELECT hour, minimum, total, maximum, count FROM hours WHERE signal = ? AND hour BETWEEN ? AND ?",
        (stream.number, from_us // HOUR_US, (to_us - 1) // HOUR_US),
    ).fetchall()
    if not rows:
        return []
    table = np.array(rows, np.float64)  # NULL, which is how SQLite keeps a NaN, comes back as one
    hour = np.array([row[0] for row in rows], np.int64)
    return [Rollup(hour * HOUR_US, table[:, 1], table[:, 2], table[:, 3], table[:, 4].astype(np.int64))]


def bands(signal: Signal, streams: list[Stream], parts: list[Rollup], step_us: int) -> Bands:
    """Rollups of a signal's streams as bands in the unit declared now."""
    turned = []
    for stream, part in zip(streams, parts, strict=True):
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = stream.in_unit_of(signal, part.total / part.count)
        ends = [stream.in_unit_of(signal, end) for end in (part.minimum, part.maximum)]
        total = np.where(part.count > 0, mean * part.count, 0.0)
        turned.append(Rollup(part.time_us, np.fmin(*ends), total, np.fmax(*ends), part.count))
    whole = turned[0] if len(turned) == 1 else Rollup.joined(turned, step_us)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = whole.total / whole.count
    return Bands(whole.time_us, whole.minimum, mean, whole.maximum, whole.count, step_us)


def bands_of(signal_series: Series) -> Bands:
    """Each reading a step of its own."""
    value = np.where(np.isfinite(signal_series.value), signal_series.value, np.nan)
    count = np.isfinite(value).astype(np.int64)
    return Bands(signal_series.time_us, value, value, value, count, 0)


def newest(
    connection: sqlite3.Connection, hot: Hot, stream: Stream, not_after_us: int = LAST_US
) -> Sample | None:
    """The newest reading of one stream, or the newest that is not later than a time."""
    if stream.number not in hot.newest_sealed:
        hot.newest_sealed[stream.number] = newest_sealed(connection, stream)
    samples = (hot.newest.get(stream.number), hot.newest_sealed[stream.number])
    found = max(filter(None, samples), key=lambda sample: sample.time_us, default=None)
    if found is None or found.time_us <= not_after_us:
        return found
    return _newest_not_after(connection, hot, stream, not_after_us)


def _newest_not_after(
    connection: sqlite3.Connection, hot: Hot, stream: Stream, not_after_us: int
) -> Sample | None:
    """For the rare case that later ones were stamped by a clock that has been set back since."""
    bodies = connection.execute(
        "SELECT body FROM sealed WHERE signal = ? AND hour <= ? ORDER BY hour DESC LIMIT 2",
        (stream.number, not_after_us // HOUR_US),
    )
    found: list[Sample] = []
    for time_us, value in [hot.of(stream.number), *(decode_readings(body) for (body,) in bodies)]:
        count = int(np.searchsorted(time_us, not_after_us, side="right"))
        if count:
            found.append(Sample(int(time_us[count - 1]), float(value[count - 1])))
    return max(found, key=lambda sample: sample.time_us, default=None)


def newest_sealed(connection: sqlite3.Connection, stream: Stream) -> Sample | None:
    """The newest reading of one stream that was moved into its hour."""
    row = connection.execute(
        "SELECT body FROM sealed WHERE signal = ? ORDER BY hour DESC LIMIT 1", (stream.number,)
    ).fetchone()
    if row is None:
        return None
    time_us, value = decode_readings(row[0])
    return Sample(int(time_us[-1]), float(value[-1]))


def first_time(connection: sqlite3.Connection, hot: Hot, streams: list[int]) -> int | None:
    """The oldest reading's time of these streams, None where there is none."""
    mine = hot.records["time_us"][np.isin(hot.records["signal"], streams)]
    times = [int(mine.min())] if len(mine) else []
    for stream in streams:
        row = connection.execute(
            "SELECT body FROM sealed WHERE signal = ? ORDER BY hour LIMIT 1", (stream,)
        ).fetchone()
        if row:
            times.append(int(decode_readings(row[0])[0][0]))
    return min(times, default=None)


def occupied(
    connection: sqlite3.Connection, hot: Hot, streams: list[int], first: int, last: int
) -> list[int]:
    """Hours from `first` to `last` in which any of these streams has a reading, rising."""
    mine = hot.records["time_us"][np.isin(hot.records["signal"], streams)] // HOUR_US
    hours = set(mine[(mine >= first) & (mine <= last)].tolist())
    for stream in streams:
        rows = connection.execute(
            "SELECT hour FROM hours WHERE signal = ? AND hour BETWEEN ? AND ?", (stream, first, last)
        )
        hours.update(hour for (hour,) in rows)
    return sorted(hours)


def step_for(span_us: int, points: int) -> int:
    """The shortest step, of a few round ones, that needs no more than `points` for the span; 0 where
    a step would be under a minute and the readings themselves are to be looked at."""
    wanted = span_us / max(points, 1)
    if wanted <= MINUTE_US / 4:
        return 0
    for step_us in _STEPS_US:
        if step_us >= wanted:
            return step_us
    return -(-span_us // max(points, 1) // _STEPS_US[-1]) * _STEPS_US[-1]


_STEPS_US = tuple(
    [minutes * MINUTE_US for minutes in (1, 2, 5, 10, 15, 20, 30)]
    + [hours * HOUR_US for hours in (1, 2, 3, 4, 6, 8, 12, 24)]
)
