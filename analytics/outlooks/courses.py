"""Courses by which delivery, or air, comes to be less, and how likely days make each: `clogging`'s grid.

Physics. With the pump at the switch's band, Q = sqrt((H0 - P) / (a + k)): of clean delivery there is left

    s = 1 / sqrt(1 + f (x - 1)),   x = k / k_clean,   f = k_clean / (a + k_clean)

and the screen takes up dirt with the water that passes. Hermia's blocking laws, d2t/dV2 = K (dt/dV)^n, say
of resistance over volume passed, whatever the pressure, dx/dV = c x^n: n = 0 a cake grows, 1 particles
settle on free and on blocked openings (intermediate), 3/2 openings narrow (standard), 2 each particle shuts
one (complete). So loss quickens, and a straight line through it is late. A house draws much the same each
day: days stand for volume.

With f = 1 the same laws say what goes by itself: n = 1, s falls by the same share each day (air through a
leak that lets it out in proportion to what there is), n = 3/2, by the same amount each day.

Parameters:
    SHARES    f of a clean screen: 1 to 4 psi of some 20 to 40 that the pump has to spare (common practice,
              no source), and 1, which is a filter that is all the resistance: delivery falls by a straight
              line then (n = 3/2)
    SCATTER   the days' scatter over what their runs say: taken from half to six times, equally likely (of
              one kind of run a day's error is small, and the next day has another kind)

Source: J. Hermia, Constant pressure blocking filtration laws, Trans. IChemE 60 (1982) 183 (from memory);
the quadratic screen is common practice, no source.
"""

from __future__ import annotations

from math import log
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Part = NDArray[np.floating]  # in either precision

#: Hermia's four are likelier than what lies between them.
LAWS: Mapping[float, float] = MappingProxyType(
    {0.0: 3.0, 0.5: 1.0, 1.0: 3.0, 1.25: 1.0, 1.5: 3.0, 1.75: 1.0, 2.0: 3.0}
)
#: How likely each is to the others: most pumps spare a clean screen a thirtieth to a tenth.
SHARES: Mapping[float, float] = MappingProxyType({0.03: 3.0, 0.1: 3.0, 0.3: 1.0, 1.0: 1.0})
SCATTER = (0.5, 0.8, 1.2, 1.8, 2.7, 4.0, 6.0)
#: Losses that came at once.
STEPS = np.linspace(0.02, 0.60, 16)
#: Beyond the flush a law may come to a shut screen: of what its course is taken from, no less than this.
SHUT = 1e-3
#: And no law is followed for more than so many times what brought it there.
BEYOND = 20.0


class Reading(NamedTuple):
    """One way to read the days (`clogging.days_to_flush`), and what may be its course: shares of the clean
    screen and laws, each with how likely it is; and whether it goes by the water that passes."""

    points: Sequence[Sequence[float]]
    shares: Mapping[float, float] = SHARES
    laws: Mapping[float, float] = LAWS
    by_use: bool = True


class Record(NamedTuple):
    """Days [d], log of what is left, and 1 / variance of each by its runs; as how many days they count, and
    what part of that days tell which err together."""

    day: Floats
    log_left: Floats
    weight: Floats
    counts_as: float
    worth: float = 1.0


class Off(NamedTuple):
    """How far the days lie off courses: weighted sums of the squares and of the differences themselves.

    All that is asked of a course, and what days are worth together multiplies both: so it is asked once.
    """

    squares: Floats
    sums: Floats


def stayed(day: Floats, onsets: Floats) -> Floats:
    """Log of what is left, had a loss of each of STEPS come at once: (onsets * steps, days)."""
    since = day[None, :] >= onsets[:, None]
    return np.asarray((since[:, None, :] * np.log1p(-STEPS)[None, :, None]).reshape(-1, len(day)))


def kinds(reading: Reading) -> list[tuple[float, float, float]]:
    """Law, share, and how likely the two are."""
    return [
        (law, share, likely * shares[share] / sum(shares.values()))
        for law, likely in reading.laws.items()
        for shares in [reading.shares if law else {1.0: 1.0}]  # a cake's course is the same for all
        for share in shares
    ]


