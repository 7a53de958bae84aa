"""Glances into runs that do not go as usual, while they last.

A run is looked into at fixed ages (`spells.ages_us`), each time at the first pressure sample of that
age or more (and where none comes, of a gauge that is told on change: `silent_looks`). Most runs go as
usual: pressure rises steadily between the switch's settings. A look is made only where it does not, which
is decided from the run's own samples, so that healthy years cost little and the same looks are made
whatever the chunking.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.physics.fits import BATCH, fit_lines, highest, medians
from analytics.seeing.cycles import Start, heads_end, measure_starts
from analytics.seeing.events import Look
from analytics.seeing.middles import unspiked
from analytics.seeing.spells import MARGIN_US, TAIL_US, ages_us
from analytics.seeing.stillness import MOVES

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
#: A line that bursts empties what a tank holds about cut-in, a twentieth of it, within seconds: over these
#: its fall stands out of the noise, which is taken off all the same.
BRISK_US = 4_000_000
NOISE = 4.2
#: Of normal noise, its standard deviation over the median size of second differences: 1 / (0.6745 sqrt(6)).
OF_BENDS = 0.605
#: A signal that at its quickest speaks so many times sooner than now and then (one spacing in twenty) is
#: told on change: one at set times that loses a tenth of its words is two to three times as slow there.
ON_CHANGE = 4.0
#: What a run's looks take from the last word of one that is told on change and says nothing meanwhile.
HELD = ("motor", "discharge")
#: Words of one moment, stamped by two nodes or by whole seconds: the outlet is there as soon as the motor's.
TOGETHER_US = 1_000_000
FALL_SEEN = 6  # windows back: more than lies between looks at a run that falls
#: Words of a flow meter that says mostly nothing: one alone may be wild. Of those that lie further apart the
#: pump would fill a tank in between.
PULSES, PULSES_WITHIN_US = 2, 120_000_000


class Underway(msgspec.Struct, frozen=True):
    """A run, or the part of it that has been seen."""

    before_us: int
    from_us: int
    seen: bool
    before_stop_us: int | None
    upto_us: int  # pressure samples before this belong to it
    looked: int  # ages already looked at
    holes: tuple[tuple[int, int], ...] = ()
    passed: int = 0  # ages already past, whether anything was said then or not


def band_pa(plant: Plant) -> tuple[float, float]:
    """The switch's settings; wide open where the file gives none."""
    return (plant.switch.cut_in_pa, plant.switch.cut_out_pa) if plant.switch else (0.0, 4.0e5)


class _Glances(msgspec.Struct, frozen=True):
    """M glances: into which run, at which pressure sample, each in order within its run; and the first
    sample of its window."""

    run: NDArray[np.intp]
    trigger: NDArray[np.intp]
    first: NDArray[np.intp]


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
    if not len(asked.run):
        return [], looked
    return looks(pressure, water, runs, known_starts, others, _course(pressure, water, asked)), looked


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
    which, trigger = which[first_time], trigger[first_time]
    return _Glances(which, trigger, trigger)  # windows are found later


def _unusual(plant: Plant, pressure: Track, runs: Sequence[Underway], due: _Glances) -> _Glances:
    """Those where pressure stands still, falls, or leaves the band; with their windows."""
    if not len(due.run):
        return due
    low, high = band_pa(plant)
    band = high - low
    window_us = np.maximum(WINDOW_US, 4 * spacings_us(pressure, runs))[due.run]
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
    return _Glances(due.run[found], due.trigger[found], first[found])


class Course(msgspec.Struct, frozen=True):
    """What pressure did in the windows of M looks. `last`: the newest sample of each; `held_pa`: none is in
    the window, and this has held since it began; what others said is then taken from `others_us` on."""

    run: NDArray[np.intp]
    at_us: NDArray[np.int64]
    begin_us: NDArray[np.int64]
    last: NDArray[np.intp]
    samples: NDArray[np.int64]
    slope_m3_s: NDArray[np.float64]
    error_m3_s: NDArray[np.float64]
    slope_pa_s: NDArray[np.float64]
    scatter_pa: NDArray[np.float64]
    gap: NDArray[np.bool_]
    others_us: NDArray[np.int64]
    held_pa: NDArray[np.float64] | None = None


def _course(pressure: Track, water: Water, asked: _Glances) -> Course:
    """By the samples in each window."""
    first, end = asked.first, asked.trigger + 1
    line = fit_lines(pressure.time_us, pressure.value, first, end, water.at)
    plain = fit_lines(pressure.time_us, pressure.value, first, end)
    silences = np.concatenate(([0], np.cumsum(pressure.gap)))
    return Course(
        asked.run,
        pressure.time_us[asked.trigger],
        pressure.time_us[first],
        asked.trigger,
        line.count,
        line.slope,
        line.error,
        plain.slope,
        plain.scatter,
        silences[end] > silences[first + 1],
        pressure.time_us[first],
    )


