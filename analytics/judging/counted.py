"""Delivery by how long runs last, for samples too far apart to show a slope within them.

Physics. A run fills the band's drawdown W in T = W / (Q - d): over many runs Q = W / mean(T) + d, with d what
was drawn about them, at least the band that was given up in the rest before: of a pump that cycles beside a
drip line it is the draw itself. One run's length is known to an interval at either end; of many, each seen an
interval late or early by chance, the mean is true as long as a run is no shorter than the interval (of
shorter ones all that are seen look as long, and a loss is told late).

What is compared: the runs of the newest days, each by itself, against those of the lesson's days, and of each
the shorter half: what is drawn within a run only makes it longer. All hours of a day are in both. The day
that shows the least loss is believed: guests, or a garden that is watered every second day, are not there
on all.

Parameters:
    LESSON_RUNS, LESSON_HOURS   24 runs and 71 h: every second day has its garden, and all days to come are
                held against the same ones, whose error they share
    DAYS, RUNS  2 days, of 8 runs each at least: where a day has fewer, the newest 8 are one
    SHORTER     half, as a median
    A_CHANCE    0.29 of an interval: the scatter of what is cut to whole intervals (uniform, 1 / sqrt(12))
    LEAST       0.20 of the delivery in each of the days, and beyond BORNE by 3.5 standard errors (ENOUGH is
                half its square): by chance in one day of 4,000, and two in a row share the lesson's
                error alone

Source: error of a trimmed mean: J. W. Tukey, D. H. McLaughlin, Sankhya A 25 (1963) 331 (from memory); renewal
counting, any text; no source for the parameters but those given.
"""

from __future__ import annotations

from bisect import bisect_left
from math import hypot, sqrt
from operator import itemgetter
from statistics import median
from typing import TYPE_CHECKING, NamedTuple

import msgspec

from analytics.instants import HOUR_US

if TYPE_CHECKING:
    from analytics.seeing.events import Run

LESSON_RUNS, LESSON_HOURS = 24, 71.0
DAYS, RUNS = 2, 8
SHORTER, A_CHANCE = 0.5, 0.29
LEAST, BORNE, ENOUGH = 0.20, 0.04, 6.1
KEPT = 192


class Lengths(msgspec.Struct, frozen=True):
    """What many runs say together: the mean length of the shorter ones [s], its relative standard error, the
    demand about them [m3/s], and the motor's level where it is known."""

    length_s: float
    error_1: float
    demand_m3_s: float
    level: float | None

    def delivery(self, drawdown_m3: float) -> tuple[float, float]:
        """Delivery [m3/s] that fills a drawdown so, and its relative standard error."""
        filled = drawdown_m3 / self.length_s
        return filled + self.demand_m3_s, self.error_1 * filled / (filled + self.demand_m3_s)


class Counted(msgspec.Struct):
    """Plain data, of each run: its stop [us], length by the motor [s], demand about it [m3/s], motor level
    (nothing: -1), how finely it was seen [s]. Of the lesson, once it is over, what its runs say together."""

    lesson: list[list[float]] = []
    newest: list[list[float]] = []
    clean: Lengths | None = None


class Left(NamedTuple):
    share: float
    error: float
    sure: bool
    level: float | None  # of the motor, over its clean one
    from_us: float


def note(counted: Counted, run: Run, healthy: bool, full_m3: float = 0.0) -> None:
    """Take up a run that was seen whole. full_m3: what the whole band takes."""
    if not run.entire or run.motor_s is None:
        return
    level = run.cycle.motor_level if run.cycle.motor_level is not None else -1.0
    rest_s = run.cycle.rest_before_s or 0.0
    given = full_m3 / rest_s if rest_s > 0.0 else 0.0
    demand = max(run.cycle.demand_m3_s or 0.0, run.flow_m3_s or 0.0, given)  # a meter sees what slopes miss
    one = [float(run.cycle.stop_us), run.motor_s, demand, level, run.interval_s]
    counted.newest = [*counted.newest, one][-KEPT:]
    if counted.clean is not None or not healthy:
        return
    counted.lesson.append(one)
    lasted = (counted.lesson[-1][0] - counted.lesson[0][0]) / HOUR_US
    enough = len(counted.lesson) >= LESSON_RUNS and lasted >= LESSON_HOURS
    if enough or len(counted.lesson) >= KEPT:
        counted.clean, counted.lesson = lengths(counted.lesson), []


def left(counted: Counted, drawdown_m3: float) -> Left | None:
    """What the newest days' runs say, of the day that shows the least loss.

    None before the lesson is over, or of too few."""
    if counted.clean is None or not counted.newest:
        return None
    runs, said = counted.newest, []
    for _ in range(DAYS):
        day = _newest_day(runs)
        if len(day) < RUNS:
            return None
        said.append(_held_against(counted.clean, day, drawdown_m3))
        runs = runs[: -len(day)]
    sure = all(one.sure for one in said)
    least = max(said, key=lambda one: one.share)
    return least._replace(sure=sure, level=said[0].level, from_us=said[-1].from_us)


def _newest_day(runs: list[list[float]]) -> list[list[float]]:
    """The newest runs that span a day, RUNS at least."""
    if not runs:
        return []
    since_us = runs[-1][0] - 24.0 * HOUR_US
    begin = bisect_left(runs, since_us, key=itemgetter(0))
    return runs[max(min(begin, len(runs) - RUNS), 0) :]


def _held_against(clean: Lengths, runs: list[list[float]], drawdown_m3: float) -> Left:
    lately = lengths(runs)
    was, doubt = clean.delivery(drawdown_m3)
    now, error = lately.delivery(drawdown_m3)
    share = now / was
    both = hypot(doubt, error) * share
    loss = 1.0 - share - BORNE
    sure = 1.0 - share >= LEAST and loss >= both * sqrt(2.0 * ENOUGH)
    level = lately.level / clean.level if lately.level is not None and clean.level else None
    return Left(share, both, sure, level, runs[0][0])


def lengths(runs: list[list[float]]) -> Lengths:
    """What runs say together, by the shorter of them.

    The error of a trimmed mean is that of all lengths, the longer ones put down to the longest that counts,
    over the share that counts."""
    some = sorted(runs, key=itemgetter(1))[: max(round(SHORTER * len(runs)), 1)]
    count = len(some)
    length = sum(one[1] for one in some) / count
    demand = sum(one[2] for one in some) / count
    held = [min(one[1], some[-1][1]) for one in runs]
    middle = sum(held) / len(held)
    scatter = sqrt(sum((one - middle) ** 2 for one in held) / len(held))
    error = max(scatter, A_CHANCE * some[-1][4]) * len(runs) / count / sqrt(len(runs))
    levels = [one[3] for one in runs if one[3] >= 0.0]
    return Lengths(length, error / length, demand, median(levels) if levels else None)
