"""Minimum, sum, maximum and count by steps of time, and how two of them become one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Rollup:
    """Steps of time that hold readings. All arrays (N,); `time_us` each step's beginning, rising.

    Only finite numbers enter; a step that holds none has count 0, total 0, and NaN for the others.
    """

    time_us: NDArray[np.int64]
    minimum: NDArray[np.float64]
    total: NDArray[np.float64]
    maximum: NDArray[np.float64]
    count: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.time_us)

    @classmethod
    def of(cls, time_us: NDArray[np.int64], value: NDArray[np.float64], step_us: int) -> Rollup:
        """Readings, in time order, by steps of `step_us` counted from the epoch."""
        finite = np.isfinite(value)
        nothing = np.full(len(value), np.nan)
        return cls(
            time_us,
            np.where(finite, value, nothing),
            np.where(finite, value, 0.0),
            np.where(finite, value, nothing),
            finite.astype(np.int64),
        ).by(step_us)

    def by(self, step_us: int) -> Rollup:
        """The same in longer steps."""
        if not len(self):
            return self
        step = self.time_us // step_us
        first = np.flatnonzero(np.concatenate(([True], step[1:] != step[:-1])))
        return Rollup(
            step[first] * step_us,
            np.fmin.reduceat(self.minimum, first),
            np.add.reduceat(self.total, first),
            np.fmax.reduceat(self.maximum, first),
            np.add.reduceat(self.count, first),
        )

    @classmethod
    def joined(cls, parts: list[Rollup], step_us: int) -> Rollup:
        """Parts that may share steps, as one."""
        if not parts:
            return cls.of(np.empty(0, np.int64), np.empty(0), step_us)
        order = np.argsort(np.concatenate([part.time_us for part in parts]), kind="stable")
        return cls(
            np.concatenate([part.time_us for part in parts])[order],
            np.concatenate([part.minimum for part in parts])[order],
            np.concatenate([part.total for part in parts])[order],
            np.concatenate([part.maximum for part in parts])[order],
            np.concatenate([part.count for part in parts])[order],
        ).by(step_us)

    def between(self, from_us: int, to_us: int) -> Rollup:
        """Steps that begin at or after `from_us` and before `to_us`."""
        keep = slice(*np.searchsorted(self.time_us, [from_us, to_us]))
        return Rollup(
            self.time_us[keep], self.minimum[keep], self.total[keep], self.maximum[keep], self.count[keep]
        )
