"""Each signal's good samples, kept for as long as the current spell needs them.

A sample is good when it is a number, within the signal's `valid`, physically possible, and no
drop-out. A drop-out is a zero that the plant cannot have come to: pressure is held by the air in the
tank, so from well above cut-in to nothing within a few seconds is the sensor's doing, however long
it lasts (up to DROPOUT_LONG_US, then it is somebody else's puzzle). From cut-in or below the tank
may really have run empty: only the first moments are doubted.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np

from analytics.plant.description import Measure
from analytics.seeing.holding import Holding
from analytics.seeing.pace import Pace
from analytics.seeing.possible import Possible
from analytics.seeing.stillness import Stillness, Stood

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant, Signal
    from analytics.seeing.parting import Words

DROPOUT_LONG_US = 600_000_000
DROPOUT_SHORT_US = 2_500_000
NEVER_US = 1 << 62
KEPT = 3  # words that are kept of a signal, however long ago: as many as its newest value is told from
ZERO_SHARE = 0.02  # of cut-in: what a zero reads as, with a gauge's own error
#: A dead gauge says less, or a little more; a break that lets four times the delivery out leaves 6 %.
NOTHING_SHARE = 0.05


class Bad(msgspec.Struct, frozen=True):
    """Words that were no samples: when and what they said, and from when on it is believed, if it stands."""

    time_us: NDArray[np.int64] = np.empty(0, np.int64)
    value: NDArray[np.float64] = np.empty(0)
    believed_us: NDArray[np.int64] = np.empty(0, np.int64)

    def taken(self, first: int) -> Bad:
        """Those from a place on."""
        return Bad(self.time_us[first:].copy(), self.value[first:].copy(), self.believed_us[first:].copy())


class Track:
    """One signal's good samples, `time_us` and `value`, since the time that `trim` was last told."""

    def __init__(self, plant: Plant, signal: Signal) -> None:
        self._possible = Possible(plant, signal)
        cut_in = plant.switch.cut_in_pa if plant.switch else None
        self.cut_in_pa = cut_in if signal.measures is Measure.LINE_PRESSURE else None
        self.pace = Pace(signal.every_s)
        self.time_us = np.empty(0, np.int64)
        self.value = np.empty(0)
        self.gap = np.empty(0, np.bool_)  # a silence longer than the pace allows came before this sample
        self.still = np.empty(0, np.int8)  # of a line pressure: by how long it has said just this
        self.stood: list[Stood] = []  # in the newest words
        self.bad = Bad()  # of a line pressure
        self.holding = Holding() if signal.measures is Measure.LINE_PRESSURE else None
        self._stillness = Stillness() if signal.measures is Measure.LINE_PRESSURE else None
        self._position = plant.signals.index(signal)
        self.last_word_us: int | None = None
        self._steady: tuple[int, float] | None = None  # newest sample that was no zero
        self._zero_since_us: int | None = None

    def add(self, words: Words) -> None:
        """Append samples, in order of time."""
        self.stood = []
        if not len(words):
            return
        time_us, value = words.time_us, words.value
        gap = self.pace.gaps(words, self.last_word_us)
        self.last_word_us = int(time_us[-1])
        if self._plainly_good(value):
            if self.cut_in_pa is not None:
                self._steady, self._zero_since_us = (int(time_us[-1]), float(value[-1])), None
            self._append(time_us, value, gap)
            return
        good = self._possible.good(value)
        believed_us = np.full(len(good), NEVER_US)
        if self.cut_in_pa is not None:
            self._doubt_zeros(time_us, value, good, believed_us, self.cut_in_pa)
        if not good.all():
            if self.holding is not None:
                new, old = (time_us[~good], value[~good], believed_us[~good]), self.bad
                self.bad = Bad(*map(_joined, (old.time_us, old.value, old.believed_us), new))
            time_us, value, gap = time_us[good], value[good], gap[good]
        self._append(time_us, value, gap)

    def _plainly_good(self, value: NDArray[np.float64]) -> bool:
        """Whether all are possible and, of a pressure, none is near nothing."""
        low, high = value.min(), value.max()  # NaN if one is
        possible = self._possible.all_good(low, high)
        return possible and bool(self.cut_in_pa is None or low > NOTHING_SHARE * self.cut_in_pa)

    def _append(self, time_us: NDArray[np.int64], value: NDArray[np.float64], gap: NDArray[np.bool_]) -> None:
        if self._stillness is not None:
            still, self.stood = self._stillness.hear(self._position, time_us, value)
            self.still = _joined(self.still, still)
        if self.holding is not None:
            self.holding.hear(time_us, value)
        self.gap = _joined(self.gap, gap)
        self.time_us = _joined(self.time_us, time_us)
        self.value = _joined(self.value, value)

    def _doubt_zeros(
        self,
        time_us: NDArray[np.int64],
        value: NDArray[np.float64],
        good: NDArray[np.bool_],
        believed_us: NDArray[np.int64],
        cut_in_pa: float,
    ) -> None:
        zero = good & (value <= NOTHING_SHARE * cut_in_pa)
        others = np.flatnonzero(good & ~zero)
        if zero.any():
            edges = np.flatnonzero(np.diff(zero, prepend=False))
            for first in np.flatnonzero(zero & np.concatenate(([True], ~zero[:-1]))).tolist():
                before = (
                    others[np.searchsorted(others, first) - 1] if len(others) and others[0] < first else None
                )
                steady = (int(time_us[before]), float(value[before])) if before is not None else self._steady
                if before is not None or self._zero_since_us is None:
                    self._zero_since_us = int(time_us[first])
                after = edges[np.searchsorted(edges, first, side="right") :]
                end = int(after[0]) if len(after) else len(zero)
                limit = self._patience_us(steady, cut_in_pa)
                span = slice(first, end)
                good[span] &= ~(zero[span] & (time_us[span] - self._zero_since_us < limit))
                believed_us[span] = self._zero_since_us + limit
        if len(others):
            self._steady = (int(time_us[others[-1]]), float(value[others[-1]]))
            if not zero[others[-1] :].any():
                self._zero_since_us = None

    def _patience_us(self, steady: tuple[int, float] | None, cut_in_pa: float) -> int:
        if steady is None or self._zero_since_us is None:
            return 0
        sudden = self._zero_since_us - steady[0] <= 10_000_000
        if steady[1] > 1.05 * cut_in_pa and sudden:
            return DROPOUT_LONG_US
        return DROPOUT_SHORT_US if steady[1] > 0.2 * cut_in_pa else 0

    def trim(self, before_us: int) -> None:
        """Forget what is older, but for the newest KEPT."""
        first = max(0, min(int(np.searchsorted(self.time_us, before_us)), len(self.time_us) - KEPT))
        self.time_us, self.value = self.time_us[first:].copy(), self.value[first:].copy()
        self.gap, self.still = self.gap[first:].copy(), self.still[first:].copy()
        if len(self.bad.time_us):
            self.bad = self.bad.taken(int(np.searchsorted(self.bad.time_us, before_us)))

    def saved(self) -> dict[str, Any]:
        arrays = (self.time_us, self.value, self.gap, self.still)
        return {
            "arrays": [zlib.compress(array.tobytes(), 1) for array in arrays],
            "pace": self.pace.saved(),
            "stillness": self._stillness.saved() if self._stillness is not None else None,
            "holding": self.holding.saved() if self.holding is not None else None,
            "bad": [column.tolist() for column in msgspec.structs.astuple(self.bad)],
            "last_word_us": self.last_word_us,
            "steady": self._steady,
            "zero_since_us": self._zero_since_us,
        }

    def restore(self, saved: dict[str, Any]) -> None:
        time_us, value, gap, still = (zlib.decompress(array) for array in saved["arrays"])
        self.time_us, self.value = np.frombuffer(time_us, np.int64), np.frombuffer(value, np.float64)
        self.gap, self.still = np.frombuffer(gap, np.bool_), np.frombuffer(still, np.int8)
        if self._stillness is not None:
            self._stillness.restore(saved["stillness"])
        if self.holding is not None and saved.get("holding"):
            self.holding.restore(saved["holding"])
        time_us, value, believed_us = saved.get("bad", ([], [], []))
        self.bad = Bad(np.array(time_us, np.int64), np.array(value), np.array(believed_us, np.int64))
        self.pace.restore(saved["pace"])
        self.last_word_us = saved["last_word_us"]
        steady = saved["steady"]
        self._steady = (steady[0], steady[1]) if steady is not None else None
        self._zero_since_us = saved["zero_since_us"]


def _joined(old: NDArray[Any], new: NDArray[Any]) -> NDArray[Any]:
    return np.concatenate((old, new)) if len(old) else new
