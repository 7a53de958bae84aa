"""What a pump run says: times, pressures, and flows from the slope of tank water.

While the motor rests, tank water w falls with the demand; while it runs, w rises with delivery less
demand. At a start or a stop the demand is the same just before and just after, so the jump in the
slope is the delivery at that pressure (the kink); over the whole run, delivery is the run's slope plus
the mean demand before and after it, which is the steadiest single figure.

Where the motor is seen more coarsely than the pressure, start and stop are put at the pressure's own
turning points. All windows are whole numbers of samples of that run alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.physics.fits import Lines, fit_lines, median
from analytics.records import Cycle
from analytics.seeing.events import Run
from analytics.seeing.spells import MARGIN_US, TAIL_US, Ended

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from analytics.seeing.tracks import Track
    from analytics.seeing.water import Water

FEW_WORDS = 16  # more are a signal that speaks at set times, or moves all the time
RUN_UP_US = 1_500_000  # a motor of this size is up to speed in a second or so
COARSE_US = 3_000_000  # edges seen more coarsely than this are sought in the pressure
LONGEST_US = 480_000_000  # what lies further back says nothing of the demand at the start
MOST_LAG_S = 4.5  # pressure is carried on to a start or stop from no further away: a sample and a half
STALE_US = 6_000_000  # the middle of three words that lies further back than this is not where a rest ends
FEW = 3  # of fewer samples no line tells how far the middle one lies from the start or stop
SETTLE_US = 2_000_000  # after a stop: check valve and water hammer
#: The rest before a start in which a switch that wants the motor on has had time to start it, and a motor
#: that is asked each minute to say so.
RESTED_US = (240_000_000, 120_000_000)


@dataclass(frozen=True, slots=True)
class Start:
    """What is known of a run once its first minute is over; kept while a long run goes on."""

    start_us: int
    before_end_us: int
    pressure_pa: float
    slope_before_m3_s: float
    slope_first_m3_s: float
    noise_pa: float
    leap_pa: float
    rested_pa: float  # the highest in RESTED_US before it, the motor at rest


#: Words in a row that no drop-out of readings takes: of one reading in ten, one run in a hundred thousand.
HELD = 12


def _nearest(track: Track, times_us: NDArray[np.int64], side: Any = "left") -> NDArray[np.int64]:
    return np.searchsorted(track.time_us, times_us, side=side)


def start_edges(
    pressure: Track, before_us: NDArray[np.int64], from_us: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(start, end of the rest before it) of runs seen first at `from_us`, resting last at `before_us`."""
    start = (before_us + from_us) // 2
    rest_end = before_us + 1
    for k in np.flatnonzero(from_us - before_us > COARSE_US).tolist():
        a, b = _nearest(pressure, np.array([before_us[k], from_us[k] + 1]))
        start[k] = from_us[k] if b - a < 2 else _last_extreme(pressure, int(a), int(b), lowest=True)
        rest_end[k] = start[k]
    return start, rest_end


def stop_edges(pressure: Track, last_us: NDArray[np.int64], to_us: NDArray[np.int64]) -> NDArray[np.int64]:
    stop = (last_us + to_us) // 2
    for k in np.flatnonzero(to_us - last_us > COARSE_US).tolist():
        a, b = _nearest(pressure, np.array([last_us[k], to_us[k] + 1]))
        stop[k] = to_us[k] if b - a < 2 else _last_extreme(pressure, int(a), int(b), lowest=False)
    return stop


def _last_extreme(pressure: Track, a: int, b: int, lowest: bool) -> int:
    part = pressure.value[a:b]
    turned = part[::-1]
    place = b - 1 - int(np.argmin(turned) if lowest else np.argmax(turned))
    return int(pressure.time_us[place])


def heads_end(
    pressure: Track, spells: Sequence[tuple[int, int, int | None]], spacing_us: NDArray[np.int64]
) -> NDArray[np.int64]:
    """When the first seconds of each run are over, by which its start is measured."""
    first_on = np.array([s[1] for s in spells], np.int64)
    start, _ = start_edges(pressure, np.array([s[0] for s in spells], np.int64), first_on)
    return _head_end(pressure, np.maximum(first_on, start + RUN_UP_US), spacing_us)


def _head_end(
    pressure: Track, run_from_us: NDArray[np.int64], spacing_us: NDArray[np.int64]
) -> NDArray[np.int64]:
    lead_us = np.maximum(15_000_000, 5 * spacing_us)
    return np.maximum(run_from_us + lead_us, _words_on(pressure, run_from_us, 5))


