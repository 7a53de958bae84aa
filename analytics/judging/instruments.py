"""What the instruments of a plant say of a run: does water move, and if not, against what does it stand?

- The flow meter behind the tank, and the tank: Q = flow + dw/dt. Where the tank gives just what the meter
  passes, the pump gives nothing. (Where neither moves, a draw that passes by the meter could balance the
  pump: then the start must have shown no kink either.)
- The drop from the outlet gauge to the line goes with Q^2 times the filter's resistance, and a clog only
  adds to it: a drop is a flow. None at all is no flow.
- The outlet gauge below the line: no water passes the check valve between them.
- The outlet gauge over cut-out, and over the line by half the band: the pump stands at its shut-off head.
- The motor, against the newest runs that delivered. A small centrifugal pump takes half to three quarters
  of its rated power at shut-off, and its power grows about straight with its flow (handbook curves; from
  memory); turning in air it takes the losses of motor and bearings, two fifths to a half. Its current has
  a magnetizing part beside the power, some 0.6 to 0.7 of the rated current, so it falls by less. A contact
  says none of it.

Parameters:
    IDLES   0.80, 0.85   of the usual power, current: the least of a run that gives SHORT_SHARE of its flow,
                         0.5 + 0.5 * 0.7 = 0.85 of the power, in mains that sag by a twentieth; the current
                         from it with a magnetizing part of 0.65. Above WORKS 0.90 a run delivers
    SHUT    0.65         of the usual power, the least that is read as shut off: dry is half of it, shut off
                         0.7, each within 0.08, and five pumps lose their prime for one that is started
                         against a closed valve (common practice, no source): there the two are as likely.
    SHUT_SINCE 0.72      likewise in a run that had lifted the line: half of the primes are lost within a run,
                         and a twentieth of valves is shut in one, for no more of the time a pump runs
    AT_SHUT_OFF 0.70, 0.82   (`story`) of the clean level: what is taken there. A pump that lately gives less
                         works near it: its motor's word turns halfway between, as a clean one's does at WORKS
    SHORT_SHARE 0.70     of the delivery by the kink, and above NONE_SHARE: a run that delivers too little.
                         Two standard errors of a kink (15 % in a look's short window) from a whole one
    DROP_MOVES  0.6      of the usual drop, some 0.77 of the flow; DROP_NONE 0.25, half of it: gauges may
                         disagree by a third of the usual drop and neither is said falsely. The usual must
                         stand six of its deviations above nothing, and these are at least DROP_LEAST_PA,
                         a gauge's step. Over cut-out the outlet may be shut off instead. GAUGES_PA 8.5 kPa is
                         no drop: two gauges, each good to a hundredth of its usual 6 bar (common practice, no
                         source), stand so far apart with nothing between them
    RISES       0.03     of the delivery, beyond three standard errors: the gauge's own drift within a look
    METER_NONE  0.15     of the delivery, two standard errors of a slope beside it (7 %); METER_MOVES 0.5. A
                         whole delivery must lie METER_APART 5 of the look's own errors off: once in 3 million

Source: as said; else common practice, no source.
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING, Literal

from analytics.judging.flows import CLOSE_S, NONE_SHARE, SURE, TRICKLE, kink_m3_s, share_1
from analytics.judging.signature import LATELY
from analytics.judging.story import (
    AT_SHUT_OFF,
    CHARGED,
    EARLY_S,
    HEAD,
    LIFTED,
    at_shut_off,
    fell_fast,
    gives_nothing,
    kinkless,
    line_empty,
    outlet_below,
    turns_dry,
    weak,
)
from analytics.judging.supply import storage_low
from analytics.plant.description import Measure
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.judging.trait import Trait
    from analytics.judging.watch import Known
    from analytics.judging.worked_out import Story
    from analytics.seeing.events import Look

IDLES = {Measure.PUMP_POWER: 0.80, Measure.PUMP_CURRENT: 0.85}
WORKS, SHUT, SHUT_SINCE = 0.90, 0.65, 0.72
SHORT_SHARE = 0.70
DROP_MOVES, DROP_NONE, DROP_SURE = 0.6, 0.25, 6.0
DROP_LEAST_PA, GAUGES_PA = 500.0, 8_500.0
METER_NONE, METER_MOVES, METER_APART = 0.15, 0.5, 5.0
RISES = 0.03
#: So long after the start a sound pump's outlet is above the line; and the least that one at run-out works.
GAUGES_AGREE_S, LEAST_AT_WORK = 12.0, 0.85
WAITS_US = 60_000_000  # half of what a call of a closed valve may take

Says = Literal["moves", "dry", "shut"]


def by_instruments(look: Look, known: Known, usual: Reference, story: Story) -> Says | None:
    """What measures the flow, or the pump's work, says of it; None where nothing does yet."""
    assert look.pressure_pa is not None
    slope, error = look.slope_m3_s or 0.0, look.slope_error_m3_s or 0.0
    if _stands_before_it(look, known, usual):
        return "dry"
    if slope > max(0.15 * usual.now_m3_s, 2.0 * error) and not line_empty(look, usual):
        return "moves"  # of a line without water the slope is none of the tank's
    if look.pressure_pa > usual.start_pa + LIFTED * usual.band_pa and slope > max(
        RISES * usual.now_m3_s, 3.0 * error
    ):
        return "moves"  # nothing but the pump lifts it further there
    pumps = weak(story, look, known, usual) and not storage_low(known)
    if pumps or look.pressure_pa > usual.stop_pa + 0.1 * usual.band_pa:
        return "moves"
    if look.age_s < 12.0:
        return None
    drop = by_drop(look, known, usual)
    # a motor without load is believed before what noise may have made
    meter = by_meter(look, known, usual, story, SURE if turns_dry(look, known) else 0.0)
    if "moves" in (drop, meter) or (meter is None and _throttled(look, known, usual, story, drop)):
        return "moves"
    motor = _by_motor(look, known, usual, story)
    if (
        motor == "moves"
        and at_shut_off(look, usual)
        and near_shut_off(motor_share_1(look, usual), known, usual)
    ):
        motor = None
    # with its outlet at shut-off it stands before no break either, though the tank falls
    still = at_shut_off(look, usual) or _nothing_leaves(look, usual)
    balanced = meter == "dry" and kinkless(story) and still
    if (motor == "moves" and not balanced) or story.throttled:
        return "moves"
    if motor == "moves" and not at_shut_off(look, usual):
        return "shut"  # it presses against something, by a motor whose work hardly goes with what it moves
    if at_shut_off(look, usual):
        # a filter nearly shut holds as much back, but some water moves and the start shows a kink:
        # one and a half standard errors of a kink, which puts off one look in fifteen where nothing moves,
        # and the look's own, which puts off more of a noisy gauge's
        share, may_be = share_1(look, usual), error / usual.delivery_m3_s
        began = _shut_since_the_start(look, usual, story)
        if share is not None and not began and share + may_be > 0.5 * NONE_SHARE:
            return None
        return None if _waits(look, usual, story) else "shut"
    if drop is None and motor == "shut":
        return "shut"  # a meter that stands says as much of either
    return "dry" if "dry" in (drop, meter) else motor


