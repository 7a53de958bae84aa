"""Whether an end of the switch has moved: by the newest runs that agree on where it is now.

A switch repeats, and nothing else does that ends a run. A hand at the breaker, a power cut or a wild word
puts one end anywhere, and the next run is back where it was, or elsewhere again. So an end has moved where
the newest runs, since the last that ended where it used to, agree on another pressure m:

    n >= AGREE, and more than half of them, lie within half of the limit of their median m
    |m - clean| >= limit,    limit = max(MOVED of the band, SIGMAS standard errors of a median of n)

Some runs say nothing of an end, neither for the old place nor for another. A stop elsewhere at which the tank
was not filling, and after which the next run did not begin at cut-in: a switch acts on rising pressure, and
closes at cut-in again; a clock, a hand, a relief valve or the pump's shut-off head do neither. A start above
the lowest pressure of its run: a draw just before makes rests seem to end higher. And an end that may only
seem to lie there because samples missed it:

    a stop    by what pressure rises from one to the next: seen too low now, or in the lesson
    a start   by what falls in the rest before it (`setting.falls`); where that rest or the run itself has
              fewer than setting.MET samples, as where a tank has lost its air, by what fills or empties it
              from one to the next

Of stops that are all seen so low a quarter of the lesson's are not (its lower quartile lies near): MANY in a
row are chance once in 10^7, and outlast a garden's habits (`ends.LASTS_US`).

Where both ends lie off by the same, as much as a gauge's zero may be (GAUGE_PA) is none of the switch's.

Parameters:
    MOVED 0.10   of the band: switches repeat to a few hundredths (common practice, no source)
    SIGMAS 5     with AGREE 3 runs 3.6 deviations of one: two of three beyond by chance, the third beyond half
                 of it on the same side, is 3e-9 a run, one in 5000 plant-years of 50 runs a day. Hands: three
                 stops in a row between half of the band and its upper tenth lie within a tenth of one another
                 once in six; of a plant stopped so once in 350 runs three in a row are one in 2000 years
    LAST 6       of the newest, so that a slow move is one place; MANY 12, KEPT 24
    GAUGE_PA     2 psi, 2 % of a small gauge's 100 (`setting.MOST`)

Source: none; arithmetic of medians.
"""

from __future__ import annotations

from math import copysign, sqrt
from statistics import median
from typing import TYPE_CHECKING

import msgspec

from analytics.judging.charge_or_switch import OF_A_MEDIAN, met_chance
from analytics.judging.ends import LASTS_US, still_filled
from analytics.judging.setting import MET

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.reference import Reference
    from analytics.judging.trait import Trait
    from analytics.seeing.events import Rest, Run

MOVED, SIGMAS = 0.10, 5.0
AGREE, LAST, MANY, KEPT = 3, 6, 12, 24
GAUGE_PA = 13_790.0
SETTLES_US = 2_000_000  # what a stop by the pressure and one by the motor lie apart


class Acted(msgspec.Struct):
    """Where the switch began and ended a run [Pa]. Plain data.

    low     the lowest pressure in the run
    met     the chance that samples would have met a collapse from a charge above cut-in to it
    opened  whether the switch stopped it: the tank was filling then, or the next run began at cut-in
    unseen  share of the band that may go by from one sample to the next
    """

    start_us: int
    stop_us: int
    start: float
    stop: float
    low: float | None
    met: float
    opened: bool
    unseen: float = 0.0


class Agreed(msgspec.Struct, frozen=True):
    """How far an end has moved [Pa], how far it may, and the runs since, the first of them beyond doubt."""

    off: float
    limit: float
    since: list[Acted]


def acted(run: Run, usual: Reference) -> Acted | None:
    """None where pressure does not tell both."""
    start_pa, stop_pa = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
    if start_pa is None or stop_pa is None:
        return None
    opened = run.slope_last_m3_s is None or still_filled(run, usual)
    cycle = run.cycle
    low_pa, met = run.pressure_low_pa, met_chance(run)
    return Acted(cycle.start_us, cycle.stop_us, start_pa, stop_pa, low_pa, met, opened, _unseen(run))


def _unseen(run: Run) -> float:
    """Of the shorter of rest and run, what lies between two samples; nothing where it has MET of them."""
    every_s, run_s, rest_s = run.pressure_s or run.interval_s, run.cycle.run_time_s, run.cycle.rest_before_s
    shorter_s = max(run_s if rest_s is None else min(run_s, rest_s), 1.0)
    return 0.0 if round(shorter_s / every_s) >= MET else min(every_s / shorter_s, 1.0)


