"""Lost prime: the motor runs and no water moves, though the storage has some.

What fails. A suction joint draws air, the foot or check valve leaks back, or air has gathered in the
casing: the impeller churns air and water and lifts nothing.

Physics. Tank water obeys dw/dt = Q - q. At the start of the motor Q should rise from nothing to the
pump's delivery; with the prime lost it stays at nothing, and w goes on falling by the demand q alone.

What the sensors show. No kink in w at the start, the pressure still or falling; the motor at about
half its usual power, some two thirds of its current.

Mistaken for. A demand as large as the delivery (kink and motor are normal), a burst (likewise, or
higher), a dry storage (see dry_supply: the level tells), a valve closed before the gauge (the outlet
gauge tells), a motor contact that lies (starts above cut-in).

Parameters. See `analytics.judging.no_delivery`. Two looks in agreement, 5 s apart at 1 s sampling: a call by
some 20 s after the symptom. One call in error needs both windows wrong by four standard errors. From EARLY_S
on, when a slow pump has lifted its water too, two instruments that agree in one look are as good: of a gauge
that speaks on change the next look may be far.

Source: common practice, no source; motor levels from trial runs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import msgspec

from analytics import words
from analytics.judging.attempts import Attempts
from analytics.judging.flows import NONE_SHARE, SURE
from analytics.judging.instruments import shut_from, two_say_dry
from analytics.judging.pace_words import within
from analytics.judging.story import EARLY_S, lasted, step_pa, turns_dry
from analytics.judging.supply import storage_low
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known, Word
    from analytics.judging.worked_out import Story, Witness
    from analytics.plant.description import Plant
    from analytics.seeing.events import Look, Rest, Run

AGREEMENT = 2
#: Of the delivery, by a start whose kink is good to 7 to 15 %: three errors off a whole one.
HALF = 0.5
#: Of the usual power: two deviations (0.08) below that at shut-off, as `instruments.SHUT`.
MAY_BE_SHUT = 0.54
#: Of the band above cut-in: half a drawdown lies below, which nothing but the pump brings in.
FULL = 0.5
FILLED = "A run has filled the tank again: the pump moves water."
BURST_INSTEAD = (
    " By pressure and a running contact alone a burst line can look much the same: walk the line, and if "
    "water runs out nowhere, prime the pump. The motor's current would tell."
)

TRIES = "it has most likely lost its prime, and its protector stops it. Switch it off before you look at it."
TRIES_DRY = "the storage is down to its outlet, and its protector stops it."
JAMMED_INSTEAD = " By a running contact alone a jammed rotor looks the same: listen whether it hums."

SHUT_INSTEAD = (
    " By the motor's power a pump that stands against a valve closed near it looks much the same: look that "
    "its way out is open. A gauge at its outlet would tell."
)


class PrimeMemory(msgspec.Struct):
    run_us: int = 0
    looks: int = 0
    since_us: int = 0
    measured: bool = False  # in this run, by more than pressure
    idle_us: int = 0  # when no water was last seen to move
    moved_us: int = 0  # when it was last seen to, by more than pressure or by a rise of it
    low_pa: float | None = None  # the lowest of the run, or since that rise
    tried: bool = False  # a run has begun and ended since
    attempts: Attempts = msgspec.field(default_factory=Attempts)


class NoDelivery(Detector):
    """Either of the two faults in which a run moves no water; which of them is for the level to say."""

    Memory = PrimeMemory
    memory: PrimeMemory
    WHEN_LOW: ClassVar[bool]

    def look(self, look: Look, known: Known) -> Sequence[Word]:
        memory = self.memory
        seen = known.witness
        if seen is None:
            return ()
        if memory.run_us != look.start_us:
            memory.run_us, memory.looks, memory.measured = look.start_us, 0, False
            memory.low_pa = None
        low = seen.low
        self._note_moved(look, seen, known.usual)
        # at its outlet a storage is expected to run dry: a pump that gains nothing there has, unless its
        # motor keeps its load
        nothing = self._gains_nothing(look, known.story) or _no_kink(look, seen, known.usual)
        works = look.motor_level is not None and not turns_dry(look, known)
        dry = low is True and not seen.sure and nothing and not works
        if not (seen.idle or dry) or seen.shut:
            memory.looks = 0
            return ()
        memory.measured |= seen.sure
        memory.idle_us, memory.tried = look.at_us, False
        if memory.looks == 0:
            memory.since_us = seen.since_us
        memory.looks += 1
        sure = memory.looks >= AGREEMENT or (look.interval_s > 3.0 and look.samples >= 4)
        sure = sure or (seen.sure and look.age_s >= EARLY_S and two_say_dry(look, known))
        if not sure or bool(low) is not self.WHEN_LOW:
            return ()
        return [self._claim(look, seen, low, known)]

    def _note_moved(self, look: Look, seen: Witness, usual: Reference) -> None:
        """Keep when water surely moved: an instrument said so, or pressure rose, which takes one."""
        memory, now_pa = self.memory, look.pressure_pa or 0.0
        rose = memory.low_pa is not None and now_pa > memory.low_pa + step_pa(look, usual)
        memory.low_pa = now_pa if rose or memory.low_pa is None else min(memory.low_pa, now_pa)
        if rose or (seen.sure and not seen.idle):
            memory.moved_us = look.at_us

    def _gains_nothing(self, look: Look, story: Story) -> bool:
        """Whether the tank has gained nothing for long enough, since water was last seen to move."""
        states = (
            (story.standing_since_us, 1.0),
            (story.flat_since_us, 1.0),
            (story.needed_since_us, 0.3),  # or what was never drawn is, just now
        )
        return any(
            since_us is not None and lasted(max(since_us, self.memory.moved_us), look, share)
            for since_us, share in states
        )

    def _claim(self, look: Look, seen: Witness, low: bool | None, known: Known) -> Claim:
        evidence = {"run_age_s": look.age_s, "pressure_pa": look.pressure_pa or 0.0}
        if seen.share is not None:
            evidence["delivery_share_1"] = seen.share
        if seen.motor is not None:
            evidence["motor_share_1"] = seen.motor
        if look.slope_m3_s is not None:
            evidence["tank_slope_m3_s"] = look.slope_m3_s
        # by pressure alone it is but the likelier of two
        sure = seen.motor is not None and seen.motor < 0.8
        confidence = 0.95 if sure else 0.85 if self.memory.measured else 0.7
        said = self._words(look, low)
        if not low and look.discharge_pa is None and self._may_be_shut(seen, known):
            confidence, said = min(confidence, 0.85), said + SHUT_INSTEAD
        return Claim(self.FAULT, self.memory.since_us, "high", confidence, said, evidence=evidence)

    def _may_be_shut(self, seen: Witness, known: Known) -> bool:
        """Whether the motor's power may as well be that of a pump which stands at its shut-off head."""
        power = bool(self.plant.measuring(Measure.PUMP_POWER))
        return power and seen.motor is not None and MAY_BE_SHUT < seen.motor <= shut_from(known)

    def _words(self, look: Look, low: bool | None) -> str:
        raise NotImplementedError

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        if self.memory.attempts.hear(run, known.usual):
            return self._tries(run, known)
        if not known.is_open(self.FAULT) or run.cycle.start_us <= self.memory.idle_us:
            return ()  # a pump that catches itself within the run may fail at the next start
        self.memory.tried = True
        usual = known.usual
        delivered = run.cycle.pressure_stop_pa is not None and (
            run.cycle.pressure_stop_pa > usual.stop_pa - 0.3 * usual.band_pa
        )
        if self.WHEN_LOW and storage_low(known):
            return ()  # a gulp from a storage at its outlet is no cure
        if not delivered or not (run.slope_run_m3_s or 0.0) > 0.0:
            return ()
        return [AllClear(self.FAULT, summary=FILLED)]

    def _tries(self, run: Run, known: Known) -> Sequence[Word]:
        """Starts that bring nothing, each soon over."""
        low = storage_low(known)
        if bool(low) is not self.WHEN_LOW or known.is_open("motor_overload"):
            return ()
        attempts = self.memory.attempts
        self.memory.idle_us, self.memory.tried = run.cycle.stop_us, False
        said = (
            f"The pump has started {attempts.runs} times, stopped each time before it lifted anything, and "
            f"moves no water: {TRIES_DRY if low else TRIES}"
        )
        if known.usual.motor_level is None:
            said += JAMMED_INSTEAD
        evidence = {"starts_1": float(attempts.runs), "run_time_s": run.cycle.run_time_s}
        return [Claim(self.FAULT, attempts.since_us, "high", 0.8, said, evidence=evidence)]

    def rest(self, rest: Rest, known: Known) -> Sequence[Word]:
        """A tank that stands full at rest: runs too short for their samples have filled it."""
        if not (self.memory.tried and known.is_open(self.FAULT)) or not rest.entire or rest.samples < 2:
            return ()
        full_pa = known.usual.start_pa + FULL * known.usual.band_pa
        if rest.pressure_from_pa is None or rest.pressure_from_pa < full_pa:
            return ()
        if self.WHEN_LOW and storage_low(known):
            return ()
        return [AllClear(self.FAULT, summary=FILLED)]


