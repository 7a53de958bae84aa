"""Delivery that falls away: how far, since when, and whether filter or pump is to blame.

Delivery of a run is the slope of tank water plus the demand; demand that comes and goes within a run
hides some of it, and can only hide. So the upper quartile of the newest runs is compared with the
upper quartile of the clean ones, and the kink at the start must bear it out: both have to fall.

Who is to blame. Across the filter the drop goes with Q^2 times the filter's resistance, so drop / Q^2
over its clean value is the clog itself. Without an outlet gauge the motor's power: a throttled pump
moves down its own flow-power curve (about a quarter of the loss in flow), a worn or slowed one loses
power as it loses flow. Without either, the ratio of delivery at cut-out to that at cut-in is a weak
witness (a clog leaves it, wear lowers it).

Parameters. Loss must pass LEAST (15 %) and SIGMAS (4) standard errors of the difference of quartiles,
in three runs (two where a quarter is gone) one after the other: with some 50 runs a day judged on 6 (eight independent looks a
day), one-sided 4 sigma is wrong once in some 20 plant-years.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.signature import Trait
    from analytics.watch import Known

LEAST = 0.15
SIGMAS = 4.0
LAST = 6
#: Drop over flow squared, times its clean value, that convicts the filter. Drop is measured to some 3 %,
#: flow to 8 %: six runs' median is good to 8 %.
CLOG_DROP = 1.5
WEAR_DROP = 1.2
POWER_SPLIT = 0.5  # between a clog's 0.26 and a worn pump's 0.96 (trial figures)


@dataclass(frozen=True, slots=True)
class Decline:
    left: float  # delivery over its clean value
    sure: bool  # beyond doubt in this look
    clog: float  # how much speaks for the filter, 0 to 1
    drop: float | None  # filter resistance over its clean value


def decline(known: Known) -> Decline | None:
    clean = known.signature.clean
    base = clean.get("delivery_m3_s")
    now = known.signature.now("delivery_m3_s", LAST)
    if base is None or now is None or base.upper <= 0.0:
        return None
    left = now.upper / base.upper
    start_base, start_now = clean.get("delivery_start_m3_s"), known.signature.now("delivery_start_m3_s", LAST)
    if start_base is not None and start_now is not None and start_base.sigma < 0.2 * start_base.middle:
        left = max(left, start_now.upper / start_base.upper)
    sigma = max(base.sigma, 0.04 * base.middle) / base.middle
    loss = max(LEAST, SIGMAS * 1.4 * sigma / LAST**0.5)
    drop = _resistance(known, clean)
    if drop is not None and drop > 2.0 and left < 0.97:
        return Decline(left, True, 1.0, drop)
    return Decline(left, left < 1.0 - loss, _clog(known, left, drop), drop)


def _resistance(known: Known, clean: dict[str, Trait]) -> float | None:
    """Filter drop over flow squared, times its clean value."""
    base, now = clean.get("filter_drop_pa"), known.signature.now("filter_drop_pa", LAST)
    flow, flow_now = clean.get("delivery_m3_s"), known.signature.now("delivery_m3_s", LAST)
    if base is None or now is None or flow is None or flow_now is None or base.middle <= 0.0:
        return None
    if base.middle < 3.0 * max(base.sigma, 300.0):
        return None
    return now.middle / base.middle * (flow.upper / flow_now.upper) ** 2


def _clog(known: Known, left: float, drop: float | None) -> float:
    if known.plant.filter is None or known.plant.filter.position != "before_tank":
        return 0.0
    if drop is not None:
        return 1.0 if drop > CLOG_DROP else 0.0 if drop < WEAR_DROP else 0.5
    clean = known.signature.clean
    base, now = clean.get("motor_level"), known.signature.now("motor_level", LAST)
    if base is not None and now is not None and left < 0.9:
        share = (1.0 - now.middle / base.middle) / (1.0 - left)
        if _measures_power(known):
            return 0.9 if share < POWER_SPLIT else 0.1
    stop_base, stop_now = clean.get("delivery_stop_m3_s"), known.signature.now("delivery_stop_m3_s", LAST)
    in_base, in_now = clean.get("delivery_start_m3_s"), known.signature.now("delivery_start_m3_s", LAST)
    if stop_base and stop_now and in_base and in_now:
        shape = (stop_now.middle / in_now.middle) / (stop_base.middle / in_base.middle)
        return 0.35 if shape < 0.88 else 0.65
    return 0.6  # a filter clogs by the month, a pump wears by the year


def _measures_power(known: Known) -> bool:
    from analytics.motor import motor_signal
    from analytics.plant.description import Measure

    position = motor_signal(known.plant)
    return position is not None and known.plant.signals[position].measures is Measure.PUMP_POWER
