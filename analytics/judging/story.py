"""What the looks into one run have shown so far: how fast water went, how high it was lifted, what stood.

What a single look says of flows is reckoned in `flows`; here it is added up over a run, so that one odd look
decides nothing: two must agree, or a state must last.

Parameters:
    UNHEARD_OF  1.3     over the largest draw seen three times: a kink or a slope at rest is good to 7 to 15 %
                        (trial figures), so two standard errors of either. MOST_OF_IT 0.85: and most of
                        a delivery
    LASTS_S     45 s    no tap of that size is opened and shut within it (common practice, no source); six
                        samples at least, so that two windows of a look have nothing in common
    FAST        0.7     of the delivery: while no draws are known, tank water that goes by more is no house's
                        (a bath tap gives a third of a small pump's delivery; common practice, no source)
    STEP        0.05    of the band: a rise that is told from a gauge's noise and from air that warms after
                        a quick draw (4 standard deviations of the noise, where that is more)
    LIFTED      0.15    of the band above the start: warming air never comes above where its draw began, and
                        gauge and switch are good to a tenth of the band each
    CREEPS      0.10    of the delivery: a third of NONE_SHARE, for a run that has lifted pressure slowly

    STATIC_PA   50 kPa  the most that a drained line stands at: a tap five metres above the gauge; and STATIC
                        0.35 of cut-in, which is chosen to leave two thirds at the highest tap (common
                        practice, no source). What stands higher with the tank run out is held up by a pump
    TOO_SLOW    0.7     of the fall that a break makes of tank water which lets no more stand than this: a
                        fall over ten seconds is good to some 15 %, so two errors less

    HEADLONG    1.5     of the clean drop at that pressure: a clean filter holds back a part k / (a + k) of
                        the head that a closed valve holds back whole, and none is built for two thirds
    BEGAN       0.70    of what the pump lately gives: a start that showed so much had its delivery (two
                        standard errors of a kink, 15 %). AS_BEFORE 0.15, one such error: what is left of it
    HALF        0.5     of the delivery: a filter is said to clog before it leaves so little
    CHARGED     0.90    of the charge by the plate: gauges and plates are good to some twentieth each
    HEAD        0.25    of the band: two gauges of one or two hundredths of their range disagree by less
    DEEP        0.5     of cut-in: a line below it lets out, at a break, twice what the pump gives
    FULL        0.3     of the band below the usual stop: its switch stopped the pump. FADES 0.95: a draw that
                        the pump met is kept for some dozen such runs in which it was not so large
    FOLLOWS     0.05    of the line's fall: behind a closed valve the outlet stays at its shut-off head. By
                        a filter that leaves half of the delivery it goes down by a fifth of that fall
                        (a / (a + k) of the pump's and the filter's resistance), and by 1.5 kPa to be seen,
                        or ROUGH 3 errors of its medians: some twenty looks ask, each by chance once in 700

Source: common practice and trial figures, as said.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import TYPE_CHECKING

from analytics.judging.flows import (
    CLOSE_S,
    NONE_SHARE,
    SHUT_OFF,
    SURE,
    curve,
    fed,
    holds_s,
    kink_m3_s,
    needed_draw_m3_s,
    share_1,
)
from analytics.judging.worked_out import Story
from analytics.plant.description import Measure
from analytics.seeing.looks import BRISK_US
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known
    from analytics.seeing.events import Look, Run

UNHEARD_OF, MOST_OF_IT = 1.3, 0.85
LASTS_S, LASTS_SAMPLES = 45.0, 6.0
FAST = 0.7
STEP, LIFTED = 0.05, 0.15
CREEPS = 0.10
STATIC, STATIC_PA = 0.35, 50e3
TOO_SLOW = 0.7
NOISE_STEP, LEAST_STEP = 4.0, 0.02  # deviations; of the band: two digits of a coarse gauge
HEADLONG = 1.5
BEGAN, AS_BEFORE, HALF = 0.70, 0.15, 0.5
CHARGED = 0.90
HEAD, DEEP = 0.25, 0.5
FULL, FADES = 0.3, 0.95
FOLLOWS, FOLLOWS_LEAST_PA, ROUGH = 0.05, 1500.0, 3.0
HIDDEN_S = 2.0  # of delivery: what a sample a second or two before the start cannot have seen
RUN_UP_S = 3.0  # a motor of this size is up to speed, its inrush over
#: Below so much of its own best in the run, by power and current, the motor turns without water: halfway
#: between dry (0.5, and 0.7 of the current) and at shut-off (0.7 and 0.82), see `instruments`.
DRY = {Measure.PUMP_POWER: 0.61, Measure.PUMP_CURRENT: 0.76}
AT_SHUT_OFF = {Measure.PUMP_POWER: 0.70, Measure.PUMP_CURRENT: 0.82}
#: A fall seen so soon is that at the start: of some 45 draws a day one in a hundred begins within it.
EARLY_S = 20.0
LOOKS_S = 5.0  # between looks, at first
#: Tank water that goes by more than this over delivery and draws, as if by Boyle's law below the charge too:
#: either the tank runs out at a burst, or it is empty and the line behind it drains.
COLLAPSE = 1.2
#: Samples so far apart that a tank runs out between two of them show no slope, but that it did: by the run's
#: first looks (four samples, from a start that is known to half an interval) pressure is below EMPTIED of the
#: start. A house that draws as fast leaves its line STATIC.
EMPTIED, FIRST_SAMPLES = 0.6, 4.5


def follow(story: Story, look: Look, known: Known) -> None:
    """Take up a look."""
    usual = known.usual
    if story.run_us != look.start_us:
        fresh = Story(look.start_us, look.at_us, max(-(look.slope_before_m3_s or 0.0), 0.0))
        fresh.high_pa = fresh.base_pa = look.pressure_start_pa or look.pressure_pa or 0.0
        fresh.high_us = fresh.base_us = look.start_us if look.pressure_start_pa is not None else look.at_us
        fresh.met_m3_s = story.met_m3_s
        for name in story.__struct_fields__:
            setattr(story, name, getattr(fresh, name))
        story.low_pa, story.reached_pa = look.pressure_pa or 0.0, look.pressure_high_pa or 0.0
    recovered = _recovered(story, look, usual)
    story.reached_pa = max(story.reached_pa, look.pressure_high_pa or 0.0)
    story.low_pa = look.pressure_pa or 0.0 if recovered else min(story.low_pa, look.pressure_pa or inf)
    # of few samples the bend of a quick fall looks like noise, which is taken off it: the first looks all ask
    soon = look.age_s <= max(EARLY_S, FIRST_SAMPLES * look.interval_s)
    before_m3_s = max(-(look.slope_before_m3_s or 0.0), 0.0)
    story.mixed |= soon and (look.fall_m3_s or 0.0) - before_m3_s > NONE_SHARE * usual.now_m3_s
    if story.early_pa is None and look.samples >= 3:
        story.early_pa, story.early_high_pa = look.pressure_pa, look.pressure_high_pa
        if soon and (look.pressure_pa or 0.0) < CHARGED * usual.drained_pa:
            story.mixed = True  # no water is left to tell a kink by
    _note_passed(story, look)
    if recovered or look.gap:
        story.needed_since_us = story.standing_since_us = None
        story.same_since_us = story.flat_since_us = story.gone_since_us = None
        story.last_needed_m3_s = 0.0
    if recovered:
        story.most_needed_m3_s = 0.0
    if look.gap:  # nobody knows what went on in it
        story.base_pa, story.base_us = look.pressure_pa or 0.0, look.at_us
        return
    if look.age_s >= RUN_UP_S:
        story.motor_level = max(story.motor_level, look.motor_level or 0.0)
    _note_fall(story, look, usual)
    _note_rise(story, look, known, usual)
    share = share_1(look, usual)
    sharp = (look.slope_error_m3_s or 0.0) < NONE_SHARE / 3.0 * usual.delivery_m3_s  # not by a noisy gauge
    if share is not None and sharp and _told(look, usual) and look.age_s >= max(4.0 * look.interval_s, 10.0):
        story.kink_share = share
    _note_lasting(story, look, usual)
    story.fed = fed(look, usual) or (story.fed and not _unmet(look, usual))
    _note_metered(story, look, known)
    needed = needed_draw_m3_s(look, usual, story)
    surely = needed_draw_m3_s(look, usual, story, SURE) or 0.0
    if _told(look, usual) and look.slope_m3_s is not None and look.samples >= 4 and look.window_s >= 10.0:
        # two looks must agree: in one that meets the tank's emptying the slope runs away
        story.most_needed_m3_s = max(story.most_needed_m3_s, min(story.last_needed_m3_s, surely))
    story.last_needed_m3_s = surely
    known_draw = usual.seen_m3_s if usual.draw_m3_s is not None else usual.delivery_m3_s
    limit = max(UNHEARD_OF * known_draw, MOST_OF_IT * usual.delivery_m3_s)
    story.needed_since_us = _since(story.needed_since_us, needed is not None and needed > limit, look)
    error = SURE * (look.slope_error_m3_s or 0.0)
    standing = needed is not None and needed + error > MOST_OF_IT * usual.now_m3_s
    story.standing_since_us = _since(story.standing_since_us, standing, look)
    if lasted(story.standing_since_us, look):
        story.stands_m3_s = max(story.stands_m3_s, surely)
    story.same_since_us = _since(story.same_since_us, _as_before(look, known), look)
    story.flat_since_us = _since(story.flat_since_us, _gained_nothing(look, known), look)
    gone_us = look.at_us - int(look.window_s * 1e6)  # all of the window has shown it
    story.gone_since_us = (story.gone_since_us or gone_us) if _gone(story, look, usual) else None
    if _told(look, usual):
        story.ebbed_m3_s = _ebb_m3_s(look, known)
    elif DEEP * usual.start_pa < (look.pressure_pa or 0.0) < CHARGED * usual.drained_pa:
        story.ebbed_m3_s = None  # the pump holds the line there: what lies deeper later on is drawn anew


def note_end(story: Story, run: Run, usual: Reference) -> None:
    """Take up that a run is over: what it stood against before it came to cut-out was the owner's draw."""
    stop_pa = run.cycle.pressure_stop_pa
    if stop_pa is None or story.stands_m3_s <= 0.0:
        return
    this = run.cycle.start_us <= story.run_us <= run.cycle.stop_us
    if this and stop_pa > usual.stop_pa - FULL * usual.band_pa:
        story.met_m3_s = max(FADES * story.met_m3_s, story.stands_m3_s)


