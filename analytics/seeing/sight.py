"""The seeing half of the engine: readings in, events out, and what else a judge may ask of readings.

Nothing here depends on what was found wrong, so that seeing may run ahead of judging, in another
process if need be (`collector.recording`): what is seen is plain data.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from analytics.plant.description import Measure
from analytics.seeing.observer import Observer
from analytics.seeing.ordering import Ordering
from analytics.seeing.turning import Turns

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.readings import Readings
    from analytics.seeing.events import Event
    from analytics.seeing.tracks import Track

#: Of what a judge may ask the newest word, whatever the event.
ASKED_FOR = (Measure.STORAGE_LEVEL, Measure.AIR_TEMPERATURE)
#: Readings gone through at once: their arrays stay in the processor's cache.
MOUTHFUL = 1 << 18
NEVER = -(2**62)


class Newest(NamedTuple):
    """A signal's newest good sample at or before each of N events: `time_us` int64 (N,), NEVER where
    there was none; `value` float64 (N,), SI, the middle of the newest three: such gauges drop to nothing
    for a lone word."""

    time_us: NDArray[np.int64]
    value: NDArray[np.float64]


class Seen(NamedTuple):
    """What one feed showed.

    events   in order of time
    newest   of the signals that are ASKED_FOR, by position in `Plant.signals`
    paces    each signal's learned interval [s] and since when it is known; None until then
    late     readings so far that came too late to be seen
    turns    how to tell the stamps' time
    """

    events: list[Event]
    newest: dict[int, Newest]
    paces: list[tuple[int, float] | None]
    late: int
    turns: Turns


class Sight:
    """One plant's. `feed` readings in any chunks."""

    def __init__(self, plant: Plant, follows_clock: bool = True) -> None:
        self.ordering = Ordering(follows_clock)
        self.observer = Observer(plant)
        self._asked_for = [at for measure in ASKED_FOR for at in plant.measuring(measure)]

    def feed(self, readings: Readings) -> Seen:
        """Take readings in order of arrival."""
        if len(readings) <= MOUTHFUL:
            return self._seen(self.ordering.feed(readings))
        cuts = range(0, len(readings), MOUTHFUL)
        return self._seen(part for at in cuts for part in self.ordering.feed(readings[at : at + MOUTHFUL]))

    def finish(self) -> Seen:
        """What is still held back."""
        return self._seen([self.ordering.finish()])

    def _seen(self, stretches: Iterable[Readings]) -> Seen:
        events: list[Event] = []
        parts: dict[int, list[Newest]] = {signal: [] for signal in self._asked_for}
        for readings in stretches:
            found = self.observer.feed(readings)
            if found and parts:
                at_us = np.array([event.at_us for event in found], np.int64)
                for signal, newest in parts.items():
                    newest.append(_newest(self.observer.tracks[signal], at_us))
            events += found
            if len(readings):
                self.observer.forget(int(readings.time_us[-1]))
        return Seen(
            events,
            {signal: _joined(newest) for signal, newest in parts.items()},
            [track.pace.learned() for track in self.observer.tracks],
            self.ordering.late,
            self.ordering.turns,
        )


def _newest(track: Track, at_us: NDArray[np.int64]) -> Newest:
    position = np.searchsorted(track.time_us, at_us, side="right") - 1
    if not len(track.time_us):
        return Newest(np.full(len(at_us), NEVER), np.full(len(at_us), np.nan))
    a, b, c = (track.value[np.maximum(position - back, 0)] for back in (2, 1, 0))
    middle = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    value = np.where(position >= 2, middle, c)
    return Newest(np.where(position >= 0, track.time_us[position], NEVER), value)


def _joined(parts: Sequence[Newest]) -> Newest:
    if len(parts) == 1:
        return parts[0]
    if not parts:
        return Newest(np.empty(0, np.int64), np.empty(0))
    return Newest(*(np.concatenate(column) for column in zip(*parts, strict=True)))
