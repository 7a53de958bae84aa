"""Delivery by how fast the tank gains in a run: one likelihood of all the runs since it may have fallen.

Physics. While the pump works, tank water gains dw/dt = Q(P) - d, and no draw d is negative: no run gains
faster than the pump delivers. Of a run there are three such rates, of its first seconds, of the whole and
of its last; what is drawn before it and after it alike is drawn within it too, and added (a flow meter's
word, of the whole). Each is held against the fastest but an eighth of the lesson's, and the largest is the
run's gain: what is drawn for a part of the run does not lower it, and what nobody knows of the draws
beside the run (a gauge that speaks on change is silent then) costs nothing.

How sure. The lesson's gains, smoothed, say how often a clean run reads how low: p(x), x the gain's
logarithm. A pump or a filter takes the same share s of every run, whether or not something is drawn: then
it is p(x - ln s). The log of the two's ratio, added up over all runs since a time, is largest for the time
since when and the share that is left (a GLR test; G. Lorden 1971). Each run is learned from before the
next is asked, if clean as if not: what the lesson has not seen surprises once, and n runs all below its m
say no more than that they are the lowest of m + n by chance, n! m! / (m + n)!.

What draws goes on for hours: of a session the upper half of its runs is heard, since seldom each of them
hides a draw, and they count as one, where they are several as AT_MOST, in the lesson too. (Of made-up
plants two runs of one session are alike by 0.03 to 0.17, intraclass; a new watering schedule makes them so
wholly.) The motor's level counts once for all runs, since mains move it for hours: a part that takes none of
it, a clog or a worn pump, each a third, and no more than any single witness.

By chance a ratio of ENOUGH is passed from a given session on once in exp(7.5) = 1,800 at most (A. Wald 1945);
plants have some hundreds to two thousand sessions a year. Of 17 plant-years of recordings of made-up plants
with nothing wrong one passed 6.1, and none 7; of 16 of independent runs, a tenth of which hide draws, one 7.

Parameters:
    LOSSES      shares s that are tried; told from a loss of LEAST on, as `in_each.LEAST`
    BORNE       0.05   of the delivery: mains and the well's level move it by so much; of it and none the
                       likelier is what a clean run is taken for
    SMOOTH      0.05   of a gain: a slope at close samples; each stands as far as its third neighbour, so that
                       what draws hide, which is never the same, leaves no gaps. WIDE 3.5 of x: an odd gain
                       lies anywhere there
    LESSON      24 runs in 16 sessions, or KEPT runs; BASES of its first sessions beside it, while the newest
                       runs follow it: a fault may have begun within it
    RUNS        4 at least, and the newest of them low
    AT_MOST     1.4, the root of two: as many chances of their own as runs of a session may be
    TOGETHER_HOURS  3: a garden's programme, a wash-down, a family's morning (common practice, no source)

Source: as named; exchangeable runs, any text on permutation tests; a density whose width is that of the
nearest neighbours, any text on smoothing; no source for the parameters but those given.
"""

from __future__ import annotations

from itertools import accumulate, groupby
from math import exp, hypot, inf, log, pi, sqrt
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

import msgspec
import numpy as np

from analytics.instants import HOUR_US
from analytics.judging.trait import middle_of, trait_of, upper

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.seeing.events import Run

ENOUGH, AT_MOST = 7.5, 1.4
LEAST, BORNE = 0.13, 0.05
LOSSES = (0.85, 0.78, 0.72, 0.66, 0.60, 0.52, 0.44, 0.35)
SMOOTH, NEIGHBOUR, WIDE, LEAST_GAIN = 0.05, 3, 3.5, 0.05
LESSON, LESSON_SESSIONS, KEPT = 24, 16, 72
BASES, FEWEST = (8, 12, 16), 8
RUNS, LATELY, EDGE = 4, 8, 8
TOGETHER_HOURS = 3.0
#: Of the motor's level: what it loses of what delivery loses, as `judging.blame`, the mains' part in it, and
#: a witness's most weight.
LEVEL_SHARES, LEVEL_ROUGH, LEVEL_LEAST, MOST = (0.0, 0.26, 0.96), 0.02, 0.01, 4.0
OF_A_MEDIAN = 1.2533
AT, SESSION, FIRST, LAST, LEVEL = 0, 1, 2, 4, 5
RATES = slice(FIRST, LAST + 1)