def _recovered(story: Story, look: Look, usual: Reference) -> bool:
    """Whether pressure has been lifted since an earlier look, at this one or between the two, in which a run
    that went as usual was not looked into: then no more leaves than the pump gives, whatever did before."""
    if look.pressure_pa is None:
        return False
    step_pa = max(LIFTED * usual.band_pa, NOISE_STEP * (look.noise_pa or 0.0))
    return max(look.pressure_pa - story.low_pa, (look.pressure_high_pa or 0.0) - story.reached_pa) > step_pa


def _since(before_us: int | None, holds: bool, look: Look) -> int | None:
    return (before_us if before_us is not None else look.at_us) if holds else None


def _told(look: Look, usual: Reference) -> bool:
    """Whether there is water in the tank, so that its slope is a flow."""
    return look.pressure_pa is not None and look.pressure_pa > usual.drained_pa


def _note_lasting(story: Story, look: Look, usual: Reference) -> None:
    """What the pump gives if what was drawn before the start is drawn still: the first seconds show more of
    it, while the air warms after a quick draw."""
    before, now = look.slope_before_m3_s, look.slope_m3_s
    close = look.entire and look.interval_s <= CLOSE_S and look.samples >= 4
    if before is None or now is None or not close or not _told(look, usual) or look.age_s > holds_s(look):
        story.last_kink_m3_s = None
        return
    last, kink = story.last_kink_m3_s, now - before
    story.last_kink_m3_s = kink
    if last is not None and max(last, kink) > NONE_SHARE * usual.now_m3_s:
        least = max(last, kink)
        story.lasting_m3_s = least if story.lasting_m3_s is None else min(story.lasting_m3_s, least)


