"""What one look into a run says of flows: delivery by the kink, and the draw that a working pump would need.

A working pump obeys dw/dt = Q(P) - q. Q(P) is known from the runs that delivered, or from the rating:
Q = sqrt((H0 - P) / r), shut-off head H0 put at SHUT_OFF times the cut-out. What a look shows of dw/dt
gives the draw q that a working pump would need. A tap of fixed opening lets out q = c sqrt(P), so that
draws are compared as what they would be at cut-in.

Parameters:
    SHUT_OFF    1.5     shut-off head over cut-out, as `reference.MID_SHARE`
    MET         0.5     of the draw before the start: twice what warming air makes good of a quick fall; of
                        which STILL 0.2 must be seen (a drip line stays when a tap is shut), and it must be
                        TRICKLE 0.1 of the delivery, a kink's own error (7 to 15 %)
    SURE        2       standard errors taken off a slope before it counts: one look in forty
    NONE_SHARE  0.30    of the delivery: less is none. Three standard errors of a kink (7 % a cycle, the short
                        window of a look doubles it) above nothing, four below a whole delivery

Source: quadratic pump curve and orifice law; scatter of a kink from trial figures.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.judging.worked_out import Story
    from analytics.seeing.events import Look

SHUT_OFF = 1.5
MET, STILL, TRICKLE, SURE, ERRS_BY = 0.5, 0.2, 0.1, 2.0, 4
NONE_SHARE = 0.30
#: So much of its usual level, and the pump gives most of its delivery: at half of it a motor takes some three
#: quarters of its power and 0.87 of its current (`instruments`). Below cut-in, where a sound one moves more
#: than over the band, it is no less than usual by more than mains go down (a fiftieth) and a look scatters.
FULL, FULL_BELOW = 0.95, 0.965

#: So long after the start the demand before it still stands for the one now: the usual length of a draw in
#: a house (common practice, no source).
DEMAND_HOLDS_S = 120.0

#: Samples no further apart tell a kink in a look's window, and how fast a tank empties.
CLOSE_S = 11.0

#: Of the band, three deviations of a bad gauge's noise; of as many words that one leap among them is not it.
WILD, WILD_SAMPLES = 0.15, 8


def holds_s(look: Look) -> float:
    """So long after the start, or five samples, the demand before it still stands for the one now."""
    return max(DEMAND_HOLDS_S, 5.0 * look.interval_s)


def share_1(look: Look, usual: Reference) -> float | None:
    """Delivery by the kink, while the demand before the start still stands for the one now."""
    before, now, first = look.slope_before_m3_s, look.slope_m3_s, look.slope_first_m3_s
    if before is None or now is None or look.age_s > holds_s(look) or not look.entire:
        return None
    # a kink that was there is not undone by what is opened later in the run
    return (max(now, now if first is None else first) - before) / usual.delivery_m3_s


def kink_m3_s(look: Look) -> float | None:
    """Delivery by the kink at the start, where samples are close enough to tell it."""
    first, before = look.slope_first_m3_s, look.slope_before_m3_s
    if not look.entire or look.interval_s > CLOSE_S or first is None or before is None:
        return None
    return first - before


def fed(look: Look, usual: Reference) -> bool:
    """Whether what was drawn before the start is drawn still, and the tank gives less than half of it: the
    rest is brought in. A tap that is shut in those seconds leaves no draw, and warming air makes good no more
    than a quarter of a quick one (n from 1.4 to 1); a pump that churns passes a trickle, no TRICKLE more."""
    kink, before, first = kink_m3_s(look), look.slope_before_m3_s, look.slope_first_m3_s
    if kink is None or before is None or first is None or look.samples < ERRS_BY:
        return False  # of fewer samples nobody knows the slope's error
    drawn_still = first < -SURE * (look.slope_error_m3_s or 0.0) and first < STILL * before
    return drawn_still and kink > max(MET * -before, TRICKLE * usual.delivery_m3_s)


def at_full_load(look: Look, usual: Reference) -> bool:
    """Whether the motor works as in clean runs; the newest ones' level may be that of a clogged filter. Below
    cut-in a sound pump moves more than there, and works no less."""
    full = max(usual.motor_level or inf, usual.clean_level or 0.0)
    below = look.pressure_pa is not None and look.pressure_pa < usual.start_pa
    return look.motor_level is not None and look.motor_level > (FULL_BELOW if below else FULL) * full


def given_m3_s(look: Look, usual: Reference, story: Story) -> float:
    """What this run's pump gives, if it works: what it lately gave, or by its own kink, where less, or by
    what a meter passed while the line held.

    A line that burst within the window before the start makes the kink too small: the motor's full load
    speaks before it, and so does a fall at the start that is faster than over that window (`mixed`).
    """
    most = usual.now_m3_s
    if story.metered_m3_s is not None:
        most = min(most, max(story.metered_m3_s, NONE_SHARE * most))
    if story.mixed:
        return most
    if at_full_load(look, usual):
        return most
    kink = kink_m3_s(look)
    none = NONE_SHARE if usual.unproven else 0.5 * NONE_SHARE
    if kink is None or kink < none * usual.now_m3_s:
        return most  # the tank was drained within the kink's window
    return min(most, max(kink, NONE_SHARE * usual.now_m3_s))


def needed_draw_m3_s(
    look: Look, usual: Reference, story: Story, errors: float = 0.0, most_m3_s: float = inf
) -> float | None:
    """What must leave, as a draw at cut-in, if the pump works and gives no more than `most_m3_s`; at least,
    with so many standard errors of the slope given to the tank."""
    if look.pressure_pa is None or look.slope_m3_s is None:
        return None
    # a tank short of air makes every flow look larger, the pump's own kink as well
    grown = max((kink_m3_s(look) or 0.0) / usual.now_m3_s, 1.0)
    delivery = min(given_m3_s(look, usual, story), most_m3_s) * curve(
        min(look.pressure_pa, usual.start_pa), usual
    )
    share = max(look.pressure_pa / usual.start_pa, 0.01)
    slope = look.slope_m3_s + errors * (look.slope_error_m3_s or 0.0)
    gain = slope / grown if look.pressure_pa > usual.drained_pa else 0.0
    return (delivery - gain) / sqrt(min(share, 1.0))


def curve(pressure_pa: float, usual: Reference) -> float:
    """Delivery at a pressure over that in the middle of the band; 1 from cut-in upward."""
    if pressure_pa >= usual.start_pa:
        return 1.0
    head = SHUT_OFF * usual.stop_pa
    return sqrt((head - pressure_pa) / (head - 0.5 * (usual.start_pa + usual.stop_pa)))


def wild(look: Look, usual: Reference) -> bool:
    """Whether the gauge goes up and down in a look as no tank does; of few words a leap looks so too."""
    return look.samples >= WILD_SAMPLES and (look.noise_pa or 0.0) > WILD * usual.band_pa
