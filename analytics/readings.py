"""Readings as three parallel arrays: the only form in which data enters the core."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: `Readings.signal` of a tick: time went on, nothing was measured. Its value is ignored.
TICK = -1


@dataclass(frozen=True, slots=True)
class Readings:
    """N readings of one plant.

    signal   int16 (N,)    position in `Plant.signals`, or TICK
    time_us  int64 (N,)    microseconds since the Unix epoch, UTC
    value    float64 (N,)  SI value of what the signal measures (see SI_UNIT); NaN where the sensor
                           spoke but its word was no number
    """

    signal: NDArray[np.int16]
    time_us: NDArray[np.int64]
    value: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time_us)

    def __getitem__(self, which: slice | NDArray[np.bool_] | NDArray[np.intp]) -> Readings:
        return Readings(self.signal[which], self.time_us[which], self.value[which])

    @classmethod
    def of(cls, signal: object, time_us: object, value: object) -> Readings:
        """Readings from anything NumPy takes for arrays, cast to the types above."""
        return cls(
            np.asarray(signal, dtype=np.int16),
            np.asarray(time_us, dtype=np.int64),
            np.asarray(value, dtype=np.float64),
        )

    @classmethod
    def none(cls) -> Readings:
        """No readings at all."""
        return cls.of([], [], [])

    @classmethod
    def concatenate(cls, parts: list[Readings]) -> Readings:
        """The parts, one after the other."""
        if not parts:
            return cls.none()
        return cls(
            np.concatenate([part.signal for part in parts]),
            np.concatenate([part.time_us for part in parts]),
            np.concatenate([part.value for part in parts]),
        )

    def in_time_order(self) -> Readings:
        """Sorted by time; readings of one instant by signal, so that order of arrival is forgotten."""
        return self[np.lexsort((self.signal, self.time_us))]