def _note_fall(story: Story, look: Look, usual: Reference) -> None:
    story.fastest_m3_s = max(story.fastest_m3_s, look.fall_m3_s or 0.0)
    began_pa, now_pa = look.pressure_start_pa, look.pressure_pa
    if look.interval_s > CLOSE_S and look.entire and began_pa is not None and now_pa is not None:
        at_once = look.age_s <= FIRST_SAMPLES * look.interval_s and now_pa < EMPTIED * usual.start_pa
        story.collapsed |= at_once and began_pa > usual.drained_pa
    if look.slope_m3_s is None or look.samples < 3 or look.window_s < 10.0:
        return
    fell = -look.slope_m3_s - SURE * (look.slope_error_m3_s or 0.0)
    if _told(look, usual) and look.interval_s <= CLOSE_S and look.samples >= 4:
        # two looks must agree: in one that meets the tank's emptying the slope runs away
        story.fastest_m3_s = max(story.fastest_m3_s, min(story.last_fell_m3_s, fell))
        story.last_fell_m3_s = fell
    story.collapsed |= -look.slope_m3_s > COLLAPSE * max(usual.now_m3_s, usual.seen_m3_s)


def _note_rise(story: Story, look: Look, known: Known, usual: Reference) -> None:
    now_pa = look.pressure_pa
    if now_pa is None:
        return
    step = step_pa(look, usual)
    if now_pa > story.base_pa + step:
        story.base_pa, story.base_us = now_pa, look.at_us
    if now_pa > story.high_pa + step:
        gained = known.water.between_m3(story.high_pa, now_pa)
        took_s = (look.at_us - story.high_us) * 1e-6
        if story.high_us == look.start_us:  # it was not looked into while it rose, and for a window after
            took_s -= look.window_s + max(look.interval_s, LOOKS_S)
        story.lift_m3_s = gained / max(took_s, 1.0)
        story.high_pa, story.high_us = now_pa, look.at_us
    _note_load(story, look, known)
    if at_shut_off(look, usual):
        outlet_pa = look.discharge_pa or 0.0
        if story.shut_us is None:
            story.shut_us, story.shut_from_pa, story.outlet_from_pa = look.at_us, now_pa, outlet_pa
        sank_pa, fallen_pa = story.outlet_from_pa - outlet_pa, story.shut_from_pa - now_pa
        # two medians of a gauge as rough as the line's, or the outlet's, lie apart by so much for nothing
        least_pa = max(FOLLOWS_LEAST_PA, SURE * (look.noise_pa or 0.0), ROUGH * _rough_pa(known))
        follows = sank_pa > max(FOLLOWS * fallen_pa, least_pa)
        story.shut_pa = min(now_pa, story.shut_pa if story.shut_pa is not None else now_pa)
        at_once = story.shut_us <= max(story.looked_us, look.start_us + int(6e6 * max(5.0, look.interval_s)))
        moved = at_once and (kink_m3_s(look) or 0.0) > NONE_SHARE * usual.delivery_m3_s
        if known.is_open("short_cycling"):
            # a tank that has lost its charge has air, and water, in it wherever the line stands
            step = max(step, known.water.warms_by_pa(story.reached_pa, story.shut_pa))
        lifts = story.crept or now_pa > story.shut_pa + step
        if FOLLOWS * fallen_pa > least_pa and not follows:
            # an outlet that has let the line go by itself: what showed at the start was a tap that was shut
            story.throttled = lifts
        else:
            story.throttled |= follows or moved or lifts
    filled = (
        story.high_pa > usual.start_pa + LIFTED * usual.band_pa
        or (kink_m3_s(look) or 0.0) > 0.5 * usual.now_m3_s
    )
    still = look.slope_m3_s is not None and abs(look.slope_m3_s) < 0.5 * NONE_SHARE * usual.now_m3_s
    story.stood |= filled and still and look.age_s > 120.0