def _no_kink(look: Look, seen: Witness, usual: Reference) -> bool:
    """Whether the start brought less than half of the delivery, and the tank gains next to none of it, both
    beyond two errors of the slope: a storage at its outlet leaves no other reason to look for."""
    if seen.share is None or look.slope_m3_s is None:
        return False
    error = SURE * (look.slope_error_m3_s or 0.0)
    began = seen.share * usual.delivery_m3_s + error < HALF * usual.now_m3_s
    return began and look.slope_m3_s + error < NONE_SHARE * usual.now_m3_s


class LostPrime(NoDelivery):
    FAULT = "lost_prime"
    WHEN_LOW = False

    def _words(self, look: Look, low: bool | None) -> str:
        said = (
            f"The pump has been running for {words.duration(look.age_s)} and moves no water at "
            f"{words.pressure(self.plant, look.pressure_pa or 0.0)}: it has most likely lost its prime."
        )
        if low is None:
            said += " Without its level to go by a dry storage looks the same: look at it first."
        else:
            said += " The storage still has water."
        return said if self.memory.measured else said + BURST_INSTEAD


def detector(plant: Plant) -> LostPrime:
    return LostPrime(plant)


def coverage(plant: Plant) -> Coverage:
    motor = plant.measuring(Measure.PUMP_POWER, Measure.PUMP_CURRENT, Measure.PUMP_RUNNING)
    if not plant.measuring(Measure.LINE_PRESSURE) or not motor:
        return Coverage(False, "Needs line pressure and a motor signal.")
    level = bool(plant.measuring(Measure.STORAGE_LEVEL))
    apart = "" if level else " A storage level would tell it from a dry storage."
    if plant.signals[motor[0]].measures is Measure.PUMP_RUNNING:
        if plant.measuring(Measure.SUPPLY_FLOW):
            return Coverage(True, "Told from pressure and flow while somebody draws." + apart)
        return Coverage(
            True,
            "Told at the start of a run. Prime lost within one, with nobody drawing, may show at the next "
            "draw only, and a burst that empties the tank looks much the same: the motor's current or power "
            "would tell at once." + apart,
        )
    return Coverage(True, f"Told {within(plant, 30.0)} from pressure and motor.{apart}")
