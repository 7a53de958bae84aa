"""Burst line: the pump runs on, the flow is high, and pressure does not recover.

What fails. A fitting lets go, a pipe splits or is cut: far more leaves than any tap draws.

Physics. Pressure settles where the pump gives what the break lets out, Q(P) = c sqrt(P / P0): below
cut-in for a break of more than the delivery at cut-in. Before that the tank empties itself into the
break, dw/dt = Q - q with q well above Q.

What the sensors show. A motor that works as usual or harder (a jet pump beyond its best point a little
less), an outlet that makes little pressure, pressure well below cut-in for as long as the run lasts; tank
water falling faster than any delivery makes good.

Mistaken for. Heavy use near the pump's limit (pressure settles close to cut-in); lost prime (the motor
works less, no kink at the start; by a contact alone both names are told, and how the tank emptied decides);
a dry storage; a choked filter against a zone of the garden (the outlet stands at its shut-off head).

Parameters. DEEP 0.5 of cut-in for half a minute, or LOW 0.75 for a minute and a quarter: the pressure at
which a pump with shut-off head 2.5 times cut-in meets a draw of 1.9 and 1.25 times its delivery at cut-in. A
plant whose owner draws a quarter more than the pump gives, for minutes, has no water pressure either way;
MORE 1.25 is that same draw, asked of the single look. OUT 1.5: draw over delivery by the slope of tank water,
with pressure already below the band: a quarter more again, for a slope within the look's window is good to
some 7 %. OVER 1.1, with pressure a tenth of the band under cut-in: no zone or hose is laid out for that, and
one that is new draws no TWICE 1.7 (`no_delivery`: 2 less two errors of 7 %) of the most that was ever drawn;
asked where a run holds FEW samples or more, so that what the pump lately gives is known. SAMPLES: pressure
that stands over five samples, 2 where the motor works as usual, for then nothing drains. At work the motor is
above WORKS of `instruments`, or above LIGHTER 0.85 where the tank emptied as at a break: a jet pump takes
less beyond its best point, and one that is shut off stands, by current, just there. HALF 0.5 of its delivery
may be all that a pump gives whose motor works less than in clean runs in most looks below cut-in (at half
flow it takes three quarters of its power and 0.87 of its current, see `flows`): an ordinary draw may then
bring the line down, through a filter that nobody knows of. METERED 0.7 of what is missing, two errors of a
look's slope (15 %): all of it passes the meter, and what passes of a line that stands is what the pump gives.
RUN_OUT 1.6: a small centrifugal pump takes at most some 1.4 of its duty at run-out (handbook curves; from
memory), beyond it the rotor drags. SOON_OVER_S 45 min: what leaves beyond the delivery and stops sooner is a
draw of the owner's (a break is walked for, shut and mended in hours; common practice, no source), and so is
as much again, as long; but no house has taps for OWNERS 2 times what its pump gives.

Source: orifice law; quadratic pump curve, common practice, no source.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.deaf_gauge import may_be_deaf
from analytics.judging.flows import (
    CLOSE_S,
    FULL,
    FULL_BELOW,
    at_full_load,
    curve,
    given_m3_s,
    needed_draw_m3_s,
)
from analytics.judging.instruments import WORKS, by_drop, by_meter, motor_share_1
from analytics.judging.no_delivery import TWICE, below_the_weak, false_start, held_up, stands, started_above
from analytics.judging.pace_words import within
from analytics.judging.reference import MID_SHARE
from analytics.judging.story import (
    BEGAN,
    DEEP,
    HALF,
    UNHEARD_OF,
    at_shut_off,
    fell_fast,
    kinkless,
    ran_out_slowly,
)
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.events import Look, Run

DEEP_FOR_S = 30.0
LOW, LOW_FOR_S = 0.75, 75.0
OUT, MORE = 1.5, 1.25
OVER, FEW = 1.1, 2.0
METERED = 0.7
SAMPLES, SAMPLES_AT_WORK = 5.0, 2.0
RECOVERS = 0.05 / 30.0  # of the band a second: a twentieth in half a minute, out of the noise
LIGHTER, RUN_OUT = 0.85, 1.6
RISEN = 0.3  # of the band: no pump lifts a line so far that lets out more than it gives at cut-in
SOON_OVER_S, OWNERS, ENDED_KEPT = 2700.0, 2.0, 8

DRY_INSTEAD = (
    " By pressure and a running contact alone a pump that has lost its prime can look much the same: walk "
    "the line, and if water runs out nowhere, look at the pump. The motor's current would tell."
)

#: See MORE.
HARDLY_MORE = " One that lets out hardly more than the pump gives may pass for heavy use."


class BurstMemory(msgspec.Struct):
    run_us: int = 0
    below: int = 0  # looks below cut-in, and those of them with a motor that works as in clean runs
    full: int = 0
    lifted: int = 0  # looks in a row at a line that is far above cut-in
    low_us: int | None = None
    deep_us: int | None = None
    #: In this run: the most that left, beyond what the pump gives, in two looks; its first and its last look.
    heavy_m3_s: float = 0.0
    before_m3_s: float = 0.0
    heavy_us: int | None = None
    heavy_to_us: int = 0
    ended: list[float] = []  # such draws that were soon over [m3/s]


class BurstLine(Detector):
    FAULT = "burst_line"
    Memory = BurstMemory
    memory: BurstMemory

    def look(self, look: Look, known: Known) -> Sequence[Word]:
        memory, usual = self.memory, known.usual
        look = self._lowest(look, usual, known)
        pressure = look.pressure_pa
        if pressure is None or look.age_s < 5.0 or look.still:
            return ()
        if self.plant.switch is None and not usual.learned:
            return ()  # nobody knows at what pressure the pump is started
        if memory.run_us != look.start_us:
            memory.run_us, memory.low_us, memory.deep_us = look.start_us, None, None
            memory.heavy_m3_s, memory.before_m3_s, memory.heavy_us = 0.0, 0.0, None
            memory.lifted = memory.below = memory.full = 0
        if pressure < usual.start_pa:
            memory.below += 1
            memory.full += look.motor_level is None or at_full_load(look, usual)
        if false_start(look, usual, known.story) or may_be_deaf(look, known):
            return ()
        memory.lifted = memory.lifted + 1 if pressure > usual.start_pa + RISEN * usual.band_pa else 0
        if memory.lifted >= 2 and known.is_open(self.FAULT):
            return [
                AllClear(self.FAULT, summary="The pump has lifted the line again while it runs: it holds.")
            ]
        pumps = self._pumps(look, known)
        at_work = pumps and (self._works(look, known) or self._runs_out(look, known))
        keeps = at_work or stands(look, usual)
        memory.low_us = self._since(memory.low_us, keeps, LOW * usual.start_pa, look)
        memory.deep_us = self._since(memory.deep_us, keeps, DEEP * usual.start_pa, look)
        recovers = (look.slope_pa_s or 0.0) > RECOVERS * usual.band_pa
        given = given_m3_s(look, usual, known.story)
        if not at_full_load(look, usual) and not known.story.mixed:
            given = min(given, known.story.lasting_m3_s or given)
        needed = needed_draw_m3_s(look, usual, known.story, most_m3_s=given)
        unit = min(given, usual.delivery_m3_s) if usual.guessed else usual.delivery_m3_s
        metered = self._metered_m3_s(look, known)
        passes = self._passes_m3_s(look, known)
        if needed is not None:
            if passes > METERED * needed:
                # a meter that passes what such a pump gives knows better than its curve what leaves and comes
                needed, given = min(needed, passes), min(given, self._given_m3_s(look, known))
            needed = max(needed, metered)
        if recovers or not pumps or needed is None or needed < unit:
            return ()
        if ran_out_slowly(known.story, look, usual):
            return ()
        if self._ends_by_itself(look, usual, needed, known.story.fastest_m3_s):
            return ()
        short = self._weak(look, known, at_work, given) and not fell_fast(known.story, usual)
        # in the first minute what left before the start must say the same: no tap just opened
        before = -(look.slope_before_m3_s or 0.0)
        out = look.age_s >= (20.0 if before > OUT * usual.delivery_m3_s else 60.0)
        drawn = max(known.story.most_needed_m3_s, metered)  # by the tank, or by a meter behind it
        out &= drawn > self._limit_m3_s(unit, usual, OUT)
        cut_in_pa = self._cut_in_pa(look, usual)
        out &= pressure < cut_in_pa - 0.1 * usual.band_pa
        samples = SAMPLES_AT_WORK if at_work else SAMPLES
        low = _lasts(memory.low_us, look, LOW_FOR_S, samples)
        low |= _lasts(memory.deep_us, look, DEEP_FOR_S, samples)
        # a motor at work, and for as long all but twice of what the plant ever drew, more than the pump gives
        unseen = max(OVER * unit, TWICE * usual.seen_m3_s) if usual.draw_m3_s is not None else inf
        # where a run is a sample or two, nobody knows what the pump lately gives
        gives = max(usual.delivery_m3_s, self._rated_m3_s(usual))
        told = usual.drawdown_m3 > FEW * look.interval_s * gives
        # a contact says nothing of work: what stands above all taps with the tank run out is held up by it,
        # and where water went as by no draw it was not for want of a pump
        fed = at_work or held_up(look, usual, known.story) or fell_fast(known.story, usual)
        new = fed and told and needed > unseen
        # a large tank goes down slowly to where that shows; the rest before the start may have shown it
        new &= pressure < cut_in_pa - 0.1 * usual.band_pa or before > unseen
        new &= _lasts(known.story.needed_since_us, look, LOW_FOR_S, samples)
        # where the line comes to stand says how much more than the pump gives, in no unit of any plate
        gives_m3_s = curve(0.99 * usual.start_pa, usual) * min(given, unit)
        more = max(MORE * gives_m3_s, UNHEARD_OF * (usual.draw_m3_s or 0.0))
        if not (out or (new and not short) or (low and needed > more and not short)):
            return ()
        draw = max(needed, known.story.most_needed_m3_s) / usual.delivery_m3_s
        evidence = {"pressure_pa": pressure, "run_age_s": look.age_s, "cut_in_pa": usual.start_pa}
        evidence["draw_over_delivery_1"] = draw
        far = "far below" if pressure < LOW * usual.start_pa else "below"
        said = (
            f"The pump runs and pressure stays at {words.pressure(self.plant, pressure)}, {far} cut-in: "
            "more water leaves than the pump can give, as from a burst line."
        )
        measured = (
            look.motor_level is not None or look.flow_m3_s is not None or look.filter_drop_pa is not None
        )
        sure = 0.9 if measured else 0.7
        said += "" if measured else DRY_INSTEAD
        return [Claim(self.FAULT, look.start_us, "high", sure, said, evidence=evidence)]

    def _ends_by_itself(self, look: Look, usual: Reference, needed_m3_s: float, fastest_m3_s: float) -> bool:
        """Whether as much has left before and then stopped, and the tank goes no faster than by that: the
        owner's draw. What leaves now is noted."""
        memory = self.memory
        if look.pressure_pa is None or look.pressure_pa > usual.start_pa - 0.1 * usual.band_pa:
            return False
        if memory.heavy_us is None:
            memory.heavy_us = look.at_us
        memory.heavy_m3_s = max(memory.heavy_m3_s, min(memory.before_m3_s, needed_m3_s))
        memory.before_m3_s, memory.heavy_to_us = needed_m3_s, look.at_us
        soon = look.at_us - memory.heavy_us < SOON_OVER_S * 1e6
        leaves_m3_s = max(needed_m3_s, fastest_m3_s)
        return soon and any(leaves_m3_s < UNHEARD_OF * most for most in memory.ended)

    def _weak(self, look: Look, known: Known, at_work: bool, given_m3_s: float) -> bool:
        """Whether what the plant is known to draw brings down a pump that gives no more than this one may."""
        usual, memory = known.usual, self.memory
        gives = 1.0 if (motor_share_1(look, usual) or 0.0) > FULL_BELOW else HALF
        known_weak = known.is_open("clogged_filter") or known.is_open("pump_wear")
        # of a line far down a meter passes what the pump gives, whatever lets it out
        below = look.flow_m3_s is None and below_the_weak(look, usual, known.story, gives)
        if known_weak and not below:
            return True
        # one that works less than in clean runs, in most looks, may give HALF of it
        lasting_m3_s = known.story.lasting_m3_s or 0.0
        light = 0 < memory.below >= 2 * memory.full and lasting_m3_s < BEGAN * usual.now_m3_s
        light = light and not below_the_weak(look, usual, known.story, HALF)
        least_m3_s = HALF * given_m3_s if light else given_m3_s
        # a run that begins with less than the newest ones is told by the clean motor's load alone
        told = at_work if given_m3_s > BEGAN * usual.now_m3_s else at_full_load(look, usual)
        overcome = least_m3_s < 1.1 * (usual.draw_m3_s or 0.0)
        return overcome and (light or not told)

    def _behind_a_clog(self, look: Look, known: Known) -> bool:
        """Whether water moves behind a filter that holds the outlet up: a meter passes what nobody was ever
        seen to draw (what such a pump gives a zone of the garden may keep the line down for hours), or, where
        there is none, the motor works as it lately did and the line lies lower than any zone brings it."""
        draw_m3_s = known.usual.draw_m3_s
        if not known.is_open("clogged_filter") or draw_m3_s is None:
            return False
        if look.flow_m3_s is None:
            full = (motor_share_1(look, known.usual) or 0.0) > FULL  # one that is shut off works less
            return full and below_the_weak(look, known.usual, known.story, 1.0)
        return self._passes_m3_s(look, known) > UNHEARD_OF * draw_m3_s

    def _metered_m3_s(self, look: Look, known: Known) -> float:
        """What a meter behind the tank passes, as a draw at cut-in.

        With the line far down it passes what the pump gives and no more: what that says of the opening is
        the pressure's word, and rests on where the gauge's zero and the taps lie.
        """
        deep = (look.pressure_pa or 0.0) < DEEP * known.usual.start_pa
        return 0.0 if deep else self._passes_m3_s(look, known)

    def _passes_m3_s(self, look: Look, known: Known) -> float:
        """What a meter passes now, as a draw at cut-in; by the plate's tank, as all flows are."""
        if look.flow_m3_s is None or look.pressure_pa is None:
            return 0.0
        share = min(max(look.pressure_pa / known.usual.start_pa, 0.01), 1.0)
        return look.flow_m3_s / known.signature.tank_times() / sqrt(share)

    def _given_m3_s(self, look: Look, known: Known) -> float:
        """What a meter behind the tank says that the pump gives, as it would over its band."""
        usual = known.usual
        if look.flow_m3_s is None or look.pressure_pa is None:
            return inf
        slope_m3_s = (look.slope_m3_s or 0.0) if look.pressure_pa > usual.drained_pa else 0.0
        here_m3_s = look.flow_m3_s / known.signature.tank_times() + slope_m3_s
        return here_m3_s / curve(min(look.pressure_pa, usual.start_pa), usual)

    def _runs_out(self, look: Look, known: Known) -> bool:
        """Whether a pump of which no motor level tells gives more than over its band: its outlet stands below
        the band, and what it gives makes the clean drop on the way to the line, or more."""
        usual, drop = known.usual, look.filter_drop_pa
        if look.motor_level is not None or look.discharge_pa is None or drop is None:
            return False
        moves = by_drop(look, known, usual) == "moves" and drop > usual.drop_pa > 0.0
        return moves and look.discharge_pa < usual.start_pa

    def _lowest(self, look: Look, usual: Reference, known: Known) -> Look:
        """The look as the outlet gauge has it, where that stands far below the line and the motor works: then
        water leaves before the check valve, which holds the line up. It must last: a pump that has just
        stopped shows the same for as long as its motor has not said so; and the line must not stand where
        no switch starts a pump, since then it is the motor signal that lies."""
        outlet, line = look.discharge_pa, look.pressure_pa
        if outlet is None or line is None or outlet > min(DEEP * usual.start_pa, line - 0.5 * usual.band_pa):
            return look
        if not self._works(look, known) or started_above(look, usual, known.story):
            return look
        return msgspec.structs.replace(look, pressure_pa=outlet, slope_m3_s=0.0, slope_pa_s=None)

    def _since(self, before_us: int | None, keeps: bool, below_pa: float, look: Look) -> int | None:
        """Since when pressure has kept below; for a look's whole window where that was so."""
        if not keeps or look.pressure_pa is None or look.pressure_pa >= below_pa:
            return None
        if before_us is not None:
            return before_us
        began_pa = look.pressure_pa - (look.slope_pa_s or 0.0) * look.window_s
        seen = look.slope_pa_s is not None and began_pa < below_pa
        return look.at_us - int(look.window_s * 1e6) if seen else look.at_us

    def _cut_in_pa(self, look: Look, usual: Reference) -> float:
        """Of samples so far apart that most miss the start, cut-in is learned too high: the plate's then."""
        if look.interval_s > CLOSE_S and self.plant.switch is not None:
            return min(usual.start_pa, self.plant.switch.cut_in_pa)
        return usual.start_pa

    def _works(self, look: Look, known: Known) -> bool:
        """Whether the motor does its usual work, or what it does at run-out."""
        share, emptied = motor_share_1(look, known.usual), fell_fast(known.story, known.usual)
        return share is not None and (LIGHTER if emptied else WORKS) <= share < RUN_OUT

    def _pumps(self, look: Look, known: Known) -> bool:
        """Whether the pump can be taken to deliver, by meter, gauges, motor or the course of pressure."""
        usual, story, seen = known.usual, known.story, known.witness
        metered = by_meter(look, known, usual, story) == "moves"
        # a pump that runs out makes little pressure, at its outlet too, but for a filter that holds it up
        unshut = (metered or look.flow_m3_s is None) and self._behind_a_clog(look, known)
        shut = at_shut_off(look, usual) and not unshut
        if (seen is not None and seen.idle) or shut:
            return False
        if metered or by_drop(look, known, usual) == "moves":
            return True
        if seen is not None and seen.motor is not None:
            # a start that brought nothing, by a motor that does not work as usual: the way is shut
            brought = not kinkless(story) or story.mixed or at_full_load(look, usual)
            return brought and self._works(look, known)
        return held_up(look, usual, story) or fell_fast(story, usual)

    def _limit_m3_s(self, unit_m3_s: float, usual: Reference, times: float) -> float:
        """No household's draw: so many times what the pump gives, and beyond all that was seen."""
        return max(times * unit_m3_s, times * self._rated_m3_s(usual), UNHEARD_OF * usual.seen_m3_s)

    def _rated_m3_s(self, usual: Reference) -> float:
        """What the plate says the pump gives, until its runs have: they are told by the plate's tank, as the
        draw is, and the two plates need not agree."""
        return 0.0 if usual.learned else MID_SHARE * (self.plant.pump.rated_flow_m3_s or 0.0)

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        usual, stop, memory = known.usual, run.cycle.pressure_stop_pa, self.memory
        if stop is None or stop < usual.stop_pa - 0.3 * usual.band_pa:
            return ()
        if memory.heavy_us is not None and run.cycle.start_us <= memory.heavy_us <= run.cycle.stop_us:
            lasted_s = (memory.heavy_to_us - memory.heavy_us) * 1e-6
            if 0.0 < memory.heavy_m3_s < OWNERS * usual.delivery_m3_s and lasted_s < SOON_OVER_S:
                memory.ended = [*memory.ended, memory.heavy_m3_s][-ENDED_KEPT:]
        memory.heavy_us = None
        if not known.is_open(self.FAULT):
            return ()
        return [AllClear(self.FAULT, summary="The tank fills to cut-out again: the line holds.")]


def _lasts(since_us: int | None, look: Look, seconds: float, samples: float) -> bool:
    return since_us is not None and look.at_us - since_us >= max(seconds, samples * look.interval_s) * 1e6


def detector(plant: Plant) -> BurstLine:
    return BurstLine(plant)


def coverage(plant: Plant) -> Coverage:
    if not plant.measuring(Measure.LINE_PRESSURE) or not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs line pressure and a motor signal.")
    if plant.measuring(Measure.PUMP_CURRENT, Measure.PUMP_POWER):
        return Coverage(True, f"Told {within(plant, 120.0)} from pressure and the motor's load.{HARDLY_MORE}")
    return Coverage(
        True,
        f"Told {within(plant, 120.0)} from pressure; a lost prime can look much the same: the motor's "
        f"current or power would tell.{HARDLY_MORE}",
    )
