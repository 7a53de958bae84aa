"""Glances into runs that do not go as usual, while they last.

A run is looked into at fixed ages (`spells.ages_us`), each time at the first pressure sample of that
age or more. Most runs go as usual: pressure rises steadily between the switch's settings. A look is
made only where it does not, which is decided from the run's own samples, so that healthy years cost
little and the same looks are made whatever the chunking.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analytics.physics.fits import fit_lines, median
from analytics.seeing.cycles import Start, measure_starts
from analytics.seeing.events import Look
from analytics.seeing.middles import unspiked
from analytics.seeing.spells import MARGIN_US, TAIL_US, ages_us

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.seeing.tracks import Track
    from analytics.seeing.water import Water

#: The last part of a run that a look goes by. A third of a minute: the call is due within half of one.
WINDOW_US = 20_000_000
#: Pressure that rises by less than this share of the switch band in a window is not rising: at nine
#: tenths of the delivery drawn off, a sound plant still fills its drawdown in some ten minutes.
STANDING_STILL = 0.02
#: So far outside the switch's band (share of it) pressure should not be found: gauge and switch
#: tolerance, common practice, no source.
BELOW_BAND, ABOVE_BAND = 0.15, 0.15
#: Two samples so far apart say how fast tank water falls: a quarter of the delivery for so long is some
#: hundredth of a tank, above a gauge's noise. Of that, three deviations of a difference are taken off, and of
#: a gauge that tells in steps one and a half of them.
FALL_US = 10_000_000
NOISE = 4.2
FALL_SEEN = 6  # windows back: more than lies between looks at a run that falls


@dataclass(frozen=True, slots=True)
class Underway:
    """A run, or the part of it that has been seen."""

    before_us: int
    from_us: int
    seen: bool
    before_stop_us: int | None
    upto_us: int  # pressure samples before this belong to it
    looked: int  # ages already looked at
    holes: tuple[tuple[int, int], ...] = ()


def band_pa(plant: Plant) -> tuple[float, float]:
    """The switch's settings; wide open where the file gives none."""
    return (plant.switch.cut_in_pa, plant.switch.cut_out_pa) if plant.switch else (0.0, 4.0e5)


@dataclass(frozen=True, slots=True)
class _Glances:
    """M glances that are due: into which run, at which pressure sample, each in order within its run."""

    run: NDArray[np.intp]
    trigger: NDArray[np.intp]


def look_into(
    plant: Plant,
    pressure: Track,
    water: Water,
    runs: Sequence[Underway],
    known_starts: dict[int, Start],
    others: dict[str, Track],
) -> tuple[list[Look], list[int]]:
    """Looks due in each run's new part, and how many ages each run has then been looked at."""
    looked = [run.looked for run in runs]
    if not runs or not len(pressure.time_us):
        return [], looked
    due = _due(pressure, runs, looked)
    asked = _unusual(plant, pressure, runs, due)
    if not asked:
        return [], looked
    return _looks(plant, pressure, water, runs, known_starts, others, asked), looked


def _due(pressure: Track, runs: Sequence[Underway], looked: list[int]) -> _Glances:
    """Where the ages not yet looked at fall; `looked` is brought up to date."""
    time_us = pressure.time_us
    from_us = np.array([run.from_us for run in runs], np.int64)
    upto_us = np.minimum(np.array([run.upto_us for run in runs], np.int64), time_us[-1] + 1)
    lasted_us = np.maximum(upto_us - from_us, 0)
    ages = ages_us(int(lasted_us.max()))
    first = np.array(looked, np.intp)
    count = np.maximum(np.searchsorted(ages, lasted_us, side="right") - first, 0)
    which = np.repeat(np.arange(len(runs)), count)
    place = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count) + first[which]
    trigger = np.searchsorted(time_us, from_us[which] + ages[place])
    seen = trigger < np.searchsorted(time_us, upto_us)[which]
    which, trigger = which[seen], trigger[seen]
    for run, more in enumerate(np.bincount(which, minlength=len(runs)).tolist()):
        looked[run] += more
    again = (which[1:] == which[:-1]) & (trigger[1:] == trigger[:-1])  # one sample, two ages
    first_time = np.concatenate((np.ones(min(len(which), 1), np.bool_), ~again))
    return _Glances(which[first_time], trigger[first_time])


def _unusual(
    plant: Plant, pressure: Track, runs: Sequence[Underway], due: _Glances
) -> list[tuple[int, int, int]]:
    """(run, trigger, first sample of its window) where pressure stands still, falls, or leaves the band."""
    if not len(due.run):
        return []
    low, high = band_pa(plant)
    band = high - low
    spacing_us = np.array([int(1e6 * pressure.pace.quick_s(run.from_us)) for run in runs], np.int64)
    window_us = np.maximum(WINDOW_US, 4 * spacing_us)[due.run]
    now_us, now_pa = pressure.time_us[due.trigger], pressure.value[due.trigger]
    from_us = np.array([run.from_us for run in runs], np.int64)[due.run]
    since_us = np.maximum(now_us - window_us, from_us)
    first = np.searchsorted(pressure.time_us, since_us)
    # what is told on change says nothing while nothing moves: then what it said last still holds
    first = np.maximum(np.minimum(first, due.trigger - 2), np.searchsorted(pressure.time_us, from_us))
    since_us = np.minimum(since_us, pressure.time_us[first])
    then_pa = pressure.value[first]
    passed = (now_us - since_us) / window_us
    still = now_pa - then_pa < STANDING_STILL * band * passed
    outside = (now_pa < low - BELOW_BAND * band) | (now_pa > high + ABOVE_BAND * band)
    enough = due.trigger - first >= 2
    for which, run in enumerate(runs):
        for off_us, on_us in run.holes:
            enough &= (due.run != which) | (now_us < off_us) | (now_us >= on_us)
    found = np.flatnonzero((still | outside) & enough)
    columns = (due.run[found], due.trigger[found], first[found])
    return list(zip(*(column.tolist() for column in columns), strict=True))


