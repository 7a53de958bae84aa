"""Delivery left by the drop across the filter: far finer than by the tank's slope, while little is lost.

Physics. With the pump at the switch's band, what it has to spare is spent in the filter and in all else:

    H = d + a Q^2      d the drop across the filter, H the spare head, alike each day
    s = Q / Q_clean = sqrt((H - d) / (H - d_clean))

so that, H known, gauges that are good to half a kPa tell a loss of a few thousandths, where a day's runs tell
a hundredth. H is known roughly by the shut-off head, and then by the days on which delivery itself has
fallen: all of a grid are weighed by their likelihood (Bayes), and the days are read by WAYS of them that
are equally likely, since all days share what is wrong with H.

Two things would pass for a small H, so that a clog seems to cost more than it does, and are weighed beside
it: an error of the clean delivery, which all days share and those with the clean drop show; and that a day's
delivery errs by more than its runs say (WIDER). How far the drop itself errs from one day to the next, the
days show: by what each is off the line between its neighbours, which a slow clog is not (FROM_NEIGHBOURS).

Parameters:
    WIDER             the days' scatter over what their runs say: equally likely
    PRIOR_SIGMA 0.35  of H's logarithm: a shut-off head that is taken for 1.5 times the cut-out is 1.25 to 2
                      times of it (common practice, no source)
    DROP_LEAST_PA     300 Pa: of the median of a day's runs, of two gauges; and DROP_SHARE 3 % of the drop

Source: quadratic pump and screen curves, common practice, no source.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from analytics.judging.signature import OF_A_MEDIAN
from analytics.judging.uphill import shut_off
from analytics.outlooks.courses import Reading
from analytics.physics.fits import median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from analytics.judging.signature import Signature

PRIOR_SIGMA = 0.35
DROP_LEAST_PA, DROP_SHARE = 300.0, 0.03
GRID = np.exp(np.linspace(-1.0, 1.0, 41))
#: What two gauges are apart at zero: half a percent of a usual gauge's range (common practice, no source).
ZERO_PA = 3_500.0
SHARE_LEAST = 0.01
WAYS = (1.0 / 6.0, 0.5, 5.0 / 6.0)
WIDER = np.array([1.0, 1.5, 2.2, 3.3, 5.0])
#: Nine equally likely values of a standard normal.
NODES = np.array([-1.5932, -0.9674, -0.5895, -0.2822, 0.0, 0.2822, 0.5895, 0.9674, 1.5932])
#: The median of what is off the line between its neighbours, in standard deviations of one: 0.6745 sqrt(3/2);
#: asked of so many days.
FROM_NEIGHBOURS, DAYS_THAT_TELL = 0.8261, 6
ALMOST_SHUT = 0.98  # of H: beyond, the drop tells no flow


class Clean(NamedTuple):
    """Of the lesson: drop across the filter, its standard error, and the spare head by the pump's curve."""

    drop_pa: float
    error_pa: float
    spare_pa: float


def clean_drop(signature: Signature) -> Clean | None:
    """None where no gauge, or none good enough, told it in the lesson."""
    drop, start, stop = (signature.clean.get(name) for name in ("filter_drop_pa", "start_pa", "stop_pa"))
    if signature.learned_us is None or not (drop and start and stop):
        return None
    spare = shut_off(signature.clean, start.middle, stop.middle) - 0.5 * (start.middle + stop.middle)
    error = OF_A_MEDIAN * max(drop.sigma, DROP_LEAST_PA) / sqrt(max(signature.learned_runs, 1))
    return Clean(drop.middle, error, spare + max(drop.middle, 0.0))