def _nothing_leaves(look: Look, usual: Reference) -> bool:
    """Whether neither the meter passes nor the tank gives any of a delivery: then none is brought in either,
    whatever the motor does. A break leaves a tank that falls."""
    least = METER_NONE * usual.now_m3_s
    falls = (look.slope_m3_s or 0.0) + 2.0 * (look.slope_error_m3_s or 0.0) < -least
    told = look.pressure_pa is not None and look.pressure_pa > usual.drained_pa
    return told and not falls and look.flow_m3_s is not None and look.flow_m3_s < least


def _stands_before_it(look: Look, known: Known, usual: Reference) -> bool:
    """Whether the outlet stands below the line by more than two gauges disagree by: the check valve is shut,
    whatever the tank's air does meanwhile. Not where the motor works (water leaves before that valve), nor
    where the line was lifted all the same: then it is the outlet's gauge that lies; unless it stood above the
    line in the newest runs and the line falls now, as where the prime is lost within a run, or is lifted no
    more by a storage at its outlet."""
    high_pa, motor = look.pressure_high_pa, motor_share_1(look, usual)
    if high_pa is None or look.age_s < GAUGES_AGREE_S or (motor or 0.0) > LEAST_AT_WORK:
        return False
    if not outlet_below(look, usual):
        return False
    if high_pa < usual.start_pa + LIFTED * usual.band_pa:
        return True
    agreed_pa = known.signature.middle("filter_drop_pa", LATELY)
    gains = (look.slope_m3_s or 0.0) + SURE * (look.slope_error_m3_s or 0.0)
    ended = gains < (NONE_SHARE * usual.now_m3_s if storage_low(known) else 0.0)
    return ended and agreed_pa is not None and agreed_pa > 0.0


