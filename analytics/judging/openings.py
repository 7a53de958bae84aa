"""The openings that a plant draws by, and whether all have shrunk as a resistance in series shrinks them.

Physics. An opening lets out q = c sqrt(P). With k before it, as seen at the tank,

    1 / c'^2 = 1 / c^2 + k

whatever the pressure: a large one shrinks much, a small one hardly at all, and one k must explain them all.

What is weighed. Openings come back: a zone of sprinklers, a hose, a shower, fully open, and each for about as
long as before. Two accounts of the draws since some time foretell every draw by those before it:

    nothing has happened    it is one of the openings known, or a new one
    the filter has clogged  likewise, once k(t) is taken off again

    p(c) = sum of K(ln c - ln c_j) L(ln s - ln s_j) / n + new / RANGE

of n draws before it, s how long they stood. K is narrow and wide, and how much each is worth, beside an
opening that is new, is what foretells the clean draws best from each other: where nothing comes back truly,
little can be known. One that is new costs once and is then one of the known. People who draw less, guests, a
new zone, weeks without watering: none moves all openings to where k puts them. The odds for the clog are the
mean over TIMES and SHARES, so that to try many costs what it must.

Mistaken for. A meter that reads low shrinks all alike: the odds must bear comparison with that. One zone
alone with smaller nozzles is new, once; smaller each day, it cannot be told from a clog.

Parameters:
    WIDTH      0.02    of an opening that comes back: a meter's repeatability (class 2; common practice, no
                       source), with the feet of Student's t of three degrees; WIDE 0.15 of what people
                       open by hand
    LENGTH     0.5     likewise of its length, by half as much again: timers keep theirs, people nearly
    NEW        1       draw of each kind is taken to have been seen before: the plainest prior
    LARGE      0.2     of the largest that come back (above TOP 0.85 of all draws, each counted by its
                       length up to COUNTED_S ten minutes): smaller shows nothing
    HOPELESS   e^-3    of the few shares and times that are asked FIRST: all others are then far off, too
    MERGED_S   3 h     within which a draw of the same size (SAME 0.03) is the same one, interrupted
    ENOUGH     8       draws over LEAST_S two days before, and FEWEST 3 since
    ODDS       e^6     400 to 1: a false one at most once in 400 stretches of days with nothing in common
    SELDOM     e^1     a meter that comes to read low by an eighth is so much rarer than a filter that clogs
                       (common practice, no source)
    SURE_SHARE 0.88    of the largest left, at most: meter and gauge may each drift by a twentieth
    BACK       e^4     the clean openings against any clog of SURE_SHARE, in BACK_DRAWS 2 at least
                       that are half of the largest (SHOWS)

Source: orifice flow, any hydraulics text; the bound on false alarms of a mean of likelihood ratios: J. Ville,
Etude critique de la notion de collectif (1939), from memory.
"""

from __future__ import annotations

from math import exp, log, pi, sqrt
from typing import TYPE_CHECKING, NamedTuple

import msgspec
import numpy as np

from analytics.judging.steady_draws import START_M3_S

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import NDArray

    from analytics.judging.steady_draws import SteadyDraw

    Numbers = NDArray[np.floating[Any]]

DAY_S = 86_400.0
WIDTH, LENGTH, NEW, LARGE, TOP = 0.02, 0.5, 1.0, 0.2, 0.85
#: Where a new one may lie: ln of LARGE to twice the largest, and of 90 s to 90 minutes.
RANGE = log(10.0) * log(60.0)
MERGED_S, SAME, COUNTED_S = 10_800.0, 0.03, 600.0
LESSON_S, KEPT_S = 14 * DAY_S, 14 * DAY_S
WIDE, TURNS = 0.15, 8
KEPT_FIRST, KEPT_NEW = 100, 100
ENOUGH, LEAST_S, FEWEST = 8, 2 * DAY_S, 3
#: Since how many days, and by which powers of the time: at once, evenly, ever faster. Whole days: the hours
#: of one differ.
TIMES = ((1, (0,)), (2, (0,)), (3, (0, 1, 2)), (5, (0, 1, 2)), (8, (0, 1, 2)), (12, (0, 1, 2)))
#: Those that are asked first, and what of them all is too little for any.
FIRST, FIRST_SHARES, HOPELESS = ((2, (0,)), (5, (1,))), (0.86, 0.68), -3.0
SHARES = tuple(0.94 * 0.945**step for step in range(16))
ODDS, SELDOM, SURE_SHARE = 6.0, 1.0, 0.88
BACK, BACK_DRAWS, BACK_S = 4.0, 2, 2 * DAY_S
APART = 0.1  # two openings that differ by more are two zones
SHOWS = 0.5  # of the largest: a draw that is large
#: What a house's pressure is about, for the smallest draw that a meter tells while no opening is known.
HOUSE_PA = 3.0e5
FROM, SIZE, FOR, UNTIL = range(4)  # of a draw: s, ln opening, s, s


