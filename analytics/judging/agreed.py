"""Two witnesses that agree, for samples too far apart to show a slope: longer runs and less work.

Physics. A pump that delivers less fills the band's drawdown W in a longer time and does less work in it,
clogged or worn (Q falls, and power and current with it; a current may stay nearly flat, and then says
nothing). Neither says enough of a few runs: a length is known to an interval at either end, and a motor's
level moves with the mains and with the pressure at which it was asked. But what makes runs long, a garden
or guests, lowers no level, and what lowers the level, sagging mains, hardly makes runs longer: the two err
apart.

Lengths. What is pumped in a run is W and what is drawn meanwhile; of many, Q = sum(W + d T) / sum(T). The
draw d is what a flow meter says or the slopes beside the run, whichever is more, and at least W / R, the band
given up in R, the shorter of the rests beside it: of a pump that cycles beside a drip line or a zone it is
the draw itself, and of one that rests for hours next to nothing. Of the runs the shorter half counts, as in
`analytics.judging.counted`.

How sure. z of the loss beyond BORNE and z of the level's fall, each ALONE at least, and together hypot(z, z)
of AGREE: of two normal errors a chance of 4e-5 a window, of which a plant of 20 runs a day has some 700 a
year that do not overlap: one false call in 35 plant-years. Where the motor tells no level, or tells it and it
has fallen, a loss so large that no draw explains it (LARGE) and so sure (SURE, 3e-6) needs no second witness.
And delivery is back only when the motor works again as it did: few lengths would often say so by chance.

Parameters:
    LESSON_RUNS, LESSON_HOURS  24 runs and 23 h: all hours of a day
    WINDOWS     8 and 12 runs: the ten of a sudden clog, and half as many again where lengths are coarse
    LEAST       0.20 of the delivery, as of days
    A_CHANCE    0.41 of an interval: a length of which both ends are cut to whole ones (1 / sqrt(6))
    ROUGH       0.015 of the level, that mains move it by for a day; PLACE 0.02 of it, by the pressure at
                which a run was asked (delivery falls by a quarter to a half within the band, and power by a
                quarter of that: uniform, 0.1 / sqrt(12)). Common practice, no source
    MOVED       0.15 of the band, that the stop has moved: then W is another, and so is the work

Source: as `analytics.judging.counted`; sum of two squared normal errors, any text.
"""

from __future__ import annotations

from math import hypot, sqrt
from operator import itemgetter
from statistics import median
from typing import TYPE_CHECKING

import msgspec

from analytics.instants import HOUR_US
from analytics.judging.counted import BORNE, SHORTER, Left

if TYPE_CHECKING:
    from analytics.seeing.events import Run

LESSON_RUNS, LESSON_HOURS, LESSON_MOST = 24, 23.0, 96
WINDOWS = (8, 12)
LEAST = 0.20
ALONE, AGREE = 1.5, 4.0
LARGE, SURE = 0.35, 4.5
A_CHANCE = 0.41
ROUGH, PLACE = 0.015, 0.02
MOVED = 0.15
#: Robust deviation of a normal error over its median deviation; error of a median over a mean's.
NORMAL, OF_A_MEDIAN = 1.4826, 1.2533
STOP, LENGTH, DRAWN, REST, LEVEL, INTERVAL, TOP = range(7)


class Together(msgspec.Struct, frozen=True):
    """What many runs say together.

    delivery_m3_s  and its relative standard error
    level          of the motor and its relative scatter, of so many runs; None where too few told it
    top_pa         at which they ended
    until_us       stop of the last
    """

    delivery_m3_s: float
    error_1: float
    level: float | None
    scatter_1: float
    runs: int
    top_pa: float
    until_us: float


class Agreed(msgspec.Struct):
    """Plain data, of each run: stop [us], length by the motor [s], draw by the slopes beside it or by a meter
    [m3/s], shorter rest beside it [s] (none known: 0), motor level (nothing: -1), how finely it was seen [s],
    pressure at its stop [Pa]. The lesson has its runs until it is over."""

    lesson: list[list[float]] = []
    newest: list[list[float]] = []
    clean: Together | None = None


