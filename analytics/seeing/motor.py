"""When the motor runs: runs and rests, told from one motor signal.

Of several motor signals the one that measures most is believed: power, then current, then a contact
(a status may say "on" for hours while nothing turns). The motor runs while the signal is above
`running_above`; where the plant file gives none, above a quarter of what the rated power would draw
from 240 V, or above 0.4 A or 60 W where that is less known: the smallest jet pump draws more when
it runs dry, and a resting one with its electronics draws less. Common practice, no source. A clamp of
many amperes may say as much of a motor at rest (a hundredth or two of its range): once a run has been
seen, the motor runs above IDLE of what that drew.

IDLE 0.1: a rotor that is stalled draws up to seven times the running current, and where a clamp has seen
one for LEARNS_US all the same, a tenth of it is still below a motor that runs; one that turns dry draws two
fifths. No protector lets a stalled one stand for long (common practice, no source).

FIRM 0.25 of what FIRM_RUNS 8 runs drew, by the second lowest of them: once so many are known no stalled
rotor is among the low ones, a pump that turns dry draws two fifths at the least, and a clamp's noise may be
a seventh.

A signal that speaks when it changes (and seldom else) is known by its changes, which come sooner after its
last word than it repeats itself in that state (a contact in both, a clamp's noise in runs alone), or are most
of what it says; it tells each edge to PROMPT_US, however long it was silent before. One that is asked at set
times tells it to within that time.

One lone "off" within a run, shorter than GLITCH_US, is the signal's hiccup and ends no run, unless
it comes again within GLITCH_APART_US: then it is the switch that chatters.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from statistics import median_high
from typing import TYPE_CHECKING, Any

import numpy as np

from analytics.physics.fits import median
from analytics.plant.description import Measure

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.seeing.tracks import Track

IDLE, LEARNS_US, LEARNS_WORDS = 0.1, 20_000_000, 3
FIRM, FIRM_RUNS = 0.25, 8
#: What a run drew is told from its last words, which are kept longest.
NEWEST_US = 300_000_000
GROWN = 1.1  # a level is learned anew where it has grown by more than mains sag and swell
GLITCH_US = 2_500_000
GLITCH_APART_US = 10_000_000
PROMPT_US = 1_000_000  # a change is heard of within a second of it
CHANGES = 6  # three runs: enough to know one that speaks on change
EARLY = 0.85  # of what it lets pass before it repeats itself; one asked at set times never speaks so early
REPEATS, REPEATS_KNOWN, ENDS = 15, 2, 4  # newest; so many are enough, and so many changes after them


def motor_signal(plant: Plant) -> int | None:
    """Position of the motor signal to go by, or None."""
    fitted = plant.measuring(Measure.PUMP_POWER, Measure.PUMP_CURRENT, Measure.PUMP_RUNNING)
    preferred = plant.pump.running_above_measures
    for position in fitted:
        if plant.pump.running_above is not None and plant.signals[position].measures is preferred:
            return position
    return fitted[0] if fitted else None


def running_level(plant: Plant, signal: int) -> float:
    """Above this the motor runs, in the signal's SI unit."""
    measures = plant.signals[signal].measures
    if measures is Measure.PUMP_RUNNING:
        return 0.5
    if plant.pump.running_above is not None and plant.pump.running_above_measures in (None, measures):
        return plant.pump.running_above
    rated_w = plant.pump.rated_power_w or 0.0
    return max(60.0, 0.2 * rated_w) if measures is Measure.PUMP_POWER else max(0.4, 0.25 * rated_w / 240.0)


def learns_level(plant: Plant, signal: int) -> bool:
    """Whether the level that a signal's runs are told by is no more than assumed."""
    measures = plant.signals[signal].measures
    told = plant.pump.running_above is not None and plant.pump.running_above_measures in (None, measures)
    return measures is not Measure.PUMP_RUNNING and not told


