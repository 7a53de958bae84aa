"""Delivery that falls away: how far, and whether filter or pump is to blame.

Delivery is taken by the kinks at both ends of a run, which are free of demand, or mid-run where those
are too rough (slow sampling); whichever has scattered less in the clean signature. The mid-run figure
misses demand that comes and goes within a run, and can only read low by it: there the upper quartile
of the newest runs is compared, not their median.

Who is to blame. The drop across the filter goes with Q^2 times its resistance, so drop / Q^2 over its
clean value is the clog itself. The motor's power: a throttled pump moves down its own flow-power curve
(about a quarter of the loss in flow), a worn or slowed one loses power as it loses flow. The shape: a
clog lowers delivery at cut-in and cut-out alike; wear lowers the shut-off head H0, so that, with H0
from the clean ratio of the two, the loss at cut-in foretells a larger one at cut-out. Evidence is added
up as log-likelihood ratios over a prior of three to one for the filter: filters clog by the month,
pumps wear by the year.

Parameters. A loss must pass LEAST (13 %) and SIGMAS (4.5) standard errors of the difference between the
newest LAST runs and the clean ones, by median and by upper quartile, three times in a row (twice where
a quarter is gone): with some 50 runs a day, six independent looks a day, one-sided 4.5 sigma is wrong
once in a hundred plant-years. SIGMA_LEAST 4 %: kinks at 1 s sampling.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, hypot, sqrt
from typing import TYPE_CHECKING

from analytics.judging.signature import best_delivery
from analytics.plant.description import Measure
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from analytics.judging.watch import Known

LEAST = 0.13
#: A run of a few samples does not show what comes and goes within it: runs of household and of garden
#: differ by a fifth then.
COARSE_S, LEAST_COARSE = 15.0, 0.25
#: Two samples that both lie within a run for sure are an interval from either edge and one from another.
SEEN_INTERVALS = 3.0
#: Present from the first row: against the plant file's rating, in water that is counted by the tank's size.
#: A tank taken for the next one up in the trade's row (20, 32, 44, 62, 86 gal; common practice, no
#: source) shows 0.69 of the flow, and a rating is good to a tenth: below 0.62 neither explains it.
#: Quickly filled, air warms and flows look a tenth larger (exponent 1.1 to 1.2).
FROM_FIRST, FIRST_RUNS, WARMED, SHUT_OFF = 0.62, 12, 1.10, 1.5
SIGMAS = 4.5
LAST = 8
SIGMA_LEAST = 0.04
#: Drop over flow squared, times its clean value, that convicts the filter. Drop is measured to some 3 %,
#: flow to 5 %: eight runs' median is good to 5 %.
CLOG_DROP = 1.5
CLOG_SURE = 2.0
PRIOR = 1.1  # log of three to one
#: Loss of power over loss of flow: 0.26 for a clog, 0.96 for wear (trial figures), scatter a quarter.
POWER_CLOG, POWER_WEAR, POWER_SIGMA = 0.26, 0.96, 0.25
MOST = 4.0  # no single witness weighs more


@dataclass(frozen=True, slots=True)
class Decline:
    left: float  # delivery over its clean value
    sure: bool  # beyond doubt in this look
    clog: float  # how much speaks for the filter, 0 to 1
    drop: float | None  # filter resistance over its clean value


def decline(known: Known, interval_s: float = 1.0) -> Decline | None:
    """None while there is nothing clean to compare with, or too few runs.

    interval_s: how finely the newest runs were seen.
    """
    clean = known.signature.clean
    best = best_delivery(clean)
    others = [name for name in ("kink_m3_s", "delivery_m3_s") if name in clean and name != best]
    told = [name for name in (best, *others) if name is not None and known.signature.now(name, LAST)]
    name = told[0] if told else None  # the newest runs may lack the best of them
    if name is None or known.signature.learned_runs < FIRST_RUNS:
        return None
    base, now = clean[name], known.signature.now(name, LAST)
    if now is None:
        return None
    runs = known.signature.now("run_time_s", LAST)
    if interval_s >= COARSE_S and (runs is None or runs.middle < SEEN_INTERVALS * interval_s):
        return None
    rated = rated_m3_s(known, name)
    if rated is not None and base.middle < FROM_FIRST * rated:  # it never was clean
        sure = now.upper < FROM_FIRST * rated
        return Decline(now.middle / rated, sure, _filter_share(known, 1.0, None), None)
    if known.signature.learned_us is None:
        return None
    left = now.upper / base.upper
    if name == "kink_m3_s":
        left = max(left, now.middle / base.middle)  # a tap in the kink's window spoils it either way
    sigma = max(base.sigma / base.middle, SIGMA_LEAST)
    loss = max(LEAST if interval_s < COARSE_S else LEAST_COARSE, SIGMAS * 1.25 * sigma / LAST**0.5)
    drop = _resistance(known, left)
    sure = left < 1.0 - loss or (drop is not None and drop > CLOG_SURE and left < 0.97)
    return Decline(left, sure, _filter_share(known, left, drop), drop)


def rated_m3_s(known: Known, name: str) -> float | None:
    """What the plant file lets the slope of tank water show when new, in a trait of delivery."""
    rated, switch, clean = known.plant.pump.rated_flow_m3_s, known.plant.switch, known.signature.clean
    if rated is None or switch is None or not known.water.true:
        return None
    seen_pa = 0.5 * (switch.cut_in_pa + switch.cut_out_pa)
    if "start_pa" in clean and "stop_pa" in clean:
        seen_pa = 0.5 * (clean["start_pa"].middle + clean["stop_pa"].middle)
        if name == "delivery_start_m3_s":
            seen_pa = clean["start_pa"].middle
    head = SHUT_OFF * switch.cut_out_pa
    return WARMED * rated * sqrt(max(head - seen_pa, 0.0) / (head - switch.cut_in_pa))


def _resistance(known: Known, left: float) -> float | None:
    """Filter drop over flow squared, times its clean value."""
    base, now = known.signature.clean.get("filter_drop_pa"), known.signature.now("filter_drop_pa", LAST)
    if base is None or now is None or base.middle < 3.0 * max(base.sigma, 300.0) or left <= 0.0:
        return None
    return now.middle / base.middle / left**2


def _filter_share(known: Known, left: float, drop: float | None) -> float:
    """How probable the filter is, of filter and pump."""
    fitted = known.plant.filter
    if fitted is None or fitted.position != "before_tank":
        return 0.0
    if drop is not None:
        return 0.98 if drop > CLOG_DROP else 0.02
    odds = PRIOR + _by_power(known, left) + _by_shape(known)
    return 1.0 / (1.0 + exp(-odds))


def _by_power(known: Known, left: float) -> float:
    """Log-likelihood ratio, filter over pump, from the motor's power."""
    position = motor_signal(known.plant)
    if position is None or known.plant.signals[position].measures is not Measure.PUMP_POWER or left > 0.92:
        return 0.0
    base, now = known.signature.clean.get("motor_level"), known.signature.now("motor_level", LAST)
    if base is None or now is None:
        return 0.0
    share = (1.0 - now.middle / base.middle) / (1.0 - left)
    return _ratio(share, POWER_CLOG, POWER_WEAR, POWER_SIGMA)