class Gains(msgspec.Struct):
    """Plain data, of each run: when it was over and its session began [us], what it gained [m3/s] in its
    first seconds, over the whole and in its last, the motor's level (nothing: 0)."""

    lesson: list[list[float]] = []
    newest: list[list[float]] = []
    learned: bool = False
    #: Rates that the lesson's runs are held against, and the upper quartile of their gains, once it is over.
    usual: list[float] = []
    high: float = 0.0


class Lost(NamedTuple):
    share: float  # of the delivery that is left
    error: float
    since_us: int  # the first run of those that tell it
    evidence: float  # log-likelihood ratio


def note(gains: Gains, run: Run, healthy: bool) -> None:
    """Take up a run that was seen whole, at both ends too, and filled the tank."""
    first, whole, last = run.slope_first_m3_s, run.slope_run_m3_s, run.slope_last_m3_s
    if not run.entire or first is None or whole is None or last is None:
        return
    before, after = run.slope_before_m3_s, run.slope_after_m3_s
    drawn = min(max(-before, 0.0), max(-after, 0.0)) if before is not None and after is not None else 0.0
    metered = max(drawn, run.flow_m3_s or 0.0)
    rates = [max(rate, 0.0) for rate in (first + drawn, whole + metered, last + drawn)]
    at, begun = run.cycle.stop_us, gains.newest[-1][SESSION] if gains.newest else -inf
    session = begun if run.cycle.start_us - begun < TOGETHER_HOURS * HOUR_US else run.cycle.start_us
    one = [float(at), float(session), *rates, run.cycle.motor_level or 0.0]
    gains.newest = [*gains.newest, one][-KEPT:]
    if gains.learned or not healthy:
        return
    gains.lesson.append(one)
    enough = len(gains.lesson) >= LESSON and len(_sessions(gains.lesson)) >= LESSON_SESSIONS
    if enough or len(gains.lesson) >= KEPT:
        clean = _Clean(gains.lesson)
        gains.learned, gains.usual, gains.high = True, clean.usual, clean.high


def lost(gains: Gains, levelled: bool, sound_1: float = 1.0) -> Lost | None:
    """What the runs since some time have lost, by the base and the time that say it most; None where none is
    enough.

    sound_1: what a sound pump's would read as, at the pressures of now.
    """
    found, sound = None, log(max(sound_1, LEAST_GAIN))
    if gains.learned and not _low(gains.newest[-1], gains.usual, gains.high, sound):
        return None  # soon asked, and mostly so
    for base in _bases(gains):
        clean = _Clean(base)
        newest = [row for row in reversed(gains.newest) if row[AT] > clean.until_us]
        if len(newest) < RUNS or not _low(newest[0], clean.usual, clean.high, sound):
            continue  # the newest has not lost
        told = _held_against(clean, newest, levelled, sound)
        if told is not None and (found is None or told.evidence > found.evidence):
            found = told
    return found


def _bases(gains: Gains) -> list[list[list[float]]]:
    """What counts as clean: the lesson, once it is over, and for as many runs again its first ones, before a
    fault that began within it."""
    lesson = gains.lesson
    since = gains.learned and gains.newest[0][AT] > lesson[-1][AT]
    ends = [] if since else list(accumulate(_sessions(lesson)))
    parts = [lesson[: ends[count - 1]] for count in BASES if count < len(ends)]
    whole = [lesson] if gains.learned and len(_sessions(lesson)) >= FEWEST else []
    return parts + whole


def _sessions(rows: list[list[float]]) -> list[int]:
    """How many runs there are in each."""
    return [len(list(some)) for _, some in groupby(rows, itemgetter(SESSION))]


def _weights(rows: list[list[float]]) -> NDArray[np.float64]:
    """Runs of one session count as one, or hardly more."""
    return np.array([(AT_MOST if runs > 1 else 1.0) / runs for runs in _sessions(rows) for _ in range(runs)])