@dataclass(slots=True)
class Spell:
    """A run or a rest. `before_us` is the last sample of the state before, `from_us` the first of this."""

    on: bool
    before_us: int
    from_us: int
    seen: bool  # its beginning was seen: no gap, and not the recording's first sample
    last_us: int  # last sample in this state
    to_us: int | None = None  # first sample of the next state
    ended: bool = False  # that end was seen: no gap
    holes: list[tuple[int, int]] = field(default_factory=list)  # hiccups within a run: [off, on again)


@dataclass(slots=True)
class Manner:
    """How a signal speaks in one state: how long it lets pass before it first repeats itself [us], the newest
    REPEATS; how many changes have ended the state since that is known, and how many sooner than that."""

    repeats_us: list[int] = field(default_factory=list)
    changes: int = 0
    early: int = 0

    def repeats(self, after_us: int) -> None:
        self.repeats_us = [*self.repeats_us, after_us][-REPEATS:]

    def ends(self, after_us: int) -> None:
        """It changed, so long after its last word."""
        if len(self.repeats_us) >= REPEATS_KNOWN:
            self.changes += 1
            self.early += after_us < EARLY * median_high(self.repeats_us)

    @property
    def prompt(self) -> bool:
        """Whether it speaks as it changes."""
        return self.changes >= ENDS and 2 * self.early > self.changes


