"""Motor signals held against the pressure: it cannot climb through its band with the pump at rest.

A climb goes from the lower third of the switch's band to its upper third. A motor signal that has not
changed state since the climb before has missed the run that made it. A healthy signal misses some:
one sampled each minute does not see every run of forty seconds. How many is learned from the climbs
themselves, so that neither the sampling nor the length of runs need be known:

    p = (missed + 1) / (climbs + 2)          Laplace's rule of succession; of several climbs in a beat it
                                             has seen as many as it said "on" to
    convicted when p^n <= CHANCE, n misses in a row, LEAST at least

One that said "off" in so many words while pressure climbed has no sampling to excuse it; each such climb is
a chance of LIE, and three convict, or two of LIES_MANY words each, for which no drop-out will do: a signal
that lies from the first row is known within the hour. While pressure climbed is from the first sample above
the low one to the last below the high one: of samples further apart than the climb is long nobody knows
when it was.

Such misses are chances of their own only where runs and words are not in step: a steady draw that cycles the
pump each 120 s hides each run from a signal asked each 60 s, for hours. So a miss that sampling excuses
counts only where the climb came after another interval than the one before it, by more than IN_STEP
and more than pressure's own words can tell (two of their intervals, of three climbs).

Only ordinary fills count: a climb quicker than half the usual one that was seen is water moving in
the pipes (a tank shut off from its tee, a hammer blow), and one that leaps half its way or more from one word
to the next, LEAP_S apart at most, is the gauge's own, unless pumps fill as fast. Nor does a climb count while
a welded switch keeps the motor on: pressure is then back above whatever was drawn, with no start. And a pump
that is drawn upon by turns more and less than it brings runs on, while pressure goes down and up: a signal
that says so is missing a run only where pressure came near the cut-out meanwhile, which would have ended it.

Parameters:
    FLOOR, CEILING  0.3, 0.7   of the band: beyond what noise of 5 % of the band can bridge
    NOTHING         2 %        of cut-in: a zero, which is what a gauge says that drops out; lone spikes
                               of any height are left out too
    LEAST           3          misses in a row
    CHANCE          1e-6       a plant has some 10,000 climbs a year: one false conviction a century
    QUICK           0.5        of the usual time of a climb
    LEAP            0.5        of the way from floor to ceiling, in LEAP_S 3 s; and LEAPS 2 times as fast as a
                               usual climb, where one was seen
    NEAR            0.1        of the band, below the usual cut-out: the scatter of a switch
    IN_STEP         0.25       of the motor's interval: a draw that varies by less moves the words too little
                               through the runs for each to be a new chance
    TURNS           3          turns of pressure (`wild_gauge.JITTER`) in a beat, at TURNS_SHARE 0.02 of its
                               words: a gauge gone wild shows no climb
    LIE             0.01       two words of "off" that are both drop-outs, at one word in ten
    LEAST_LIES      2          of them, where it lied
    LIES_MANY       6          words of "off" in a climb: none at one bad word in ten in a century
    LIE_WORDS       2          of "off", and none of "on", within a climb of
    LIE_S           5 to 600 s a hammer blow is over sooner; what a water heater's swelling water pushes up
                               takes longer; nor is a state that lasts for less a run or a rest: a wild word,
                               unless pressure climbs in it: a run of a few seconds
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.judging.wild_gauge import JITTER, turns_back
from analytics.plant.description import MOTOR_MEASURES, Measure
from analytics.seeing.beats import BEAT_US
from analytics.seeing.middles import unspiked
from analytics.seeing.motor import running_level

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat, Span

FLOOR, CEILING = 0.3, 0.7
NOTHING = 0.02
LEAST, LEAST_LIES = 3, 2
CHANCE = 1e-6
QUICK = 0.5
LEAP, LEAP_S, LEAPS = 0.5, 3.0, 2.0
NEAR = 0.1
IN_STEP = 0.25
TURNS, TURNS_SHARE, FEW = 3, 0.02, 30
LIE, LIE_WORDS, LIES_MANY, LIE_S = 0.01, 2, 6, (5.0, 600.0)
#: Times of a climb that are kept for the usual one, and how many make it known.
KEPT, ENOUGH = 15, 5


class Witness(msgspec.Struct):
    """What one motor signal said to the climbs. Plain data."""

    on: bool | None = None
    moved: bool = False  # since the last climb
    ons: int = 0  # and how often it has said that the motor runs
    climbs: int = 0
    missed: int = 0  # of them; those of the row at hand and of a conviction left out
    row: int = 0  # missed without a break
    lies: int = 0  # of them, it said "off" throughout
    spoke: bool = False  # since it changed state, or the beat in which it did
    word_us: int = 0  # when it spoke last; 0: not since anybody did
    pause_us: int = 0  # the longest that it ever was silent, while others spoke
    climb_us: int = 0  # when pressure was high after the last climb
    apart_us: int = 0  # from the one before

    @property
    def convicted(self) -> bool:
        chance = (self.missed + 1.0) / (self.climbs + 2.0)
        lied = self.lies >= LEAST and LIE**self.lies <= CHANCE * (1.0 + 1e-9)
        return lied or (self.row >= LEAST and bool(chance**self.row <= CHANCE))

    def speaks(self, span: Span) -> None:
        """Keep when it spoke, and the longest pause before that no climb went by."""
        if self.word_us and not self.row:
            self.pause_us = max(self.pause_us, int(span.times[span.first_at]) - self.word_us)
        self.word_us = int(span.times[span.past - 1])

    def silent_s(self, now_us: int) -> float:
        """For how long it has said nothing, where it never was silent for as long; else 0."""
        silent_us = now_us - self.word_us if self.word_us else 0
        return silent_us / 1e6 if silent_us > self.pause_us else 0.0

    def hear(
        self,
        climbs: list[tuple[int, int]],
        usual_s: float | None,
        lies: int,
        step_us: float | None,
        ended: list[bool],
    ) -> int:
        """Climbs of one beat, from low to high, and how many of them it said "off" through; gives the number
        it has seen. `step_us`: by how much less two intervals may differ to be the same, where its words may
        miss a run. `ended`: whether pressure came to the cut-out before each, so that a run was over."""
        fresh = [self._out_of_step(high_us, step_us) for _, high_us in climbs]
        if self.moved:
            if not self.convicted:
                self.missed, self.climbs = self.missed + self.row, self.climbs + self.row
            self.row = self.lies = 0
            seen = min(len(climbs), max(self.ons, 1))
            self.climbs, self.missed = self.climbs + len(climbs), self.missed + len(climbs) - seen
            self.moved, self.ons = False, 0
            return len(climbs)
        usual = [usual_s is None or high - low >= QUICK * usual_s * 1e6 for low, high in climbs]
        missed = [not self.on or over for over in ended]
        self.row += sum(map(all, zip(fresh, usual, missed, strict=True)))
        self.lies += lies
        return 0

    def _out_of_step(self, high_us: int, step_us: float | None) -> bool:
        """Whether a climb that ended at `high_us` came otherwise upon the signal's words than the last."""
        apart_us, before_us = high_us - self.climb_us, self.apart_us
        self.climb_us, self.apart_us = high_us, apart_us
        return step_us is None or abs(apart_us - before_us) > step_us


