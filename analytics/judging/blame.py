"""Filter or pump: which of the two a loss of delivery is to be laid to.

The drop across the filter goes with Q^2 times its resistance, so drop / Q^2 over its clean value is the
clog itself. The motor's power: a throttled pump moves down its own flow-power curve (about a quarter of
the loss in flow), a worn or slowed one loses power as it loses flow. The shape: a clog lowers delivery at
cut-in and cut-out alike; wear lowers the shut-off head H0, so that, with H0 from the clean ratio of the
two, the loss at cut-in foretells a larger one at cut-out. Evidence is added up as log-likelihood ratios
over a prior of three to one for the filter: filters clog by the month, pumps wear by the year.

Source: quadratic curves, common practice, no source; shares of power from trial figures.
"""

from __future__ import annotations

from math import exp, hypot, log, sqrt
from typing import TYPE_CHECKING

from analytics.judging.signature import EACH, KEPT, LATELY, OF_A_MEDIAN
from analytics.plant.description import Measure
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from analytics.judging.signature import Signature
    from analytics.judging.trait import Trait
    from analytics.judging.watch import Known
    from analytics.plant.description import Plant

#: Drop over flow squared, times its clean value, that convicts the filter. Drop is measured to some 3 %,
#: flow to 5 %: eight runs' median is good to 5 %.
CLOG_DROP, CLOG_SURE = 1.5, 2.0
#: And a rise that no gauge's zero makes: 0.5 psi, half a percent of a usual gauge's range.
DROP_LEAST_PA = 3_500.0
#: Beyond its scatter by so much: 3e-7 a look, as of delivery (`judging.beyond_doubt`). Least of two gauges.
DROP_Z, DROP_ROUGH_PA = 5.0, 300.0
#: Newest runs whose median it is: of the fewest three are enough, since no demand hides in it, and of more it
#: is surer.
DROP_RUNS = (5, LATELY, KEPT)
#: A filter that is clogging spreads the newest drops, and their scatter says nothing against it. So of the
#: newest EACH the least is asked for, beyond EACH_Z of what one clean run scatters by: three in a row by
#: chance once in 4e8.
EACH_Z = 3.0
PRIOR = 1.1  # log of three to one
#: Loss of power over loss of flow: 0.26 for a clog, 0.96 for wear (trial figures), scatter a quarter.
POWER_CLOG, POWER_WEAR, POWER_SIGMA = 0.26, 0.96, 0.25
POWER_ROUGH = 0.02  # of power: mains go up and down by some percent (common practice, no source)
#: No single witness weighs more; the shape, which rests on a shut-off head that is itself worked out of two
#: kinks, half as much, and is not asked where a power meter tells: taps that open as the pump starts bend it.
MOST, MOST_BY_SHAPE = 4.0, 2.0


def _clean_drop(signature: Signature) -> tuple[Trait, float, float] | None:
    """The clean drop, the least that it is taken for, and its median's error; None where nobody knows."""
    # of the lesson and its first runs whichever is the cleaner: a filter may clog within the lesson
    found = [
        (drop, runs)
        for traits, runs in ((signature.clean, signature.learned_runs), (signature.first, LATELY))
        if (drop := traits.get("filter_drop_pa")) is not None
    ]
    if not found:
        return None
    base, runs = min(found, key=lambda one: one[0].middle)
    doubt = OF_A_MEDIAN * max(base.sigma, DROP_ROUGH_PA) / max(runs, 1) ** 0.5
    # of gauges that are off at zero, no less than can be told
    return base, max(base.middle, 3.0 * doubt), doubt


def risen_drop_pa(signature: Signature) -> float | None:
    """The least of the newest EACH runs' drops, where all of them are beyond what clean ones reach.

    A line gauge that has shifted shows the pump's stops lower by as much as the drop higher: that much does
    not count.
    """
    clean, stop = _clean_drop(signature), signature.clean.get("stop_pa")
    if clean is None or stop is None or len(signature.drops_pa) < EACH:
        return None
    base, clean_pa, _ = clean
    least_pa = min(drop_pa - max(stop.middle - stop_pa, 0.0) for drop_pa, stop_pa in signature.drops_pa)
    beyond_pa = max(DROP_LEAST_PA, EACH_Z * max(base.sigma, DROP_ROUGH_PA))
    return least_pa if least_pa - clean_pa > beyond_pa else None