def _unmet(look: Look, usual: Reference) -> bool:
    """Whether tank water falls again as it did before the start: what is drawn is not met, and it was a tap
    that was shut."""
    before, now = look.slope_before_m3_s or 0.0, look.slope_m3_s or 0.0
    return _told(look, usual) and now < BEGAN * before < 0.0


def _note_passed(story: Story, look: Look) -> None:
    if look.flow_m3_s is not None:
        story.passed_m3 += look.flow_m3_s * (look.at_us - max(story.passed_us, look.start_us)) * 1e-6
        story.passed_us = look.at_us


def _note_metered(story: Story, look: Look, known: Known) -> None:
    """What a pump gives that holds the line against a draw, by the meter behind the tank: what is missing
    then, at the pump or before the meter, is none of what brings the line down later."""
    usual, flow, slope = known.usual, look.flow_m3_s, look.slope_m3_s
    if not flow or slope is None or look.pressure_pa is None or usual.guessed or look.age_s < look.window_s:
        return
    little = AS_BEFORE * usual.now_m3_s
    stands = abs(slope) < little and SURE * (look.slope_error_m3_s or 0.0) < 2.0 * little
    if stands and look.pressure_pa > usual.start_pa - LIFTED * usual.band_pa:
        story.metered_m3_s = max(flow / known.signature.tank_times() + slope, story.metered_m3_s or 0.0)