class ClimbMemory(msgspec.Struct):
    """Plain data."""

    low_us: int = 0  # when pressure was last low, if it has not been high since
    to_us: int = 0  # end of the last beat
    high_pa: float = 0.0  # the highest that pressure has been since the last climb
    usual_s: list[float] = []
    witnesses: dict[int, Witness] = {}


class Climbs:
    def __init__(self, plant: Plant) -> None:
        self.pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)
        self.levels = {at: running_level(plant, at) for at in plant.measuring(*MOTOR_MEASURES)}
        switch = plant.switch
        if switch is not None:
            band = self._band_pa = switch.cut_out_pa - switch.cut_in_pa
            self.floor_pa, self.ceiling_pa = (
                switch.cut_in_pa + FLOOR * band,
                switch.cut_in_pa + CEILING * band,
            )
            self.nothing_pa = NOTHING * switch.cut_in_pa
            self._jitter = JITTER * band
            self._way_pa = self.ceiling_pa - self.floor_pa
        self.able = switch is not None and self.pressure is not None

    def beat(
        self,
        memory: ClimbMemory,
        beat: Beat,
        doubted: set[int],
        welded: bool = False,
        stop_pa: float | None = None,
    ) -> list[int]:
        """Motor signals that the climbs so far convict.

        `doubted` signals neither speak nor are heard. `welded`: the switch does not stop the motor.
        `stop_pa`: where it does, as learned.
        """
        if not self.able:
            return []
        if beat.from_us != memory.to_us:
            memory.low_us = 0  # nobody was listening: a climb may have gone by
            for witness in memory.witnesses.values():
                witness.word_us = 0
        memory.to_us = beat.to_us
        span = beat.spans.get(self.pressure) if self.pressure is not None else None
        if self.pressure in doubted:
            memory.low_us = 0
            return []
        climbs = self._climbs(memory, span) if span is not None and span.count else []
        ended = self._ended(memory, span, climbs, stop_pa) if span is not None and span.count else []
        if climbs and welded:
            climbs = []
        if climbs:
            self._witnessed(memory, beat, doubted, climbs, ended)
        else:
            for position, level in self.levels.items():
                _listen(_witness(memory, position), beat.spans.get(position), level, climbs)
        return [at for at, one in memory.witnesses.items() if one.row >= LEAST_LIES and one.convicted]

    def _witnessed(
        self,
        memory: ClimbMemory,
        beat: Beat,
        doubted: set[int],
        climbs: list[tuple[int, int]],
        ended: list[bool],
    ) -> None:
        """Hold the climbs of a beat against each motor signal."""
        pressure = beat.spans.get(self.pressure) if self.pressure is not None else None
        climbs_s = [(end - start) / 1e6 for start, end in climbs]
        usual_s = self._usual_s(memory)
        seen = 0
        for position, level in self.levels.items():
            witness, said = _witness(memory, position), beat.spans.get(position)
            _listen(witness, said, level, climbs)
            if position not in doubted:
                lies = sum(_lied(said, level, *climb, pressure) for climb in climbs)
                step_us = _step_us(said, pressure, climbs)
                seen = max(seen, witness.hear(climbs, usual_s, lies, step_us, ended))
        if seen:
            memory.usual_s = [*memory.usual_s, *climbs_s][-KEPT:]

    def _ended(
        self, memory: ClimbMemory, span: Span, climbs: list[tuple[int, int]], stop_pa: float | None
    ) -> list[bool]:
        """Whether pressure had come near the cut-out since the climb before each of a beat's; all, where
        nobody knows that yet."""
        if not climbs:
            memory.high_pa = max(memory.high_pa, span.high)
            return []
        ended, time_us, value, from_at = [], span.time_us, span.value, 0
        for _, high_us in climbs:
            at = int(np.searchsorted(time_us, high_us))
            high_pa = max(memory.high_pa, float(value[from_at:at].max(initial=0.0)))
            ended.append(stop_pa is None or high_pa > stop_pa - NEAR * self._band_pa)
            memory.high_pa, from_at = 0.0, at
        memory.high_pa = float(value[from_at:].max())
        return ended

    def _climbs(self, memory: ClimbMemory, span: Span) -> list[tuple[int, int]]:
        """When the climbs that this beat completed were last low, and when high [us]."""
        if span.high < self.ceiling_pa and span.low > self.floor_pa:
            return []
        if span.low > self.floor_pa and not memory.low_us:
            return []
        if span.high < self.ceiling_pa and self.nothing_pa < span.last <= self.floor_pa:
            memory.low_us = int(span.times[span.past - 1])  # low to the end, and no climb
            return []
        time_us, value = span.time_us, span.value
        if span.low <= self.nothing_pa:
            real = value > self.nothing_pa
            time_us, value = time_us[real], value[real]
        raw, value = value, unspiked(value)
        # of few words the middles of three are smooth, however wild
        said = raw if len(raw) < FEW else value
        if turns_back(said, self._jitter) >= max(TURNS, TURNS_SHARE * len(said)):
            memory.low_us = 0
            return []
        high = value >= self.ceiling_pa
        marked = np.flatnonzero(high | (value <= self.floor_pa))
        if not len(marked):
            return []
        states, times = high[marked], time_us[marked]
        low_us = memory.low_us
        turns = (np.flatnonzero(states[1:] != states[:-1]) + 1).tolist()
        if states[0] == bool(low_us):  # it comes from the other side
            turns.insert(0, 0)
        climbs = [(int(times[at - 1]) if at else low_us, int(times[at])) for at in turns if states[at]]
        if climbs and float((value[1:] - value[:-1]).max(initial=0.0)) > LEAP * self._way_pa:
            usual_s = self._usual_s(memory)
            climbs = [climb for climb in climbs if not self._leaps(*climb, time_us, value, usual_s)]
        memory.low_us = 0 if states[-1] else int(times[-1])
        return climbs

    def _usual_s(self, memory: ClimbMemory) -> float | None:
        return median(memory.usual_s) if len(memory.usual_s) >= ENOUGH else None

    def _leaps(
        self,
        low_us: int,
        high_us: int,
        time_us: NDArray[np.int64],
        value: NDArray[np.float64],
        usual_s: float | None,
    ) -> bool:
        """Whether pressure went half of a climb's way from one word to the next, as no pump lifts it."""
        first, past = np.searchsorted(time_us, (low_us, high_us + 1)).tolist()
        apart_s = np.diff(time_us[first:past]) / 1e6
        most = np.maximum(LEAP, LEAPS * apart_s / usual_s) if usual_s else np.full(len(apart_s), LEAP)
        leaps = np.diff(value[first:past]) > most * self._way_pa
        return bool((leaps & (apart_s <= LEAP_S)).any())