def by_drop(look: Look, known: Known, usual: Reference) -> Says | None:
    """By the drop from outlet to line, against that of the clean runs; while that is unknown, a head that no
    two gauges disagree by: without water the pump makes none."""
    clean, drop = _usual_drop(known), look.filter_drop_pa
    if drop is None:
        return None
    if drop > (max(DROP_MOVES * clean.middle, GAUGES_PA) if clean is not None else HEAD * usual.band_pa):
        shut = look.discharge_pa is not None and look.discharge_pa > usual.stop_pa
        return None if shut else "moves"
    if clean is None:
        return None
    left = usual.now_m3_s / usual.delivery_m3_s  # of a worn pump, whose drop is less by its square
    return "dry" if drop < DROP_NONE * clean.middle * left**2 else None


def _usual_drop(known: Known) -> Trait | None:
    """The drop of the clean runs, where it stands out of the gauges' scatter."""
    clean = known.signature.clean.get("filter_drop_pa")
    return clean if clean is not None and clean.middle > DROP_SURE * max(clean.sigma, DROP_LEAST_PA) else None


def two_say_dry(look: Look, known: Known) -> bool:
    """Whether two of them say in one look that no water moves: each errs for itself."""
    usual, story = known.usual, known.story
    said = (
        by_drop(look, known, usual),
        by_meter(look, known, usual, story),
        _by_motor(look, known, usual, story),
    )
    return said.count("dry") >= 2


def by_meter(look: Look, known: Known, usual: Reference, story: Story, errors: float = 0.0) -> Says | None:
    """By the meter behind the tank and what the tank gives or takes; with so many errors of that taken off
    before it counts as delivery."""
    flow, slope = look.flow_m3_s, look.slope_m3_s
    if flow is None or slope is None or look.pressure_pa is None:
        return None
    true = known.signature.tank_times()
    now_m3_s, slope = true * usual.now_m3_s, true * slope
    told = look.pressure_pa > usual.drained_pa
    delivery = (flow + (slope if told else 0.0)) / now_m3_s
    # of a large tank behind a small pump a look's slope may err by more than the pump gives, and of few
    # samples nobody knows by how much
    few = look.samples / max(look.samples - 2.0, 1.0)
    error = true * (look.slope_error_m3_s or 0.0) * few if told else 0.0
    if METER_APART * error > METER_MOVES * now_m3_s and (ends := _since_the_start(look, known, story)):
        passed_m3, lost_m3, error_m3 = ends
        whole_m3 = usual.now_m3_s * look.age_s
        little_m3 = METER_NONE * whole_m3
        passes = flow > 0.0 and not turns_dry(look, known)  # else it was pumped, and is no more
        if passes and passed_m3 - lost_m3 - error_m3 > METER_MOVES * passed_m3:
            return "moves"
        sure = lost_m3 > error_m3 and whole_m3 - little_m3 > error_m3
        if sure and passed_m3 > little_m3 and abs(passed_m3 - lost_m3) < little_m3:
            return "dry"
    # what passes and is not missed in the tank is given, whatever the pump is thought to give
    given = flow + slope > METER_MOVES * flow + 3.0 * error
    # by a plate that says too high a charge the tank is not empty yet, and gives what passes
    own = slope + SURE * true * (look.slope_error_m3_s or 0.0) < -METER_MOVES * flow
    if not told and own and usual.drained_pa < usual.start_pa:
        return None
    if delivery - errors * error / now_m3_s > METER_MOVES or (told and flow > 0.0 and given):
        return "moves"
    passed = told and flow > METER_NONE * now_m3_s and abs(delivery) < METER_NONE
    if fell_fast(story, usual) and not passed:
        return None  # a line may have burst before the meter
    if usual.guessed:  # of a delivery that nobody knows no share can be taken: what passes is the measure
        return (
            "dry" if told and flow > METER_APART * error and abs(flow + slope) < METER_MOVES * flow else None
        )
    gives = flow > METER_NONE * now_m3_s or (told and slope < -METER_NONE * now_m3_s)
    share = share_1(look, usual)
    # a worn pump stands at its shut-off head, in its band, and gives nothing there, its outlet above the line
    lifted = look.pressure_pa > usual.start_pa + LIFTED * usual.band_pa
    worn = lifted and (known.is_open("pump_wear") or known.is_open("clogged_filter"))
    worn |= _usual_drop(known) is not None and by_drop(look, known, usual) != "dry"
    kinkless = share is not None and share < METER_NONE and not worn
    # a run that filled, and stands below cut-out: what nobody draws, and the tank does not take, is not given
    stands = told and not gives and not worn and look.age_s > look.window_s and look.interval_s <= CLOSE_S
    apart = METER_NONE + METER_APART * error / now_m3_s < 1.0
    if (kinkless or stands or (gives and told)) and abs(delivery) < METER_NONE and apart:
        return "dry"
    return None