def _rough_pa(known: Known) -> float:
    """What two medians of the outlet gauge differ by for nothing: as the drop over a short run's."""
    drop = known.signature.clean.get("filter_drop_pa")
    return 2.0**0.5 * drop.sigma if drop is not None else 0.0


def _note_load(story: Story, look: Look, known: Known) -> None:
    """Whether it lifted pressure from one look to another at one load, above where warming air comes to."""
    now_pa, level = look.pressure_pa, look.motor_level
    if now_pa is None or level is None:
        return
    least_pa = step_pa(look, known.usual)
    if now_pa > known.usual.start_pa + LIFTED * known.usual.band_pa:
        # no air warms up to here: a step need only be out of the noise
        least_pa = min(least_pa, max(NOISE_STEP * (look.noise_pa or 0.0), LEAST_STEP * known.usual.band_pa))
    if story.seen_pa is None or abs(now_pa - story.seen_pa) > least_pa:
        above_pa = max(known.usual.start_pa, look.pressure_start_pa or 0.0) + least_pa
        rose = story.seen_pa is not None and now_pa > max(story.seen_pa, above_pa)
        story.crept |= rose and level > dry_share(known) * (story.seen_level or 0.0)
        story.seen_pa, story.seen_level = now_pa, level


def dry_share(known: Known) -> float:
    """Below this share of its usual level the motor turns without water."""
    return _of_its_motor(known, DRY)


def _of_its_motor(known: Known, shares: dict[Measure, float]) -> float:
    """By what is measured of the motor; nothing where a contact tells of it."""
    signal = motor_signal(known.plant)
    return shares.get(known.plant.signals[signal].measures, 0.0) if signal is not None else 0.0


