"""Glances into runs while the pressure gauge, told on change, says nothing: what it said last still holds.

Where water comes to stand, or the line lies empty, such a gauge falls silent until its next sign of life,
and looks at its words alone would come as late. So a run is looked into at the same ages (`spells.ages_us`)
in its silence, each at the first word of whatever else speaks at that age or more: it shows that time went
on (as in `silences`). Pressure has then moved by less than the dead band for so long.

The slope is nought, good to the dead band either way over all of the silence: evenly spread, a standard error
of band / sqrt(3) / silence. A word that was no sample ends what was said before it, and a zero that was
doubted holds once it has stood for as long as it is doubted (`tracks`).
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from analytics.seeing.looks import (
    ABOVE_BAND,
    BELOW_BAND,
    STANDING_STILL,
    WINDOW_US,
    Course,
    band_pa,
    looks,
    spacings_us,
)
from analytics.seeing.spells import ages_us

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.seeing.cycles import Start
    from analytics.seeing.events import Look
    from analytics.seeing.looks import Underway
    from analytics.seeing.tracks import Track
    from analytics.seeing.water import Water


class _Held(NamedTuple):
    """K times at which the gauge is silent in a run.

    last       its newest sample: its place
    value_pa   what it said last, since `since_us` in this run
    """

    at_us: NDArray[np.int64]
    last: NDArray[np.intp]
    value_pa: NDArray[np.float64]
    since_us: NDArray[np.int64]

    def some(self, chosen: NDArray[np.bool_]) -> _Held:
        at_us, last, value_pa, since_us = self
        return _Held(at_us[chosen], last[chosen], value_pa[chosen], since_us[chosen])


def look_while_silent(
    plant: Plant,
    pressure: Track,
    water: Water,
    runs: Sequence[Underway],
    known_starts: dict[int, Start],
    others: dict[str, Track],
    instants_us: NDArray[np.int64],
) -> tuple[list[Look], list[int]]:
    """Looks due in each run's new part, and how many ages of each are then past. `instants_us` are the times
    of all that was said in it, ticks too."""
    passed = [run.passed for run in runs]
    found: list[Look] = []
    if pressure.holding is None or not len(pressure.time_us):
        return found, passed
    for which, run in enumerate(runs):
        holds_s, dead_pa = pressure.holding.at(run.from_us)
        if holds_s * 1e6 <= WINDOW_US:
            continue
        upto_us = min(run.upto_us - 1, int(instants_us[-1]))
        ages = ages_us(upto_us - run.from_us)[run.passed :]
        passed[which] += len(ages)
        at_us = np.unique(instants_us[np.searchsorted(instants_us, run.from_us + ages)])
        held = _held(pressure, run, at_us[at_us <= upto_us], int(holds_s * 1e6))
        quick_us = int(spacings_us(pressure, [run])[0])
        window_us = max(WINDOW_US, 4 * quick_us)
        held = held.some(_unusual(plant, held, dead_pa, window_us))
        if len(held.at_us):
            course = _course(water, which, held, dead_pa, quick_us, window_us)
            found += looks(pressure, water, runs, known_starts, others, course)
    return found, passed


def _held(pressure: Track, run: Underway, at_us: NDArray[np.int64], holds_us: int) -> _Held:
    """Those times at which what was said last holds."""
    last = np.searchsorted(pressure.time_us, at_us, side="right") - 1
    at_us, last = at_us[last >= 0], last[last >= 0]
    said_us, value = pressure.time_us[last], pressure.value[last]
    holds = np.ones(len(at_us), np.bool_)
    bad = pressure.bad
    if len(bad.time_us):
        place = np.searchsorted(bad.time_us, at_us, side="right") - 1
        later = (place >= 0) & (bad.time_us[place] > said_us)
        said_us = np.where(later, bad.time_us[place], said_us)
        value = np.where(later, bad.value[place], value)
        holds = ~later | (bad.believed_us[place] <= at_us)
    holds &= at_us - said_us <= holds_us
    for off_us, on_us in run.holes:
        holds &= (at_us < off_us) | (at_us >= on_us)
    return _Held(at_us, last, value, np.maximum(said_us, run.from_us)).some(holds)


def _unusual(plant: Plant, held: _Held, dead_pa: float, window_us: int) -> NDArray[np.bool_]:
    """Whether silence shows that pressure stands still, or lasts outside the band."""
    low, high = band_pa(plant)
    band = high - low
    silent_us = held.at_us - held.since_us
    outside = (held.value_pa < low - BELOW_BAND * band) | (held.value_pa > high + ABOVE_BAND * band)
    still = dead_pa * window_us < STANDING_STILL * band * silent_us
    return (still | outside) & (silent_us >= window_us)


def _course(water: Water, which: int, held: _Held, dead_pa: float, quick_us: int, window_us: int) -> Course:
    silent_us = held.at_us - held.since_us
    deviation_pa = dead_pa / sqrt(3.0)
    compliance = np.array([water.compliance_m3_pa(max(pa, 0.0)) for pa in held.value_pa.tolist()])
    nothing = np.zeros(len(silent_us))
    return Course(
        run=np.full(len(silent_us), which),
        at_us=held.at_us,
        begin_us=held.since_us,
        last=held.last,
        samples=1 + silent_us // quick_us,  # it would have told of a move at each
        slope_m3_s=nothing,
        error_m3_s=deviation_pa * compliance / (silent_us * 1e-6),
        slope_pa_s=nothing,
        scatter_pa=nothing + deviation_pa,
        gap=nothing > 0.0,
        others_us=held.at_us - window_us,
        held_pa=held.value_pa,
    )