def _since_the_start(look: Look, known: Known, story: Story) -> tuple[float, float, float] | None:
    """What passed the meter in this run, what the tank has lost in it by its two ends, and METER_APART errors
    of these: where a look's slope is too rough to tell, they tell it sooner than any slope within."""
    began_pa, now_pa = look.pressure_start_pa, look.pressure_pa
    if began_pa is None or now_pa is None or not look.entire or story.passed_us != look.at_us:
        return None
    if now_pa < CHARGED * known.usual.drained_pa or look.noise_pa is None:
        return None
    error_m3 = METER_APART * 2.0**0.5 * known.water.compliance_m3_pa(now_pa) * look.noise_pa
    lost_m3 = known.water.one(began_pa) - known.water.one(now_pa)
    return story.passed_m3 / known.signature.tank_times(), lost_m3, error_m3


def motor_share_1(look: Look, usual: Reference) -> float | None:
    """The motor's level over that of the newest runs that delivered."""
    if look.motor_level is None or not usual.motor_level:
        return None
    return look.motor_level / usual.motor_level


def near_shut_off(motor: float | None, known: Known, usual: Reference) -> bool:
    """Whether the motor, where it tells, works nearer to its level at shut-off than to the newest runs'."""
    if motor is None or motor < WORKS or not usual.motor_level:
        return True
    at_shut_off_1 = AT_SHUT_OFF.get(_measures(known), 0.0) * (usual.clean_level or 0.0) / usual.motor_level
    return motor < 0.5 * (1.0 + at_shut_off_1)


def _measures(known: Known) -> Measure:
    signal = motor_signal(known.plant)
    return known.plant.signals[signal].measures if signal is not None else Measure.PUMP_CURRENT


def _waits(look: Look, usual: Reference, story: Story) -> bool:
    """Whether, in a run that began with delivery, the outlet may yet follow the line (`story.FOLLOWS`)."""
    if story.shut_us is None or (kink_m3_s(look) or 0.0) < NONE_SHARE * usual.now_m3_s:
        return False
    falls = (look.slope_m3_s or 0.0) < -2.0 * (look.slope_error_m3_s or 0.0)
    fallen = story.shut_from_pa - (look.pressure_pa or 0.0) > LIFTED * usual.band_pa
    return falls and not fallen and look.at_us - story.shut_us < WAITS_US