class Openings(msgspec.Struct):
    """Plain data. `first` are the lesson's draws, kept for good."""

    first: list[list[float]] = []
    newest: list[list[float]] = []
    least: float = START_M3_S / sqrt(HOUSE_PA)  # the smallest that shows anything [m3/s/sqrt(Pa)]
    since_s: float = 0.0  # while a clog stands: since when,
    known_s: float = 0.0  # since when it is known,
    share: float = 1.0  # what it leaves of the largest,
    zones: int = 0  # and how many openings agree on it


class Clogged(NamedTuple):
    share: float  # of the largest left
    clean: float  # the largest that come back [m3/s/sqrt(Pa)]
    zones: int  # openings that agree on it
    since_s: float


class _Basis(NamedTuple):
    """What foretells the draws since a time: those before it, and each other."""

    known: NDArray[np.float64]  # ln openings (M,)
    long: Numbers  # how alike in length, (N, M + N); none with those after it
    weights: NDArray[np.float64]


class _Odds(NamedTuple):
    """Logarithms, (powers, shares)."""

    clog: NDArray[np.float64]
    large: float
    since_s: float
    clean: NDArray[np.float64]  # the draws with the clog taken off, (powers, shares, N)
    raised: NDArray[np.float64]  # and with what a meter would have read low
    basis: _Basis
    nothing: float


def add(openings: Openings, draw: SteadyDraw) -> None:
    """Take up a draw."""
    size, length = log(draw.opening), draw.to_s - draw.from_s
    for one in reversed(openings.newest):
        if draw.from_s - one[UNTIL] > MERGED_S:
            break
        if abs(one[SIZE] - size) < SAME:
            whole = one[FOR] + length
            one[SIZE] = (one[SIZE] * one[FOR] + size * length) / whole
            one[FOR], one[UNTIL] = whole, draw.to_s
            return
    newest = openings.newest
    newest.append([draw.from_s, size, length, draw.to_s])
    while newest[0][FROM] < draw.from_s - KEPT_S or len(newest) > KEPT_NEW:
        _let_go(openings, newest.pop(0))
    if len(openings.first) + len(newest) >= ENOUGH:
        openings.least = LARGE * exp(_top(_draws(openings)))


def _let_go(openings: Openings, oldest: list[float]) -> None:
    """What is no longer new is kept for good where it is of the lesson."""
    first = openings.first
    clean = not openings.since_s or oldest[FROM] < openings.since_s
    if clean and len(first) < KEPT_FIRST and (not first or oldest[FROM] < first[0][FROM] + LESSON_S):
        first.append(oldest)


def judged(openings: Openings, now_s: float) -> tuple[float, Clogged | None]:
    """ln odds that a clog has begun, and what it is like if it is sure: it then stands."""
    draws = _draws(openings)
    first = [_odds(draws, now_s, days, powers, FIRST_SHARES) for days, powers in FIRST]
    glance = max((float(one.clog.max()) for one in first if one is not None), default=0.0)
    if glance < HOPELESS:
        return glance, None
    all_of = [_odds(draws, now_s, days, powers, SHARES) for days, powers in TIMES]
    found = [one for one in all_of if one is not None]
    if not found:
        return 0.0, None
    odds = _mean([one.clog for one in found])
    best = max(found, key=lambda one: float(one.clog.max()))
    course, nth = np.unravel_index(int(best.clog.argmax()), best.clog.shape)
    share = SHARES[int(nth)]
    if odds < ODDS or share > SURE_SHARE or odds < _mean([_low_meter(one) for one in found]) - SELDOM:
        return odds, None
    openings.since_s, openings.known_s, openings.share = best.since_s, now_s, share
    openings.zones = _zones(best.clean[course, nth], best.large)
    return odds, standing(openings)


