"""The water balance of a storage: what a level says, step by step, about water that came and went.

A level moves by what the pump takes, what rain brings, and nothing else; what is left over is a
leak, an overflow or a lying sensor. `follow` turns the beats' level readings into steps between one
reading and the next, each marked with what could have moved the water meanwhile: `quiet` (the pump
rested all along, and had rested a while before) and `dry` (no rain, none still running in).

The rules that keep a step honest:

- from reading to reading, not from beat to beat: a sensor that reports by the hour or on change
  shows the pump's draw late, and a fall must not be laid to a rest because its report fell in one;
- a beat of settling after each run: linked tanks even out, a pipe drains;
- RUN_IN_S after the last rain the roof and the first-flush pipe still drip into the tank;
- where a beat has a word or two only, the middle of the last three words stands for it, so that a lone
  wild word moves nothing; it lags by a word, so the pump must have rested since the word before as well;
- a level that leaps as no water can, up or down, is passed over until it has stood for LEAP_BEATS
  beats, and no step is made across a leap: drop-outs, overflow codes, a gauge that was moved;
- a rise larger than the readings' own scatter is water coming in, gauge or no gauge.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.plant.description import Measure
from analytics.seeing.beats import BEAT_US
from analytics.seeing.middles import middle

if TYPE_CHECKING:
    from analytics.plant.description import Plant, Storage
    from analytics.seeing.beats import Beat, Span

#: Roof, gutters and first-flush drain after the rain: common practice, no source.
RUN_IN_S = 2 * 3600.0
#: A rise of tank pressure by this share of the switch band needs the pump, whatever its signal says.
#: A sealed tank in the sun gains 0.22 psi a degree, a tenth of a 20 psi band in ten degrees.
PUMP_RISE_SHARE = 0.3
#: So much of the full level gained in beats in which the pump ran, each FED_MOST at most and fading by a
#: fiftieth with the next: the pump fills it, and draws from none (a header tank, of whose draws no signal
#: tells). A gauge's scatter of a hundredth makes half of that; a storage goes down as the pump runs.
FED, FED_MOST, FED_FADES = 0.1, 0.15, 0.98
#: Water rises this many times the readings' usual step before it counts as coming in: 4 standard
#: deviations of a normal scatter come once in 16,000 steps, four months of beats.
RISE_SCATTERS = 5.0  # of the mean step, which is 0.8 standard deviations of a step
#: No more than this share of the full level goes or comes in ten minutes: a 3,000 gal tank through a
#: 2 in pipe loses 8 %; and a beat's words that lie so far apart are not all of them water's.
LEAP_SHARE = 0.08
APART_SHARE = 0.02
LEAP_BEATS = 3
#: So many words have a middle.
MIDDLE_OF = 3
#: Half a unit of a coarse gauge's last digit is no water coming in, nor going.
GRAINS = 1.5
LEAST_GRAIN_M = 1e-6
#: Mean step of white noise, in its standard deviations: 2 / sqrt(pi).
MEAN_STEP = 1.128
#: Medians of three words that share some of them differ by less than they scatter: twice of one word a beat,
#: 1.3 times of two (white noise, a million words), which is this power of the words that they share.
OVERLAP = 0.63
#: A gauge that shows the same for hours is coarse, not exact.
LEAST_SCATTER_M = 0.0005


class LevelTrack(msgspec.Struct):
    """What `follow` keeps between beats."""

    time_us: int = 0  # of the last reading; 0: none yet
    level_m: float = 0.0
    ran: bool = False  # since the last reading, or within the beat before it
    ran_before: bool = True
    ran_last: bool = True  # likewise, of the step before
    rained: bool = False
    rain_us: int = 0  # end of the last beat with rain
    seen_us: int = 0  # end of the last beat
    leaps: int = 0  # beats in a row that stand off a leap away
    scatter_m: float = -1.0  # usual step of the level by its scatter alone; below 0: not known yet
    step_m: float | None = None  # the last one, if nothing drew
    grain_m: float = 0.0  # the gauge's last digit: the least that two words ever differed
    last_m: float = 0.0  # the newest word
    tail_m: list[float] = []  # the last two words
    pressure_pa: float = float("inf")  # the line's newest
    fed_1: float = 0.0  # what it has gained while the pump ran, of the full level, fading
    lately: list[tuple[int, float]] = []  # what it held, by the beat, beside other storages (`levels`)


class LevelStep(msgspec.Struct, frozen=True, gc=False):  # one a beat and storage: quicker than a dataclass
    """From one level reading to the next. `change_m3` is positive where water came."""

    from_us: int
    to_us: int
    level_m: float
    change_m: float
    change_m3: float
    quiet: bool
    dry: bool
    rising: bool  # by more than the scatter: water is coming in
    scatter_m: float
    grain_m: float
    shared: float  # levels in a row that one word takes part in: they scatter together

    @property
    def seconds(self) -> float:
        return (self.to_us - self.from_us) / 1e6


class Watched:
    """Positions of the signals that matter for one storage; worked out once."""

    def __init__(self, plant: Plant, storage: Storage) -> None:
        levels = [
            p for p in plant.measuring(Measure.STORAGE_LEVEL) if plant.signals[p].of in (storage.name, None)
        ]
        self.storage = storage
        self.level = levels[0] if levels else None
        self.level_name = None if self.level is None else plant.signals[self.level].name
        self.rain = next(iter(plant.measuring(Measure.RAINFALL)), None)
        self.pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)
        band = plant.switch.cut_out_pa - plant.switch.cut_in_pa if plant.switch else 140e3
        self.pump_rise_pa = PUMP_RISE_SHARE * band
        self.motors = plant.measuring(Measure.PUMP_RUNNING, Measure.PUMP_CURRENT, Measure.PUMP_POWER)
        self.has_motor = bool(self.motors)
        self.heard_by = (*self.motors, *(() if self.pressure is None else (self.pressure,)))


def watched_storages(plant: Plant) -> list[Watched]:
    """The storages whose level is measured: of the others nothing can be said."""
    return [watched for one in plant.storages if (watched := Watched(plant, one)).level is not None]


def follow(track: LevelTrack, beat: Beat, watched: Watched) -> LevelStep | None:
    """Take up one beat; the step that its level reading ends, where there is one."""
    ran = beat.running_s > 0.0 or _pumped(track, beat, watched) or _unseen(track, beat, watched)
    track.seen_us = beat.to_us
    if watched.rain is not None:
        rain = beat.spans.get(watched.rain)
        if rain is not None and rain.high > 0.0:
            track.rain_us = beat.to_us
    rained = beat.from_us - track.rain_us < RUN_IN_S * 1e6
    ran_before, track.ran_before = track.ran_before, ran
    track.ran |= ran or ran_before
    track.rained |= rained
    span = None if watched.level is None else beat.spans.get(watched.level)
    if span is None or not span.count:
        return None
    apart_m = span.high - span.low if span.count > 1 else abs(span.last - track.last_m) * bool(track.time_us)
    track.last_m = span.last
    if beat.running_s > 0.0 and span.count > 1:
        gained_1 = (span.last - span.first) / watched.storage.full_level_m
        track.fed_1 = FED_FADES * track.fed_1 + min(max(gained_1, -FED_MOST), FED_MOST)
    if apart_m > LEAST_GRAIN_M and (apart_m < track.grain_m or not track.grain_m):
        track.grain_m = apart_m
    level_m = _level_m(track, span, APART_SHARE * watched.storage.full_level_m)
    leap = _leaps(track, beat, level_m, watched.storage)
    if leap and track.leaps < LEAP_BEATS:
        return None
    shared = MIDDLE_OF / span.count if span.count < MIDDLE_OF else 1.0
    quiet = watched.has_motor and not track.ran and not (shared > 1.0 and track.ran_last)
    step = _step(track, beat.to_us, level_m, watched, quiet, shared) if track.time_us and not leap else None
    track.time_us, track.level_m, track.leaps = beat.to_us, level_m, 0
    track.ran_last, track.ran, track.rained = track.ran, ran, rained
    return step


def _level_m(track: LevelTrack, span: Span, apart_m: float) -> float:
    """The level that a beat's words stand for."""
    newest = slice(max(span.past - MIDDLE_OF, span.first_at), span.past)
    words = [*track.tail_m, *span.values[newest].tolist()][-MIDDLE_OF:]
    track.tail_m = words[-2:]
    few = span.count < MIDDLE_OF and len(words) == MIDDLE_OF
    return sorted(words)[1] if few else middle(span, apart_m)