def _looks(
    plant: Plant,
    pressure: Track,
    water: Water,
    runs: Sequence[Underway],
    known: dict[int, Start],
    others: dict[str, Track],
    asked: list[tuple[int, int, int]],
) -> list[Look]:
    which = [each[0] for each in asked]
    trigger = np.array([each[1] for each in asked], np.int64)
    first = np.array([each[2] for each in asked], np.int64)
    at_us = pressure.time_us[trigger]
    line = fit_lines(pressure.time_us, pressure.value, first, trigger + 1, water.at)
    plain = fit_lines(pressure.time_us, pressure.value, first, trigger + 1)
    spacing = np.array([int(1e6 * pressure.pace.quick_s(runs[w].from_us)) for w in which], np.int64)
    spells = [(runs[w].before_us, runs[w].from_us, runs[w].before_stop_us) for w in which]
    fresh = [k for k, w in enumerate(which) if runs[w].from_us not in known]
    measured = (
        measure_starts(pressure, water, [spells[k] for k in fresh], at_us[fresh] + 1, spacing[fresh])
        if fresh
        else []
    )
    starts = dict(zip(fresh, measured, strict=True))
    looks = []
    for k, w in enumerate(which):
        run = runs[w]
        start = starts.get(k) or known[run.from_us]
        begin, now = int(pressure.time_us[first[k]]), int(at_us[k])
        gap = bool(pressure.gap[first[k] + 1 : trigger[k] + 1].any())
        inside = int(np.searchsorted(pressure.time_us, max(start.start_us, now - TAIL_US)))
        looks.append(
            Look(
                at_us=now,
                start_us=start.start_us,
                age_s=(now - start.start_us) * 1e-6,
                window_s=(now - begin) * 1e-6,
                samples=int(line.count[k]),
                entire=run.seen and not gap,
                interval_s=float(spacing[k]) * 1e-6,
                pressure_start_pa=_or_none(start.pressure_pa),
                pressure_pa=median(pressure.value[max(trigger[k] - 2, inside) : trigger[k] + 1]),
                pressure_high_pa=float(pressure.value[inside : trigger[k] + 1].max()),
                slope_m3_s=_or_none(line.slope[k]),
                slope_pa_s=_or_none(plain.slope[k]),
                slope_first_m3_s=_or_none(start.slope_first_m3_s),
                slope_before_m3_s=_or_none(start.slope_before_m3_s),
                noise_pa=_or_none(plain.scatter[k]),
                motor_level=_median(others.get("motor"), begin, now),
                flow_m3_s=_median(others.get("flow"), begin, now),
                discharge_pa=_median(others.get("discharge"), begin, now),
                suction_pa=_median(others.get("suction"), begin, now),
                motor_now=_newest(others.get("motor"), begin, now),
                slope_error_m3_s=_or_none(line.error[k]),
                fall_m3_s=_fall(pressure, water, start, run.from_us, int(spacing[k]), int(trigger[k])),
                filter_drop_pa=_drop(others.get("discharge"), pressure, begin, now),
                gap=gap,
            )
        )
    return looks


def _fall(
    pressure: Track, water: Water, start: Start, from_us: int, spacing_us: int, last: int
) -> float | None:
    """The fastest fall of tank water between samples FALL_US apart or more, less what noise makes."""
    step = max(1, -(-FALL_US // spacing_us))
    recent_us = int(pressure.time_us[last]) - FALL_SEEN * max(WINDOW_US, 4 * spacing_us)
    since_us = max(start.start_us - 2 * step * spacing_us, recent_us)
    first = int(np.searchsorted(pressure.time_us, max(since_us, from_us - MARGIN_US)))
    if last - first < step:
        return None
    time_us, seen = pressure.time_us[first : last + 1], pressure.value[first : last + 1]
    held = water.at(np.maximum(unspiked(seen), water.precharge_pa))
    moved = np.abs(np.diff(seen))
    digit_pa = float(moved[moved > 0.0].min()) if moved.any() else 0.0
    noise_pa = max(NOISE * start.noise_pa if start.noise_pa == start.noise_pa else 0.0, 1.5 * digit_pa)
    lost = held[:-step] - held[step:] - noise_pa * water.compliance_m3_pa(max(float(seen[0]), 0.0))
    return max(float((lost / ((time_us[step:] - time_us[:-step]) * 1e-6)).max()), 0.0)


def _drop(upper: Track | None, lower: Track, after_us: int, upto_us: int) -> float | None:
    high, low = _median(upper, after_us, upto_us), _median(lower, after_us, upto_us)
    return high - low if high is not None and low is not None else None


def _or_none(value: float) -> float | None:
    return float(value) if value == value else None


def _median(track: Track | None, after_us: int, upto_us: int) -> float | None:
    if track is None:
        return None
    a, b = np.searchsorted(track.time_us, (after_us, upto_us), side="right").tolist()
    return median(track.value[a:b]) if b > a else None


def _newest(track: Track | None, after_us: int, upto_us: int) -> float | None:
    if track is None:
        return None
    a, b = np.searchsorted(track.time_us, (after_us, upto_us), side="right").tolist()
    return median(track.value[max(a, b - 3) : b]) if b > a else None
