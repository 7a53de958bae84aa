"""Runs that begin further up than they did: on an air charge above cut-in, or at a switch that moved up.

A tank charged to Pc' above cut-in is empty where its runs seem to begin: from there pressure collapses in a
moment. Its air is compressed less by the same water, so that tank water worked out with the charge Pc it had
moves too slowly, from the same run on:

    apparent delivery = r of what it was,   r = (Pc + pa) / (Pc' + pa)

A switch whose cut-in alone moved up leaves delivery what it is in the upper part of the band; and pressure is
never below it, where a run that began with a collapse has a sample down there, if any lies so near its start.

Parameters:
    UP 0.10      of the band: a move beyond what a switch repeats to (a few hundredths, common practice, no
                 source), and SIGMAS 5 standard errors of the median; of ten runs nine above LEAST_UP
    AT_CUT_IN 0.10  of the band from the plant file's cut-in: there the switch starts the pump, and no charge
    TOP 0.5      of the move: what the other end may have moved by meanwhile; more is a gauge or both nuts
    UPPER 0.13   of delivery is lost over the whole band from its middle to its top, ERROR_UPPER 0.06:
                 quadratic curve with a shut-off head 1.3 to 2 times the cut-out
    ERROR 0.03   that draws within runs hide, beside the scatter
    LEAPS_S 1    so long pressure stays below the charge, once the pump runs; MOST_MET 0.9 of the runs show it
                 at any sampling, for a word may be lost
    TOLD 2       log of odds of seven to one; TOO_LITTLE 3 standard errors less than either foretells
    NO_DIPS 1.9  the most that collapses which no sample met say against a charge for which delivery speaks:
                 a steady draw may keep step with the samples (`cycling_cause`)

Source: Boyle's law.
"""

from __future__ import annotations

from math import hypot, log, sqrt
from statistics import median
from typing import TYPE_CHECKING, NamedTuple

from analytics.judging.signature import best_delivery
from analytics.seeing.water import CHARGE_BELOW_CUT_IN_PA

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.brief import Brief
    from analytics.judging.cycling_run import Seen
    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known
    from analytics.seeing.events import Run
    from analytics.seeing.water import Water

UP, LEAST_UP, SIGMAS = 0.10, 0.05, 5.0
TOP, AT_CUT_IN = 0.5, 0.10
UPPER, ERROR_UPPER, ERROR = 0.13, 0.06, 0.03
TOLD, MOST, TOO_LITTLE = 2.0, 6.0, 3.0
NO_DIPS = 1.9
#: A median's standard error over the mean's, and the standard deviation of a median absolute deviation.
OF_A_MEDIAN, OF_A_MAD = 1.2533, 1.4826
LEAST_SIGMA = 0.04
FEWEST = 4
LEAPS_S, MOST_MET = 1.0, 0.9


class Low(NamedTuple):
    """Of a run: when it began, its lowest pressure, and the chance that samples would have met a collapse
    from a charge above cut-in."""

    start_us: float
    low_pa: float
    met: float


def charge_odds(share: float, error: float, up: float, usual: Reference, water: Water) -> float:
    """Log of the odds of a charge over a switch, both `up` (a share of the band) above the usual cut-in, by
    apparent delivery over the usual and its standard error."""
    by_switch = 1.0 - UPPER * up
    absolute_pa = usual.start_pa + up * usual.band_pa + water.atmosphere_pa_abs
    good_pa = max(water.precharge_pa, usual.start_pa - CHARGE_BELOW_CUT_IN_PA)  # a plate may say too little
    shares = [
        by_switch * (charge_pa + water.atmosphere_pa_abs) / absolute_pa
        for charge_pa in (water.precharge_pa, good_pa)
    ]
    by_charge = min(max(share, min(shares)), max(shares))
    sigma = hypot(error, ERROR, ERROR_UPPER * up)
    if share < by_charge - TOO_LITTLE * sigma:
        return 0.0  # something else takes delivery away
    odds = ((share - by_switch) ** 2 - (share - by_charge) ** 2) / (2.0 * sigma**2)
    return min(max(odds, -MOST), MOST)


def met_chance(run: Run) -> float:
    """Chance that a sample in the run meets the leap which follows a collapse."""
    return met_each(run.pressure_s or run.interval_s)