def resistance(known: Known, left: float) -> float | None:
    """Filter drop over flow squared, times its clean value.

    None where it seems to be more than CLOG_DROP and has not risen beyond its own scatter: the newest runs
    of a filter that has just clogged look so, and so does an odd one, which acquits no filter.
    """
    signature = known.signature
    clean = _clean_drop(signature)
    if clean is None or left <= 0.0:
        return None
    base, clean_pa, doubt = clean
    risen_pa = risen_drop_pa(signature)
    if risen_pa is not None and risen_pa / clean_pa / left**2 > CLOG_SURE:
        return risen_pa / clean_pa / left**2
    told: float | None = None
    for newest in DROP_RUNS:
        now = signature.now("filter_drop_pa", newest)
        if now is None:
            continue
        share = float(now.middle / clean_pa / left**2)
        if now.upper <= clean_pa + DROP_LEAST_PA:
            # what a clog takes from the flow it adds to the drop: where few runs even show more, it is none,
            # though the flow may read low by chance
            share = min(share, 1.0)
        count = sum(brief.filter_drop_pa is not None for brief in signature.recent[-newest:])
        error = hypot(doubt, OF_A_MEDIAN * max(base.sigma, now.sigma) / count**0.5)
        if share > 1.0 and now.middle - clean_pa * left**2 >= max(DROP_LEAST_PA, DROP_Z * error):
            return share
        if told is None and base.middle >= 3.0 * max(base.sigma, DROP_ROUGH_PA):
            told = share
    return told if told is None or told < CLOG_DROP else None


def tells_a_level(plant: Plant) -> bool:
    """Whether the motor's signal says how much it works, and not only that it runs."""
    position = motor_signal(plant)
    return position is not None and plant.signals[position].measures is not Measure.PUMP_RUNNING


def has_power_meter(plant: Plant) -> bool:
    position = motor_signal(plant)
    return position is not None and plant.signals[position].measures is Measure.PUMP_POWER


def works_less(known: Known, runs: int, hourly: bool) -> float:
    """Standard errors, mains' ups and downs among them, by which the motor works less than in clean runs."""
    base, now = known.signature.clean.get("motor_level"), known.signature.now("motor_level", runs, hourly)
    if not tells_a_level(known.plant) or base is None or now is None:
        return 0.0
    lessons = base.sigma / sqrt(max(known.signature.learned_runs, 1))
    error = OF_A_MEDIAN * hypot(lessons, max(base.sigma, now.sigma) / sqrt(runs)) / base.middle
    return (1.0 - now.middle / base.middle) / hypot(error, POWER_ROUGH)


def filter_share(
    known: Known, left: float, drop: float | None, error: float = 0.05, level: float | None = None
) -> float:
    """How probable the filter is, of filter and pump.

    error: standard error of `left`. level: of the motor, over its clean one, where runs are only counted.
    """
    fitted = known.plant.filter
    if fitted is None or fitted.position != "before_tank":
        return 0.0
    if drop is not None:
        return 0.98 if drop > CLOG_DROP else 0.02
    motor = _by_power(known, left, error, level) if has_power_meter(known.plant) else _by_shape(known)
    return 1.0 / (1.0 + exp(-PRIOR - motor - _by_rough_drop(known, left)))


def stands(known: Known) -> bool:
    """Whether a loss was told: then delivery itself must be back."""
    return known.is_open("clogged_filter") or known.is_open("pump_wear")


def clog_share(
    known: Known, sure: bool, left: float, drop: float | None, error: float, level: float | None = None
) -> float:
    """`filter_share` where a loss is sure or stands; else nobody asks which it is, and nothing speaks for
    either."""
    if sure or stands(known):
        return filter_share(known, left, drop, error, level)
    return 0.5


def borne_out(known: Known, left: float, error: float, runs: int, hourly: bool) -> float:
    """Log-likelihood ratio of such a loss over none, by the motor's power in the same runs; 0 where no meter
    tells it.

    A filter costs some power and a worn pump much: each counts by how probable it is without the meter.
    """
    base, now = known.signature.clean.get("motor_level"), known.signature.middle("motor_level", runs, hourly)
    if not has_power_meter(known.plant) or base is None or now is None or left >= 1.0:
        return 0.0
    lost, loss = 1.0 - now / base.middle, 1.0 - left
    rough = max(base.sigma / base.middle, POWER_ROUGH)
    sigma = hypot(POWER_SIGMA * loss, POWER_WEAR * error, rough)
    clog = _without_power(known, left)
    some = clog * _density(lost, POWER_CLOG * loss, sigma) + (1.0 - clog) * _density(
        lost, POWER_WEAR * loss, sigma
    )
    return min(max(log(some / _density(lost, 0.0, rough)), -MOST), MOST)