def turns_dry(look: Look, known: Known) -> bool:
    """Whether the motor works as little as one without water, by the clean runs where they are known: a pump
    that is worn or throttled takes less for the water, and as much for turning; what one that dragged lately
    took is no measure of one that has been mended."""
    full = known.usual.clean_level or known.usual.motor_level or 0.0
    return look.motor_level is not None and look.motor_level < dry_share(known) * full


def step_pa(look: Look, usual: Reference) -> float:
    """What pressure must rise by to be lifted: neither noise nor air that warms."""
    return max(STEP * usual.band_pa, 4.0 * (look.noise_pa or 0.0))


def at_shut_off(look: Look, usual: Reference) -> bool:
    """The outlet is over cut-out, and over the line by half the band and by more than the clean filter holds
    back: shut off, or throttled by a filter."""
    if look.discharge_pa is None or look.pressure_pa is None:
        return False
    head_pa = SHUT_OFF * usual.stop_pa  # of it the drop is a share, whatever flows
    middle_pa = head_pa - 0.5 * (usual.start_pa + usual.stop_pa)
    clean_pa = usual.drop_pa * max(head_pa - look.pressure_pa, 0.0) / middle_pa
    return look.discharge_pa > max(
        usual.stop_pa, look.pressure_pa + max(0.5 * usual.band_pa, HEADLONG * clean_pa)
    )


def outlet_below(look: Look, usual: Reference) -> bool:
    """Whether the outlet stands further below the line than two gauges disagree: the check valve is shut."""
    return look.filter_drop_pa is not None and look.filter_drop_pa < -HEAD * usual.band_pa


def line_empty(look: Look, usual: Reference) -> bool:
    """Whether the line has drained to the height of the lowest open tap."""
    return look.pressure_pa is not None and look.pressure_pa < min(STATIC_PA, STATIC * usual.start_pa)


def no_break(story: Story, look: Look, usual: Reference) -> bool:
    """Whether the line is empty though its tank went too slowly for a break that a working pump cannot fill:
    one that leaves c sqrt(P) = Q(P) drew the tank down by c sqrt(P) - Q before."""
    if look.pressure_pa is None or not line_empty(look, usual) or look.interval_s > CLOSE_S:
        return False
    kink = kink_m3_s(look)
    seen = kink is not None and not story.mixed and kink > NONE_SHARE * usual.now_m3_s
    given = min(kink or 0.0, usual.now_m3_s) if seen else usual.now_m3_s
    lets = given * curve(look.pressure_pa, usual) / sqrt(max(look.pressure_pa, 1.0) / usual.start_pa)
    fell = lets * sqrt(usual.drained_pa / usual.start_pa) - given
    if -(look.slope_before_m3_s or 0.0) > TOO_SLOW * story.fastest_m3_s:
        return story.fastest_m3_s < TOO_SLOW * fell  # it fell so at rest already
    # a tank that holds little shows no more than that it is gone, between two samples or three
    share = (max(story.reached_pa, usual.start_pa) - usual.drained_pa) / usual.band_pa
    shows = share * usual.drawdown_m3 / max(1e-6 * BRISK_US, 2.0 * look.interval_s)
    return story.fastest_m3_s < TOO_SLOW * min(fell, shows)


def _gained_nothing(look: Look, known: Known) -> bool:
    """Whether the tank has gained less than a tenth of the delivery over the run, beyond the noise.

    One that starts well above cut-in by its last sample fell quickly after it: a draw began just then.
    """
    if look.pressure_pa is None or look.pressure_start_pa is None or not look.entire:
        return False
    tenth_m3 = 0.1 * known.usual.now_m3_s * look.age_s
    began_pa = min(look.pressure_start_pa, known.usual.start_pa)
    if known.water.between_m3(began_pa, look.pressure_start_pa) > HIDDEN_S * known.usual.now_m3_s:
        return False
    gained = known.water.one(look.pressure_pa) - known.water.one(began_pa)
    return gained + SURE * known.water.compliance_m3_pa(look.pressure_pa) * (look.noise_pa or 0.0) < tenth_m3


