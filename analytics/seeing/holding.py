"""Whether what a sensor said last still holds: it is told on change, and would say so if it did not.

One that is told on change speaks when it has moved by its dead band since its last word, and gives a sign of
life after a set silence. So words that follow one another quickly differ by the dead band at least, while
those of one that speaks by the clock differ by anything down to nothing; and its silences are long beside
its quickest words, where those of the other are its lost words. Hundreds of words are asked, each for itself:

    QUICK    2       times the tenth percentile of a hundred's spacings: what follows sooner is a quick word
    LONG     5       times that: a hundred without such a silence says nothing; it is of a clock, or of signs
                     of life alone. Where a clock loses one word in ten it is one hundred in a hundred
    ALIKE    0.5     of the median step of the quick words, that a tenth of them fall short of: on change that
                     tenth is the dead band and the median little more; of a gauge at rest, whose noise alone
                     moves it, it is 0.19 (normal noise: 0.126 over 0.674 deviations), in steps nothing
    BEATS    5       silences that come within NEAR 0.9 of it make one its longest usual one, its sign of
                     life: no outages last alike. One without such a sign is held to what it has shown

What was said holds for that silence, as long as time is known to go on, and HELD_US at the most: looks into a
run know no words from longer before it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.physics.fits import median

if TYPE_CHECKING:
    from numpy.typing import NDArray

HUNDRED, HUNDREDS = 100, 100
QUICK, LONG = 2.0, 5.0
ALIKE = 0.5
BEATS, NEAR, LONGEST = 5, 0.9, 24
HELD_US = 600_000_000


class Holding:
    """Good words of one signal in; for how long its last word holds, as known at a time."""

    def __init__(self) -> None:
        self._hundreds = 0
        self._last: tuple[int, float] | None = None
        self._apart_s = np.empty(0)  # of the hundred that is not yet full
        self._step = np.empty(0)
        self._ayes = self._noes = 0
        self._bands: list[float] = []  # dead bands by those that said aye
        self._longest: list[float] = []  # silences, the longest first
        self._known: list[tuple[int, float, float]] = []  # since when: for how long it holds [s], dead band

    def hear(self, time_us: NDArray[np.int64], value: NDArray[np.float64]) -> None:
        """Take words, in order of time. Only the first HUNDREDS teach: the year is cheap."""
        if self._hundreds >= HUNDREDS or not len(time_us):
            return
        last_us, last = self._last if self._last is not None else (int(time_us[0]), float(value[0]))
        first = 0 if self._last is not None else 1
        apart_s = np.concatenate((self._apart_s, np.diff(time_us, prepend=last_us)[first:] * 1e-6))
        step = np.concatenate((self._step, np.abs(np.diff(value, prepend=last))[first:]))
        self._last = int(time_us[-1]), float(value[-1])
        done = min(len(step) // HUNDRED, HUNDREDS - self._hundreds)
        for k in range(done):
            part = slice(k * HUNDRED, (k + 1) * HUNDRED)
            full_us = int(time_us[len(time_us) - len(step) + part.stop - 1])
            self._learn(apart_s[part], step[part], full_us)
        self._hundreds += done
        rest = slice(done * HUNDRED, None) if self._hundreds < HUNDREDS else slice(0, 0)
        self._apart_s, self._step = apart_s[rest].copy(), step[rest].copy()

    def _learn(self, apart_s: NDArray[np.float64], step: NDArray[np.float64], now_us: int) -> None:
        """What one hundred says."""
        tenth = HUNDRED // 10
        usual_s = float(np.partition(apart_s, tenth)[tenth])
        longest = sorted([*self._longest, *apart_s[apart_s > LONG * usual_s].tolist()], reverse=True)
        self._longest = longest[:LONGEST]
        if float(apart_s.max()) < LONG * usual_s:
            return
        quick = np.sort(step[apart_s <= QUICK * usual_s])
        band = float(quick[len(quick) // 10])
        if band > 0.0 and band >= ALIKE * float(quick[len(quick) // 2]):
            self._ayes += 1
            self._bands.append(band)
        else:
            self._noes += 1
        known = (self._silence_s(), median(np.array(self._bands))) if self._ayes > self._noes else (0.0, 0.0)
        if not self._known or self._known[-1][1:] != known:
            self._known.append((now_us, *known))

    def _silence_s(self) -> float:
        """Its longest usual silence."""
        for at, long_s in enumerate(self._longest[: 1 - BEATS]):
            if self._longest[at + BEATS - 1] >= NEAR * long_s:
                return min(long_s, HELD_US * 1e-6)
        return 0.0

    def at(self, time_us: int) -> tuple[float, float]:
        """For how long a word holds [s], 0 where it does not, and the dead band; as known at a time."""
        for since_us, holds_s, band in reversed(self._known):
            if time_us >= since_us:
                return holds_s, band
        return 0.0, 0.0

    def saved(self) -> dict[str, Any]:
        return {
            "hundreds": self._hundreds,
            "last": self._last,
            "apart_s": self._apart_s.tolist(),
            "step": self._step.tolist(),
            "votes": [self._ayes, self._noes],
            "bands": self._bands,
            "longest": self._longest,
            "known": self._known,
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self._hundreds = saved["hundreds"]
        self._last = (saved["last"][0], saved["last"][1]) if saved["last"] is not None else None
        self._apart_s, self._step = np.array(saved["apart_s"]), np.array(saved["step"])
        self._ayes, self._noes = saved["votes"]
        self._bands, self._longest = list(saved["bands"]), list(saved["longest"])
        self._known = [(since_us, holds_s, band) for since_us, holds_s, band in saved["known"]]