def _without_power(known: Known, left: float) -> float:
    """How probable the filter is by all but the motor."""
    fitted, drop = known.plant.filter, resistance(known, left)
    if fitted is None or fitted.position != "before_tank":
        return 0.0
    if drop is not None:
        return 0.98 if drop > CLOG_DROP else 0.02
    return 1.0 / (1.0 + exp(-PRIOR - _by_shape(known) - _by_rough_drop(known, left)))


def _density(seen: float, foretold: float, sigma: float) -> float:
    """Of a normal error, its constant left out; a wild word's is never less than one in a million's."""
    return max(exp(-0.5 * ((seen - foretold) / sigma) ** 2), 1e-6) / sigma


def _by_rough_drop(known: Known, left: float) -> float:
    """Log-likelihood ratio, filter over pump, from a drop that is too rough to convict or acquit.

    Of a worn pump it is the clean one's share left^2, and through a clogged filter more than the clean one.
    """
    clean = known.signature.clean.get("filter_drop_pa")
    ratios = []
    for newest in DROP_RUNS:
        now = known.signature.now("filter_drop_pa", newest)
        if clean is None or now is None:
            continue
        count = sum(brief.filter_drop_pa is not None for brief in known.signature.recent[-newest:])
        sigma = max(clean.sigma, now.sigma, DROP_ROUGH_PA)
        error = (
            OF_A_MEDIAN * sigma * hypot(1.0 / count**0.5, 1.0 / max(known.signature.learned_runs, 1) ** 0.5)
        )
        clogged = max(now.middle, clean.middle + DROP_LEAST_PA)
        ratios.append(_ratio(now.middle, clogged, clean.middle * min(left, 1.0) ** 2, error))
    return max(ratios, key=abs, default=0.0)


def _by_power(known: Known, left: float, error: float, level: float | None) -> float:
    """Log-likelihood ratio, filter over pump, from the motor's power."""
    if not has_power_meter(known.plant):
        return 0.0
    rough = POWER_ROUGH
    base, now = known.signature.clean.get("motor_level"), known.signature.middle("motor_level", LATELY)
    if level is None and base is not None and now is not None:
        level, rough = now / base.middle, max(base.sigma / base.middle, POWER_ROUGH)
    if level is None or left >= 1.0:
        return 0.0
    lost, loss = 1.0 - level, 1.0 - left
    sigma = hypot(POWER_SIGMA * loss, POWER_WEAR * error, rough)
    return _ratio(lost, POWER_CLOG * loss, POWER_WEAR * loss, sigma)


def _by_shape(known: Known) -> float:
    """Log-likelihood ratio, filter over pump, from delivery at cut-out over that at cut-in."""
    clean, lately = known.signature.clean, known.signature.now
    start, stop = clean.get("delivery_start_m3_s"), clean.get("delivery_stop_m3_s")
    start_now, stop_now = lately("delivery_start_m3_s", LATELY), lately("delivery_stop_m3_s", LATELY)
    low, high = clean.get("start_pa"), clean.get("stop_pa")
    if not (start and stop and low and high) or start_now is None or stop_now is None:
        return 0.0
    steep = stop.middle / start.middle
    lost = start_now.middle / start.middle
    if not (0.0 < steep < 0.98 and 0.0 < lost < 1.0):
        return 0.0
    shut_off = (high.middle - steep**2 * low.middle) / (1.0 - steep**2)
    worn = low.middle + (shut_off - low.middle) * lost**2
    foretold = (max(worn - high.middle, 0.0) / (shut_off - high.middle)) ** 0.5 / lost
    shape = (stop_now.middle / start_now.middle) / steep
    at_start = max(start.sigma, start_now.sigma) / start.middle  # taps that open and close as it starts
    rough = hypot(at_start, max(stop.sigma, stop_now.sigma) / stop.middle, 0.03)
    sigma = hypot(1.25 * rough / LATELY**0.5, 0.05)
    return _ratio(shape, 1.0, min(foretold, 0.97), sigma, MOST_BY_SHAPE)


def _ratio(seen: float, by_clog: float, by_wear: float, sigma: float, most: float = MOST) -> float:
    ratio = ((seen - by_wear) ** 2 - (seen - by_clog) ** 2) / (2.0 * sigma**2)
    return min(max(ratio, -most), most)