def began_pa(look: Look, usual: Reference) -> float:
    """Where the switch started this run: of one that has moved where it is now seen to start."""
    return max(usual.start_pa, min(look.pressure_start_pa or 0.0, usual.start_top_pa or 0.0))


def gives_nothing(story: Story, look: Look, usual: Reference) -> bool:
    """Whether a run has brought the tank nothing, though little left before it and no known draw takes all.

    What was drawn before may have been shut just then, so that the start shows a kink, but no gain. A zone
    that opens in the very seconds of the start would have to draw more than was ever drawn.
    """
    if usual.draw_m3_s is None or usual.now_m3_s < UNHEARD_OF * usual.draw_m3_s:
        return False
    if usual.unproven or story.mixed or story.reached_pa > began_pa(look, usual) + 0.25 * usual.band_pa:
        return False
    if look.interval_s > CLOSE_S or look.age_s < max(EARLY_S, LASTS_SAMPLES * look.interval_s):
        return False
    return story.fastest_m3_s < 0.5 * usual.now_m3_s and lasted(story.flat_since_us, look, 0.2)


def _as_before(look: Look, known: Known) -> bool:
    """Whether tank water has gone on, over the run, as before the start: within a tenth of the delivery,
    where noise lets that be told."""
    before, tenth = look.slope_before_m3_s, 0.1 * known.usual.delivery_m3_s
    if before is None or before > tenth or not look.entire or not _told(look, known.usual):
        return False
    if look.pressure_pa is None or look.pressure_start_pa is None:
        return False
    gained = known.water.one(look.pressure_pa) - known.water.one(look.pressure_start_pa)
    noise = SURE * known.water.compliance_m3_pa(look.pressure_pa) * (look.noise_pa or 0.0)
    return abs(gained / look.age_s - before) < tenth and noise / look.age_s < tenth


def _gone(story: Story, look: Look, usual: Reference) -> bool:
    """Whether a run that began with its delivery has none now: tank water goes as it went before the start.

    A tap that opened meanwhile would have to draw just what the pump gives.
    """
    before, now, error = look.slope_before_m3_s, look.slope_m3_s, SURE * (look.slope_error_m3_s or 0.0)
    if before is None or now is None or not look.entire or not _told(look, usual):
        return False
    if story.kink_share is None or story.kink_share * usual.delivery_m3_s < BEGAN * usual.now_m3_s:
        return False
    sharp = error < 2.0 * AS_BEFORE * usual.now_m3_s
    return sharp and abs(now - before) < AS_BEFORE * usual.now_m3_s + error


def _ebb_m3_s(look: Look, known: Known) -> float | None:
    """How fast the tank falls, at the most, where it is so low that this alone will have run it out soon."""
    slope, error = look.slope_m3_s, SURE * (look.slope_error_m3_s or 0.0)
    if (
        slope is None
        or look.pressure_pa is None
        or look.samples < 4
        or look.pressure_pa > known.usual.start_pa
    ):
        return None
    fell = -slope
    if fell <= 0.0 or error > 0.5 * fell:
        return None  # it bends in the window: nobody knows how fast it fell last
    left_m3 = known.water.between_m3(known.usual.drained_pa, look.pressure_pa)
    runs_out = left_m3 < fell * max(LASTS_S, 3.0 * look.interval_s)
    return max(fell + error, look.fall_m3_s or 0.0) if runs_out else None


