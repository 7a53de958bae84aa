"""Whether a run that is under way moves water: shared by lost prime, dry supply, blocked discharge, burst.

What measures it is asked first (`instruments`). Where nothing does, pressure alone must tell a pump that
gives nothing (q is any usual draw) from one that works against a draw, or a burst:

    none     dw/dt = -q: no kink at the start; pressure goes down as it did before, or stands when nobody
             draws; drained, it stands at the height of the lowest open tap
    works    dw/dt = Q(P) - q: falls only where more is drawn than the pump gives, and settles where
             Q(P) = c sqrt(P), never below what the pump's curve lets that draw come to
    burst    the same with a q unheard of: tank water falls faster than any usual draw makes it, and what
             stands, stands at the crossing of curve and orifice

A contact alone cannot tell a pump that loses its prime within a run, with nobody drawing, from one that
meets a draw as large as its delivery: pressure stands in both (`coverage` says so).

Parameters (others in `flows`, `story`, `instruments`):
    FALSE_START 0.30    of the band: a start so far above cut-in is not the switch's, the motor signal lies;
                        once starts are known, what no start was seen to scatter to (`reference`), and what
                        falls before the start in a sample's time, which the last one cannot have seen;
                        until pressure has come to BELOW, where the pump is wanted whoever started it
    PLAINLY     0.35    of the delivery, five standard errors of a look's slope at up to 5 s sampling: tank
                        water fell plainly before the start. Falls as it did then: `Story.same_since_us`
    BELOW       0.15    of the band below cut-in no household's draw brings a pump that works, as `looks`
    OFF         0.3     of the usual motor level: the losses of one that turns in air take two fifths at least
                        (see `instruments`), in mains that sag by a tenth a third. Less, and nothing turns
    NOTHING_PA  10 kPa  a line that stands lower is fed by nothing: a metre of water, and a gauge's own zero
    STANDS      0.10    of cut-in, in a look's window: pressure keeps its level; a line that drains passes all

A zone of the garden that opens just after a start hides the kink. Some 2,000 openings a year, one in 300
within the 15 s after one of 20 starts a day; that it draws within a tenth of what the pump gives, which
alone looks the same for LASTS_S, one in 20: one such call in three years, and where a contact is all.
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from analytics.judging.deaf_gauge import may_be_deaf
from analytics.judging.flows import CLOSE_S, NONE_SHARE, SURE, given_m3_s, needed_draw_m3_s, share_1
from analytics.judging.instruments import (
    LEAST_AT_WORK,
    SHUT,
    WORKS,
    by_drop,
    by_instruments,
    by_meter,
    may_be_weak,
    motor_share_1,
    shut_by_power,
)
from analytics.judging.story import (
    BEGAN,
    CHARGED,
    HALF,
    LIFTED,
    STATIC,
    STATIC_PA,
    UNHEARD_OF,
    at_shut_off,
    began_pa,
    dry_share,
    falls_short,
    fell_fast,
    gives_nothing,
    kinkless,
    lasted,
    line_empty,
    no_break,
    weak,
)
from analytics.judging.supply import storage_low
from analytics.judging.worked_out import Story, Witness
from analytics.plant.description import Measure
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known
    from analytics.seeing.events import Look

FALSE_START, FINE_S = 0.30, 3.0
PLAINLY = 0.35
BELOW = 0.15
STANDS = 0.10
OFF = 0.3
NOTHING_PA = 10e3
#: Two draws at once: 2 less two errors of 7 %. Of the delivery, as `burst_line.MORE`: no zone is laid out for
#: a quarter more than the pump gives. A slope takes so many samples.
TWICE, WATERS, OF_A_SLOPE = 1.7, 1.25, 3.0
#: A run that stood against a draw of all it gives: the tank alone would lose that, less a tap that was shut.
SHORT_OF = 0.7


def witness(look: Look, known: Known) -> Witness | None:
    """None where the look cannot tell: too early, a gap, a gauge that stands, or a motor signal that lies."""
    usual, story = known.usual, known.story
    if look.pressure_pa is None or look.samples < 3 or look.age_s < 10.0 or look.still:
        return None
    if not look.entire and look.pressure_pa > usual.start_pa:
        return None
    if false_start(look, usual, story) or _stopped(look, known, usual) or may_be_deaf(look, known):
        return None
    share, motor = share_1(look, usual), motor_share_1(look, usual)
    since = look.at_us - int(look.window_s * 1e6) if look.age_s > 2 * look.window_s else look.start_us
    said = by_instruments(look, known, usual, story)
    if said == "shut" and (motor or 0.0) > WORKS and started_above(look, usual, story):
        return None  # a motor at full load, where no switch starts one: it is the gauge that stands
    if said is None:
        short = known.is_open("clogged_filter") or known.is_open("pump_wear")
        short = short and not below_the_weak(look, usual, story, HALF)
        idle = _by_pressure(look, known, story, short) and falls_short(story, look, known)
        shut = idle and shut_by_power(look, known, motor)
    else:
        feeds = said == "dry" and _feeds(look, known, motor)
        idle = said != "moves" and not feeds and falls_short(story, look, known)
        shut = said == "shut"
    return Witness(idle, said is not None, shut, share, motor, since, storage_low(known))


def _stopped(look: Look, known: Known, usual: Reference) -> bool:
    """Whether the motor is off though no word has ended its run: its newest words say next to nothing, or
    nothing but a contact speaks for it and pressure had come to cut-out, where the switch stops it. Below
    cut-in the same switch has started it again, and a contact may be believed. A meter that says less than a
    motor takes that moves water, where no switch starts one, has lost its zero, where nothing was lifted."""
    motor, reached_pa = motor_share_1(look, usual), max(known.story.reached_pa, look.pressure_high_pa or 0.0)
    lifted = reached_pa > (look.pressure_start_pa or 0.0) + LIFTED * usual.band_pa
    off = motor is not None and motor < dry_share(known) and not lifted
    if off and started_above(look, usual, known.story):
        return True
    if usual.motor_level and look.motor_now is not None and look.motor_now < OFF * usual.motor_level:
        return True
    if look.motor_level is not None:
        return False
    if not _was_cut_out(look, known, usual) or storage_low(known):
        return False  # at its outlet it is the water that fails, whatever pressure was come to before
    signal = motor_signal(known.plant)
    by_contact = signal is None or known.plant.signals[signal].measures is Measure.PUMP_RUNNING
    return not by_contact or (look.pressure_pa or 0.0) > usual.start_pa - BELOW * usual.band_pa


def _was_cut_out(look: Look, known: Known, usual: Reference) -> bool:
    """Whether pressure came to cut-out in this run, or may have between two samples of what it was lifted: up
    at the most that the pump gives, and down again at the most that was ever drawn."""
    reached_pa = max(known.story.reached_pa, look.pressure_high_pa or 0.0)
    if reached_pa > usual.stop_pa - BELOW * usual.band_pa:
        return True
    missing_m3 = known.water.between_m3(reached_pa, usual.stop_pa)
    lifted = reached_pa > usual.start_pa + LIFTED * usual.band_pa
    drawn_m3_s = UNHEARD_OF * usual.draw_m3_s if usual.draw_m3_s is not None else inf
    there_and_back_s = missing_m3 / usual.now_m3_s + missing_m3 / max(drawn_m3_s, 0.1 * usual.now_m3_s)
    return lifted and there_and_back_s < look.interval_s


def stands(look: Look, usual: Reference) -> bool:
    """Whether pressure keeps its level: a line that drains passes all."""
    return look.slope_pa_s is not None and abs(look.slope_pa_s) * look.window_s < STANDS * usual.start_pa


def _run_out(look: Look, usual: Reference, story: Story) -> bool:
    """Whether the tank is empty: it was seen to go, or it went down to below any charge that its plate leaves
    open, from a start with delivery or at once."""
    began = story.kink_share is not None and story.kink_share > BEGAN
    charged_pa = CHARGED * usual.drained_pa
    below = look.pressure_pa is not None and look.pressure_pa < charged_pa
    return story.collapsed or (below and (began or (story.early_pa or charged_pa) < charged_pa))


def held_up(look: Look, usual: Reference, story: Story) -> bool:
    """The tank has run out, and pressure stands above any height of taps: something feeds the line."""
    if look.pressure_pa is None or not _run_out(look, usual, story) or not stands(look, usual):
        return False
    low_pa = min(STATIC_PA, STATIC * usual.start_pa)
    return low_pa < look.pressure_pa < (1.0 - BELOW) * usual.start_pa


def _feeds(look: Look, known: Known, motor: float | None) -> bool:
    """Whether a motor that works less holds a line up all the same: as a worn piston pump's, whose work goes
    with the pressure that it makes. With the tank run out a line that nobody feeds goes down to its taps at
    once."""
    usual, story = known.usual, known.story
    if motor is None or motor <= SHUT or not held_up(look, usual, story):
        return False
    return by_meter(look, known, usual, story) != "dry" and by_drop(look, known, usual) != "dry"


def false_start(look: Look, usual: Reference, story: Story) -> bool:
    """A contact that closes where the switch does not. Samples far apart may miss the foot of a true start,
    but then they show the rise from it."""
    start = look.pressure_start_pa
    if not look.entire or start is None or look.motor_level is not None:
        return False
    if look.pressure_pa is not None and look.pressure_pa < usual.start_pa - BELOW * usual.band_pa:
        return False
    if started_above(look, usual, story):
        return True
    foot_pa = max(usual.start_pa + FALSE_START * usual.band_pa, usual.start_top_pa or 0.0)
    if look.interval_s <= FINE_S:
        return start > foot_pa
    soon, high = story.early_pa, story.early_high_pa  # the one word at the start may be a wild one
    return (
        soon is not None
        and high is not None
        and high <= start + LIFTED * usual.band_pa
        and min(start, soon) > foot_pa
    )


def started_above(look: Look, usual: Reference, story: Story) -> bool:
    """Whether the motor started, by its signal, above any start that this switch has been seen to make."""
    start_pa = look.pressure_start_pa
    if usual.start_top_pa is None or look.pressure_pa is None or start_pa is None or not look.entire:
        return False
    if look.pressure_pa < usual.start_pa - BELOW * usual.band_pa:
        return False
    fell_pa = 0.0
    if look.slope_before_m3_s is not None and look.slope_before_m3_s < 0.0:
        # by its share of the drawdown: a straight line in water is nearly one in pressure over a band
        fell_pa = -look.slope_before_m3_s * look.interval_s / usual.drawdown_m3 * usual.band_pa
    # a lone word may be wild, and of a line that falls just then the foot lies between the two
    soon_pa = min(start_pa, start_pa if story.early_pa is None else story.early_pa)
    return soon_pa > usual.start_top_pa + fell_pa


def below_the_weak(look: Look, usual: Reference, story: Story, share: float) -> bool:
    """Whether not even TWICE what was ever drawn, and no zone that the clean pump could water, brings a pump
    down to here which gives such a share of what it lately gave, or by this run's start. What is known to be
    weak is known as it lately was, and does not halve between some runs. Where a tank that is drawn so runs
    out between samples, no rest has shown what is ever drawn: it may be the clean delivery."""
    if usual.draw_m3_s is None:
        return False
    gave_m3_s = usual.now_m3_s
    most_m3_s = max(TWICE * usual.draw_m3_s, WATERS * usual.delivery_m3_s)
    if story.kink_share is not None and not kinkless(story) and not story.mixed:
        gave_m3_s = min(gave_m3_s, story.kink_share * usual.delivery_m3_s)
    if most_m3_s * OF_A_SLOPE * look.interval_s > usual.drawdown_m3:
        most_m3_s = max(most_m3_s, TWICE * usual.delivery_m3_s)
    needed = needed_draw_m3_s(look, usual, story, SURE, share * gave_m3_s)
    return needed is not None and needed > most_m3_s


def _by_pressure(look: Look, known: Known, story: Story, short: bool) -> bool:
    """No word from the instruments: the kink, then what a working pump would need.

    short: delivery is known to fall short, by what usual draws may overcome.
    """
    assert look.pressure_pa is not None
    usual = known.usual
    if look.age_s < max(15.0, 4.0 * look.interval_s):
        return False
    if at_shut_off(look, usual):
        return False  # a pump without water makes no head
    if look.pressure_pa > usual.drained_pa and SURE * (look.slope_error_m3_s or 0.0) > usual.now_m3_s:
        return False  # by so few digits, or so rough a gauge, a whole delivery may go into the tank unseen
    works = (motor_share_1(look, usual) or 0.0) > LEAST_AT_WORK
    if works and line_empty(look, usual) and look.pressure_pa > NOTHING_PA:
        return False  # too hard for one that turns in air: heavy use, or a pump that gives little
    if look.pressure_pa > NOTHING_PA and may_be_weak(look, known, usual):
        return False
    unheard_of = fell_fast(story, usual) and story.fastest_m3_s > usual.now_m3_s
    if no_break(story, look, usual) and not unheard_of:
        return not short  # slow for a break, but neither does any house draw more than a pump gives
    if fell_fast(story, usual) or held_up(look, usual, story) or weak(story, look, known, usual):
        return False
    # by less than half of NONE_SHARE of what a weak pump lately gave no usual draw hides it
    brings = not kinkless(story, 0.5 * NONE_SHARE * usual.now_m3_s / usual.delivery_m3_s)
    if gives_nothing(story, look, usual):
        return not (short and brings)
    drawn = -(look.slope_before_m3_s or 0.0) / usual.delivery_m3_s
    rose = (look.pressure_high_pa or 0.0) > began_pa(look, usual) + 0.25 * usual.band_pa
    none = NONE_SHARE if usual.learned else 0.5 * NONE_SHARE  # a rating may be twice what is delivered
    if kinkless(story, none) and not rose and drawn < 0.7 and not usual.unproven and not story.mixed:
        # a zone of the garden that opens in the very window before the start hides the kink: so large
        # a draw must be unheard of here, or the tank must go on just as it did, which one that stands
        # against a zone does not where it plainly fell
        same = drawn >= PLAINLY and lasted(story.same_since_us, look) and not short
        return not (short and brings) and (lasted(story.needed_since_us, look, 0.3) or same)
    began = story.kink_share is not None and not kinkless(story)
    if usual.unproven and not rose and not began and lasted(story.standing_since_us, look, 3.0):
        return True  # it has never been seen to deliver, not at this start either
    if line_empty(look, usual):
        return not short and lasted(story.needed_since_us, look, 0.3)
    if look.interval_s > CLOSE_S:
        return False  # too few samples to know how fast tank water fell: only a drained line tells
    unheard = usual.draw_m3_s is not None and lasted(story.needed_since_us, look, 0.3)
    unheard &= story.last_needed_m3_s > UNHEARD_OF * story.met_m3_s
    if unheard and not short and not story.mixed and lasted(story.gone_since_us, look):
        return True  # else what was never drawn would have to take just what the pump gives
    if story.stood and (look.slope_m3_s or 0.0) > -SHORT_OF * given_m3_s(look, usual, story):
        return False  # what it stood against is drawn still, and without the pump the tank would give it all
    if look.pressure_pa < usual.drained_pa:
        return False  # where the line comes to stand will tell: held up by a pump, or empty
    if look.pressure_pa < usual.start_pa - BELOW * usual.band_pa:
        return not short and lasted(story.needed_since_us, look)
    # Within the band a zone of the garden can stand against the pump. That tank water falls again as
    # it did before the start is no chance, where it fell plainly; unless the run had come to cut-out: then
    # the pump has stopped and its contact has not said so.
    if (look.pressure_high_pa or 0.0) > usual.stop_pa - BELOW * usual.band_pa:
        return False
    if drawn < PLAINLY or look.interval_s > 5.0 or not lasted(story.same_since_us, look):
        return False
    return lasted(story.needed_since_us, look)