def _leaps(track: LevelTrack, beat: Beat, level_m: float, storage: Storage) -> bool:
    """Whether a level is further off than water can have carried it; counted."""
    if not track.time_us:
        return False
    beats = (beat.to_us - track.time_us) / BEAT_US
    leap = abs(level_m - track.level_m) > LEAP_SHARE * storage.full_level_m * max(beats, 1.0)
    track.leaps = track.leaps + 1 if leap else 0
    return leap


def _step(
    track: LevelTrack, now_us: int, level_m: float, watched: Watched, quiet: bool, shared: float
) -> LevelStep:
    change_m = level_m - track.level_m
    rising = (
        track.scatter_m >= 0.0 and change_m > RISE_SCATTERS * track.scatter_m + GRAINS * track.grain_m + 1e-4
    )
    if not quiet or track.rained:
        track.step_m = None
    else:
        if track.step_m is not None:
            _learn_scatter(track, abs(change_m - track.step_m) / 3.0**0.5)
        track.step_m = change_m
    held_m3 = watched.storage.held_m3
    return LevelStep(
        from_us=track.time_us,
        to_us=now_us,
        level_m=level_m,
        change_m=change_m,
        change_m3=held_m3(level_m) - held_m3(track.level_m),
        quiet=quiet,
        dry=not track.rained,
        rising=rising,
        scatter_m=max(track.scatter_m, 0.0),
        grain_m=track.grain_m,
        shared=shared,
    )


