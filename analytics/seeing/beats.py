"""Ten minutes of the UTC clock at a time: what the slow faults (storage, weather, sensors) look at.

A beat closes when a reading or a tick comes at or after its end; its numbers are then worked out in
one go from all its readings. So they do not depend on how the readings were cut into chunks, and
nothing in them looks ahead. Beats in which nothing was heard do not exist; the beat that is open
when a recording ends is never told.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.readings import TICK, Readings
from analytics.seeing.motor import motor_signal, running_level
from analytics.seeing.tracks import possible_range

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant

BEAT_US = 600_000_000


@dataclass(frozen=True, slots=True)
class Span:
    """One signal's samples in one beat.

    count, bad       samples that can be a measurement, and others
    low to last      of the good ones; NaN where there were none
    times, values    the good ones of the whole feed; `first_at` and `past` cut this beat's out
    """

    count: int
    bad: int
    low: float
    high: float
    mean: float
    first: float
    last: float
    times: NDArray[np.int64]
    values: NDArray[np.float64]
    first_at: int
    past: int

    @property
    def time_us(self) -> NDArray[np.int64]:
        return self.times[self.first_at : self.past]

    @property
    def value(self) -> NDArray[np.float64]:
        return self.values[self.first_at : self.past]


@dataclass(frozen=True, slots=True)
class Beat:
    """[from_us, to_us). Signals without a sample are not in `spans`, which goes by `Plant.signals`."""

    at_us: int  # the reading that closed it
    from_us: int
    to_us: int
    spans: dict[int, Span]
    running_s: float  # how long the motor signal said "on", its last word holding until the next


class BeatFold:
    """Readings in time order in, closed beats out; the open beat's readings are held."""

    def __init__(self, plant: Plant) -> None:
        self._limits = [possible_range(plant, signal) for signal in plant.signals]
        self._motor = motor_signal(plant)
        self._level = running_level(plant, self._motor) if self._motor is not None else 0.0
        self._on = False
        self._held: list[Readings] = []
        self._beat = -(2**62)  # the open one

    def feed(self, readings: Readings) -> list[Beat]:
        """The beats that these readings closed. `readings`: in time order, none before the last feed's."""
        if not len(readings):
            return []
        self._held.append(readings)
        newest = int(readings.time_us[-1]) // BEAT_US
        if newest == self._beat:
            return []
        both = Readings.concatenate(self._held) if len(self._held) > 1 else self._held[0]
        closed = int(np.searchsorted(both.time_us, newest * BEAT_US))
        self._held, self._beat = [_without_ticks(both[closed:])], newest
        return self._close(both[:closed], both.time_us[: closed + 1]) if closed else []

    def saved(self) -> dict[str, Any]:
        held = Readings.concatenate(self._held)
        return {
            "on": self._on,
            "beat": self._beat,
            "signal": held.signal.tobytes(),
            "time_us": held.time_us.tobytes(),
            "value": held.value.tobytes(),
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self._on, self._beat = saved["on"], saved["beat"]
        signal = np.frombuffer(saved["signal"], np.int16)
        time_us = np.frombuffer(saved["time_us"], np.int64)
        self._held = [Readings(signal, time_us, np.frombuffer(saved["value"], np.float64))]

    def _close(self, readings: Readings, times: NDArray[np.int64]) -> list[Beat]:
        """`times`: the readings', and after them that of the reading which closed the last beat."""
        edges_us = np.arange(times[0] // BEAT_US, times[-2] // BEAT_US + 2) * BEAT_US
        cuts = np.searchsorted(readings.time_us, edges_us)
        heard = np.flatnonzero(np.diff(cuts))
        from_us = edges_us[heard]
        at_us = times[cuts[heard + 1]].tolist()
        spans: list[dict[int, Span]] = [{} for _ in at_us]
        running = np.where(self._on, BEAT_US / 1e6, 0.0) * np.ones(len(at_us))
        for position, limits in enumerate(self._limits):
            mine = np.flatnonzero(readings.signal == position)
            if not len(mine):
                continue
            good = _spread(spans, position, from_us, readings[mine], limits)
            if position == self._motor and len(good):
                running = self._running(from_us, good)
        return [
            Beat(at, start, start + BEAT_US, found, on)
            for at, start, found, on in zip(at_us, from_us.tolist(), spans, running.tolist(), strict=True)
        ]

    def _running(self, from_us: NDArray[np.int64], motor: Readings) -> NDArray[np.float64]:
        """Seconds of "on" in each beat, as the integral of the last word over time."""
        knots = np.append(from_us[0], motor.time_us)
        on = np.append(self._on, motor.value > self._level)
        self._on = bool(on[-1])
        total = np.concatenate(([0], np.cumsum(np.diff(knots) * on[:-1])))

        def until(time_us: NDArray[np.int64]) -> NDArray[np.int64]:
            at = np.searchsorted(knots, time_us, side="right") - 1
            return np.asarray(total[at] + (time_us - knots[at]) * on[at])

        return np.asarray((until(from_us + BEAT_US) - until(from_us)) / 1e6)


def _spread(
    spans: list[dict[int, Span]],
    position: int,
    from_us: NDArray[np.int64],
    mine: Readings,
    limits: tuple[float, float],
) -> Readings:
    """Put one signal's samples into the beats' spans; gives back the good ones."""
    good = (mine.value >= limits[0]) & (mine.value <= limits[1])
    bad: dict[int, int] = {}
    if not good.all():
        refused = np.diff(np.searchsorted(mine.time_us[~good], np.append(from_us, from_us[-1] + BEAT_US)))
        bad = {index: int(refused[index]) for index in np.flatnonzero(refused).tolist()}
        mine = mine[good]
    if len(mine):
        cuts = np.searchsorted(mine.time_us, np.append(from_us, from_us[-1] + BEAT_US))
        beats = np.flatnonzero(np.diff(cuts))
        first, past = cuts[beats], cuts[beats + 1]
        value = mine.value
        low, high = np.minimum.reduceat(value, first), np.maximum.reduceat(value, first)
        mean = np.clip(np.add.reduceat(value, first) / (past - first), low, high)
        columns = (beats, first, past, low, high, mean, value[first], value[past - 1])
        for row in zip(*(column.tolist() for column in columns), strict=True):
            index, start, end, lowest, highest, middle, earliest, latest = row
            spans[index][position] = Span(
                end - start,
                bad.pop(index, 0),
                lowest,
                highest,
                middle,
                earliest,
                latest,
                mine.time_us,
                value,
                start,
                end,
            )
    nan = float("nan")
    for where, words in bad.items():
        spans[where][position] = Span(0, words, nan, nan, nan, nan, nan, mine.time_us, mine.value, 0, 0)
    return mine


def _without_ticks(readings: Readings) -> Readings:
    """A copy that keeps one tick at most, and no big chunk alive."""
    keep = readings.signal != TICK
    keep[:1] = True
    return Readings(readings.signal[keep].copy(), readings.time_us[keep].copy(), readings.value[keep].copy())