def measure_starts(
    pressure: Track,
    water: Water,
    spells: Sequence[tuple[int, int, int | None]],
    upto_us: NDArray[np.int64],
    spacing_us: NDArray[np.int64],
) -> list[Start]:
    """Starts of runs given as (before, from, stop of the run before), looked at up to `upto_us`."""
    before = np.array([s[0] for s in spells], np.int64)
    first_on = np.array([s[1] for s in spells], np.int64)
    stop_before = np.array([s[2] + SETTLE_US if s[2] is not None else -(2**62) for s in spells], np.int64)
    start, rest_end = start_edges(pressure, before, first_on)
    window = np.minimum(np.maximum(30_000_000, 6 * spacing_us), LONGEST_US)
    before_us = np.minimum(rest_end - window, _words_on(pressure, rest_end, -4))
    rest_from = np.maximum(stop_before, before_us)
    rest = _window_lines(pressure, water, rest_from, rest_end)
    run_from = np.maximum(first_on, start + RUN_UP_US)
    head_to = np.minimum(_head_end(pressure, run_from, spacing_us), upto_us)
    head = _window_lines(pressure, water, run_from, head_to)
    at = np.maximum(_nearest(pressure, rest_end) - 1, 0)
    recent = _nearest(pressure, rest_end - MARGIN_US)  # what is older may have been let go, or not yet
    rested_from = _nearest(pressure, np.maximum(stop_before, rest_end - RESTED_US[0]))
    rested_to = _nearest(pressure, rest_end - RESTED_US[1])
    result = []
    for k in range(len(spells)):
        near = pressure.value[max(at[k] - 2, recent[k]) : at[k] + 1]
        value = median(near) if len(near) else float("nan")
        # a gauge that speaks on change is quick at a stop, and slow where water goes slowly
        stale = at[k] >= 1 and int(start[k]) - int(pressure.time_us[at[k] - 1]) > STALE_US
        if (spacing_us[k] > COARSE_US or stale) and head.count[k] >= 2 and rest.count[k] >= 2:
            value = _crossing_pa(pressure, water, rest, k, int(rest_from[k]), int(start[k]), value)
        elif rest.count[k] >= FEW:
            lag_s = (int(start[k]) - int(pressure.time_us[max(at[k] - 1, 0)])) * 1e-6
            value += float(rest.slope[k]) / water.compliance_m3_pa(value) * min(max(lag_s, 0.0), MOST_LAG_S)
        elif before[k] - rest_from[k] < FEW * spacing_us[k] <= FEW * COARSE_US and len(near):
            upto = int(_nearest(pressure, first_on[k : k + 1] + 1)[0])
            value = float(pressure.value[at[k] : max(upto, at[k] + 1)].min())
        leap = _leap_pa(pressure, water, head, k, int(run_from[k]), int(start[k]), int(spacing_us[k]))
        noise = rest.scatter[k] / water.compliance_m3_pa(value) if len(near) else float("nan")
        if rested_to[k] == rested_from[k] > recent[k] and stop_before[k] < rest_end[k] - RESTED_US[1]:
            rested_from[k] -= 1  # what is told on change holds until the next word
        rested = pressure.value[rested_from[k] : rested_to[k]]
        result.append(
            Start(
                int(start[k]),
                int(rest_end[k]),
                value,
                float(rest.slope[k]),
                float(head.slope[k]),
                float(noise),
                leap,
                float(rested.max()) if len(rested) else float("nan"),
            )
        )
    return result


def _leap_pa(
    pressure: Track, water: Water, head: Lines, k: int, run_from_us: int, start_us: int, spacing_us: int
) -> float:
    """How far the line of the run's first seconds begins above the lowest pressure about the start.

    Only a line whose tank stood empty leaps. NaN where samples are too far apart to have met the leap.
    """
    if spacing_us > COARSE_US or head.count[k] < 5:
        return float("nan")
    a, b = np.searchsorted(pressure.time_us, (start_us - 2_500_000, start_us + 1_000_000)).tolist()
    first = int(np.searchsorted(pressure.time_us, run_from_us))
    if b - a < 1 or first >= len(pressure.time_us):
        return float("nan")
    ahead_s = (start_us - int(pressure.time_us[first])) * 1e-6 - float(head.middle_s[k])
    begins = water.pressure_pa(float(head.mean[k]) + float(head.slope[k]) * ahead_s)
    return begins - float(pressure.value[a:b].min())


