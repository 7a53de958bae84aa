"""How often a signal speaks: told by the plant file, or learned from its first hundred words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.seeing.parting import Words

LESSON = 100
#: Before anything is learned: ten seconds between samples, and an hour's silence is a gap.
FIRST_GUESS_S = 10.0
FIRST_LIMIT_S = 3600.0
CLOSER = 0.8  # a hundred that is closer by less is jitter
SOONEST_S = 0.05
HUNDREDS = 100
#: Without a word for so many of its intervals, and for so long, a signal is silent (contract).
INTERVALS, LEAST_SILENT_S = 10.0, 120.0


def overdue_s(every_s: float) -> float:
    """The silence [s] that is one, of a signal that is due each `every_s`."""
    return max(INTERVALS * every_s, LEAST_SILENT_S)


class Pace:
    """Typical spacing and the silence that counts as a gap: ten intervals and two minutes (contract).

    An interval that is learned is the 95th percentile of the first LESSON, so that a sensor which
    reports on change is not found silent whenever nothing changes; twice the margin then.

    How closely samples lie while things move (`quick_s`) is the tenth percentile of a hundred spacings,
    the closest hundred so far: of a sensor that speaks each second or, at rest, each minute, the second.
    """

    def __init__(self, every_s: float | None) -> None:
        self.every_s = every_s
        self._lesson: list[float] = []
        self._typical_s: float | None = None
        self._longest_s: float | None = None
        self.learned_us: int | None = None
        self._quick: list[tuple[int, float]] = []  # since when, how close
        self._spacings = np.empty(0)  # of the hundred that is not yet full
        self._hundreds = 0

    def gaps(self, words: Words, before_us: int | None) -> NDArray[np.bool_]:
        """For each sample, whether the silence before it was a gap. The very first is none."""
        time_us, limit_s = words.time_us, self.limit_s()
        if self._hundreds < HUNDREDS:
            self._learn_quick(time_us, before_us)
        if self._typical_s is not None and before_us is not None:
            longest_us = max(words.widest_us, int(time_us[0]) - before_us)
            if longest_us * 1e-6 <= limit_s:
                return np.zeros(len(time_us), np.bool_)
        steps = np.diff(time_us, prepend=time_us[0] if before_us is None else before_us) * 1e-6
        limits = np.full(len(steps), limit_s)
        if self._typical_s is None:
            skip = 1 if before_us is None else 0
            wanted = LESSON - len(self._lesson)
            self._lesson += steps[skip : skip + wanted].tolist()
            if len(self._lesson) >= LESSON:
                spacing = sorted(self._lesson)
                self._typical_s, self._longest_s = spacing[LESSON // 2], spacing[int(LESSON * 0.95)]
                self.learned_us = int(time_us[skip + wanted - 1])
                limits[skip + wanted :] = self.limit_s()
                self._lesson = []
        return np.asarray(steps > limits)

    def _learn_quick(self, time_us: NDArray[np.int64], before_us: int | None) -> None:
        """From the first HUNDREDS: a sensor that speaks on change has then moved, and the year is cheap."""
        steps = np.diff(time_us) if before_us is None else np.diff(time_us, prepend=before_us)
        waiting = len(self._spacings)
        both = np.concatenate((self._spacings, steps * 1e-6))
        blocks = min(len(both) // LESSON, HUNDREDS - self._hundreds)
        self._hundreds += blocks
        self._spacings = both[blocks * LESSON :].copy() if self._hundreds < HUNDREDS else np.empty(0)
        tenth = LESSON // 10
        close = np.partition(both[: blocks * LESSON].reshape(blocks, LESSON), tenth, axis=1)[:, tenth]
        first = LESSON - 1 - waiting + len(time_us) - len(steps)
        for block, spacing in enumerate(close.tolist()):
            if not self._quick or spacing < CLOSER * self._quick[-1][1]:
                self._quick.append((int(time_us[first + block * LESSON]), spacing))

    def limit_s(self) -> float:
        if self.every_s is not None:
            return overdue_s(self.every_s)
        return FIRST_LIMIT_S if self._longest_s is None else max(20.0 * self._longest_s, 300.0)

    def seldom_s(self, time_us: int) -> float:
        """What one spacing in twenty is longer than, as known at a time."""
        known = self.learned_us is not None and self._longest_s is not None and time_us >= self.learned_us
        return self._longest_s if known and self._longest_s is not None else self.typical_s(time_us)

    def typical_s(self, time_us: int) -> float:
        """Typical spacing as known at a time."""
        if self.learned_us is not None and self._typical_s is not None and time_us >= self.learned_us:
            return self._typical_s
        return FIRST_GUESS_S if self.every_s is None else min(self.every_s, FIRST_GUESS_S)

    def quick_s(self, time_us: int) -> float:
        """Spacing while things move, as known at a time."""
        for since_us, close in reversed(self._quick):
            if time_us >= since_us:
                return max(close, SOONEST_S)
        return self.typical_s(time_us)

    def learned(self) -> tuple[int, float] | None:
        """Since when the interval is known, and what it is [s]; None until it has been learned."""
        if self.learned_us is None or self._typical_s is None:
            return None
        return self.learned_us, self._typical_s

    def saved(self) -> dict[str, Any]:
        return {
            "lesson": self._lesson,
            "typical_s": self._typical_s,
            "longest_s": self._longest_s,
            "learned_us": self.learned_us,
            "quick": self._quick,
            "spacings": self._spacings.tolist(),
            "hundreds": self._hundreds,
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self._lesson = list(saved["lesson"])
        self._typical_s, self._longest_s = saved["typical_s"], saved["longest_s"]
        self.learned_us = saved["learned_us"]
        self._quick = [(since_us, close) for since_us, close in saved["quick"]]
        self._spacings = np.array(saved["spacings"], np.float64)
        self._hundreds = saved["hundreds"]
