"""How long runs last where the motor's words are further apart than that: by the runs that no word met.

A run of length L is met by one of the motor's words, dt apart, with a chance of L / dt (1 for longer ones).
Pressure tells of the others: it climbs from the lower third of the band to its upper third between two of its
own words, and the motor said "off" at each word from the one before to the one after. Of n climbs k were met:

    P(at most k of n),  p = kept min(L0 / dt, 1)

of runs of L0, as short as the motor stands or sound ones less what is a fault (GROWN), and at most CHANCE:
then they are shorter. They are good again where Wald's ratio says so on each of two days, of that p against
the share that was met while they were short: a night's watering makes all runs of a night long.

Runs in step with the words are no chances of their own (a steady draw that cycles the pump each three minutes
hides each run, or none, from words a minute apart): only climbs count that came after another interval than
the one before, by IN_STEP of the motor's spacing or two of pressure's words.

Parameters:
    KEPT     0.9     of the motor's words are good at least: one in ten may be lost or wrong. Where sound runs
                     are longer than the spacing the first LEARNED 48 climbs tell, up to KEPT_MOST 0.98
    WINDOWS  12, 24, 48  newest climbs; one plant in ten years has so few met by chance at CHANCE 1e-6 of some
                     10,000 climbs a year, and three looks each
    LONGER   1.2     spacings: runs that no spacing misses
    LEAST    0.1     of them were met: of a motor signal that says nothing at all nothing is told
    BACK     30      to one on each of DAYS 2 days (Wald 1945): together some thousand to one
    BEYOND   0.3     of the band outside it no word is a pressure of this tank

Source: binomial distribution; Wald as said.
"""

from __future__ import annotations

from math import comb, log
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.judging.climbs import CEILING, FLOOR, IN_STEP
from analytics.judging.cycling_cause import GROWN
from analytics.seeing.beats import BEAT_US

if TYPE_CHECKING:
    from analytics.seeing.beats import Beat, Span

KEPT, KEPT_MOST, LEARNED, LONGER = 0.9, 0.98, 48, 1.2
LEAST = 0.1
WINDOWS, CHANCE, MOST = (12, 24, 48), 1e-6, 400
BACK, DAYS, DAY_US = 30.0, 2, 86_400_000_000
BEYOND = 0.3
COARSE_S = 3.0
LOST = 1.5  # spacings from the word before a climb to the word after it, beyond those within


class Refills(msgspec.Struct):
    """Plain data. Of each climb that counts: when it was over [us], and whether a word met its run."""

    climbs: list[list[float]] = []
    climb_us: int = 0  # when the last one was over
    apart_us: int = 0  # from the one before
    spacing_s: float = 0.0  # of the motor's words
    first: list[int] = []  # climbs that were counted first, and how many of them were met
    met: float = 0.0  # share of the climbs while runs are short
    since_us: int = 0  # when that was told

    def forget(self) -> None:
        self.climbs, self.met = [], 0.0


def note_refills(
    refills: Refills, beat: Beat, pressure: int, motor: int, level: float, band: tuple[float, float]
) -> int:
    """Take up a beat; the number of climbs that count. `level`: the motor runs above it; `band`: cut-in and
    width."""
    line, said = beat.spans.get(pressure), beat.spans.get(motor)
    if line is None or said is None or line.count < 4 or not 2 <= said.count < BEAT_US / 1e6 / COARSE_S:
        return 0
    if line.low > band[0] + FLOOR * band[1] or line.high < band[0] + CEILING * band[1]:
        return 0
    motor_us, apart_us = (np.median(np.diff(one.time_us)) for one in (said, line))
    refills.spacing_s = float(motor_us) / 1e6
    step_us = max(IN_STEP * float(motor_us), 2.0 * float(apart_us))
    fresh = 0
    for from_us, to_us, at_us in _climbs(line, band):
        first, past = np.searchsorted(said.time_us, (from_us, to_us), side="left")
        words = said.value[first:past]
        apart, before = at_us - refills.climb_us, refills.apart_us
        refills.climb_us, refills.apart_us = at_us, apart
        if first == 0 or past == said.count or abs(apart - before) <= step_us:
            continue
        if said.time_us[past] - said.time_us[first - 1] > (len(words) + LOST) * motor_us:
            continue  # a word is missing
        met = bool((words > level).any())
        refills.climbs = [*refills.climbs, [float(at_us), float(met)]][-MOST:]
        count, of_them = refills.first or (0, 0)
        if count < LEARNED:
            refills.first = [count + 1, of_them + met]
        fresh += 1
    return fresh