def met_each(every_s: float) -> float:
    """Likewise of samples so far apart."""
    return min(LEAPS_S / max(every_s, LEAPS_S), MOST_MET)


def unmet_odds(lows: Sequence[Low], foot_pa: float) -> float:
    """Log of the odds of a switch over a charge, by runs of which none goes below a pressure."""
    if any(one.low_pa < foot_pa for one in lows):
        return 0.0
    return -sum(log(1.0 - one.met) for one in lows)


def scatter_error(shares: Sequence[float], clean_scatter: float) -> float:
    """Standard error of the median of shares of a figure: of a few the scatter is chance, and is taken for no
    less than the clean ones had."""
    middle = median(shares)
    own = OF_A_MAD * median([abs(one - middle) for one in shares])
    return OF_A_MEDIAN * max(own, clean_scatter * middle, LEAST_SIGMA) / sqrt(len(shares))


def delivery_odds(briefs: Sequence[Brief], up: float, known: Known) -> float:
    """`charge_odds` by what these runs, which begin `up` (a share of the band) above the usual, deliver over
    what clean ones did."""
    clean = known.signature.clean
    for name in ("delivery_m3_s", "kink_m3_s", "delivery_start_m3_s"):
        shares = [share for one in briefs if (share := getattr(one, name)) is not None]
        if name in clean and clean[name].middle > 0.0 and len(shares) >= FEWEST - 1 and known.water.true:
            break
    else:
        return 0.0
    base = clean[name]
    shares = [share / base.middle for share in shares]
    share, scatter = median(shares), base.sigma / base.middle
    base_error = share * OF_A_MEDIAN * scatter / sqrt(max(known.signature.learned_runs, 1))
    error = hypot(scatter_error(shares, scatter), base_error)
    return charge_odds(share, error, up, known.usual, known.water)


def _foot(seen: Seen) -> float:
    """Where the run surely began, a share of the band: a draw that begins just before the start makes the
    rest seem to end further up, and the first word in the run lies up to a spacing after its start."""
    return min(seen.up or 0.0, (seen.low or 0.0) - seen.interval_s / max(seen.run_s, 1.0))


def stand_on_charge(runs: Sequence[Seen], known: Known) -> float | None:
    """Log of the odds that these runs begin at a charge above cut-in; None where they do not begin further
    up, or too few were seen finely enough."""
    usual, clean = known.usual, known.signature.clean.get("start_pa")
    told = (one for one in runs if one.apparent is not None and one.top is not None)
    seen = [one for one in told if one.up is not None and one.low is not None]
    if len(seen) < max(FEWEST, 0.8 * len(runs)) or not usual.learned or clean is None:
        return None
    ups = sorted(_foot(one) for one in seen)
    up, top = median(ups), median([one.top or 0.0 for one in seen])
    error = SIGMAS * OF_A_MEDIAN / sqrt(len(ups)) * clean.sigma / usual.band_pa
    if up < max(UP, error) or ups[len(ups) // 10] < LEAST_UP or abs(top) > TOP * up:
        return None
    switch = known.plant.switch
    if switch and abs(usual.start_pa + up * usual.band_pa - switch.cut_in_pa) < AT_CUT_IN * usual.band_pa:
        return None
    shares = [one.apparent or 0.0 for one in seen]
    best = best_delivery(known.signature.clean)
    trait = known.signature.clean[best] if best is not None else None
    scatter = trait.sigma / trait.middle if trait is not None and trait.middle > 0.0 else 0.0
    odds = charge_odds(median(shares), scatter_error(shares, scatter), up, usual, known.water)
    since = _began_up(known, 0.5 * up)
    if len(since) > len(runs):  # five of many that say so are five that were looked for
        odds = min(odds, delivery_odds(since, up, known))
    lows = [
        Low(0.0, usual.start_pa + (one.low or 0.0) * usual.band_pa, met_each(one.interval_s)) for one in seen
    ]
    unmet = unmet_odds(lows, usual.start_pa + 0.5 * up * usual.band_pa)
    return odds - min(unmet, NO_DIPS)


def _began_up(known: Known, least: float) -> list[Brief]:
    """The newest runs, since the last that began less than so much of the band above the usual cut-in."""
    recent, usual = known.signature.recent, known.usual
    low = [at for at, one in enumerate(recent) if one.start_pa - usual.start_pa < least * usual.band_pa]
    return recent[low[-1] + 1 :] if low else recent[:]
