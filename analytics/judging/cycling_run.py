"""What short cycling looks at in one pump run.

A run counts that began and was ended by the switch: one that starts well above cut-in without a leap is a
motor signal that lies, one that stops far from cut-out is somebody's hand or a power cut. Start and stop
are told to the interval of the samples: a run is short where it is so by more than that.

Apparent delivery is the kink's where the run holds samples enough; where not, what empties and fills the
tank between two pressures in the times that rest and run took:

    apparent = D (1/T + 1/R)      a run of one sample is taken for too long, and this for too little

Source: cycle arithmetic, reference values A14-A17.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics.judging.brief import kink
from analytics.judging.flutter import gave_1
from analytics.judging.reference import MID_SHARE
from analytics.judging.signature import COARSE_S

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.plant.description import Plant
    from analytics.seeing.events import Run
    from analytics.seeing.water import Water

USUAL_MIN_RUN_S = 60.0
FINE_S = 3.0  # runs so short are seen only by a motor signal at least so fine
#: A charge that stands above cut-in by a fifth of the band shows beyond the line's own curve (2 %).
LEAP_SHARE = 0.22
NARROW = 0.70
#: No pump of a holding turns more of its motor's power into flow against pressure: handbook, from memory.
BEST_EFFICIENCY, LARGEST_W = 0.5, 1100.0
#: A switch stops within so much of its usual pressure; a hand does not stop two runs within the second.
BY_SWITCH, ALIKE = 0.15, 0.08
#: Words in a rest, of which the last is up to one before the start: of fewer a whole band looks narrow.
OF_A_REST = 1.0 / (1.0 - NARROW)
#: A run of a sample or two does not show its rise where the rest before it gave so much more.
MISSED = 2.0


class Seen(msgspec.Struct):
    """What is kept of a run."""

    start_us: int
    stop_us: int
    run_s: float
    short: bool
    apparent: float | None  # apparent delivery over the usual
    band: float | None  # measured switch band over the usual
    leap: float | None  # of the band
    demand: float | None  # share of delivery
    coarse: bool  # samples too far apart to meet each leap
    up: float | None = None  # start pressure above the usual, of the band
    net: float | None = None  # how fast the run filled the tank, over the usual delivery
    top: float | None = None  # stop pressure below the usual, of the band
    rest_s: float | None = None
    interval_s: float = 1.0
    edges_s: float = 1.0  # how finely its length was seen
    knee: float | None = None  # delivery by the kink at the start, over that at the stop
    low: float | None = None  # lowest pressure in the run above the usual start, of the band


def is_guessed(plant: Plant, usual: Reference, water: Water) -> bool:
    """Whether neither the plant's own runs nor a rating tell its delivery."""
    rated = plant.pump.rated_flow_m3_s is not None and water.true
    return not (usual.learned or rated or usual.first_m3_s is not None)


def sound_delivery_m3_s(plant: Plant, usual: Reference, water: Water) -> float:
    """The learned delivery; before it has been learned (a fault may be there from the first run) the
    rating's, and without one what the first runs show, and before these the most that the motor could
    deliver."""
    if usual.learned:
        return usual.delivery_m3_s
    if plant.pump.rated_flow_m3_s is not None and water.true:
        return MID_SHARE * plant.pump.rated_flow_m3_s
    if usual.first_m3_s is not None:
        return usual.first_m3_s
    power_w = plant.pump.rated_power_w or LARGEST_W
    return BEST_EFFICIENCY * power_w / (0.5 * (usual.start_pa + usual.stop_pa))


def shortest_s(plant: Plant) -> float:
    return plant.pump.min_run_time_s or USUAL_MIN_RUN_S


def counts(run: Run, usual: Reference, stopped_before_pa: float | None, stands: bool) -> bool:
    """Whether the switch began and ended the run, as far as its pressures tell."""
    low, high = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
    if low is None or high is None:
        return True
    by_switch = abs(high - usual.stop_pa) < BY_SWITCH * usual.band_pa
    # a hand or a power cut does not stop two runs at one pressure
    by_switch |= stopped_before_pa is not None and abs(high - stopped_before_pa) < ALIKE * usual.band_pa
    leapt = run.leap_pa is not None and run.leap_pa > LEAP_SHARE * usual.band_pa
    # samples far apart meet the charge's pressure and not the moment in which it collapses
    leapt |= run.interval_s > FINE_S and by_switch
    above = low > usual.start_pa + 0.3 * usual.band_pa
    narrow = high - low < NARROW * usual.band_pa and abs(high - usual.stop_pa) < 0.3 * usual.band_pa
    if above and not by_switch and not leapt and not narrow:
        return False  # a start that is none: the motor signal lies
    return high >= low + 0.15 * usual.band_pa or by_switch or stands


def from_switch_to_switch(run: Run, usual: Reference, stopped_before_pa: float | None) -> bool:
    """Whether the switch surely began and ended the run of a motor that drags: its protector stops that in
    mid-rise, and starts it where pressure stands when it has cooled."""
    low, high = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
    if low is None or high is None or stopped_before_pa is None:
        return False
    near_pa, alike_pa = BY_SWITCH * usual.band_pa, ALIKE * usual.band_pa
    begun = abs(low - usual.start_pa) < near_pa or abs(stopped_before_pa - usual.stop_pa) < near_pa
    return begun and (abs(high - usual.stop_pa) < near_pa or abs(high - stopped_before_pa) < alike_pa)