def _climbs(line: Span, band: tuple[float, float]) -> list[tuple[int, int, int]]:
    """Of each climb within the beat: from the word before its low one to that after its high one, and when
    it was high."""
    share = (line.value - band[0]) / band[1]
    real = (share > -BEYOND) & (share < 1.0 + BEYOND)
    share, time_us = share[real], line.time_us[real]
    high = share >= CEILING
    marked = np.flatnonzero(high | (share <= FLOOR))
    turns = np.flatnonzero(high[marked][1:] & ~high[marked][:-1])
    found = []
    for low, top in zip(marked[turns].tolist(), marked[turns + 1].tolist(), strict=True):
        if low > 0 and top < len(share) - 1:
            found.append((int(time_us[low - 1]), int(time_us[top + 1]) + 1, int(time_us[top])))
    return found


def too_short(refills: Refills, shortest_s: float, sound_s: float | None) -> bool:
    """Whether too few of the newest climbs were met for runs that the motor stands, or for those that are
    left of sound ones (`sound_s`, where it is known) while nothing is wrong."""
    least_s = max(shortest_s, sound_s / GROWN if sound_s is not None else 0.0)
    chance = _chance(refills, least_s, sound_s)
    for window in WINDOWS:
        newest = refills.climbs[-window:]
        met = sum(int(climb[1]) for climb in newest)
        few = len(newest) == window and met >= LEAST * window and _at_most(met, window, chance) <= CHANCE
        if few and met / window * refills.spacing_s < shortest_s:
            refills.met, refills.since_us = met / window, int(newest[-1][0])
            return True
    return False


def are_long_again(refills: Refills, shortest_s: float, sound_s: float | None) -> bool:
    """Wald's ratio of each of the newest days."""
    chance, newest_us = _chance(refills, max(shortest_s, sound_s or 0.0), sound_s), refills.climbs[-1][0]
    if newest_us - refills.since_us < DAYS * DAY_US or chance <= refills.met:
        return False
    met, missed = log(chance / refills.met), log((1.0 - chance) / (1.0 - refills.met))
    ratios = [0.0] * DAYS
    for at_us, was_met in refills.climbs:
        day = int((newest_us - at_us) // DAY_US)
        if day < DAYS:
            ratios[day] += met if was_met else missed
    return min(ratios) >= log(BACK)


def onset_us(refills: Refills) -> int:
    """When the first of the runs that were not met was over, of those that tell."""
    window = max(size for size in WINDOWS if size <= len(refills.climbs))
    missed = [climb[0] for climb in refills.climbs[-window:] if not climb[1]]
    return int(missed[0])


def length_s(refills: Refills) -> float:
    """Of the short runs."""
    return refills.met * refills.spacing_s


def _chance(refills: Refills, run_s: float, sound_s: float | None) -> float:
    """That a word meets a run of that length."""
    kept, (count, met) = KEPT, refills.first or (0, 0)
    if sound_s is not None and sound_s >= LONGER * refills.spacing_s and count >= LEARNED:
        kept = min(max((met + 1.0) / (count + 2.0), KEPT), KEPT_MOST)
    return kept * min(run_s / refills.spacing_s, 1.0)


def _at_most(met: int, count: int, chance: float) -> float:
    return sum(comb(count, k) * chance**k * (1.0 - chance) ** (count - k) for k in range(met + 1))
