"""What a sound plant does: learned where it has been learned, else from the plant file.

delivery    delivery over the band [m3/s]: clean signature, else the rated flow (at cut-in; a pump gives
            some tenth less at mid-band), which goes before a lesson of the long runs alone where it is
            more, else what fills the drawdown in 90 s
start, stop pressures at which the motor starts and stops
motor level running current or power, by the newest runs that delivered, or None while unknown; clean level
            by the clean ones, when a filter had not yet throttled it
drop        what the outlet stands above the line by in mid-band, by the clean runs; 0 while unknown
START_SIGMAS 3 robust deviations over the cut-in begins one true start in 700, and START_SHARE 3 % of the band
             is what a switch repeats to (common practice, no source): a contact that closes further up lies
OVERLOAD     1.20 of the clean level: twice what a sagging supply does
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from analytics.judging.signature import best_delivery

if TYPE_CHECKING:
    from analytics.judging.signature import Signature
    from analytics.plant.description import Plant
    from analytics.seeing.water import Water

#: Usual band where there is no switch in the plant file: 30 to 50 psi. Common practice, no source.
USUAL_CUT_IN_PA, USUAL_CUT_OUT_PA = 206_843.0, 344_738.0
#: A pump that gives its rating at cut-in gives about this much of it over the whole band: from
#: Q = sqrt((H0 - P)/r) with a shut-off head 1.5 times the cut-out.
MID_SHARE = 0.87
OVERLOAD = 1.20
LATELY, LEVELS = 6, 3  # of fewer words one inrush that a slow clamp met is the middle
START_SIGMAS, START_SHARE = 3.0, 0.03


@dataclass(frozen=True, slots=True)
class Reference:
    start_pa: float
    stop_pa: float
    delivery_m3_s: float
    now_m3_s: float
    drawdown_m3: float
    draw_m3_s: float | None
    motor_level: float | None
    learned: bool
    guessed: bool  # neither learned nor rated
    unproven: bool  # no run has delivered yet
    drained_pa: float  # below it the tank holds no water and tells no flow
    start_top_pa: float | None  # a switch that was seen to start has not done so further up
    drop_pa: float = 0.0
    clean_level: float | None = None
    first_m3_s: float | None = None  # delivery by the first runs alone, while the lesson lasts
    fall_m3_s: float = 0.0  # the tank was seen to empty so at rest, unsound ones too
    band_pa: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "band_pa", self.stop_pa - self.start_pa)

    @property
    def seen_m3_s(self) -> float:
        """The most by which tank water was ever seen to go."""
        return max(self.draw_m3_s or 0.0, self.fall_m3_s)


def band_m3(plant: Plant, water: Water) -> float:
    """Water between the plate's cut-in and cut-out [m3]."""
    switch = plant.switch
    if switch is None:
        return water.between_m3(USUAL_CUT_IN_PA, USUAL_CUT_OUT_PA)
    return water.between_m3(switch.cut_in_pa, switch.cut_out_pa)


@dataclass(frozen=True, slots=True)
class Told:
    """What the findings that stand say of the plant.

    overloaded   its motor is, and has its load by that
    charge_pa    of a tank that is charged above cut-in
    left_1       of the delivery: runs beside a draw, or before the loss, say more for a while
    """

    overloaded: bool = False
    charge_pa: float = 0.0
    left_1: float = 1.0


NOTHING_TOLD = Told()


def reference(plant: Plant, water: Water, signature: Signature, told: Told = NOTHING_TOLD) -> Reference:
    """What a sound plant does, and this one lately, as known now."""
    switch, clean = plant.switch, signature.clean
    start = switch.cut_in_pa if switch else USUAL_CUT_IN_PA
    stop = switch.cut_out_pa if switch else USUAL_CUT_OUT_PA
    drawdown = water.between_m3(start, stop)
    if "start_pa" in clean and "stop_pa" in clean and clean["stop_pa"].middle > clean["start_pa"].middle:
        start, stop = clean["start_pa"].middle, clean["stop_pa"].middle
    rated = plant.pump.rated_flow_m3_s
    best = best_delivery(clean)
    if best is not None:
        delivery = clean[best].upper if best == "delivery_m3_s" else clean[best].middle
        if rated is not None and water.true and signature.of_the_long_alone():
            delivery = max(delivery, MID_SHARE * rated)
    elif rated is not None and water.true:
        delivery = MID_SHARE * rated
    else:
        delivery = drawdown / 90.0
    lately = signature.upper(best, LATELY) if best is not None else None
    now = min(told.left_1 * delivery, lately if lately is not None else delivery)
    clean_level = clean["motor_level"].middle if "motor_level" in clean else None
    level = _recent_level(signature) or clean_level or signature.load()
    drags = level is not None and clean_level is not None and level > OVERLOAD * clean_level
    if drags and not told.overloaded:
        level = clean_level  # the newest runs dragged: one that does not is not without water
    draw = signature.largest_draw_m3_s()
    learned = signature.learned_us is not None
    drained = max(min(max(0.5 * start, water.precharge_pa), 0.97 * start), told.charge_pa)
    guessed = best is None and not (rated is not None and water.true)
    unproven = not signature.recent
    top = _start_top_pa(signature, stop - start)
    drop = clean["filter_drop_pa"].middle if "filter_drop_pa" in clean else 0.0
    return Reference(
        start, stop, delivery, now, drawdown, draw, level, learned, guessed, unproven, drained, top,
        drop, clean_level, None if learned else _first_m3_s(signature), signature.fastest_fall_m3_s(),
    )  # fmt: skip


def _first_m3_s(signature: Signature) -> float | None:
    best = best_delivery(signature.first)
    return signature.first[best].middle if best is not None else None


def _start_top_pa(signature: Signature, band_pa: float) -> float | None:
    """The highest pressure at which the switch starts, by its lesson or, where it has moved, lately."""
    known = [t for t in (signature.clean.get("start_pa"), signature.now("start_pa")) if t is not None]
    tops = [t.middle + max(START_SIGMAS * t.sigma, START_SHARE * band_pa) for t in known]
    return max(tops, default=None)


def _recent_level(signature: Signature) -> float | None:
    """What the motor drew in the newest runs that delivered."""
    levels = sorted(b.motor_level for b in signature.recent[-LATELY:] if b.motor_level is not None)
    return levels[len(levels) // 2] if len(levels) >= LEVELS else None
