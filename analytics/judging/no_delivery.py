"""Whether a run that is under way moves water: shared by lost prime and dry supply.

Three witnesses. The kink: at the start the slope of tank water must jump by the delivery; where it
does not jump, nothing is delivered. The motor: a pump without water in it does some half of its work
(trial figures; a sagging supply moves current by a tenth, so less than KEEPS_WORKING of the usual
counts). The pressure: with water it cannot fall far below cut-in unless more is drawn than the pump
gives, and then motor and kink say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.judging.reference import Reference, reference

if TYPE_CHECKING:
    from analytics.judging.watch import Known
    from analytics.seeing.events import Look

#: Motor below this share of its usual level does not pump: halfway between no delivery (about 0.6 in
#: current, 0.5 in power) and the least of a delivering run in a sagging supply (0.9).
KEEPS_WORKING = 0.80
WORKS = 0.90
#: Less than this share of the delivery is none: three standard errors of a kink (7 % a cycle, and the
#: short window of a look doubles it) above nothing, four below a whole delivery.
NONE_SHARE = 0.30
#: A start so far above cut-in (share of the band) is not the switch's: the motor signal lies.
FALSE_START = 0.30


@dataclass(frozen=True, slots=True)
class Witness:
    """What a look says of delivery."""

    idle: bool
    share: float | None  # delivery over the usual, by the kink
    motor: float | None  # motor level over the usual
    since_us: int


def witness(look: Look, known: Known) -> Witness | None:
    """None where the look cannot tell: too early, a gap, or a motor signal that lies."""
    usual = reference(known)
    if look.pressure_pa is None or look.samples < 3 or look.age_s < 10.0:
        return None
    if not look.entire and look.pressure_pa > usual.start_pa:
        return None
    start = look.pressure_start_pa
    if look.entire and start is not None and start > usual.start_pa + FALSE_START * usual.band_pa:
        return None
    motor = None
    if look.motor_level is not None and usual.motor_level:
        motor = look.motor_level / usual.motor_level
    share = _share(look, usual)
    since = look.at_us - int(look.window_s * 1e6) if look.age_s > 2 * look.window_s else look.start_us
    return Witness(_idle(look, usual, share, motor), share, motor, since)


def _share(look: Look, usual: Reference) -> float | None:
    """Delivery by the kink, while the demand before the start still stands for the one now."""
    before, now, first = look.slope_before_m3_s, look.slope_m3_s, look.slope_first_m3_s
    if before is None or now is None or look.age_s > 120.0 or not look.entire:
        return None
    # a kink that was there is not undone by what is opened later in the run
    return (max(now, now if first is None else first) - before) / usual.delivery_m3_s


def _idle(look: Look, usual: Reference, share: float | None, motor: float | None) -> bool:
    assert look.pressure_pa is not None
    rising = look.slope_m3_s is not None and look.slope_m3_s > 0.15 * usual.delivery_m3_s
    above = look.pressure_pa > usual.stop_pa + 0.1 * usual.band_pa
    if rising or above:
        return False
    if look.flow_m3_s is not None and look.flow_m3_s > NONE_SHARE * usual.delivery_m3_s and look.age_s > 60.0:
        return False
    if motor is not None:
        if motor < KEEPS_WORKING:
            return look.age_s >= 12.0
        if motor > WORKS:
            return False
    # No word from the motor, or a middling one: the kink, then the pressure.
    enough = look.age_s >= max(15.0, 4.0 * look.interval_s)
    drawn = -(look.slope_before_m3_s or 0.0) / usual.delivery_m3_s
    rose = (look.pressure_high_pa or 0.0) > usual.start_pa + 0.25 * usual.band_pa
    if share is not None and not rose:
        return enough and share < NONE_SHARE and drawn < 0.7
    collapsed = look.pressure_pa < 0.1 * usual.start_pa
    return enough and collapsed
