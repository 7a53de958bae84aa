"""Whether a run that is under way moves water: shared by lost prime, dry supply, blocked discharge, burst.

Witnesses, the surest first.
- Flow: what passes the meter and what the tank takes up are together the delivery.
- The outlet gauge: a pump that has lost its prime makes no pressure; one that is shut off stands at its
  shut-off head.
- The motor, against the newest runs that delivered: without water a pump does some half of its work
  (0.49 to 0.58 of the power, 0.68 to 0.75 of the current; trial figures), at shut-off some 0.7 of the
  power and 0.8 of the current (handbook curves of small centrifugal pumps: half to three quarters of
  the rated power; from memory). A sagging supply moves either by a tenth. A contact says none of it.
- The kink: at the start the slope of tank water must jump by the delivery.
- The draw that a working pump would need. Tank water falls by dw/dt = Q - q. Where it falls or stands
  still, q must be Q or more for a pump that works, and at pressure P below cut-in a tap that lets
  out q would let out q / sqrt(P / cut-in) there. If that is far more than was ever drawn here, and lasts,
  the pump does not deliver (or a line has burst: then tank water falls faster than by any usual draw).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

from analytics.judging.supply import storage_low
from analytics.plant.description import Measure
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known
    from analytics.seeing.events import Look

#: Motor below this share of its usual level moves no water; above WORKS it does. Halfway between no
#: delivery and the least of a delivering run in a sagging supply (0.9).
IDLES = {Measure.PUMP_POWER: 0.80, Measure.PUMP_CURRENT: 0.85}
WORKS = 0.90
#: Less than this share of the delivery is none: three standard errors of a kink (7 % a cycle, and the
#: short window of a look doubles it) above nothing, four below a whole delivery.
NONE_SHARE = 0.30
#: A kink of between NONE_SHARE and this share of the delivery is a run that delivers, and too little: two
#: standard errors of a kink (15 % in a look's short window) from a whole one. A filter that clogged at
#: once throttles the pump to near its shut-off head and power, and yet lets water through.
SHORT_SHARE = 0.70
#: A motor below this share turns without water, whatever the kink seemed: half of the way from the dry
#: share to that at shut-off (see the witnesses).
DRY = {Measure.PUMP_POWER: 0.61, Measure.PUMP_CURRENT: 0.76}
#: A start so far above cut-in (share of the band) is not the switch's: the motor signal lies.
FALSE_START, FINE_S = 0.30, 3.0
#: A draw so many times the largest known, and of most of the delivery, is none of the household's.
UNHEARD_OF, MOST_OF_IT = 1.3, 0.85
#: Tank water fell plainly before the start, and falls as it did: shares of the delivery, five and one
#: and a half standard errors of a look's slope at up to 5 s sampling.
PLAINLY, AS_BEFORE = 0.35, 0.10
#: So far below cut-in (of the band) no household's draw brings a pump that works: as `looks.BELOW_BAND`.
BELOW = 0.15
#: Shut-off head over cut-out: as `reference.MID_SHARE`.
SHUT_OFF = 1.5
#: For so long, at 1 s sampling: no tap of that size is opened and shut within it. Six samples at least.
LASTS_S, LASTS_SAMPLES = 45.0, 6.0
#: What stands between these shares of cut-in, the tank drained, is held up by a pump that works.
DRAINED, EMPTY = 0.5, 0.05


@dataclass(frozen=True, slots=True)
class Witness:
    """What a look says of delivery.

    idle    no water moves; `sure` where flow, outlet gauge or motor say so
    shut    it stands at its shut-off head (blocked) rather than dry
    share   delivery over the usual, by the kink
    motor   motor level over the usual
    """

    idle: bool
    sure: bool
    shut: bool
    share: float | None
    motor: float | None
    since_us: int


@dataclass
class Story:
    """What the looks into one run have shown so far."""

    run_us: int = 0
    fastest_m3_s: float = 0.0  # that tank water fell, before or in the run
    most_needed_m3_s: float = 0.0  # draw that a working pump would have needed, while the tank told
    last_needed_m3_s: float = 0.0
    needed_since_us: int | None = None  # a draw unheard of would have been needed since
    standing_since_us: int | None = None  # a draw as large as the delivery would have been needed since


def follow(story: Story, look: Look, known: Known) -> None:
    """Take up a look."""
    usual = known.usual
    if story.run_us != look.start_us:
        story.run_us, story.needed_since_us, story.standing_since_us = look.start_us, None, None
        story.most_needed_m3_s = story.last_needed_m3_s = 0.0
        story.fastest_m3_s = max(-(look.slope_before_m3_s or 0.0), 0.0)
    told = look.pressure_pa is not None and look.pressure_pa > usual.drained_pa
    needed = needed_draw_m3_s(look, usual)
    if told and look.slope_m3_s is not None and look.samples >= 4 and look.window_s >= 10.0:
        story.fastest_m3_s = max(story.fastest_m3_s, -look.slope_m3_s)
        # two looks must agree: in one that meets the tank's emptying the slope runs away
        story.most_needed_m3_s = max(story.most_needed_m3_s, min(story.last_needed_m3_s, needed or 0.0))
    story.last_needed_m3_s = needed or 0.0
    limit = max(UNHEARD_OF * (usual.draw_m3_s if usual.draw_m3_s is not None else usual.delivery_m3_s),
                MOST_OF_IT * usual.delivery_m3_s)  # fmt: skip
    if needed is None or needed <= MOST_OF_IT * usual.now_m3_s:
        story.standing_since_us = None
    elif story.standing_since_us is None:
        story.standing_since_us = look.at_us
    if needed is None or needed <= limit:
        story.needed_since_us = None
    elif story.needed_since_us is None:
        story.needed_since_us = look.at_us


def lasted(since_us: int | None, look: Look, share: float = 1.0) -> bool:
    """Whether it has lasted long enough."""
    enough_s = share * max(LASTS_S, LASTS_SAMPLES * look.interval_s)
    return since_us is not None and look.at_us - since_us >= enough_s * 1e6


def fell_fast(story: Story, usual: Reference) -> bool:
    """Tank water fell faster than any usual draw makes it: a line has burst."""
    known = usual.draw_m3_s if usual.draw_m3_s is not None else 0.0
    return story.fastest_m3_s > max(UNHEARD_OF * known, 0.7 * usual.now_m3_s)


def _kink(look: Look) -> float | None:
    """Delivery by the kink at the start, where samples are close enough to tell it."""
    first, before = look.slope_first_m3_s, look.slope_before_m3_s
    if not look.entire or look.interval_s > 10.0 or first is None or before is None:
        return None
    return first - before


def given_m3_s(look: Look, usual: Reference) -> float:
    """What this run's pump gives, if it works: what it lately gave, or by its own kink, where less."""
    kink = _kink(look)
    if kink is None or kink < 0.5 * NONE_SHARE * usual.now_m3_s:
        return usual.now_m3_s  # the tank was drained within the kink's window
    return min(usual.now_m3_s, max(kink, NONE_SHARE * usual.now_m3_s))


