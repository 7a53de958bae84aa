"""A pressure gauge that leaps from one word to the next, and stays there: a zero that is lost, a loose wire.

Air in the tank lets no pressure leap, but little air lets it fall fast, and samples far apart show no more
than that it fell. So a leap alone convicts nobody. What the switch does after it does:

- it rests while pressure is told to stand below its cut-in, where it starts the pump: the gauge is dead, or
  has lost its zero. (A pump that nobody has switched on lets pressure down slowly.)
- it starts the pump where it always did, which the gauge now tells to be as much higher, or lower, as it
  leapt (having leapt up, it tells the stop to be higher, too: a tank that is charged anew does not), or,
  having leapt up, to be above the cut-out: there no switch starts anything.

Parameters:
    STEP      0.25    of the band, between the middles of three words on either side, most of it (MOST 0.8)
                      from one word to the next, and neither three further apart than SPREAD 0.3 of it; a
                      rise ends above the cut-out by as much: what has no air left leaps within the band
    CLOSE_S   10 s    between these two, or between the closest words of the first LESSON beats with ten words
                      and more: what speaks on change would have told of a fall on its way; FALLS_S 150 s if
                      it falls from above the cut-in, by STEP, to less than DEAD 0.3 of it: what is drawn in
                      that time starts the pump on its way
    BELOW     0.15    of the band below the cut-in, for RESTS_S 120 s: switch, gauge and a slow motor signal
    NEAR      0.15    of the band: a start so near to cut-in and leap together is where the switch has it;
                      UNMOVED 0.1: one so near to the usual is no leap's
    HELD      0.3     of the tank's compliance, where its air is lost; FILLS 1.2 of the delivery, what a run
                      brings with nobody drawing, and DRAWS 2, a heavy draw: what water could do is no leap
    BACK      0.5     of the leap, the other way: it has been taken back
    TURN      15 s    or two of its words, about it the motor keeps its state: a tank that is charged too high
                      collapses before a start, and leaps after it

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.plant.description import Measure
from analytics.seeing.beats import BEAT_US
from analytics.seeing.events import Run
from analytics.seeing.motor import motor_signal, running_level

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.judging.reference import Reference
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat, Span
    from analytics.seeing.events import Look

STEP, MOST, SPREAD = 0.25, 0.8, 0.3
CLOSE_S, FALLS_S, DEAD = 10.0, 150.0, 0.3
BELOW, RESTS_S = 0.15, 120.0
NEAR, UNMOVED, BACK = 0.15, 0.1, 0.5
HELD, FILLS, DRAWS = 0.3, 1.2, 2.0
SIDE = 3
KEPT = 2 * SIDE - 1
WORDS, LESSON = 10, 300
SLACK_US = 60_000_000
TURN_US = 15_000_000


class Leap(msgspec.Struct):
    """The line gauge's newest words, and how it last leapt. Plain data."""

    time_us: list[int] = []
    value: list[float] = []
    at_us: int = 0  # 0: it has not, or has leapt back
    from_pa: float = 0.0
    to_pa: float = 0.0
    close: bool = False  # between two words that are near
    convicted: bool = False
    quick_us: int = 0  # between the closest words of a beat, a tenth of them left out
    lessons: int = 0