def note(agreed: Agreed, run: Run, healthy: bool, full_m3: float) -> None:
    """Take up a run that was seen whole and filled the tank. full_m3: what the whole band takes."""
    cycle = run.cycle
    if not run.entire or run.motor_s is None or cycle.pressure_stop_pa is None:
        return
    rest_s = cycle.rest_before_s or 0.0
    if agreed.newest:
        last = agreed.newest[-1]
        at_once = abs((cycle.start_us - last[STOP]) * 1e-6 - rest_s) <= 2.0 * run.interval_s
        if rest_s > 0.0 and at_once:  # no other run lies between
            last[REST] = min(last[REST], rest_s) if last[REST] > 0.0 else rest_s
        if healthy and agreed.clean is None:
            _learn(agreed, list(last), full_m3)
    level = run.motor_words if run.motor_words is not None else -1.0
    drawn = max(cycle.demand_m3_s or 0.0, run.flow_m3_s or 0.0, 0.0)  # a meter sees what slopes miss
    one = [
        float(cycle.stop_us), run.motor_s, drawn, rest_s, level, run.interval_s, cycle.pressure_stop_pa
    ]  # fmt: skip
    agreed.newest = [*agreed.newest, one][-WINDOWS[-1] :]


def _learn(agreed: Agreed, one: list[float], full_m3: float) -> None:
    agreed.lesson.append(one)
    lasted = (one[STOP] - agreed.lesson[0][STOP]) / HOUR_US
    if len(agreed.lesson) >= LESSON_RUNS and (lasted >= LESSON_HOURS or len(agreed.lesson) >= LESSON_MOST):
        agreed.clean, agreed.lesson = together(agreed.lesson, full_m3), []


def left(agreed: Agreed, full_m3: float, band_pa: float, levelled: bool) -> Left | None:
    """What the newest runs say, of the first window that is sure, or of the longest.

    levelled: the motor tells a level. None before the lesson is over, or of too few."""
    clean, found = agreed.clean, None
    if clean is None or clean.delivery_m3_s <= 0.0:
        return None
    for count in WINDOWS:
        runs = agreed.newest[-count:]
        if len(runs) < count or runs[0][STOP] <= clean.until_us:
            break
        found = _held_against(clean, together(runs, full_m3), band_pa, levelled, runs[0][STOP])
        if found.sure:
            break
    return found


def _held_against(clean: Together, now: Together, band_pa: float, levelled: bool, from_us: float) -> Left:
    share = now.delivery_m3_s / clean.delivery_m3_s
    # few runs alone tell little of their scatter
    lately = max(now.error_1, clean.error_1 * sqrt(clean.runs / now.runs))
    error = hypot(clean.error_1, lately) * share
    z = (1.0 - share - BORNE) / error
    level, fallen = None, 0.0
    if levelled and clean.level and now.level is not None:
        level = now.level / clean.level
        scatter = max(clean.scatter_1, now.scatter_1, PLACE)
        doubt = OF_A_MEDIAN * scatter * hypot(1.0 / sqrt(clean.runs), 1.0 / sqrt(now.runs))
        fallen = (1.0 - level) / hypot(ROUGH, doubt)
    both = min(z, fallen) >= ALONE and hypot(z, fallen) >= AGREE
    large = 1.0 - share >= LARGE and z >= SURE and (not levelled or fallen >= ALONE)
    same = abs(now.top_pa - clean.top_pa) <= MOVED * band_pa
    sure = same and 1.0 - share >= LEAST and (both or large)
    if fallen >= ALONE:
        share = min(share, 1.0 - LEAST)  # it is back when both say so
    return Left(share, error, sure, level, from_us)


def together(runs: list[list[float]], full_m3: float) -> Together:
    """What runs say together: their delivery by the shorter ones, as `counted.lengths`, and their level."""
    some = sorted(runs, key=itemgetter(LENGTH))[: max(round(SHORTER * len(runs)), 1)]
    length = sum(one[LENGTH] for one in some) / len(some)
    volume = sum(full_m3 + _drawn(one, full_m3) * one[LENGTH] for one in some) / len(some)
    held = [min(one[LENGTH], some[-1][LENGTH]) for one in runs]
    middle = sum(held) / len(held)
    scatter = sqrt(sum((one - middle) ** 2 for one in held) / len(held))
    error = max(scatter, A_CHANCE * some[-1][INTERVAL]) * sqrt(len(runs)) / len(some)
    levels = [one[LEVEL] for one in runs if one[LEVEL] > 0.0]
    level, spread = None, 0.0
    if 2 * len(levels) >= len(runs):
        level = median(levels)
        spread = NORMAL * median([abs(one - level) for one in levels]) / level
    top = median([one[TOP] for one in runs])
    filled = full_m3 / volume if volume > 0.0 else 1.0
    return Together(
        volume / length, error / length * filled, level, spread, len(runs), top, runs[-1][STOP]
    )  # fmt: skip


def _drawn(one: list[float], full_m3: float) -> float:
    """What is drawn about a run [m3/s]: by the slopes beside it, and at least what emptied the band there."""
    return max(one[DRAWN], full_m3 / one[REST]) if one[REST] > 0.0 else one[DRAWN]