def needed_draw_m3_s(look: Look, usual: Reference) -> float | None:
    """What must leave, as a draw at cut-in, if the pump works."""
    if look.pressure_pa is None or look.slope_m3_s is None:
        return None
    delivery = given_m3_s(look, usual)
    # a tank short of air makes every flow look larger, the pump's own kink as well
    grown = max((_kink(look) or 0.0) / usual.now_m3_s, 1.0)
    if look.pressure_pa < usual.start_pa:  # at less pressure a pump gives more
        head = SHUT_OFF * usual.stop_pa
        middle = 0.5 * (usual.start_pa + usual.stop_pa)
        delivery *= sqrt((head - look.pressure_pa) / (head - middle))
    share = max(look.pressure_pa / usual.start_pa, 0.01)
    gain = look.slope_m3_s / grown if look.pressure_pa > usual.drained_pa else 0.0
    return (delivery - gain) / sqrt(min(share, 1.0))


def witness(look: Look, known: Known) -> Witness | None:
    """None where the look cannot tell: too early, a gap, or a motor signal that lies."""
    usual = known.usual
    if look.pressure_pa is None or look.samples < 3 or look.age_s < 10.0:
        return None
    if not look.entire and look.pressure_pa > usual.start_pa:
        return None
    if false_start(look, usual):
        return None
    motor = None
    if look.motor_level is not None and usual.motor_level:
        motor = look.motor_level / usual.motor_level
    share = _share(look, usual)
    since = look.at_us - int(look.window_s * 1e6) if look.age_s > 2 * look.window_s else look.start_us
    said = _by_instruments(look, known, usual, motor)
    if said is not None:
        return Witness(said[0], True, said[1], share, motor, since)
    short = known.is_open("clogged_filter") or known.is_open("pump_wear")
    return Witness(_by_pressure(look, usual, share, known.story, short), False, False, share, motor, since)


def stands(look: Look, usual: Reference) -> bool:
    """Whether pressure keeps its level: a line that drains passes all."""
    return look.slope_pa_s is not None and abs(look.slope_pa_s) * look.window_s < 0.1 * usual.start_pa


def held_up(look: Look, usual: Reference) -> bool:
    """A drained line in which pressure stands: something feeds it."""
    if look.pressure_pa is None:
        return False
    return stands(look, usual) and EMPTY < look.pressure_pa / usual.start_pa < DRAINED


def false_start(look: Look, usual: Reference) -> bool:
    """A contact that closes where the switch does not: told where samples are close enough to meet it."""
    start = look.pressure_start_pa
    if not look.entire or start is None or look.motor_level is not None or look.interval_s > FINE_S:
        return False
    return start > usual.start_pa + FALSE_START * usual.band_pa