def is_like(run: Run, before: Seen, usual: Reference) -> bool:
    """Whether a run that filled some of the tank began and ended where one before it did: a switch that
    flutters goes on from where it has just stopped."""
    low, high = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
    if low is None or high is None or before.up is None or before.top is None:
        return False
    up, top = (low - usual.start_pa) / usual.band_pa, (usual.stop_pa - high) / usual.band_pa
    return 1.0 - up - top > ALIKE and abs(up - before.up) < ALIKE and abs(top - before.top) < ALIKE


def see(run: Run, plant: Plant, usual: Reference, water: Water) -> Seen:
    """The run in shares of what is usual."""
    cycle, delivery = run.cycle, sound_delivery_m3_s(plant, usual, water)
    low, high = cycle.pressure_start_pa, cycle.pressure_stop_pa
    shortest = shortest_s(plant)
    # the motor may tell its edges finely, whatever pressure does
    edges_s = run.edges_s if run.edges_s is not None and run.edges_s <= FINE_S else run.interval_s
    slack = min(edges_s, 0.3 * shortest) if edges_s > 1.5 else 1.0
    apparent = band = leap = demand = up = top = net = lowest = knee = None
    if cycle.delivery_mid_m3_s is not None and usual.delivery_m3_s > 0.0:
        apparent = (kink(run) or cycle.delivery_mid_m3_s) / delivery
        began, ended = cycle.delivery_start_m3_s, cycle.delivery_stop_m3_s
        knee = began / ended if began is not None and ended is not None and ended > 0.0 else None
        demand = (cycle.demand_m3_s or 0.0) / max(cycle.delivery_mid_m3_s, 1e-9)
    if run.pressure_low_pa is not None:
        lowest = (run.pressure_low_pa - usual.start_pa) / usual.band_pa
    if low is not None:
        up = (low - usual.start_pa) / usual.band_pa
    if high is not None:
        top = (usual.stop_pa - high) / usual.band_pa
    if low is not None and high is not None:
        band = (high - low) / usual.band_pa
        leap = None if run.leap_pa is None else run.leap_pa / usual.band_pa
        if run.interval_s <= FINE_S:
            leap = max(leap or 0.0, _dip_pa(run, low, usual) / usual.band_pa)
    # where the motor speaks seldom, pressure's turning points tell start and stop
    fine_s = min(run.interval_s, run.pressure_s or run.interval_s)
    if fine_s > 1.5 and fine_s > 0.2 * cycle.run_time_s:
        apparent = knee = None  # too few samples to see it
    if fine_s >= COARSE_S:
        knee = None  # either end's kink is of two or three samples
    if run.interval_s > 1.5 and run.interval_s > 0.2 * cycle.run_time_s:
        moves_pa = run.interval_s * ((high or 0.0) - (low or 0.0)) / max(cycle.run_time_s, 1.0)
        if moves_pa >= 0.15 * usual.band_pa or run.interval_s >= 0.35 * cycle.run_time_s:
            band = None
    if fine_s > 1.5 and cycle.rest_before_s is not None and cycle.rest_before_s < OF_A_REST * fine_s:
        band = None  # the last word before the start may be from anywhere in the rest
    if band is not None and run.interval_s >= 0.35 * cycle.run_time_s:
        # a lone sample in a run lies anywhere in it
        lone = run.interval_s > 0.5 * cycle.run_time_s
        band = None if lone or gave_1(run, usual) > MISSED * band else band
    if run.slope_run_m3_s is not None and run.interval_s < 0.35 * cycle.run_time_s:
        net = run.slope_run_m3_s / delivery
    return Seen(
        cycle.start_us, cycle.stop_us, cycle.run_time_s, cycle.run_time_s <= shortest - slack, apparent, band,
        leap, demand, run.interval_s > FINE_S, up, net, top, cycle.rest_before_s, run.interval_s, edges_s,
        knee, lowest,
    )  # fmt: skip


def _dip_pa(run: Run, low_pa: float, usual: Reference) -> float:
    """From where the rest ended, well above the usual cut-in, down to the lowest word in the run: a collapse
    to cut-in that a word met. Nothing, where that was less than half of the way."""
    if run.pressure_low_pa is None or low_pa - usual.start_pa < LEAP_SHARE * usual.band_pa:
        return 0.0
    dip_pa = low_pa - run.pressure_low_pa
    return dip_pa if dip_pa > 0.5 * (low_pa - usual.start_pa) else 0.0


def timed(
    seen: Seen, water: Water, usual: Reference, delivery_m3_s: float, foot: float = 0.0
) -> float | None:
    """Apparent delivery over the usual, by the times of rest and run between `foot` (a share of the band)
    and cut-out; None where the rest was not seen."""
    if not seen.rest_s or seen.run_s <= 0.0:
        return None
    drawn_m3 = water.between_m3(usual.start_pa + foot * usual.band_pa, usual.stop_pa)
    return drawn_m3 * (1.0 / seen.run_s + 1.0 / seen.rest_s) / delivery_m3_s