def _witness(memory: ClimbMemory, position: int) -> Witness:
    witness = memory.witnesses.get(position)
    if witness is None:
        witness = memory.witnesses[position] = Witness()
    return witness


def _lied(span: Span | None, level: float, from_us: int, to_us: int, pressure: Span | None) -> int:
    """1 where a motor signal said "off", more than once and nothing else, while pressure climbed; 2 where it
    said so LIES_MANY times; else 0."""
    if span is None or pressure is None or not LIE_S[0] <= (to_us - from_us) / 1e6 <= LIE_S[1]:
        return 0
    times, motor_us = pressure.time_us, span.time_us
    first, last = np.searchsorted(times, from_us, side="right"), np.searchsorted(times, to_us) - 1
    if last <= first:
        return 0
    said = span.value[np.searchsorted(motor_us, times[first]) : np.searchsorted(motor_us, times[last])]
    if len(said) < LIE_WORDS or said.max() > level:
        return 0
    return 2 if len(said) >= LIES_MANY else 1


def _step_us(span: Span | None, pressure: Span | None, climbs: list[tuple[int, int]]) -> float | None:
    """By how much two intervals between climbs may differ with a motor signal's words still in step.

    None where each climb is long enough for LIE_WORDS, or it said nothing at all: no sampling excuses that.
    """
    if span is None or pressure is None or not span.count:
        return None
    every_us = BEAT_US / span.count
    if min(high - low for low, high in climbs) >= LIE_WORDS * every_us:
        return None
    return max(IN_STEP * every_us, 2.0 * BEAT_US / pressure.count)