def sigma_m3(step: LevelStep, storage: Storage) -> float:
    """Scatter of one beat's water, from the usual step between two; rounding alone is grain / sqrt(12)."""
    by_steps_m = step.scatter_m / MEAN_STEP * float(step.shared**OVERLAP)
    sigma_m = max(by_steps_m, LEAST_SCATTER_M, step.grain_m / 3.46)
    return sigma_m * storage.volume_m3 / storage.full_level_m


def _learn_scatter(track: LevelTrack, step_m: float) -> None:
    """Mean step while quiet, slowly, a single large one held down to thrice what is usual. It is told from
    how far two in a row differ (white noise: by the root of 3 of its step), which water that comes or goes
    steadily has no part in."""
    if track.scatter_m < 0.0:
        track.scatter_m = min(step_m, 0.02)
        return
    track.scatter_m += 0.03 * (min(step_m, 3.0 * track.scatter_m + 1e-4) - track.scatter_m)


def _unseen(track: LevelTrack, beat: Beat, watched: Watched) -> bool:
    """Whether the pump could have run with nobody hearing it: no beat, or no word of motor and pressure."""
    if track.seen_us and beat.from_us > track.seen_us:
        return True
    if not watched.has_motor:
        return False
    for at in watched.heard_by:
        span = beat.spans.get(at)
        if span is not None and span.count:
            return False
    return True


def _pumped(track: LevelTrack, beat: Beat, watched: Watched) -> bool:
    """Whether line pressure rose as only the pump can raise it, whatever the motor signal says."""
    span = None if watched.pressure is None else beat.spans.get(watched.pressure)
    if span is None or not span.count:
        return False
    before_pa, track.pressure_pa = track.pressure_pa, span.last
    if span.high - min(span.low, before_pa) < watched.pump_rise_pa:
        return False
    value = span.value
    least = np.minimum(np.minimum.accumulate(value), before_pa)
    return bool(np.max(value - least) >= watched.pump_rise_pa)