def standing(openings: Openings) -> Clogged:
    """The clog that stands."""
    draws = _draws(openings)
    large = _top(draws[draws[:, FROM] < openings.since_s])
    return Clogged(openings.share, exp(large), openings.zones, openings.since_s)


def follow(openings: Openings, now_s: float) -> float | None:
    """While a clog stands: since when the draws are the clean ones again. What it leaves is kept in step."""
    draws = _draws(openings)
    before = draws[:, FROM] < openings.since_s
    large = _top(draws[before])
    counts = draws[:, SIZE] > large + log(LARGE)
    lately = max(now_s - BACK_S, openings.known_s)
    known, newest = draws[before & counts], draws[counts & (draws[:, FROM] > lately)]
    if not len(newest):
        return None
    shares = np.array([1.0, openings.share, *(one for one in SHARES if one <= SURE_SHARE)])
    clean, stretch = _unclogged(newest[:, SIZE], np.repeat(shares[:, None], len(newest), 1), large)
    apart, weights = (clean[..., None] - known[:, SIZE]) / stretch[..., None], _weights(known)
    near = (weights[0] * _near(apart, WIDTH) + weights[1] * _near(apart, WIDE)) * _long(newest, known)
    # of the newest one, two, and so on, by each share
    likely = np.cumsum(np.log(near.mean(-1) + weights[2] / RANGE)[:, ::-1], axis=1)
    odds = likely[0] - likely[1:].max(0)
    enough = np.cumsum(newest[::-1, SIZE] > large + log(SHOWS)) >= BACK_DRAWS
    enough &= odds >= BACK
    if enough.any():
        return float(newest[-1 - int(np.where(enough, odds, 0.0).argmax()), FROM])
    if likely[1:, -1].max() - likely[1, -1] >= BACK:
        openings.share = float(shares[1 + int(likely[1:, -1].argmax())])
    return None


def repaired(openings: Openings, back_s: float) -> None:
    """What was drawn through the clogged filter says nothing of the next."""
    for kept in openings.first, openings.newest:
        kept[:] = [one for one in kept if not openings.since_s <= one[FROM] < back_s]
    openings.since_s, openings.known_s, openings.share, openings.zones = 0.0, 0.0, 1.0, 0


def _draws(openings: Openings) -> NDArray[np.float64]:
    return np.array([*openings.first, *openings.newest]).reshape(-1, 4)


def _top(draws: NDArray[np.float64]) -> float:
    """ln of the largest that come back."""
    order = np.argsort(draws[:, SIZE])
    counted = np.cumsum(np.minimum(draws[order, FOR], COUNTED_S))
    return float(draws[order[np.searchsorted(counted, TOP * counted[-1])], SIZE])


def _zones(clean: NDArray[np.float64], large: float) -> int:
    """How many openings of different size, that a clog would show in, have come back."""
    sizes = np.sort(clean[(clean > large + log(SHOWS)) & (clean < large + log(2.0))])
    ends = np.flatnonzero(np.diff(sizes, append=np.inf) > APART)
    return max(int((np.diff(ends, prepend=-1) >= 2).sum()), 1)


def _mean(odds: list[NDArray[np.float64]]) -> float:
    together = np.concatenate([one.ravel() for one in odds])
    most = float(together.max())
    return most + log(float(np.exp(together - most).mean()))