class Motor:
    """Folds motor samples into spells. `feed` gives the spells that ended; `now` is the open one."""

    def __init__(self, level: float, learns: bool = False) -> None:
        """`level`: from the plant file, or assumed; one that is assumed `learns`."""
        self._learns = learns
        self.levels: list[tuple[int, float]] = [(-(2**62), level)]  # from when on, each
        self.now: Spell | None = None
        self._before: Spell | None = None  # the run before the open rest
        self._done_us = -(2**62)
        self._glitch_us = -(2**62)
        self._words = self._changes = 0
        self._manners = (Manner(), Manner())  # at rest, in runs
        self._changed_us: int | None = None  # since when it has not repeated itself
        self._drew: list[float] = []  # in the newest runs

    def feed(self, track: Track) -> list[Spell]:
        """Spells that ended by the track's new samples, in order. A run taken up again after a hiccup
        is handed out once more with its later end; `Spell.from_us` is the same."""
        first = int(np.searchsorted(track.time_us, self._done_us, side="right"))
        time_us = track.time_us[first:]
        if not len(time_us):
            return []
        ended: list[Spell] = []
        done = 0
        while done < len(time_us):
            done = self._stretch(track, first, done, ended)
        self._done_us = int(time_us[-1])
        self._words += len(time_us)
        return ended

    def _stretch(self, track: Track, first: int, begin: int, ended: list[Spell]) -> int:
        """Go on from word `begin` of the new ones until a level is learned; the word to go on from."""
        time_us, gap = track.time_us[first:], track.gap[first:]
        on = track.value[first + begin :] > self.levels[-1][1]
        changes = on[1:] != on[:-1]
        marks = begin + np.flatnonzero(np.concatenate(([True], changes | gap[begin + 1 :])))
        for mark, end in zip(marks.tolist(), [*marks[1:].tolist(), len(time_us)], strict=True):
            runs = bool(on[mark - begin])
            now_us, before_us = int(time_us[mark]), self._last(time_us, mark)
            if not gap[mark] and self.now is not None and self.now.on != runs:
                before_us = self._edge(now_us, before_us, self._words + mark)
                self._changed_us = now_us
            elif not gap[mark] and self._changed_us is not None:
                self._repeated(runs, now_us)
            else:
                self._changed_us = None
            if end - mark > 1 and self._changed_us is not None:
                self._repeated(runs, int(time_us[mark + 1]))
            spell = self.now
            self._step(runs, bool(gap[mark]), now_us, before_us, ended)
            assert self.now is not None
            self.now.last_us = int(time_us[end - 1])
            if (
                self._learns
                and spell is not None
                and spell.on
                and not runs
                and self._learned(track, spell, now_us)
            ):
                self.now.last_us = now_us
                return mark + 1
        return len(time_us)

    def _learned(self, track: Track, run: Spell, now_us: int) -> bool:
        """Whether a run that is over has told a higher level, from its stop on."""
        from_us = max(run.from_us, run.last_us - NEWEST_US)
        a, b = np.searchsorted(track.time_us, (from_us, run.last_us + 1)).tolist()
        if run.last_us - run.from_us < LEARNS_US or b - a < LEARNS_WORDS:
            return False
        drew = median(track.value[a:b])
        self._drew = [*self._drew[1 - FIRM_RUNS :], drew]
        firm = FIRM * sorted(self._drew)[1] if len(self._drew) == FIRM_RUNS else 0.0
        level = max(IDLE * drew, firm)
        if level <= GROWN * self.levels[-1][1]:
            return False
        self.levels.append((now_us, level))
        return True

    def _repeated(self, on: bool, now_us: int) -> None:
        assert self._changed_us is not None
        self._manners[on].repeats(now_us - self._changed_us)
        self._changed_us = None

    def _edge(self, now_us: int, before_us: int, words: int) -> int:
        """The last moment of the state before: its last word, or just now where changes are told at once."""
        assert self.now is not None
        self._changes += 1
        self._manners[self.now.on].ends(now_us - before_us)
        prompt = any(one.prompt for one in self._manners)  # runs may be too short for it to repeat itself
        if prompt or (self._changes >= CHANGES and 5 * self._changes > 3 * words):
            self.now.last_us = before_us = max(before_us, now_us - PROMPT_US)
        return before_us

    def _last(self, time_us: Any, mark: int) -> int:
        return int(time_us[mark - 1]) if mark else self._done_us

    def _step(self, on: bool, gap: bool, now_us: int, before_us: int, ended: list[Spell]) -> None:
        """One sample at which the state changed, or before which there was a gap."""
        spell = self.now
        if spell is None:
            self.now = Spell(on, now_us, now_us, False, now_us)
            return
        if not gap and spell.on == on:
            return
        if on and not gap and self._hiccup(spell, now_us):
            assert self._before is not None
            self.now, self._before = self._before, None
            self.now.to_us, self.now.ended = None, False
            self.now.holes = [*self.now.holes[-99:], (spell.from_us, now_us)]
            self._glitch_us = now_us
            if ended and ended[-1] is self.now:
                ended.pop()
            return
        spell.to_us, spell.ended = now_us, not gap
        ended.append(spell)
        self._before = spell if spell.on and not gap else None
        self.now = Spell(on, before_us if not gap else now_us, now_us, not gap, now_us)

    def _hiccup(self, rest: Spell, now_us: int) -> bool:
        run = self._before
        if run is None or rest.on or now_us - rest.from_us > GLITCH_US or rest.last_us != rest.from_us:
            return False
        return rest.from_us - run.from_us >= 2 * GLITCH_US and now_us - self._glitch_us > GLITCH_APART_US

    def saved(self) -> dict[str, Any]:
        return {
            "now": asdict(self.now) if self.now else None,
            "before": asdict(self._before) if self._before else None,
            "done_us": self._done_us,
            "glitch_us": self._glitch_us,
            "told": [self._words, self._changes],
            "manners": [asdict(manner) for manner in self._manners],
            "changed_us": self._changed_us,
            "levels": self.levels,
            "drew": self._drew,
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self.now, self._before = _spell(saved["now"]), _spell(saved["before"])
        self._done_us, self._glitch_us = saved["done_us"], saved["glitch_us"]
        self._words, self._changes = saved["told"]
        self._manners = (Manner(**saved["manners"][0]), Manner(**saved["manners"][1]))
        self._changed_us = saved["changed_us"]
        self._drew = list(saved["drew"])
        self.levels[:] = [(at_us, level) for at_us, level in saved["levels"]]


def _spell(saved: dict[str, Any] | None) -> Spell | None:
    if saved is None:
        return None
    return Spell(**{**saved, "holes": [(off, on) for off, on in saved["holes"]]})
