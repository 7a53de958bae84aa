"""Ten minutes of the UTC clock at a time: what the slow faults (storage, weather, sensors) look at.

A beat closes when a reading or a tick comes at or after its end; its numbers are then worked out in
one go from all its readings. So they do not depend on how the readings were cut into chunks, and
nothing in them looks ahead. Beats in which nothing was heard do not exist; the beat that is open
when a recording ends is never told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np

from analytics.seeing.motor import motor_signal
from analytics.seeing.parting import Words, joined
from analytics.seeing.possible import Possible

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.seeing.parting import Parted

BEAT_US = 600_000_000


class Span(msgspec.Struct, frozen=True, gc=False):  # made by the hundred a day: quicker than a dataclass
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


class Beat(msgspec.Struct, frozen=True, gc=False):
    """[from_us, to_us). Signals without a sample are not in `spans`, which goes by `Plant.signals`."""

    at_us: int  # the reading that closed it
    from_us: int
    to_us: int
    spans: dict[int, Span]
    running_s: float  # how long the motor signal said "on", its last word holding until the next


class BeatFold:
    """Readings in time order in, closed beats out; the open beat's readings are held."""

    def __init__(self, plant: Plant, levels: list[tuple[int, float]]) -> None:
        """`levels`: above which the motor runs, from when on each (`Motor.levels`, kept by the motor)."""
        self._limits = [Possible(plant, signal) for signal in plant.signals]
        self._motor = motor_signal(plant)
        self._levels = levels
        self._on = False
        self._held: list[list[Words]] = [[] for _ in plant.signals]
        self._open: int | None = None  # the open beat, in beats since the epoch

    def feed(self, parted: Parted) -> list[Beat]:
        """The beats that these readings closed. They come in time order, none before the last feed's."""
        if not len(parted):
            return []
        times, newest = parted.time_us, int(parted.time_us[-1]) // BEAT_US
        first = int(times[0]) // BEAT_US if self._open is None else self._open
        if newest == first:
            self._open = first
            self._hold(parted.of, newest)
            return []
        beats = self._closed(parted, first, newest)
        self._held, self._open = [[] for _ in self._limits], newest
        self._hold(parted.of, newest)
        return beats

    def _hold(self, of: list[Words], beat: int) -> None:
        """Keep copies of what was said in the open beat, so that no big chunk is kept alive."""
        for held, words in zip(self._held, of, strict=True):
            if len(words) and words.time_us[-1] >= beat * BEAT_US:
                first = int(np.searchsorted(words.time_us, beat * BEAT_US))
                held.append(Words(words.time_us[first:].copy(), words.value[first:].copy()))

    def _closed(self, parted: Parted, first: int, newest: int) -> list[Beat]:
        """Beats from `first` up to `newest` in which something was heard, a tick at least."""
        times = parted.time_us
        edges_us = np.arange(first, newest + 1) * BEAT_US
        cuts = np.searchsorted(times, edges_us)
        heard = np.flatnonzero(np.diff(cuts))
        if self._open is not None and (not len(heard) or heard[0] > 0):
            heard = np.append(0, heard)  # what is held was heard in the first
        from_us, at_us = edges_us[heard], times[cuts[heard + 1]]
        spans: list[dict[int, Span]] = [{} for _ in heard]
        running = np.full(len(heard), BEAT_US / 1e6 if self._on else 0.0)
        for position, (words, limits) in enumerate(zip(parted.of, self._limits, strict=True)):
            stretches = self._stretches(position, words, from_us, newest * BEAT_US)
            good = [_spread(spans, position, from_us, some, limits) for some in stretches]
            if position == self._motor and any(map(len, good)):
                running = self._running(from_us, good)
        columns = (at_us.tolist(), from_us.tolist(), spans, running.tolist())
        return [
            Beat(at, start, start + BEAT_US, found, on) for at, start, found, on in zip(*columns, strict=True)
        ]

    def _stretches(self, position: int, words: Words, from_us: NDArray[np.int64], end_us: int) -> list[Words]:
        """A signal's samples before `end_us`: those of the first beat, which may have been held, and
        those after it; so that a day's are not copied for the sake of the few that were held."""
        after = int(np.searchsorted(words.time_us, end_us))
        past = min(int(np.searchsorted(words.time_us, from_us[0] + BEAT_US)), after)
        head = joined([*self._held[position], Words(words.time_us[:past], words.value[:past])])
        tail = Words(words.time_us[past:after], words.value[past:after])
        return [some for some in (head, tail) if len(some)]

    def _running(self, from_us: NDArray[np.int64], motor: list[Words]) -> NDArray[np.float64]:
        """Seconds of "on" in each beat, as the integral of the last word over time."""
        knots_us, states = [from_us[:1]], [np.array([self._on])]
        for words in motor:
            on = words.value > self._level_at(words.time_us)
            turns = np.flatnonzero(on[1:] != on[:-1]) + 1
            turns = np.append(0, turns) if len(words) else turns
            knots_us.append(words.time_us[turns])
            states.append(on[turns])
        knots, on = np.concatenate(knots_us), np.concatenate(states)
        self._on = bool(on[-1])
        total = np.concatenate(([0], np.cumsum(np.diff(knots) * on[:-1])))

        def until(time_us: NDArray[np.int64]) -> NDArray[np.int64]:
            at = np.searchsorted(knots, time_us, side="right") - 1
            return np.asarray(total[at] + (time_us - knots[at]) * on[at])

        return np.asarray((until(from_us + BEAT_US) - until(from_us)) / 1e6)

    def _level_at(self, time_us: NDArray[np.int64]) -> NDArray[np.float64] | float:
        """Where the motor runs above, at each word of it."""
        if not len(time_us) or self._levels[-1][0] < time_us[0]:
            return self._levels[-1][1]
        since_us = [at_us for at_us, _ in self._levels]
        return np.array([level for _, level in self._levels])[np.searchsorted(since_us, time_us) - 1]

    def saved(self) -> dict[str, Any]:
        held = [joined(words) for words in self._held]
        return {
            "on": self._on,
            "open": self._open,
            "held": [[words.time_us.tobytes(), words.value.tobytes()] for words in held],
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self._on, self._open = saved["on"], saved["open"]
        self._held = [
            [Words(np.frombuffer(time_us, np.int64), np.frombuffer(value, np.float64))]
            for time_us, value in saved["held"]
        ]


def _spread(
    spans: list[dict[int, Span]],
    position: int,
    from_us: NDArray[np.int64],
    words: Words,
    limits: Possible,
) -> Words:
    """Put one signal's samples into the beats' spans; gives back the good ones."""
    edges_us = np.append(from_us, from_us[-1] + BEAT_US)
    times, value = words.time_us, words.value
    bad: dict[int, int] = {}
    if not limits.all_good(value.min(), value.max()):
        good = limits.good(value)
        refused = np.diff(np.searchsorted(times[~good], edges_us))
        bad = {index: int(refused[index]) for index in np.flatnonzero(refused).tolist()}
        times, value = times[good], value[good]
    if len(times):
        cuts = np.searchsorted(times, edges_us)
        beats = np.flatnonzero(np.diff(cuts))
        first, past = cuts[beats], cuts[beats + 1]
        low, high = np.minimum.reduceat(value, first), np.maximum.reduceat(value, first)
        mean = np.clip(np.add.reduceat(value, first) / (past - first), low, high)
        columns = (beats, first, past, low, high, mean, value[first], value[past - 1])
        for row in zip(*(column.tolist() for column in columns), strict=True):
            index, start, end, lowest, highest, middle, earliest, latest = row
            count, refusals = end - start, bad.pop(index, 0)
            spans[index][position] = Span(
                count, refusals, lowest, highest, middle, earliest, latest, times, value, start, end
            )
    nan = float("nan")
    for where, refusals in bad.items():
        spans[where][position] = Span(0, refusals, nan, nan, nan, nan, nan, times, value, 0, 0)
    return Words(times, value)