def _odds(
    draws: NDArray[np.float64], now_s: float, days: int, powers: tuple[int, ...], shares: tuple[float, ...]
) -> _Odds | None:
    """The odds of a clog against nothing, since some days ago."""
    from_s = now_s - days * DAY_S
    before = draws[:, FROM] < from_s
    if before.sum() < ENOUGH or from_s - draws[0, FROM] < LEAST_S:
        return None
    large = _top(draws[before])
    counts = draws[:, SIZE] > large + log(LARGE)
    known, after = draws[before & counts], draws[~before & counts]
    if len(known) < ENOUGH or len(after) < FEWEST:
        return None
    course = np.power((after[:, FROM] - from_s) / (now_s - from_s), np.array(powers)[:, None])
    share = 1.0 - (1.0 - np.array(shares)[:, None]) * course[:, None, :]
    long = np.hstack((_long(after, known), np.tril(_long(after, after), -1))).astype(np.float32)
    basis = _Basis(known[:, SIZE], long, _weights(known))
    nothing = float(_foretold(basis, after[:, SIZE], np.ones(len(after))))
    clean, stretch = _unclogged(after[:, SIZE], share, large)
    clog = _foretold(basis, clean, stretch) - nothing
    return _Odds(clog, large, from_s, clean, after[:, SIZE] - np.log(share), basis, nothing)


def _low_meter(found: _Odds) -> NDArray[np.float64]:
    """The odds of a meter that reads low, likewise."""
    return _foretold(found.basis, found.raised, np.ones_like(found.raised)) - found.nothing


def _unclogged(
    sizes: NDArray[np.float64], share: NDArray[np.float64], large: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The draws without the clog that leaves `share` of the `large`, and what a step among them was as it was
    seen, over what it is. One that no opening could have let through is like no other."""
    grown = (np.power(share, -2.0) - 1.0) * exp(-2.0 * large)
    left = np.exp(-2.0 * sizes) - grown
    most = exp(-2.0 * (large + log(2.0)))
    nowhere = large + 10.0 * (1.0 + np.arange(sizes.shape[-1]))
    clean = np.where(left > most, -0.5 * np.log(np.maximum(left, most)), nowhere)
    return clean, np.where(left > most, np.exp(2.0 * np.minimum(clean - sizes, 3.0)), 1.0)


def _foretold(basis: _Basis, sizes: NDArray[np.float64], stretch: NDArray[np.float64]) -> NDArray[np.float64]:
    """ln p of all draws (..., N), each foretold by the known and by those before it."""
    known, long, weights = basis
    like = np.broadcast_to(known, (*sizes.shape[:-1], len(known)))
    others = np.concatenate((like, sizes), axis=-1).astype(np.float32)  # in half the time
    apart = others[..., -sizes.shape[-1] :, None] - others[..., None, :]
    apart /= stretch.astype(np.float32)[..., :, None]
    near = float(weights[0]) * _near(apart, WIDTH)
    near += float(weights[1]) * _near(apart, WIDE)
    near *= long
    count = len(known) + np.arange(sizes.shape[-1])
    return np.asarray(np.log(near.sum(-1) / count + weights[2] / RANGE).sum(-1))


def _weights(known: NDArray[np.float64]) -> NDArray[np.float64]:
    """How often a draw comes back truly, is somewhere near, or is new: what foretells each of the known
    best from all others."""
    apart = known[:, None, SIZE] - known[:, SIZE]
    long = _long(known, known)
    np.fill_diagonal(long, 0.0)
    by = np.stack(
        [
            (_near(apart, WIDTH) * long).sum(1) / (len(known) - 1),
            (_near(apart, WIDE) * long).sum(1) / (len(known) - 1),
            np.full(len(known), 1.0 / RANGE),
        ]
    )
    weights = np.full(3, 1.0 / 3.0)
    for _ in range(TURNS):
        part = weights[:, None] * by
        weights = ((part / part.sum(0)).sum(1) + NEW) / (len(known) + 3.0 * NEW)
    return weights


def _near(apart: Numbers, width: float) -> Numbers:
    """Student's t of three degrees."""
    near = np.square(apart * (1.0 / (sqrt(3.0) * width)))
    near += 1.0
    np.square(near, out=near)
    return np.asarray(np.divide(2.0 / (pi * sqrt(3.0) * width), near, out=near))


def _long(draws: NDArray[np.float64], known: NDArray[np.float64]) -> NDArray[np.float64]:
    """How alike in length, (N, M): Cauchy's law, LENGTH wide."""
    apart = np.log(draws[:, None, FOR] / known[:, FOR])
    return np.asarray(1.0 / (pi * LENGTH * (1.0 + np.square(apart / LENGTH))))