def _upper_halves(rows: list[list[float]], usual: list[float]) -> list[list[float]]:
    """Of each session the runs that gained most."""
    kept: list[list[float]] = []
    for _, some in groupby(rows, itemgetter(SESSION)):
        session = list(some)
        gains = [_gain(row, usual) for row in session]
        least = sorted(gains)[len(gains) // 2]
        kept += [row for row, gain in zip(session, gains, strict=True) if gain >= least]
    return kept


class _Clean:
    """How clean runs gain."""

    def __init__(self, rows: list[list[float]]) -> None:
        self.until_us = rows[-1][AT]
        self.usual = [_usual([row[at] for row in rows]) for at in range(FIRST, LAST + 1)]
        self.rows = _upper_halves(rows, self.usual)
        self.gains = [self.gain(row) for row in self.rows]
        self.high = upper(sorted(self.gains))

    def gain(self, row: list[float]) -> float:
        return _gain(row, self.usual)


def _gain(row: list[float], usual: list[float]) -> float:
    """The run's gain, as a logarithm over the usual."""
    shares = [rate / most for rate, most in zip(row[RATES], usual, strict=True) if most > 0.0]
    return log(max(max(shares, default=1.0), LEAST_GAIN))


def _low(row: list[float], usual: list[float], high: float, sound: float) -> bool:
    return _gain(row, usual) - sound <= high + log(1.0 - LEAST)


def _usual(rates: list[float]) -> float:
    """Near the fastest: of rates of which one is the rougher, that one is not the largest for it."""
    return sorted(rates)[-1 - len(rates) // EDGE]


def _held_against(clean: _Clean, newest: list[list[float]], levelled: bool, sound: float) -> Lost | None:
    newest = _upper_halves(newest, clean.usual)
    gains = np.array([clean.gain(row) for row in newest]) - sound
    weights, lesson, learned = _weights(newest), np.array(clean.gains), _weights(clean.rows)
    most = log(1.0 + learned.sum())
    wide = _widths(lesson)
    among = np.tril(_near(gains, gains, _widths(gains)), -1) @ weights + 1.0 / WIDE
    as_clean = among + np.maximum(
        _near(gains, lesson, wide) @ learned, _near(gains - log(1.0 - BORNE), lesson, wide) @ learned
    )
    found: tuple[float, int] | None = None
    for share in LOSSES:
        fallen = among + _near(gains - log(share), lesson, wide) @ learned
        sums = np.cumsum(weights * np.clip(np.log(fallen / as_clean), -most, most))
        for runs in range(RUNS, len(newest) + 1):
            evidence = float(sums[runs - 1])
            if levelled and evidence > ENOUGH - MOST:
                evidence += _works_less(clean.rows, newest[:runs], share)
            if evidence >= ENOUGH and (found is None or evidence > found[0]):
                found = evidence, runs
    if found is None:
        return None
    evidence, runs = found
    lately = min(runs, LATELY)
    left = exp(upper(sorted(gains[:lately].tolist())) - clean.high)
    error = SMOOTH * OF_A_MEDIAN * hypot(lately**-0.5, len(lesson) ** -0.5)
    return Lost(left, error, int(newest[runs - 1][AT]), evidence)


def _near(
    gains: NDArray[np.float64], others: NDArray[np.float64], widths: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How likely each is, seen from each other."""
    off = (gains[:, None] - others[None, :]) / widths[None, :]
    return np.asarray(np.exp(-0.5 * off * off) / (widths * sqrt(2.0 * pi))[None, :])


def _widths(gains: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far each stands for what lies about it."""
    apart = np.sort(np.abs(gains[:, None] - gains[None, :]), axis=1)
    return np.asarray(np.maximum(apart[:, min(NEIGHBOUR, len(gains) - 1)], SMOOTH))


def _works_less(clean: list[list[float]], newest: list[list[float]], share: float) -> float:
    """What the motor's level says of such a loss, as a log-likelihood ratio."""
    then, now = (sorted(row[LEVEL] for row in rows if row[LEVEL] > 0.0) for rows in (clean, newest))
    if 2 * len(then) < len(clean) or 2 * len(now) < len(newest):
        return 0.0
    usual = trait_of(then)
    scatter = max(usual.sigma / usual.middle, LEVEL_LEAST)
    error = hypot(LEVEL_ROUGH, OF_A_MEDIAN * scatter * hypot(len(then) ** -0.5, len(now) ** -0.5))
    z, foretold = -log(middle_of(now) / usual.middle) / error, -log(share) / error
    likely = [exp(min(0.5 * (z * z - (z - part * foretold) ** 2), 80.0)) for part in LEVEL_SHARES]
    return max(min(log(sum(likely) / len(likely)), MOST), -MOST)