def ran_out_slowly(story: Story, look: Look, usual: Reference) -> bool:
    """Whether the line lies far down though its tank ran out more slowly than at any break which a working
    pump meets there: where HALF of its delivery is no more than is drawn, a choked pump's zone."""
    pressure_pa = look.pressure_pa
    if story.ebbed_m3_s is None or pressure_pa is None or pressure_pa > DEEP * usual.start_pa:
        return False
    lets = curve(pressure_pa, usual) / sqrt(max(pressure_pa, 1.0) / usual.start_pa)
    if HALF * curve(pressure_pa, usual) * usual.now_m3_s > (usual.draw_m3_s or 0.0):
        return False
    falls = lets * sqrt(usual.drained_pa / usual.start_pa) - 1.0
    return story.ebbed_m3_s < TOO_SLOW * usual.now_m3_s * falls


def kinkless(story: Story, none_share: float = NONE_SHARE) -> bool:
    """Whether the start showed no delivery."""
    return story.kink_share is not None and story.kink_share < none_share


def lasted(since_us: int | None, look: Look, share: float = 1.0) -> bool:
    """Whether it has lasted long enough."""
    enough_s = share * max(LASTS_S, LASTS_SAMPLES * look.interval_s)
    return since_us is not None and look.at_us - since_us >= enough_s * 1e6


def fell_fast(story: Story, usual: Reference) -> bool:
    """Tank water fell faster than any usual draw makes it: a line has burst."""
    return story.fastest_m3_s > max(UNHEARD_OF * usual.seen_m3_s, FAST * usual.now_m3_s)


def weak(story: Story, look: Look, known: Known, usual: Reference) -> bool:
    """The run has lifted pressure, slower and slower, to where it stands: a weak pump that pumps.

    One that loses its prime within a run stops short at the usual rate. What was lifted so goes up and down
    with the draws from then on, as long as the motor keeps its load.
    """
    if look.pressure_pa is None or look.pressure_pa < usual.start_pa:
        return False
    if look.motor_level is not None and story.motor_level > 0.0:
        # a worn one that creeps to its shut-off head comes to take as little as a clean one without water,
        # but no less of its own best in the run than any takes there
        own = look.motor_level / story.motor_level
        if own < dry_share(known) or (own < _of_its_motor(known, AT_SHUT_OFF) and turns_dry(look, known)):
            return False
    slow = story.lift_m3_s is not None and story.lift_m3_s < NONE_SHARE * usual.delivery_m3_s
    lifted = story.high_pa > usual.start_pa + LIFTED * usual.band_pa
    story.crept |= slow and lifted and look.pressure_pa > story.high_pa - step_pa(look, usual)
    return story.crept


def falls_short(story: Story, look: Look, known: Known) -> bool:
    """Whether tank water has grown by less than any delivery makes it, beyond the gauge's noise."""
    usual = known.usual
    if look.pressure_pa is None or look.pressure_pa < usual.drained_pa:
        return True
    waited_s = (look.at_us - story.base_us) * 1e-6
    noise_m3 = SURE * known.water.compliance_m3_pa(look.pressure_pa) * (look.noise_pa or 0.0)
    gained = known.water.one(look.pressure_pa) - known.water.one(story.base_pa)
    lasts = look.age_s <= holds_s(look) and not gives_nothing(story, look, usual)
    if turns_dry(look, known) or outlet_below(look, usual):
        # one without load, or with its outlet below the line, meets no draw, and no noise passes for its gain
        noise_m3, lasts = -noise_m3, False
    if story.base_us == look.start_us and lasts:
        # what was drawn before the start may have been met by the pump, as far as a meter still passes it
        drawn_m3_s = max(-(look.slope_before_m3_s or 0.0), 0.0)
        if look.flow_m3_s is not None:
            drawn_m3_s = min(drawn_m3_s, look.flow_m3_s / known.signature.tank_times())
        gained += drawn_m3_s * waited_s
    # what was lifted well above the start is held there by a weak pump, too: it creeps
    lifted = look.pressure_pa > usual.start_pa + LIFTED * usual.band_pa
    return gained + noise_m3 < (CREEPS if lifted else NONE_SHARE) * usual.now_m3_s * waited_s