def looks(
    pressure: Track,
    water: Water,
    runs: Sequence[Underway],
    known: dict[int, Start],
    others: dict[str, Track],
    course: Course,
) -> list[Look]:
    """All looks at once, a column of them at a time."""
    run, last, at_us, begin_us = course.run, course.last, course.at_us, course.begin_us
    time_us, end = pressure.time_us, last + 1
    spacing_us = spacings_us(pressure, runs)[run]
    starts = _starts(pressure, water, runs, known, run, at_us, spacing_us)
    start_us = np.array([start.start_us for start in starts], np.int64)
    inside = np.searchsorted(time_us, np.maximum(start_us, at_us - TAIL_US))
    held = course.held_pa.tolist() if course.held_pa is not None else None
    seen = np.array([one.seen for one in runs], np.bool_)[run]
    windows = {
        name: np.searchsorted(track.time_us, (course.others_us, at_us), side="right")
        for name, track in others.items()
    }
    nothing: list[float | None] = [None] * len(run)
    middles = {name: medians(others[name].value, *window) for name, window in windows.items()}
    newest = nothing
    from_us = np.array([one.from_us for one in runs], np.int64)[run]
    if "flow" in windows:
        middles["flow"] = _passed(others["flow"], middles["flow"], from_us, at_us, windows["flow"][1])
    for name in (name for name in HELD if name in windows):
        begins, ends = windows[name]
        begins = _held_from(others[name], begins, ends, from_us, start_us)
        middles[name] = medians(others[name].value, begins, ends)
        if name == "motor":
            newest = medians(others[name].value, np.maximum(begins, ends - 3), ends)
    drop = nothing
    if "discharge" in others:
        # over one and the same window
        window = np.searchsorted(time_us, (begin_us, at_us), side="right")
        pairs = zip(middles["discharge"], held or medians(pressure.value, *window), strict=True)
        drop = [upper - lower if upper is not None and lower is not None else None for upper, lower in pairs]
    columns = (
        at_us.tolist(),
        start_us.tolist(),
        ((at_us - start_us) * 1e-6).tolist(),
        ((at_us - begin_us) * 1e-6).tolist(),
        course.samples.tolist(),
        (seen & ~course.gap).tolist(),
        (spacing_us * 1e-6).tolist(),
        [_or_none(start.pressure_pa) for start in starts],
        held or medians(pressure.value, np.maximum(last - 2, inside), end),
        highest(pressure.value, inside if held is None else np.minimum(inside, last), end),
        _known(course.slope_m3_s),
        _known(course.slope_pa_s),
        [_or_none(start.slope_first_m3_s) for start in starts],
        [_or_none(start.slope_before_m3_s) for start in starts],
        _known(course.scatter_pa),
        middles.get("motor", nothing),
        middles.get("flow", nothing),
        middles.get("discharge", nothing),
        middles.get("suction", nothing),
        newest,
        _known(course.error_m3_s),
        _falls(pressure, water, start_us, np.array([one.from_us for one in runs])[run], spacing_us, last),
        drop,
        course.gap.tolist(),
        (pressure.still[last] != MOVES).tolist(),
        [_or_none(start.rested_pa) for start in starts],
    )  # in the order of `Look`
    return [Look(*row) for row in zip(*columns, strict=True)]


def _passed(
    meter: Track,
    middles: list[float | None],
    from_us: NDArray[np.int64],
    at_us: NDArray[np.int64],
    ends: NDArray[np.intp],
) -> list[float | None]:
    """What a flow meter says: the middle of each window, so that no drop-out and no wild word counts; or of
    one that says nothing between its pulses what passed since the last but one, so long as that was in the
    run and lately. Words that came one upon the other were no pulses: what has fallen silent since stands."""
    found = middles[:]
    begins = np.searchsorted(meter.time_us, np.maximum(from_us, at_us - PULSES_WITHIN_US))
    for k in (k for k, middle in enumerate(middles) if middle == 0.0):
        pulses = np.flatnonzero(meter.value[begins[k] : ends[k]])
        if len(pulses) >= PULSES and pulses[-1] - pulses[-PULSES] >= PULSES:
            found[k] = float(meter.value[begins[k] + pulses[-PULSES] + 1 : ends[k]].mean())
    return found


def _held_from(
    signal: Track,
    begins: NDArray[np.intp],
    ends: NDArray[np.intp],
    from_us: NDArray[np.int64],
    start_us: NDArray[np.int64],
) -> NDArray[np.intp]:
    """Where what a motor or the outlet said begins to hold: in the window, or, of one that is told on change
    and says nothing in it, with its last word since the start, or as it was told."""
    found, since_us = begins.copy(), np.minimum(from_us, start_us) - TOGETHER_US
    for k in np.flatnonzero((begins == ends) & (ends > 0)).tolist():
        last_us, pace = int(signal.time_us[ends[k] - 1]), signal.pace
        on_change = ON_CHANGE * pace.quick_s(last_us) < pace.seldom_s(last_us)
        if on_change and last_us >= since_us[k]:
            found[k] = ends[k] - 1
    return found