def _crossing_pa(
    pressure: Track,
    water: Water,
    rest: Lines,
    k: int,
    rest_from_us: int,
    start_us: int,
    otherwise: float,
) -> float:
    """Pressure where the rest's line stands at the start: for samples too far apart to have met it."""
    first = int(np.searchsorted(pressure.time_us, rest_from_us))  # the line's middle is counted from here
    ahead_s = (start_us - int(pressure.time_us[first])) * 1e-6 - float(rest.middle_s[k])
    held = float(rest.mean[k]) + float(rest.slope[k]) * ahead_s
    if not held < water.volume_m3:
        return otherwise
    scale = water.volume_m3 * (water.precharge_pa + water.atmosphere_pa_abs)
    return scale / (water.volume_m3 - held) - water.atmosphere_pa_abs


def _words_on(pressure: Track, time_us: NDArray[np.int64], words: int) -> NDArray[np.int64]:
    """Time of so many words after (or before) each time, at most LONGEST_US away: what is told on change
    says little in a window that is a few words of its quickest."""
    if not len(pressure.time_us):
        return time_us
    at = np.clip(_nearest(pressure, time_us) + words, 0, len(pressure.time_us) - 1)
    return np.clip(pressure.time_us[at] + (words > 0), time_us - LONGEST_US, time_us + LONGEST_US)


def _window_lines(
    pressure: Track, water: Water, from_us: NDArray[np.int64], to_us: NDArray[np.int64]
) -> Lines:
    """Lines through tank water over [from, to) of each run."""
    first, end = _nearest(pressure, from_us), _nearest(pressure, to_us)
    return fit_lines(pressure.time_us, pressure.value, first, end, water.at)


def measure_runs(
    pressure: Track | None,
    water: Water,
    runs: Sequence[tuple[int, Ended]],
    known_starts: dict[int, Start],
    others: dict[str, Track],
) -> list[Run]:
    """Runs with everything that can be measured of them."""
    if not runs:
        return []
    if pressure is None:
        return [_bare(at_us, run, others) for at_us, run in runs]
    _before, first_on, last_on, to = (
        np.array([getattr(run, name) for _, run in runs], np.int64)
        for name in ("before_us", "from_us", "last_us", "to_us")
    )
    spacing = np.array([int(1e6 * pressure.pace.quick_s(run.from_us)) for _, run in runs], np.int64)
    stop = stop_edges(pressure, last_on, to)
    starts = _starts(pressure, water, runs, known_starts, stop, spacing)
    start = np.array([s.start_us for s in starts], np.int64)
    inside_from = np.maximum(np.maximum(first_on, start + RUN_UP_US), stop - TAIL_US)
    inside_to = np.maximum(np.where(to - last_on > COARSE_US, stop, last_on), inside_from) + 1
    tail = np.maximum(15_000_000, 5 * spacing)
    following = np.array(
        [run.next_us if run.next_us is not None else run.due_us for _, run in runs], np.int64
    )
    after_from = np.maximum(to, stop) + SETTLE_US
    whole = _window_lines(pressure, water, inside_from, inside_to)
    last_from = np.minimum(inside_to - tail, _words_on(pressure, inside_to, -5))
    last = _window_lines(pressure, water, np.maximum(inside_from, last_from), inside_to)
    after_to = np.maximum(
        after_from + np.maximum(30_000_000, 5 * spacing), _words_on(pressure, after_from, 4)
    )
    after_to = np.minimum(after_to, following)
    after = _window_lines(pressure, water, after_from, after_to)
    _hold(after, after_to - after_from, spacing)
    return [
        _run(
            k, runs[k], starts[k], int(stop[k]), pressure, water, whole, last, after, others, int(spacing[k])
        )
        for k in range(len(runs))
    ]


def _hold(lines: Lines, lasted_us: NDArray[np.int64], spacing_us: NDArray[np.int64]) -> None:
    """A gauge that speaks on change and is silent where HELD words were due says that nothing moves.

    (Where it is silent because it is lost, the run is not entire.)
    """
    held = (lines.count < 3) & (lasted_us >= HELD * np.maximum(spacing_us, 1_000_000))
    lines.slope[held] = 0.0
    lines.count[held] = 3