def refined(days: Sequence[Sequence[float]], clean: Clean, common: float = 0.0) -> list[Reading]:
    """Days of (time, delivery left, its standard error[, drop Pa]) as (time, left, error), with what the drop
    says: read in WAYS ways that are equally likely. `common`: standard error of the clean delivery.

    What all days share in the error of the clean drop is small beside that of the clean delivery.
    """
    known = [one for one in days if len(one) > 3]
    if not known:
        return [Reading([list(one[:3]) for one in days])]
    left, error, drop = (np.array([one[k] for one in known]) for k in (1, 2, 3))
    spare = clean.spare_pa * GRID
    share = np.clip(left, 0.05, 2.0)
    by_drop = _log_left(drop[None, :], spare[:, None], clean.drop_pa)
    shared = common * NODES  # (H, shared error, scatter, days) from here on
    off = (np.log(share) - by_drop[:, None, :] - shared[:, None])[:, :, None, :]
    off = off / ((error / share) * WIDER[:, None])
    # a day's error is itself roughly known: Student's t holds against the odd day
    likely = (-1.5 * np.log1p(off**2 / 2.0) - np.log(WIDER)[:, None]).sum(axis=3)
    likely -= 0.5 * ((np.log(GRID) / PRIOR_SIGMA) ** 2)[:, None, None]
    each = np.exp(likely - likely.max())
    each /= each.sum()
    weight = each.sum(axis=(1, 2))
    held = np.cumsum(weight) - 0.5 * weight
    wider = float((each.sum(axis=(0, 1)) * WIDER).sum())
    astray = np.exp(float((each.sum(axis=(0, 2)) * shared).sum()))
    plain = [[one[0], one[1] / astray, wider * one[2], *one[3:]] for one in days]
    drop_error = np.maximum(np.maximum(DROP_SHARE, _from_neighbours(drop)) * drop, DROP_LEAST_PA)
    reading = np.hypot(drop_error, clean.error_pa)
    ways = [float(np.interp(way, held, spare)) for way in WAYS]
    return [Reading(_read(plain, clean, one, drop, reading), _shares(clean, one)) for one in ways]


def _from_neighbours(drop: NDArray[np.float64]) -> float:
    """A day's drop off the line between its neighbours: its standard deviation, as a share of the drop."""
    if len(drop) < DAYS_THAT_TELL:
        return 0.0
    log = np.log(np.maximum(drop, DROP_LEAST_PA))
    return median(np.abs(log[1:-1] - 0.5 * (log[:-2] + log[2:]))) / FROM_NEIGHBOURS


def _shares(clean: Clean, spare_pa: float) -> dict[float, float]:
    """Of the clean screen in all that H is spent in: gauges a little off at zero leave it in doubt."""
    low, high = (max(clean.drop_pa + off, 0.0) / spare_pa for off in (-ZERO_PA, ZERO_PA))
    middle = clean.drop_pa / spare_pa
    likely = (0.5 * (low + middle), middle, 0.5 * (middle + high))
    return {min(max(one, SHARE_LEAST), 1.0): 1.0 for one in likely}


def _read(
    days: Sequence[Sequence[float]], clean: Clean, spare_pa: float, drop: NDArray[np.float64],
    reading: NDArray[np.float64],
) -> list[list[float]]:  # fmt: skip
    by_drop = np.exp(_log_left(drop, np.array(spare_pa), clean.drop_pa))
    sigma = by_drop * 0.5 * reading / np.maximum(spare_pa - drop, (1.0 - ALMOST_SHUT) * spare_pa)
    told = iter(zip(by_drop.tolist(), sigma.tolist(), strict=True))
    found = []
    for one in days:
        time, left, error = one[:3]
        if len(one) > 3:
            also, doubt = next(told)
            total = error**-2 + doubt**-2
            left, error = (left * error**-2 + also * doubt**-2) / total, total**-0.5
        found.append([time, left, error])
    return found


def _log_left(drop: NDArray[np.float64], spare: NDArray[np.float64], clean_pa: float) -> NDArray[np.float64]:
    room = np.maximum(spare - drop, (1.0 - ALMOST_SHUT) * spare)
    return np.asarray(0.5 * np.log(room / np.maximum(spare - clean_pa, (1.0 - ALMOST_SHUT) * spare)))