def take(runs: list[Acted], one: Acted, run: Run, usual: Reference) -> list[Acted]:
    """The newest, with one more. Where the run just before it filled nothing at its end, a start at cut-in
    shows that the switch had opened."""
    if runs and not runs[-1].opened and _follows(run, runs[-1]):
        at_cut_in = abs(one.start - usual.start_pa) < 0.5 * MOVED * usual.band_pa
        runs = [*runs[:-1], msgspec.structs.replace(runs[-1], opened=at_cut_in)]
    return [*runs, one][-KEPT:]


def rested(runs: list[Acted], rest: Rest) -> list[Acted]:
    """The same, the newest with what its rest began at: no water comes in then, so that the switch stopped it
    there or further up."""
    from_pa = rest.pressure_from_pa
    if not runs or from_pa is None or not rest.entire or rest.from_us != rest.stop_us:
        return runs
    every_us = (rest.to_us - rest.from_us) // max(rest.samples, 1)
    if abs(rest.stop_us - runs[-1].stop_us) > every_us + SETTLES_US or from_pa <= runs[-1].stop:
        return runs
    return [*runs[:-1], msgspec.structs.replace(runs[-1], stop=from_pa)]


def _follows(run: Run, before: Acted) -> bool:
    """Whether no run lies between the two, as nearly as words tell a stop."""
    return run.before_us is not None and abs(run.before_us - before.stop_us) <= 1e6 * run.interval_s


def limit_pa(sigma: float, band: float, runs: int = AGREE) -> float:
    return max(MOVED * band, SIGMAS * OF_A_MEDIAN / sqrt(runs) * sigma)


def gauge_pa(runs: Sequence[Acted], low: Trait, high: Trait) -> float:
    """By how much both ends of the newest runs lie off the same way, as far as a gauge's zero may be off."""
    start = median(one.start for one in runs[-AGREE:]) - low.middle
    stop = median(one.stop for one in runs[-AGREE:]) - high.middle
    return copysign(min(abs(start), abs(stop), GAUGE_PA), start) if start * stop > 0.0 else 0.0


def with_gauge(side: Agreed | None, gauge: float) -> Agreed | None:
    return None if side is None else msgspec.structs.replace(side, off=side.off + gauge)


def start_off(one: Acted, clean: Trait, half: float, missed: float) -> float | None:
    """How far a start lies from where it was; None where it says nothing of that."""
    off = one.start - clean.middle
    if abs(off) < half:
        return off
    hidden = off > 0.0 and one.low is not None and one.low < one.start - half
    return None if hidden or abs(off) < missed else off


def stop_off(one: Acted, clean: Trait, half: float, missed: float) -> float | None:
    """Likewise of a stop."""
    off = one.stop - clean.middle
    return off if abs(off) < half or (one.opened and abs(off) >= missed) else None


def stops_off(runs: Sequence[Acted], clean: Trait, half: float, missed: float) -> list[float | None]:
    """Likewise of the newest stops. Lower ones that samples may have missed say it together: MANY in a row
    that all were missed, of which a quarter of the lesson's were not."""
    offs = [stop_off(one, clean, half, missed) for one in runs]
    told = [at for at, off in enumerate(offs) if off is not None]
    since = runs[told[-1] + 1 :] if told else runs
    if len(since) < MANY or since[-1].start_us - since[0].start_us < LASTS_US:
        return offs
    if clean.middle - clean.lower >= half:
        return offs
    lower = (stop_off(one, clean, half, 0.0 if one.stop < clean.middle else missed) for one in since)
    return [*offs[: -len(since)], *lower]


def agreed(runs: Sequence[Acted], offs: Sequence[float | None], sigma: float, band: float) -> Agreed | None:
    """What the newest runs, since the last at the old place, agree on; None where that is no move."""
    half = 0.5 * limit_pa(sigma, band)
    old = [at for at, off in enumerate(offs) if off is not None and abs(off) < half]
    since = old[-1] + 1 if old else 0
    told = [(at, off) for at, off in enumerate(offs) if at >= since and off is not None]
    if len(told) < AGREE:
        return None
    middle = median(off for _, off in told[-LAST:])
    alike = [at for at, off in told[-LAST:] if abs(off - middle) <= half]
    limit = limit_pa(sigma, band, max(len(alike), AGREE))
    if len(alike) < AGREE or 2 * len(alike) <= len(told[-LAST:]) or abs(middle) < limit:
        return None
    return Agreed(middle, limit, list(runs[told[0][0] :]))