def spacings_us(pressure: Track, runs: Sequence[Underway]) -> NDArray[np.int64]:
    """How closely pressure is told in each run while it moves."""
    return np.array([int(1e6 * pressure.pace.quick_s(run.from_us)) for run in runs], np.int64)


def _starts(
    pressure: Track,
    water: Water,
    runs: Sequence[Underway],
    known: dict[int, Start],
    run: NDArray[np.intp],
    at_us: NDArray[np.int64],
    spacing_us: NDArray[np.int64],
) -> list[Start]:
    """For each look its run's start, by what has been seen up to then. It changes no more once the run's
    first seconds are over, so that it is measured once for all later looks."""
    spells = [(one.before_us, one.from_us, one.before_stop_us) for one in runs]
    settled_us = heads_end(pressure, spells, spacings_us(pressure, runs))[run]
    asked = list(zip(run.tolist(), np.minimum(at_us + 1, settled_us).tolist(), strict=True))
    fresh = {each: k for k, each in reversed(list(enumerate(asked))) if runs[each[0]].from_us not in known}
    measured = measure_starts(
        pressure,
        water,
        [spells[which] for which, _ in fresh],
        np.array([upto_us for _, upto_us in fresh], np.int64),
        spacing_us[list(fresh.values())],
    )
    by_look = dict(zip(fresh, measured, strict=True))
    return [by_look[each] if each in by_look else known[runs[each[0]].from_us] for each in asked]


def _falls(
    pressure: Track,
    water: Water,
    start_us: NDArray[np.int64],
    from_us: NDArray[np.int64],
    spacing_us: NDArray[np.int64],
    last: NDArray[np.intp],
) -> list[float | None]:
    """For each of M looks the fastest fall of tank water between samples FALL_US or BRISK_US apart or more,
    less what noise makes; None where there is too little to look back on. What is alike goes together."""
    recent_us = pressure.time_us[last] - FALL_SEEN * np.maximum(WINDOW_US, 4 * spacing_us)
    back = []
    for over_us in (FALL_US, BRISK_US):
        step = np.maximum(1, -(-over_us // spacing_us))
        since_us = np.maximum(np.maximum(start_us - 2 * step * spacing_us, recent_us), from_us - MARGIN_US)
        length = last + 1 - np.searchsorted(pressure.time_us, since_us)
        back.append(zip(length.tolist(), step.tolist(), strict=True))
    alike: dict[tuple[int, frozenset[int]], list[int]] = {}
    for look, both in enumerate(zip(*back, strict=True)):
        for length in {length for length, _ in both}:
            steps = frozenset(step for its, step in both if its == length and step < length)
            alike.setdefault((length, steps), []).append(look)
    found: list[float | None] = [None] * len(last)
    for (length, steps), looks in alike.items():
        if not steps:
            continue
        at_once = max(BATCH // length, 1)
        for begin in range(0, len(looks), at_once):
            some = looks[begin : begin + at_once]
            rows = last[some][:, None] + np.arange(1 - length, 1)
            falls = _fastest(pressure.time_us[rows], pressure.value[rows], steps, water)
            for look, fall in zip(some, falls, strict=True):
                found[look] = max(fall, found[look] or 0.0)
    return found


def _fastest(
    time_us: NDArray[np.int64], seen: NDArray[np.float64], steps: frozenset[int], water: Water
) -> list[float]:
    """The fastest fall in each row of samples (K, N), one of `steps` apart; 0 where none falls."""
    held = water.at(np.maximum(unspiked(seen), water.precharge_pa))
    moved = np.abs(np.diff(seen))
    digit_pa = np.where(moved > 0.0, moved, np.inf).min(axis=1)
    noise_pa = 1.5 * np.where(np.isinf(digit_pa), 0.0, digit_pa)
    if seen.shape[1] > 2:
        # by second differences: a line that bursts bends the trace, which is no noise
        bends = np.abs(np.diff(seen, 2))
        half = bends.shape[1] // 2
        middle = np.partition(bends, (half - 1, half), axis=1)
        usual = middle[:, half] if bends.shape[1] % 2 else (middle[:, half - 1] + middle[:, half]) / 2.0
        noise_pa = np.maximum(NOISE * OF_BENDS * usual, noise_pa)
    compliance = np.array([water.compliance_m3_pa(max(first_pa, 0.0)) for first_pa in seen[:, 0].tolist()])
    noise_m3 = (noise_pa * compliance)[:, None]
    fastest = np.zeros(len(seen))
    for step in steps:
        lost = held[:, :-step] - held[:, step:] - noise_m3
        slopes = lost / ((time_us[:, step:] - time_us[:, :-step]) * 1e-6)
        fastest = np.maximum(fastest, slopes.max(axis=1))
    found: list[float] = fastest.tolist()
    return found


def _or_none(value: float) -> float | None:
    return value if value == value else None


def _known(column: NDArray[np.float64]) -> list[float | None]:
    return [_or_none(value) for value in column.tolist()]