def _share(look: Look, usual: Reference) -> float | None:
    """Delivery by the kink, while the demand before the start still stands for the one now."""
    before, now, first = look.slope_before_m3_s, look.slope_m3_s, look.slope_first_m3_s
    if before is None or now is None or look.age_s > 120.0 or not look.entire:
        return None
    # a kink that was there is not undone by what is opened later in the run
    return (max(now, now if first is None else first) - before) / usual.delivery_m3_s


def _by_instruments(
    look: Look, known: Known, usual: Reference, motor: float | None
) -> tuple[bool, bool] | None:
    """(no water moves, at shut-off) by what measures it; None where nothing does."""
    assert look.pressure_pa is not None
    slope = look.slope_m3_s or 0.0
    if slope > 0.15 * usual.now_m3_s or look.pressure_pa > usual.stop_pa + 0.1 * usual.band_pa:
        return False, False
    if look.age_s < 12.0:
        return None
    signal = motor_signal(known.plant)
    measures = known.plant.signals[signal].measures if signal is not None else Measure.PUMP_CURRENT
    told = look.pressure_pa > usual.drained_pa
    if look.flow_m3_s is not None and look.flow_m3_s + (slope if told else 0.0) > 0.5 * usual.now_m3_s:
        return False, False
    if _throttled(look, usual, motor, measures):
        return False, False
    if look.discharge_pa is not None:
        over = look.discharge_pa - look.pressure_pa
        if look.discharge_pa > usual.stop_pa and over > 0.5 * usual.band_pa:
            # a filter nearly shut holds as much back, but some water moves and the start shows a kink:
            # one and a half standard errors, which puts off one look in fifteen where nothing moves
            share = _share(look, usual)
            return None if share is not None and share > 0.5 * NONE_SHARE else (True, True)
    if motor is None:
        return None
    if motor < IDLES.get(measures, 0.0):
        # By current dry and shut-off lie too close together. Where there is no water to shut off, it is dry.
        by_power = look.discharge_pa is None and measures is Measure.PUMP_POWER and motor > DRY[measures]
        return True, by_power and not storage_low(known)
    return (False, False) if motor > WORKS else None


def _throttled(look: Look, usual: Reference, motor: float | None, measures: Measure) -> bool:
    """Whether the run began with a part of its delivery, so that water moves, though little."""
    kink = _kink(look)
    if kink is None or usual.unproven or (motor is not None and motor < DRY.get(measures, 0.0)):
        return False
    return NONE_SHARE < kink / usual.now_m3_s < SHORT_SHARE


def _by_pressure(look: Look, usual: Reference, share: float | None, story: Story, short: bool) -> bool:
    """No word from the motor, or a middling one: the kink, then what a working pump would need.

    short: delivery is known to fall short; usual draws may then overcome it.
    """
    assert look.pressure_pa is not None
    if look.age_s < max(15.0, 4.0 * look.interval_s):
        return False
    if EMPTY < look.pressure_pa / usual.start_pa < DRAINED:
        return False
    drawn = -(look.slope_before_m3_s or 0.0) / usual.delivery_m3_s
    none = NONE_SHARE if usual.learned else 0.5 * NONE_SHARE  # a rating may be twice what is delivered
    rose = (look.pressure_high_pa or 0.0) > usual.start_pa + 0.25 * usual.band_pa
    if fell_fast(story, usual):
        return False
    if share is not None and not rose and share < none and drawn < 0.7 and not usual.unproven:
        # a zone of the garden that opens in the very window before the start hides the kink: so large
        # a draw must be unheard of here
        return not short and lasted(story.needed_since_us, look, 0.3)
    if usual.unproven and not rose and lasted(story.standing_since_us, look, 3.0):
        return True  # it has never been seen to deliver
    if look.pressure_pa <= EMPTY * usual.start_pa:
        return lasted(story.needed_since_us, look, 0.3)
    if look.interval_s > 10.0 and look.pressure_pa > DRAINED * usual.start_pa:
        return False  # too few samples to know how fast tank water fell: only a drained line tells
    if look.pressure_pa < usual.start_pa - BELOW * usual.band_pa:
        return not short and lasted(story.needed_since_us, look)
    # Within the band a zone of the garden can stand against the pump. That tank water falls again as
    # it did before the start is no chance, where it fell plainly; unless the run had come to cut-out: then
    # the pump has stopped and its contact has not said so.
    if (look.pressure_high_pa or 0.0) > usual.stop_pa - BELOW * usual.band_pa:
        return False
    before, now = look.slope_before_m3_s, look.slope_m3_s
    if before is None or now is None or not look.entire or drawn < PLAINLY or look.interval_s > 5.0:
        return False
    back = abs(now - before) < AS_BEFORE * usual.delivery_m3_s
    return back and lasted(story.needed_since_us, look)