def growing(record: Record, onsets: Floats, flushes: Floats, level: float, reading: Reading) -> Off:
    """Off each (law and share, onset, flush): so many days ahead, or behind where below zero.

    In single precision, which errs by a ten-millionth of what is left where a day's runs err by a thousandth
    at least, and takes half the time.
    """
    part = passed(record.day, onsets, flushes).astype(np.float32)
    said = record._replace(
        log_left=record.log_left.astype(np.float32), weight=record.weight.astype(np.float32)
    )
    found = [off(said, course(part, law, share, level)) for law, share, _ in kinds(reading)]
    return Off(np.stack([one.squares for one in found]), np.stack([one.sums for one in found]))


def growth(
    record: Record, apart: Off, onsets: Floats, flushes: Floats, common: float, reading: Reading
) -> Floats:
    """Log-evidence of each (law and share, onset, flush), off which the days lie `apart`."""
    likely = np.log([likely for _, _, likely in kinds(reading)])
    # scale-free in the whole time from onset to flush; the grid of flushes is even in its logarithm
    whole = record.day[-1] + flushes[None, :] - onsets[:, None]
    prior = np.where(whole > 0.0, np.log(np.abs(flushes[None, :]) / np.maximum(whole, 1e-9)), -np.inf)
    return np.asarray(evidence(record, apart, common) + likely[:, None, None] + prior[None, :, :])


def passed(day: Floats, onsets: Floats, flushes: Floats) -> Floats:
    """Of the time from each onset to each flush, what had passed on each day; no less than a quarter day."""
    whole = np.maximum(day[-1] + flushes[None, :] - onsets[:, None], 0.25)
    return np.asarray(np.maximum(day[None, None, :] - onsets[:, None, None], 0.0) / whole[:, :, None])


def course(part: Part, law: float, share: float, level: float) -> Part:
    """Log of what is left where `part` of the volume from clean to flush has passed."""
    x = _resistance(part, law, 1.0 + (level**-2 - 1.0) / share)
    x -= 1.0
    x *= share
    np.log1p(x, out=x)
    x *= -0.5
    return x


def _resistance(part: Part, law: float, at_flush: float) -> Part:
    """The screen's resistance over the clean one's, in an array of its own."""
    if law == 0.0:
        return part * (at_flush - 1.0) + 1.0
    if law == 1.0:
        x = np.minimum(part, BEYOND)
        x *= log(at_flush)
        return np.asarray(np.exp(x, out=x))
    power = 1.0 - law
    u = part * (at_flush**power - 1.0)
    u += 1.0
    np.maximum(u, SHUT, out=u)
    if not (1.0 / power).is_integer():  # by exp and log, which take a quarter of a power's time
        np.log(u, out=u)
        u /= power
        return np.asarray(np.exp(u, out=u))
    return _whole_power(u, round(1.0 / power))


def _whole_power(u: Part, power: int) -> Part:
    """`u` to the power 2, -1, -2 or -4, by multiplying it with itself: far quicker than by logarithms."""
    for _ in range(abs(power).bit_length() - 1):
        u *= u
    return u if power > 0 else np.reciprocal(u, out=u)


def off(record: Record, courses: Part) -> Off:
    """The days off courses (..., days)."""
    apart = record.log_left - courses
    sums = apart @ record.weight
    apart *= apart
    return Off(apart @ record.weight, sums)


def evidence(record: Record, apart: Off, common: float) -> Floats:
    """Log-likelihood of courses, the clean value's error and the scatter integrated out."""
    worth, weight = record.worth, record.worth * float(record.weight.sum())
    scatter = np.array(SCATTER).reshape(-1, *[1] * apart.squares.ndim)
    w = scatter**-2
    shared = common**2 / (1.0 + common**2 * weight * w)
    spread = -worth * record.counts_as * np.log(scatter) - 0.5 * np.log1p(common**2 * weight * w)
    ways = (-0.5 * worth * w) * apart.squares + (0.5 * shared * (worth * w) ** 2) * apart.sums**2 + spread
    top = ways.max(axis=0)
    ways -= top
    return np.asarray(top + np.log(np.exp(ways, out=ways).sum(axis=0)))