def _by_shape(known: Known) -> float:
    """Log-likelihood ratio, filter over pump, from delivery at cut-out over that at cut-in."""
    clean, lately = known.signature.clean, known.signature.now
    start, stop = clean.get("delivery_start_m3_s"), clean.get("delivery_stop_m3_s")
    start_now, stop_now = lately("delivery_start_m3_s", LAST), lately("delivery_stop_m3_s", LAST)
    low, high = clean.get("start_pa"), clean.get("stop_pa")
    if not (start and stop and start_now and stop_now and low and high):
        return 0.0
    steep = stop.middle / start.middle
    lost = start_now.middle / start.middle
    if not (0.0 < steep < 0.98 and 0.0 < lost < 1.0):
        return 0.0
    shut_off = (high.middle - steep**2 * low.middle) / (1.0 - steep**2)
    worn = low.middle + (shut_off - low.middle) * lost**2
    foretold = (max(worn - high.middle, 0.0) / (shut_off - high.middle)) ** 0.5 / lost
    shape = (stop_now.middle / start_now.middle) / steep
    rough = hypot(start.sigma / start.middle, stop.sigma / stop.middle, 0.03)
    sigma = hypot(1.25 * rough / LAST**0.5, 0.05)
    return _ratio(shape, 1.0, min(foretold, 0.97), sigma)


def _ratio(seen: float, by_clog: float, by_wear: float, sigma: float) -> float:
    ratio = ((seen - by_wear) ** 2 - (seen - by_clog) ** 2) / (2.0 * sigma**2)
    return min(max(ratio, -MOST), MOST)