def _listen(witness: Witness, span: Span | None, level: float, climbs: list[tuple[int, int]]) -> None:
    """Whether the motor signal changed state in a beat, or since the beat before."""
    if span is None or not span.count:
        return
    witness.speaks(span)
    if not span.low <= level < span.high:
        first = span.first > level
        _turned(witness, witness.on is not None and first != witness.on)
        witness.ons += first
        witness.on = first
        return
    on = span.value > level
    turns = np.flatnonzero(on[1:] != on[:-1]) + 1
    times = span.time_us
    # each state from its first word to the next state's; what is over sooner is a wild word or two, but for
    # an "on" that pressure rises in: a tank that has lost its air fills in seconds; the last one goes on
    firsts = np.concatenate(([0], turns))
    begins = times[firsts]
    ends = np.append(begins[1:], times[-1])
    lasts = ends - begins >= LIE_S[0] * 1e6
    lasts[-1] = True
    for low_us, high_us in climbs:
        lasts |= on[firsts] & (begins <= high_us) & (ends > low_us)
    states = on[firsts[lasts]].tolist()
    before = states[0] if witness.on is None else witness.on
    _turned(witness, any(state != before for state in states))
    witness.ons += states[0] + sum(now and not was for was, now in pairwise(states))
    witness.on = states[-1]


def _turned(witness: Witness, turned: bool) -> None:
    witness.moved |= turned
    witness.spoke = not turned
