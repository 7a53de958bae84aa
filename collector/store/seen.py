"""Which (signal, time) the history already holds: what makes writing idempotent.

The times of the journal are kept in memory, an hour or two of them; older ones are looked up in
the sealed hours. The usual reading is newer than any before it of its signal and costs one
comparison. The first value for a (signal, time) stays; a later one, equal or not, is a repeat:
the broker redelivers, and a sensor that says two things about one instant is not to be believed
twice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from collector.store.blocks import HOUR_US

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

_NEVER = int(np.iinfo(np.int64).min)


class Seen:
    """Times held, by the signal's position in the plant file (its streams share them)."""

    def __init__(self, sealed_times: Callable[[int, int], NDArray[np.int64]]) -> None:
        """`sealed_times(signal, hour)` gives the times of a sealed hour, none where there is none."""
        self._sealed_times = sealed_times
        self._newest: dict[int, int] = {}
        self._recent: dict[int, list[NDArray[np.int64]]] = {}

    def add(self, signal: int, time_us: NDArray[np.int64]) -> None:
        """These are held in the journal, or will be with the next commit."""
        if len(time_us):
            self._recent.setdefault(signal, []).append(time_us)
            self.reached(signal, int(time_us.max()))

    def reached(self, signal: int, time_us: int) -> None:
        """The history holds readings of this signal up to that time."""
        self._newest[signal] = max(self._newest.get(signal, _NEVER), time_us)

    def fresh(self, signal: NDArray[np.int16], time_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which of these (signal, time) pairs, in order of arrival, are held nowhere; now they are."""
        fresh = np.zeros(len(time_us), np.bool_)
        for one in np.unique(signal).tolist():
            where = np.flatnonzero(signal == one)
            mine = time_us[where]
            if len(mine) > 1 and not bool((np.diff(mine) > 0).all()):
                _, first = np.unique(mine, return_index=True)
                where = where[np.sort(first)]
                mine = time_us[where]
            new = mine > self._newest.get(one, _NEVER)
            if not new.all():
                new[~new] = ~self._held(one, mine[~new])
            fresh[where[new]] = True
            self.add(one, mine[new])
        return fresh

    def _held(self, signal: int, time_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        recent = self._recent.get(signal, [])
        if len(recent) > 1:
            recent[:] = [np.concatenate(recent)]
        held = np.isin(time_us, recent[0]) if recent else np.zeros(len(time_us), np.bool_)
        hours = time_us // HOUR_US
        for hour in np.unique(hours[~held]).tolist():
            at = np.flatnonzero((hours == hour) & ~held)
            held[at] = np.isin(time_us[at], self._sealed_times(signal, hour))
        return held
