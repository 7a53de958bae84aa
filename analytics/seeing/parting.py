"""Readings of many signals, parted once into each signal's own: what every later step wants.

Almost all of a recording is ordinary: steps between words all short, values all possible. What tells
so, the widest step, is worked out here once for all who ask.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import msgspec
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.readings import Readings


class Words:
    """What one signal said: `time_us` int64 (n,) in order, `value` float64 (n,); n may be 0."""

    def __init__(self, time_us: NDArray[np.int64], value: NDArray[np.float64]) -> None:
        self.time_us, self.value = time_us, value

    def __len__(self) -> int:
        return len(self.time_us)

    @cached_property
    def widest_us(self) -> int:
        """The longest step between two words in a row; 0 with fewer than two."""
        return widest(self.time_us)


class Parted(msgspec.Struct, frozen=True):
    """All readings in order of time, and by position in `Plant.signals` those of each signal."""

    readings: Readings
    of: list[Words]

    def __len__(self) -> int:
        return len(self.readings)

    @property
    def time_us(self) -> NDArray[np.int64]:
        """Times of all readings, ticks too."""
        return self.readings.time_us


NOTHING = Words(np.empty(0, np.int64), np.empty(0))


def part(readings: Readings, signals: int) -> Parted:
    """Hand each of the plant's signals its own; ticks and numbers that are no signal's are passed over."""
    signal = readings.signal
    masks = [signal == number for number in range(signals)]
    counts = [int(np.count_nonzero(mask)) for mask in masks]
    present = [number for number in range(signals) if counts[number]]
    if len(present) > 1 and _in_turn(signal, len(present)):
        return Parted(readings, _dealt(readings, signals, len(present)))
    of = [NOTHING] * signals
    for number in present:
        where = np.flatnonzero(masks[number])
        of[number] = Words(readings.time_us.take(where), readings.value.take(where))
    return Parted(readings, of)


def _in_turn(signal: NDArray[np.int16], period: int) -> bool:
    """Whether the signals speak strictly in turn, as sensors of one pace do."""
    turn = set(signal[:period].tolist())
    if len(signal) % period or len(turn) < period or min(turn) < 0:
        return False
    return bool((signal[period:] == signal[:-period]).all())


def _dealt(readings: Readings, signals: int, period: int) -> list[Words]:
    of = [NOTHING] * signals
    for turn, number in enumerate(readings.signal[:period].tolist()):
        if number < signals:
            time_us = np.ascontiguousarray(readings.time_us[turn::period])
            of[number] = Words(time_us, np.ascontiguousarray(readings.value[turn::period]))
    return of


def widest(time_us: NDArray[np.int64]) -> int:
    """The longest step between two times in a row; 0 with fewer than two."""
    return int((time_us[1:] - time_us[:-1]).max()) if len(time_us) > 1 else 0


def joined(parts: list[Words]) -> Words:
    """One signal's words, one stretch after the other."""
    parts = [words for words in parts if len(words)]
    if len(parts) < 2:
        return parts[0] if parts else NOTHING
    times, values = ([getattr(words, name) for words in parts] for name in ("time_us", "value"))
    return Words(np.concatenate(times), np.concatenate(values))