def _shut_since_the_start(look: Look, usual: Reference, story: Story) -> bool:
    """Whether the outlet came to its shut-off head as the run began, without a kink, and the line now stands:
    then it is the taps that were shut since."""
    kink = kink_m3_s(look)
    if story.shut_us is None or story.shut_us - look.start_us > EARLY_S * 1e6 or kink is None:
        return False
    stands = abs(look.slope_m3_s or 0.0) <= max(RISES * usual.now_m3_s, 2.0 * (look.slope_error_m3_s or 0.0))
    return stands and kink < 0.5 * NONE_SHARE * usual.delivery_m3_s


def _throttled(look: Look, known: Known, usual: Reference, story: Story, drop: Says | None) -> bool:
    """Whether the run began with a part of its delivery, so that water moves, though little. By a gauge so
    rough that a look's slope may err by as much nobody knows."""
    kink, motor = kink_m3_s(look), motor_share_1(look, usual)
    if line_empty(look, usual) or storage_low(known):
        return False  # whatever it began with, nothing stands now, or it was a gulp
    if motor is None and gives_nothing(story, look, usual):
        return False  # a tap was shut just then
    if kink is None or usual.unproven or turns_dry(look, known):
        return False
    met = story.fed and drop != "dry" and not at_shut_off(look, usual)
    part = met or kink > max(NONE_SHARE * usual.now_m3_s, SURE * (look.slope_error_m3_s or 0.0))
    return part and kink < SHORT_SHARE * usual.now_m3_s


def _by_motor(look: Look, known: Known, usual: Reference, story: Story) -> Says | None:
    motor, takes = motor_share_1(look, usual), _measures(known)
    if motor is None:
        return None
    level = look.motor_level or 0.0
    if (
        look.motor_now is not None
        and usual.motor_level
        and look.motor_now > WORKS * usual.motor_level > level
    ):
        return None  # it has just started again: the window's middle is of a rest and of a run
    # what stands between tells little alone; a start without a kink says the same of it, but where the tank
    # gains all the same: a filter that has just clogged lets through so little
    idles = motor < IDLES.get(takes, 0.0)
    gains = (look.slope_m3_s or 0.0) > max(RISES * usual.now_m3_s, 2.0 * (look.slope_error_m3_s or 0.0))
    if idles or (motor < WORKS and kinkless(story) and not usual.unproven and not gains):
        if shut_by_power(look, known, motor):
            return "shut"
        if idles or not may_be_weak(look, known, usual):
            return "dry"
    return "moves" if motor > WORKS else None


def may_be_weak(look: Look, known: Known, usual: Reference) -> bool:
    """Whether a start without a kink may be a weak pump's, which meets a draw that began with it: its motor
    works as one that gives SHORT_SHARE of its clean flow, and more than any without water. Not where the tank
    plainly fell before (by twice what a kink errs) and goes on so, to half of that error: no draw grows by
    just what such a pump gives."""
    full = max(usual.motor_level or 0.0, usual.clean_level or 0.0)
    works = look.motor_level is not None and look.motor_level > IDLES.get(_measures(known), inf) * full > 0.0
    before_m3_s = look.slope_before_m3_s or 0.0
    fell = -before_m3_s > 2.0 * TRICKLE * usual.delivery_m3_s
    on = fell and (look.slope_m3_s or 0.0) - before_m3_s < 0.5 * TRICKLE * usual.delivery_m3_s
    return works and not on and not storage_low(known)


def shut_by_power(look: Look, known: Known, motor: float | None) -> bool:
    """Whether a pump that moves nothing works too hard for one that turns in air, and too little for one that
    delivers. By current dry and shut-off lie too close together. Where there is no water to shut off, it is
    dry."""
    if motor is None or look.discharge_pa is not None or _measures(known) is not Measure.PUMP_POWER:
        return False
    return shut_from(known) < motor < WORKS and not storage_low(known)


def shut_from(known: Known) -> float:
    """Of the usual power, from where on a pump that moves nothing is read as shut off."""
    lifted_pa = known.usual.start_pa + LIFTED * known.usual.band_pa
    return SHUT_SINCE if known.story.reached_pa > lifted_pa else SHUT