def _starts(
    pressure: Track,
    water: Water,
    runs: Sequence[tuple[int, Ended]],
    known: dict[int, Start],
    stop: NDArray[np.int64],
    spacing: NDArray[np.int64],
) -> list[Start]:
    fresh = [k for k, (_, run) in enumerate(runs) if run.from_us not in known]
    spells = [(runs[k][1].before_us, runs[k][1].from_us, runs[k][1].before_stop_us) for k in fresh]
    measured = measure_starts(pressure, water, spells, stop[fresh], spacing[fresh]) if fresh else []
    by_run = {runs[k][1].from_us: start for k, start in zip(fresh, measured, strict=True)}
    return [known.get(run.from_us) or by_run[run.from_us] for _, run in runs]


def _or_none(value: float) -> float | None:
    return float(value) if value == value else None


def _run(
    k: int,
    due: tuple[int, Ended],
    start: Start,
    stop_us: int,
    pressure: Track,
    water: Water,
    whole: Lines,
    last: Lines,
    after: Lines,
    others: dict[str, Track],
    spacing_us: int,
) -> Run:
    at_us, run = due
    a, b = np.searchsorted(pressure.time_us, (max(start.start_us, stop_us - TAIL_US), stop_us + 1)).tolist()
    inside = pressure.value[a:b]
    gap = bool(pressure.gap[a : b + 1].any()) or b - a < 1
    entire = run.seen and run.ended and not gap
    ending = pressure.value[max(b - 3, a) : b]
    top = median(ending) if len(ending) else float("nan")
    if spacing_us > COARSE_US and len(inside):
        top = max(top, float(inside[-1]))
    elif last.count[k] >= FEW:  # a small tank's pressure moves between its last samples and the stop
        lag_s = (stop_us - int(pressure.time_us[max(b - 2, a)])) * 1e-6
        top += float(last.slope[k]) / water.compliance_m3_pa(top) * min(max(lag_s, 0.0), MOST_LAG_S)
    elif len(ending):
        top = float(pressure.value[a : int(np.searchsorted(pressure.time_us, run.to_us, "right"))].max())
    enough = int(whole.count[k]) >= 3
    slope = float(whole.slope[k]) if enough else float("nan")
    down, up = start.slope_before_m3_s, float(after.slope[k]) if after.count[k] >= 3 else float("nan")
    demand = -0.5 * (down + up) if down == down and up == up else -(down if down == down else up)
    run_s = (stop_us - start.start_us) * 1e-6
    rest_s = (
        (start.start_us - run.before_stop_us) * 1e-6 if run.before_stop_us is not None and run.seen else None
    )
    span = (max(start.start_us, stop_us - TAIL_US) + RUN_UP_US, stop_us)
    level, stood = _held(others.get("motor"), *span), _stood(others.get("motor"), *span)
    discharge = _median(others.get("discharge"), *span)
    drop = _difference(others.get("discharge"), pressure, run, span[0])
    drawdown = water.between_m3(start.pressure_pa, top) if entire and water.true else float("nan")
    cycle = Cycle(
        start_us=start.start_us,
        stop_us=stop_us,
        run_time_s=run_s,
        rest_before_s=rest_s,
        pressure_start_pa=_or_none(start.pressure_pa) if run.seen else None,
        pressure_stop_pa=_or_none(top) if run.ended else None,
        drawdown_m3=_or_none(drawdown),
        delivery_start_m3_s=_or_none(start.slope_first_m3_s - down) if run.seen else None,
        delivery_stop_m3_s=_or_none(float(last.slope[k]) - up) if run.ended else None,
        demand_m3_s=_or_none(demand),
        delivery_mid_m3_s=_or_none(slope + demand),
        motor_level=level,
        filter_drop_pa=drop,
    )
    return Run(
        at_us=at_us,
        cycle=cycle,
        entire=entire,
        interval_s=max(spacing_us, min(run.from_us - run.before_us, run.to_us - run.last_us)) * 1e-6,
        slope_before_m3_s=_or_none(down),
        slope_run_m3_s=_or_none(slope),
        slope_after_m3_s=_or_none(up),
        slope_first_m3_s=_or_none(start.slope_first_m3_s),
        slope_last_m3_s=_or_none(float(last.slope[k])),
        pressure_low_pa=float(inside.min()) if len(inside) else None,
        pressure_high_pa=float(inside.max()) if len(inside) else None,
        scatter_m3=_or_none(float(whole.scatter[k])),
        leap_pa=_or_none(start.leap_pa),
        before_us=run.before_stop_us,
        flow_m3_s=_mean(others.get("flow"), *span),
        discharge_pa=discharge,
        suction_pa=_median(others.get("suction"), *span),
        motor_s=0.5e-6 * (run.last_us + run.to_us - run.before_us - run.from_us),
        edges_s=max(run.from_us - run.before_us, run.to_us - run.last_us) * 1e-6,
        motor_words=_held(others.get("motor"), run.from_us, run.to_us),
        pressure_s=spacing_us * 1e-6,
        rested_pa=_or_none(start.rested_pa) if run.seen else None,
        motor_said=stood[0],
        motor_stood=stood[1],
    )


