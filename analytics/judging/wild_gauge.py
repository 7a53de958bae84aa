"""Pressure gauges that jump as no water can: out of the switch's band and back, while the motor rests.

At rest pressure goes down by what is drawn. A run that a slow motor signal has missed brings it up to the
cut-out and no further, and no draw of a plant at rest takes it below the cut-in, where the switch starts.
So a rise at rest that ends well above the one, or begins well below the other, is the gauge's own doing; so
is one between words too close to hide a run, where it comes after a fall or before one: a pump that no
signal tells of lifts pressure over several. Where words lie FINE_S apart or less, a rise at rest of more than
a LEAP that no pump makes in that time is the gauge's own wherever it ends. And a gauge that falls to nothing
and is back, again and again, has a loose contact. Lone spikes are no witness: each word is taken as the
middle of itself and its neighbours. A gauge at the pump's outlet, behind a check valve, stands at nothing
between runs and leaps from there in each, above a dirty filter further than the cut-out: it is judged only
where its words hide no run.

Parameters:
    MARGIN   0.2, 0.5  of the band, beyond its pressures as learned, as the plant file has them: the switch's
                       scatter and the gauge's noise; a plate that is wrong by half a band
    CLOSE_S  10 s      words so close hide no run; where they are further apart they must lie
    WIDE     1.5       bands apart: no switch that has moved shows so wide a one
    BANDS    3         of such rises in a beat, and of close ones SHARE 0.05 a word: of a pump that no signal
                       tells of, five starts make two thirds of that; FEW 0.1 a word where they are not close
    BACK     0.5       of a rise: a fall that belongs to it
    LEAP     0.3       of the band from word to word, and LEAPS 2 times what the pump fills meanwhile: a
                       hammer blow is over within one word. BANDS of them in a beat
    JITTER   0.15      of the band, up and at once down again: three deviations of a bad gauge's noise, which
                       no tank does within three words while the motor rests. JITTERS 0.05 of a beat's words
                       that lie close
    FLIPS    0.1       of a beat's words, and LEAST 3, that fall from half the cut-in to nothing: drop-outs at
                       one word in twenty make half of it
    BEATS    3         such beats within WINDOW_US 6 h, or 2 with MANY 20 bands between them

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.plant.description import Measure
from analytics.seeing.beats import BEAT_US
from analytics.seeing.middles import unspiked
from analytics.seeing.motor import motor_signal, running_level
from analytics.seeing.tracks import ZERO_SHARE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.judging.reference import Reference
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat, Span

MARGIN, MARGIN_BY_FILE = 0.2, 0.5
FINE_S = 3.0  # a tank without air takes as long to fill
WIDE, CLOSE_S = 1.5, 10.0
LEAST_RISE = 0.05  # of the band: less is a gauge's noise
WIDTH = 0.6  # of the band: so far apart lie the words of a beat at least
BANDS, SHARE, FEW, BACK = 3.0, 0.05, 0.1, 0.5
LEAP, LEAPS = 0.3, 2.0
JITTER, JITTERS = 0.15, 0.05
FLIPS, LEAST = 0.1, 3
BEATS, MANY, WINDOW_US = 3, 20.0, 21_600_000_000
FEWEST = 5
SLACK_US = 60_000_000


class WildMemory(msgspec.Struct):
    """Wild beats of the last hours by position in `Plant.signals`: their end, and bands risen. Plain data."""

    beats: dict[int, list[tuple[int, float]]] = {}


class WildGauges:
    def __init__(self, plant: Plant) -> None:
        switch, self._motor = plant.switch, motor_signal(plant)
        able = switch is not None and self._motor is not None
        self.pressures = plant.measuring(Measure.LINE_PRESSURE, Measure.DISCHARGE_PRESSURE) if able else ()
        self._outlets = plant.measuring(Measure.DISCHARGE_PRESSURE)
        self._level = running_level(plant, self._motor) if self._motor is not None else 0.0
        self._cut_in_pa = switch.cut_in_pa if switch is not None else 0.0

    def beat(self, memory: WildMemory, beat: Beat, usual: Reference, airless: bool = False) -> list[int]:
        """Gauges that the beats so far convict. airless: the tank may be up and down between two words, where
        they are further than FINE_S apart."""
        found = []
        for position in self.pressures:
            before = [one for one in memory.beats.get(position, ()) if one[0] > beat.to_us - WINDOW_US]
            span = beat.spans.get(position)
            fewest = 0.9 * BEAT_US / (FINE_S * 1e6) if airless else FEWEST
            if (
                span is not None
                and span.count >= fewest
                and (bands := self._bands(span, beat, usual, airless, position in self._outlets))
            ):
                before.append((beat.to_us, bands))
            if before or position in memory.beats:
                memory.beats[position] = before
            many = len(before) > 1 and sum(bands for _, bands in before) >= MANY
            if many or len(before) >= BEATS:
                found.append(position)
        return found

    def _bands(self, span: Span, beat: Beat, usual: Reference, airless: bool, outlet: bool) -> float:
        """Bands that a gauge has risen in a beat as none can; 0 where they are too few to tell. outlet: the
        pump's, which falls to nothing between runs."""
        close = span.count * CLOSE_S * 1e6 >= 0.9 * BEAT_US
        if outlet and not close:
            return 0.0
        nothing_pa = ZERO_SHARE * self._cut_in_pa
        if span.low <= nothing_pa < span.high and _flips(span.value, nothing_pa, 0.5 * self._cut_in_pa):
            return 0.5 * MANY
        margin_pa = (MARGIN_BY_FILE if usual.unproven or not usual.learned else MARGIN) * usual.band_pa
        top_pa, bottom_pa = usual.stop_pa + margin_pa, usual.start_pa - margin_pa
        if span.high - span.low < WIDTH * usual.band_pa:
            return 0.0
        time_us, value = span.time_us, span.value
        if span.low <= nothing_pa:
            real = value > nothing_pa
            time_us, value = time_us[real], value[real]
        if len(value) < FEWEST:
            return 0.0
        enough = max(BANDS, SHARE * len(value)) if close else FEW * len(value)
        fine = not airless and len(value) * FINE_S * 1e6 >= 0.9 * BEAT_US
        steps = _steps(value)
        if fine and np.count_nonzero(steps > LEAP * usual.band_pa) >= BANDS:
            leaps = self._leaps(time_us, unspiked(value), beat, usual)
            if leaps >= BANDS:
                return leaps
        if np.count_nonzero(steps > LEAST_RISE * usual.band_pa) <= enough:
            return 0.0
        value = unspiked(value)
        rests, steady = self._rests(time_us, beat)
        if close and turns_back(value, JITTER * usual.band_pa, steady) > JITTERS * len(value):
            return 0.5 * MANY
        if not close and value.max() - value.min() < max(WIDE * usual.band_pa, top_pa - bottom_pa):
            return 0.0
        rise = value[1:] - value[:-1]
        above, below = value[1:] > top_pa, value[:-1] < bottom_pa
        own = above | below
        if close:
            fall = np.concatenate(([0.0], -rise, [0.0]))
            own |= np.maximum(fall[:-2], fall[2:]) > BACK * rise
        if not outlet:
            rests |= above & below  # no pump lifts the line so far from word to word
        wild = own & (rise > LEAST_RISE * usual.band_pa) & rests
        bands = float(np.minimum(rise[wild] / usual.band_pa, 1.0).sum())
        return bands if bands > enough else 0.0

    def _leaps(
        self, time_us: NDArray[np.int64], value: NDArray[np.float64], beat: Beat, usual: Reference
    ) -> float:
        """Bands that it has risen at rest, in leaps from word to word that no pump makes."""
        apart_s = np.diff(time_us) / 1e6
        fills = LEAPS * usual.delivery_m3_s / usual.drawdown_m3 * apart_s
        rise = np.diff(value) / usual.band_pa
        leaps = (rise > np.maximum(LEAP, fills)) & (apart_s <= FINE_S) & self._rests(time_us, beat)[0]
        return float(np.minimum(rise[leaps], 1.0).sum())

    def _rests(self, time_us: NDArray[np.int64], beat: Beat) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Whether the motor said "off" before, in and after each step between N times, and whether it kept
        its state, as far as its words, FINE_S apart at most, would show another: (N - 1,) each."""
        said = beat.spans.get(self._motor) if self._motor is not None else None
        if said is None or not said.count:
            # on change it says nothing as long as it rests
            still = np.full(len(time_us) - 1, beat.running_s == 0.0)
            return still, still
        motor_us, on = said.time_us, said.value > self._level
        slack_us = min(BEAT_US // said.count, SLACK_US)
        first = np.searchsorted(motor_us, time_us[:-1] - slack_us, side="right") - 1
        past = np.searchsorted(motor_us, time_us[1:] + slack_us, side="right")
        so_far = np.concatenate(([0], np.cumsum(on)))
        first = np.maximum(first, 0)
        ons = np.asarray(so_far[past] - so_far[first])
        fine = said.count * FINE_S * 1e6 >= 0.9 * BEAT_US
        return ons == 0, (ons == 0) | (fine & (ons == past - first))


def turns_back(value: NDArray[np.float64], step_pa: float, counted: NDArray[np.bool_] | None = None) -> int:
    """How often N words go up and at once down again, or down and up, by more than a step; of `counted` steps
    (N - 1,) alone, where they are given."""
    step = value[1:] - value[:-1]
    far = np.abs(step) > step_pa
    far = far if counted is None else far & counted
    return int(np.count_nonzero(far[1:] & far[:-1] & (step[1:] * step[:-1] < 0.0)))


def _steps(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far N words step, either way, (N - 1,): of the middles of three none steps further than the two
    words that both share, so that no more rises than these can count, a band each at most."""
    return np.abs(value[1:] - value[:-1])


def _flips(value: NDArray[np.float64], nothing_pa: float, from_pa: float) -> bool:
    """Whether a gauge falls from a pressure to nothing, again and again."""
    flips = np.count_nonzero((value[:-1] > from_pa) & (value[1:] <= nothing_pa))
    return bool(flips >= max(LEAST, FLIPS * len(value)))
