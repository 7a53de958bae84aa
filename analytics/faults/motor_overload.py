"""Motor overload: current or power above its normal running range.

What fails. A bearing drags, the rotor is jammed (locked rotor: grit, ice, a broken impeller), the run
winding or capacitor gives out, or the voltage is far off.

Physics. A stalled induction motor draws four to seven times its running current; a dragging one as much
more as it must work. An inrush of the same size at each start lasts under a second.

What the sensors show. The motor's level against that of the plant's own runs.

Mistaken for. A burst (the pump runs out along its curve and works harder: that finding speaks); sagging
mains (a tenth either way).

Parameters. OVERLOAD 1.20 of the usual level (`analytics.judging.reference`) in three runs of four; within a
run, which a burst may load, 1.30.
STALLED 2.2 of it, for ten seconds and in more than one word, or in two runs in a row that filled nothing.
Runs shorter than the meter's interval, of which it says a word or none, are told by these words
(`analytics.judging.lone_words`).

Source: locked-rotor multiples, common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.ends import MOVES_THEM
from analytics.judging.lone_words import LoneWords
from analytics.judging.reference import OVERLOAD
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import Measure
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.events import Look, Run

OVER_IN_RUN = 1.30
STALLED = 2.2
BACK = 1.10
KEPT, ENOUGH = 4, 3
BRIEF_S = 5.0
INRUSH_S = 2.0  # it lasts for less than a second
#: A stalled motor trips on its protector within some ten seconds: seen more coarsely than this, the one
#: sample that stands so high may be the inrush.
CLOSELY_S = 5.0
#: Runs in a row that filled nothing: a sample each 10 s meets an inrush of a second once in ten starts, at
#: both once in a hundred of such pairs, and a sound plant has none.
IN_VAIN = 2
#: A protector that has cooled tries again within minutes, and the switch has not opened.
TRIES_US = 3_600_000_000
#: Half as much again as a stalled rotor draws at the most: a wild word, or a code.
WILD = 10.0
#: An inrush is over within a second, and a cold motor's first strokes within some more: the level of a run
#: that is over and lasted for this is the motor's own, however short the run is for its tank.
LEVELS_S, LEVELS_SAMPLES = 15.0, 5.0
AS_USUAL = "The motor draws its usual again."
BESIDE = frozenset({"short_cycling"})
#: A switch that chatters makes one inrush after the other for some seconds; a stalled motor stands as high
#: until its protector trips. So long at once tells it without another run, where most of the words in the
#: look say so: of the newest three two may be the inrushes of a contact that bounces in the run.
STANDS_S = 10.0
#: Of the band: a switch starts a motor at cut-in, and a protector tries again where pressure has come to
#: since. Without water it does not rise, but air that a quick draw has cooled warms: by a tenth of the band
#: or so (common practice, no source).
ABOVE = 0.3


class OverloadMemory(msgspec.Struct):
    shares: list[float] = []
    starts_us: list[int] = []
    in_vain: int = 0  # runs in a row that stood as high and filled nothing
    vain_us: int = 0  # when the last of them began
    high_run_us: int = 0  # the run whose looks see it stand so high, one after the other
    high_since_us: int = 0
    past_us: int = 0  # the first of these looks whose window lies past the inrush, and the newest words in it
    past_level: float = 0.0
    words: LoneWords = msgspec.field(default_factory=LoneWords)
    stalled: bool = False  # the rotor was seen to be jammed, until the finding clears


class MotorOverload(Detector):
    FAULT = "motor_overload"
    Memory = OverloadMemory
    memory: OverloadMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._motor = motor_signal(plant)

    def look(self, look: Look, known: Known) -> Sequence[Word]:
        usual = self._usual(known)
        if usual is None or look.motor_level is None or look.age_s < 3.0:
            return ()
        share = look.motor_level / usual
        now = (look.motor_now or look.motor_level) / usual
        if max(now, share) >= WILD:
            return ()
        stands = look.age_s >= STANDS_S and self._no_inrush(known) and share >= STALLED
        if now < STALLED:
            self.memory.high_run_us = 0
        if now >= STALLED and (stands or self._stands(look, known)):
            share, self.memory.stalled = now, True
            return [self._claim(share, look.start_us, "locked_rotor")]
        if not self.memory.stalled and share >= OVER_IN_RUN and look.age_s >= 30.0 and self._no_inrush(known):
            return [self._claim(share, look.start_us, None)]
        return ()

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        usual, level = self._usual(known), run.cycle.motor_level
        memory, run_s = self.memory, run.cycle.run_time_s
        start_pa, within_pa = run.cycle.pressure_start_pa, known.usual.start_pa + ABOVE * known.usual.band_pa
        if level is None and start_pa is not None:  # it has said no more than how it began
            level = run.motor_words
        if usual is None:
            return self._by_lone_words(run, known)
        if level is None:
            return ()
        share = level / usual
        high = run.pressure_high_pa
        filled = high is not None and high > known.usual.stop_pa - 0.4 * known.usual.band_pa
        if start_pa is not None and start_pa > within_pa and not filled:
            return ()  # wild words: no try begins there, and nothing was filled
        in_vain = STALLED <= share < WILD and not filled and run_s >= 3.0
        again = run.cycle.start_us - memory.vain_us < TRIES_US
        memory.in_vain = (memory.in_vain if again else 0) + 1 if in_vain else 0
        memory.vain_us = run.cycle.start_us if in_vain else memory.vain_us
        if in_vain and (memory.in_vain >= IN_VAIN or _stood(run, usual)):
            memory.stalled = True
            return [self._claim(share, run.cycle.start_us, "locked_rotor")]
        if run.cycle.motor_level is None or not run.entire or run_s < BRIEF_S:
            return ()  # mostly inrush, of a switch that chatters all of it; a rotor that stalls is told above
        if share >= STALLED and not self._no_inrush(known):
            return ()  # the one sample that so short a run left met the inrush: a stalled motor is told above
        memory.shares = [*memory.shares, share][-KEPT:]
        memory.starts_us = [*memory.starts_us, run.cycle.start_us][-KEPT:]
        over = [s for s in memory.shares if s >= OVERLOAD]
        if len(over) >= ENOUGH and share >= OVERLOAD and not memory.stalled:
            first = next(u for u, s in zip(memory.starts_us, memory.shares, strict=True) if s >= OVERLOAD)
            longest_s = max(LEVELS_S, LEVELS_SAMPLES * self._every_s(known))
            return [self._claim(share, first, None, BESIDE if run_s >= longest_s else frozenset())]
        calm = [s for s in memory.shares[-2:] if s < BACK]
        if known.is_open(self.FAULT) and len(calm) == 2 and filled:
            memory.shares, memory.starts_us, memory.stalled = [], [], False
            return [AllClear(self.FAULT, summary=AS_USUAL)]
        if not known.is_open(self.FAULT):
            memory.stalled = False
        return ()

    def _by_lone_words(self, run: Run, known: Known) -> Sequence[Word]:
        """By the one word that a meter says of a run, where no run has shown it the motor's level yet."""
        said, standing = self.memory.words, known.is_open(self.FAULT)
        if run.motor_words is None or not run.entire:
            return ()
        said.hear(run.cycle.start_us, run.motor_words, not any(known.is_open(one) for one in MOVES_THEM))
        over = said.over(OVERLOAD, STALLED)
        if over is not None and not self.memory.stalled:
            return [self._claim(over[1], over[0], None)]
        if standing and said.under(BACK):
            return [AllClear(self.FAULT, summary=AS_USUAL)]
        return ()

    def _no_inrush(self, known: Known) -> bool:
        """Whether the motor is seen so closely that more than one sample can hold the level."""
        return self._every_s(known) <= CLOSELY_S

    def _stands(self, look: Look, known: Known) -> bool:
        """Whether a meter that looks seldom has seen the motor so high in more than one word, none of them
        the run's first: one alone is an inrush, or wild, and stands in every look whose window holds it. Of
        one that speaks oftener than it is due, since its level moves, another word is told by its value."""
        memory, every_s, at_us = self.memory, self._every_s(known), look.at_us
        if memory.high_run_us != look.start_us:
            memory.high_run_us, memory.high_since_us, memory.past_us = look.start_us, at_us, 0
        past_s, window_s = look.age_s - look.window_s, look.window_s
        if (at_us - memory.high_since_us) / 1e6 > window_s and past_s >= max(every_s, INRUSH_S):
            return True
        now = look.motor_now or 0.0
        if past_s >= INRUSH_S and not memory.past_us:
            memory.past_us, memory.past_level = at_us, now
        apart = bool(memory.past_us) and (at_us - memory.past_us) / 1e6 > window_s
        return apart and now != memory.past_level

    def _every_s(self, known: Known) -> float:
        return (known.every_s(self._motor) if self._motor is not None else None) or 0.0

    def _usual(self, known: Known) -> float | None:
        """The clean level; while it is being learned, what the rating allows at the very most."""
        clean = known.signature.clean.get("motor_level")
        return clean.middle if clean is not None else None

    def _claim(
        self, share: float, onset_us: int, cause: str | None, apart: frozenset[str] = frozenset()
    ) -> Claim:
        jammed = " and does not turn freely: the rotor is jammed" if cause else ""
        said = f"The motor draws {words.percent(share)} of what it usually does{jammed}."
        return Claim(
            self.FAULT, onset_us, "high", 0.9, said, cause, evidence={"motor_share_1": share},
            apart_from=apart,
        )  # fmt: skip


def _stood(run: Run, usual: float) -> bool:
    """Whether the motor was seen closely to stand so high, by words of the run itself: a meter that speaks on
    change may be silent for long before it. A lone inrush is one of them."""
    closely = run.cycle.run_time_s <= CLOSELY_S * (run.motor_said + 1)
    stood = run.motor_stood is not None and run.motor_stood >= STALLED * usual
    return run.cycle.run_time_s >= STANDS_S and closely and stood


def detector(plant: Plant) -> MotorOverload:
    return MotorOverload(plant)


def coverage(plant: Plant) -> Coverage:
    if plant.measuring(Measure.PUMP_CURRENT, Measure.PUMP_POWER):
        return Coverage(True, "Told against the motor's own usual level.")
    return Coverage(False, "Needs the motor's current or power.")
