"""Two waters in one pipe: how much of each, and where to turn the valve for a target.

Conductivity is taken to mix as salt does, by mass balance: EC = f EC1 + (1 - f) EC2. Source: FAO
Irrigation and Drainage Paper 29, section 2. At garden strengths (below some 5 dS/m) that is good to
a few percent; what it leaves over is MODEL_ERROR.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

#: Share by which a mix's conductivity may differ from the straight line between its waters: ion
#: pairs and other temperatures. Common practice, no source.
MODEL_ERROR = 0.02
#: One standard deviation of a handheld or inline cell: 2 % of the reading, and 10 uS/cm. Common
#: practice (makers' data sheets), no source.
CELL_SHARE, CELL_S_M = 0.02, 1e-3
#: A share known no better than to a quarter either way is no answer.
WORST_DEVIATION = 0.25


@dataclass(frozen=True, slots=True)
class Salt:
    """A conductivity at 25 degC and its standard deviation, both in S/m."""

    conductivity_s_m: float
    deviation_s_m: float


@dataclass(frozen=True, slots=True)
class Share:
    """The first water's share of a mix, 0 to 1, with its standard deviation. `fits`: whether the mix
    lies between its waters, give or take two standard deviations; else there is a third water, or a
    reading is wrong."""

    share: float
    deviation: float
    fits: bool


def salt(conductivity_s_m: float, deviation_s_m: float | None = None) -> Salt:
    """A reading with its standard deviation, a usual cell's where none is given."""
    usual = hypot(CELL_SHARE * conductivity_s_m, CELL_S_M)
    return Salt(conductivity_s_m, usual if deviation_s_m is None else deviation_s_m)


def blend_s_m(first_s_m: float, second_s_m: float, share: float) -> float:
    """Conductivity of a mix with `share` of the first water.

    >>> round(blend_s_m(0.023, 0.36, 0.75), 4)
    0.1072
    """
    return share * first_s_m + (1.0 - share) * second_s_m


def share_for(target_s_m: float, first_s_m: float, second_s_m: float) -> float | None:
    """The first water's share that gives the target; None where no mix of the two does.

    >>> round(share_for(8, 2, 15), 3)
    0.538
    """
    between = min(first_s_m, second_s_m) <= target_s_m <= max(first_s_m, second_s_m)
    if not between or first_s_m == second_s_m:
        return None
    return (target_s_m - second_s_m) / (first_s_m - second_s_m)


def share_of_first(mixed: Salt, first: Salt, second: Salt) -> Share | None:
    """How much of the first water is in the mix. None: the two are too close to tell.

    The deviation is that of f = (m - b) / (a - b), first order, with the readings' and the model's.
    """
    apart = first.conductivity_s_m - second.conductivity_s_m
    if apart == 0.0:
        return None
    share = (mixed.conductivity_s_m - second.conductivity_s_m) / apart
    held = min(max(share, 0.0), 1.0)
    model = MODEL_ERROR * mixed.conductivity_s_m * (2.0 * held * (1.0 - held) * 2.0)
    parts = (
        hypot(mixed.deviation_s_m, model),
        held * first.deviation_s_m,
        (1.0 - held) * second.deviation_s_m,
    )
    deviation = hypot(*parts) / abs(apart)
    if deviation > WORST_DEVIATION:
        return None
    fits = -2.0 * deviation <= share <= 1.0 + 2.0 * deviation
    return Share(held, deviation, fits)