def _bare(at_us: int, run: Ended, others: dict[str, Track]) -> Run:
    """A run of which only the motor is known."""
    start, stop = (run.before_us + run.from_us) // 2, (run.last_us + run.to_us) // 2
    rest_s = (start - run.before_stop_us) * 1e-6 if run.before_stop_us is not None and run.seen else None
    level = _held(others.get("motor"), start + RUN_UP_US, stop)
    cycle = Cycle(start, stop, (stop - start) * 1e-6, rest_s, motor_level=level)
    interval = max(run.from_us - run.before_us, run.to_us - run.last_us) * 1e-6
    words = _held(others.get("motor"), run.from_us, run.to_us)
    return Run(
        at_us, cycle, run.seen and run.ended, interval, before_us=run.before_stop_us, motor_words=words
    )


def _median(track: Track | None, from_us: int, to_us: int) -> float | None:
    if track is None:
        return None
    a, b = np.searchsorted(track.time_us, (from_us, to_us)).tolist()
    return median(track.value[a:b]) if b > a else None


def _held(track: Track | None, from_us: int, to_us: int) -> float | None:
    """Median over the time, where words are few: one that is told on change stands until the next, and the
    inrush a second only. The last stands as long as any, where the stop came sooner than its successor."""
    if track is None:
        return None
    a, b = np.searchsorted(track.time_us, (from_us, to_us)).tolist()
    if not 1 < b - a <= FEW_WORDS:
        return median(track.value[a:b]) if b > a else None
    stood_us = np.diff(track.time_us[a:b], append=to_us)
    stood_us[-1] = max(stood_us)
    order = np.argsort(track.value[a:b], kind="stable")
    value, upto_us = track.value[a:b][order], np.cumsum(stood_us[order])
    middle = np.searchsorted(2 * upto_us, (upto_us[-1], upto_us[-1] + 1))  # where two halves meet, both
    return float(value[middle].mean())


def _stood(track: Track | None, from_us: int, to_us: int) -> tuple[int, float | None]:
    """How many words there are, and what half of them stand at or above, whatever one of them says."""
    if track is None:
        return 0, None
    a, b = np.searchsorted(track.time_us, (from_us, to_us)).tolist()
    return b - a, float(np.sort(track.value[a:b])[(b - a - 1) // 2]) if b - a > 1 else None


def _mean(track: Track | None, from_us: int, to_us: int) -> float | None:
    """Mean over time, each value standing until the next: what has run through a meter adds up."""
    if track is None:
        return None
    a, b = np.searchsorted(track.time_us, (from_us, to_us)).tolist()
    if b <= a:
        return None
    stood_us = np.diff(track.time_us[a:b], append=max(to_us, int(track.time_us[b - 1]) + 1))
    return float(track.value[a:b] @ stood_us) / float(stood_us.sum())


def _difference(upper: Track | None, lower: Track, run: Ended, from_us: int) -> float | None:
    """Median of one pressure less another, while the motor is sure to run.

    Each of the upper's words is held against the lower's course at that very moment, straight between its
    words: seen once a minute each, the two may be half a band apart though nothing holds the water back.
    """
    if upper is None:
        return None
    a, b = np.searchsorted(upper.time_us, (max(run.from_us, from_us), run.last_us + 1)).tolist()
    first, end = np.searchsorted(lower.time_us, (max(run.before_us, from_us), run.to_us + 1)).tolist()
    if b <= a or end <= first:
        return None
    times_us = upper.time_us[a:b]
    told = (times_us >= lower.time_us[first]) & (times_us <= lower.time_us[end - 1])
    if not told.any():
        return None
    course = np.interp(times_us[told], lower.time_us[first:end], lower.value[first:end])
    return median(upper.value[a:b][told] - course)