class Leaps:
    def __init__(self, plant: Plant) -> None:
        self.pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)
        self._motor = motor_signal(plant)
        self._able = plant.switch is not None and None not in (self.pressure, self._motor)
        self._level = running_level(plant, self._motor) if self._motor is not None else 0.0
        self._cut_in_pa = plant.switch.cut_in_pa if plant.switch is not None else 0.0

    def beat(self, leap: Leap, beat: Beat, usual: Reference, believed: bool) -> None:
        """Take up a beat. `believed`: the motor signal is."""
        span = beat.spans.get(self.pressure) if self._able and self.pressure is not None else None
        if span is not None and span.count:
            hear_pace(leap, span)
            extremes = (span.low, span.high, *leap.value)
            if max(extremes) - min(extremes) >= STEP * usual.band_pa:
                words = np.append(leap.value, span.value)
                steps = np.flatnonzero(np.abs(words[1:] - words[:-1]) >= MOST * STEP * usual.band_pa)
                if len(steps):  # mostly a run, whose words lie closer
                    times = np.append(np.array(leap.time_us, np.int64), span.time_us)
                    self._leapt(leap, steps.tolist(), times, words, beat, usual)
            keep_newest(leap, span)
        if leap.at_us and believed and not leap.convicted:
            leap.convicted = self._rests_below(leap, beat, usual)

    def start(self, leap: Leap, run: Run | Look, usual: Reference) -> bool:
        """Where the motor has started since, and how high that run came; whether they convict the gauge."""
        over = isinstance(run, Run)
        if isinstance(run, Run):
            start_us, start_pa = run.cycle.start_us, run.cycle.pressure_start_pa
        else:
            start_us, start_pa = run.start_us, run.pressure_start_pa
        if not leap.at_us or not run.entire or start_pa is None or start_us <= leap.at_us:
            return False
        leapt_pa, apart_pa = leap.to_pa - leap.from_pa, start_pa - usual.start_pa
        # by the plant file too: one charged too high collapses to below where it was learned to start
        known_pa = (usual.start_pa, self._cut_in_pa)
        beyond_pa = min(np.sign(leapt_pa) * (start_pa - one_pa) for one_pa in known_pa)
        near = leap.close and abs(apart_pa - leapt_pa) < NEAR * usual.band_pa
        near &= bool(beyond_pa > UNMOVED * usual.band_pa)
        # air that was pumped in leaps up too, and seems to start where its charge stands; it stops as ever
        stops = leapt_pa > 0.0 and (run.pressure_high_pa or 0.0) <= usual.stop_pa + NEAR * usual.band_pa
        if abs(apart_pa) < UNMOVED * usual.band_pa:
            leap.at_us, leap.convicted = 0, False
        elif (near and not stops) or (leapt_pa > 0.0 and start_pa > usual.stop_pa):
            leap.convicted = True
        elif over and not leap.convicted:
            leap.at_us = 0
        return leap.convicted

    def _leapt(
        self,
        leap: Leap,
        steps: list[int],
        time_us: NDArray[np.int64],
        value: NDArray[np.float64],
        beat: Beat,
        usual: Reference,
    ) -> None:
        """Keep the last leap, unless it is taken back. `steps`: the words before those that may be one."""
        band_pa = usual.band_pa
        for at in steps:
            first = at + 1
            if first < SIDE or first > len(value) - SIDE or time_us[first] <= leap.at_us:
                continue
            before, after = np.sort(value[first - SIDE : first]), np.sort(value[first : first + SIDE])
            from_pa, to_pa = float(before[SIDE // 2]), float(after[SIDE // 2])
            moved_pa, step_pa = to_pa - from_pa, value[first] - value[at]
            spread_pa = max(before[-1] - before[0], after[-1] - after[0])
            if (
                abs(moved_pa) < STEP * band_pa
                or step_pa / moved_pa < MOST
                or spread_pa > SPREAD * abs(moved_pa)
            ):
                continue
            gap_us = int(time_us[first] - time_us[at])
            gap_s = min(gap_us, leap.quick_us or gap_us) / 1e6
            dies = to_pa < DEAD * usual.start_pa and from_pa > usual.start_pa + STEP * band_pa
            if gap_s > (FALLS_S if dies else CLOSE_S) or self._turned(beat, int(time_us[first])):
                continue
            if _water_could(from_pa, to_pa, gap_us / 1e6, usual):
                continue
            if from_pa < to_pa < usual.stop_pa + STEP * band_pa:
                continue  # so leaps, in each run, what has no air left, or is charged too high
            before_pa = leap.to_pa - leap.from_pa
            if leap.at_us and moved_pa * before_pa < 0.0 and abs(moved_pa) > BACK * abs(before_pa):
                leap.at_us, leap.convicted = 0, False
            else:
                leap.at_us, leap.from_pa, leap.to_pa = int(time_us[first]), from_pa, to_pa
                leap.close = gap_s <= CLOSE_S

    def _turned(self, beat: Beat, at_us: int) -> bool:
        """Whether the motor started or stopped about a time."""
        said = beat.spans.get(self._motor or 0)
        if said is None or not said.count:
            return False
        about_us = max(TURN_US, 2 * BEAT_US // said.count)
        first, past = np.searchsorted(said.time_us, (at_us - about_us, at_us + about_us))
        on = said.value[max(first - 1, 0) : past] > self._level
        return bool(on.any() and not on.all())

    def _rests_below(self, leap: Leap, beat: Beat, usual: Reference) -> bool:
        """Whether the motor has rested in this beat while the gauge told it to start."""
        if (beat.to_us - beat.from_us) / 1e6 - beat.running_s < RESTS_S:
            return False  # one that speaks on change runs on between its words
        from_us, limit_pa = max(leap.at_us, beat.from_us), usual.start_pa - BELOW * usual.band_pa
        span, said = beat.spans.get(self.pressure or 0), beat.spans.get(self._motor or 0)
        said_low = leap.to_pa < limit_pa
        if span is not None and span.count:
            since = np.searchsorted(span.time_us, from_us)
            said_low = span.count == since or bool((span.value[since:] < limit_pa).all())
        if not said_low:
            return False
        on_us = np.empty(0, np.int64)
        slack_us = 0
        if said is not None and said.count:
            on_us = said.time_us[(said.value > self._level) & (said.time_us >= from_us - SLACK_US)]
            slack_us = min(BEAT_US // said.count, SLACK_US)
        starts = np.append(from_us, on_us + slack_us)
        ends = np.append(on_us - slack_us, beat.to_us)
        return bool((ends - starts).max() >= RESTS_S * 1e6)


def _water_could(from_pa: float, to_pa: float, gap_s: float, usual: Reference) -> bool:
    """Whether so much water can come or go between two words: a pump that fills what air is left, a draw of
    more than it gives. Below the charge there is none, and pressure collapses."""
    low_pa, high_pa = sorted((from_pa, to_pa))
    moved_pa = max(high_pa - max(low_pa, usual.drained_pa), 0.0)
    holds_m3 = HELD * usual.drawdown_m3 * moved_pa / usual.band_pa
    return bool(holds_m3 < (FILLS if to_pa > from_pa else DRAWS) * usual.delivery_m3_s * gap_s)


def keep_newest(leap: Leap, span: Span) -> None:
    """The newest words, for the next beat's first."""
    newest = slice(max(span.past - KEPT, span.first_at), span.past)
    time_us, value = span.times[newest].tolist(), span.values[newest].tolist()
    whole = span.count >= KEPT
    leap.time_us = time_us if whole else [*leap.time_us, *time_us][-KEPT:]
    leap.value = value if whole else [*leap.value, *value][-KEPT:]


def hear_pace(leap: Leap, span: Span) -> None:
    """Learn, of the first beats with words enough, how close together a gauge's words come."""
    if span.count < WORDS or leap.lessons >= LESSON:
        return
    leap.lessons += 1
    apart = np.diff(span.time_us)
    tenth = int(np.partition(apart, len(apart) // 10)[len(apart) // 10])
    leap.quick_us = min(tenth, leap.quick_us or tenth)
