"""Signals that have said nothing for too long.

Too long is what the contract says where the plant file gives `every`: more than ten times that and
two minutes. Otherwise it is learned, by what its pauses are like:

- an even pace: its longest pause is no more than EVEN times the middle of its first LESSON intervals, seen
  over a day and a night; EVENEST, of a timer that lost two words in a row at most, over a quarter of a day.
  It is held to the contract's rule with that. Words on change come at random: the longest of a hundred such
  intervals is some seven times their middle, ln 100 / ln 2;
- a sign of life: BEATS of its pauses come within NEAR of the longest, as of no sensor that speaks on change
  alone. Or the longest is THIN times the middle, which is that of a million words at random, ln 1e6 / ln 2
  and a half more. Thrice the longest then, ten minutes at least and a day at most (until it has been silent
  for longer and spoken again of itself); a whole day until three days were heard;
- else it speaks on change alone, and rests for as long as nothing changes: a week at least and thrice the
  longest, for who is away for a week has not broken a sensor.

A rain gauge, and a motor's signal (which pressure that climbs without its word convicts, `judging.climbs`),
rest for months, and speak at an even pace while it rains: they are held to any of it only once they have said
the same again BEATS times, that it does not rain: what speaks on change alone never does.

A silence that was found teaches no more than the limit it broke, and nothing of what pauses are like (which
is told from those of the last three to six days): else one long outage would make a sensor dumb for good.

Only time in which something was heard (another signal, or the collector's tick) counts, so that a
collector that was off, a broker that was down or a recording with a hole in it makes nobody silent.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np

from analytics.instants import DAY_US
from analytics.plant.description import MOTOR_MEASURES, Measure
from analytics.seeing.parting import widest

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.seeing.parting import Parted, Words

LEARNING_US = 3 * 86_400_000_000
QUARTER_US = DAY_US // 4
LEAST_LEARNED_US = 600_000_000
LEAST_US = 120_000_000
LESSON = 100
EVEN, EVENEST = 5, 3
BEATS, NEAR, THIN = 5, 0.9, 30
WEEK_US = 7 * DAY_US
EVER_US = 1 << 60
RESTING = (Measure.RAINFALL, *MOTOR_MEASURES)
#: Nothing from anybody for longer than this is a hole in the recording, not somebody's silence;
#: a plant all of whose sensors speak more seldom has the longest `every` instead, doubled.
HOLE_US = 120_000_000


class Silence(msgspec.Struct, frozen=True):
    """A signal has said nothing for too long (ended False), or speaks again (ended True)."""

    at_us: int
    signal: int
    since_us: int  # its last word before the silence
    limit_s: float
    ended: bool
    alone: bool = True  # another signal has spoken meanwhile


class Silences:
    """Readings in time order in, silences out."""

    def __init__(self, plant: Plant) -> None:
        self._every = [signal.every_s for signal in plant.signals]
        self._rests = [signal.measures in RESTING and signal.every_s is None for signal in plant.signals]
        self._rain = [signal.measures is Measure.RAINFALL for signal in plant.signals]
        known = [every for every in self._every if every is not None]
        self._hole_us = int(max(HOLE_US, 2e6 * max(known, default=0.0)))
        count = len(plant.signals)
        self._start_us: int | None = None
        self._newest_us = 0
        self._lost_us = 0  # time in holes, so far
        self._word_us: list[int | None] = [None] * count
        self._word_lost_us = [0] * count
        self._longest_us = [0] * count
        self._said: list[float | None] = [None] * count  # of those that rest: the newest word
        self._again = [0] * count  # how often it was the same as the one before, BEATS at most
        self._again_us = [0] * count  # when for the BEATS-th time; 0: not yet
        #: of this period of three days and of the one before: which, its longest pause, how many come near it
        self._pauses: list[list[list[int]]] = [[] for _ in range(count)]
        self._lesson_us: list[list[int]] = [[] for _ in range(count)]
        self._even_us = [0] * count  # usual interval; 0: not learned
        self._learned_us = [0] * count  # when it was
        self._silent = [False] * count
        self._before_us = [0] * count  # last words before the feed at hand

    def feed(self, parted: Parted) -> list[Silence]:
        """Silences that began or ended in these readings, in order of time."""
        if not len(parted):
            return []
        time_us = parted.time_us
        if self._start_us is None:
            self._start_us = self._newest_us = int(time_us[0])
            self._word_us = [self._start_us if every is not None else None for every in self._every]
        self._readings = parted.readings
        self._find_holes(parted)
        found: list[Silence] = []
        for signal in range(len(self._every)):
            self._hear(signal, time_us, parted.of[signal], found)
        self._newest_us = int(time_us[-1])
        self._lost_us = self._lost(self._newest_us)
        self._before_us = [word if word is not None else 0 for word in self._word_us]
        del self._readings, self._hole_at, self._hole_lost
        return sorted(found, key=lambda one: (one.at_us, one.signal))

    def _find_holes(self, parted: Parted) -> None:
        """Where nothing was heard from anybody: the reading after it, and the time lost up to there."""
        time_us = parted.time_us
        if time_us[0] - self._newest_us <= self._hole_us and self._nobody_missed(parted):
            self._hole_at = self._hole_lost = time_us[:0]
            return
        steps = np.diff(time_us, prepend=self._newest_us)
        holes = np.flatnonzero(steps > self._hole_us)
        self._hole_at = time_us[holes]
        self._hole_lost = self._lost_us + np.cumsum(steps[holes])

    def _nobody_missed(self, parted: Parted) -> bool:
        """Whether readings leave no hole among them; as a rule one signal that speaks throughout says so."""
        first, last = int(parted.time_us[0]), int(parted.time_us[-1])
        for words in parted.of:
            ends = len(words) and max(words.time_us[0] - first, last - words.time_us[-1]) <= self._hole_us
            if ends and words.widest_us <= self._hole_us:
                return True
        return widest(parted.time_us) <= self._hole_us

    def _lost(self, time_us: int) -> int:
        """Time lost in holes up to and including the reading at `time_us`."""
        if not len(self._hole_at):
            return self._lost_us
        past = int(np.searchsorted(self._hole_at, time_us, side="right"))
        return int(self._hole_lost[past - 1]) if past else self._lost_us

    def _hear(self, signal: int, time_us: Any, said: Words, found: list[Silence]) -> None:
        """One signal: look at every gap between its words that may be too long, then at the last one."""
        word, words = self._word_us[signal], said.time_us
        if word is None and not len(words):
            return
        before = word if word is not None else int(words[0])
        if self._rests[signal] and not self._again_us[signal] and len(words):
            self._repeats(signal, said)
        wide = self._wide(signal, said, before) if len(words) else ()
        for at in wide:
            since = int(words[at - 1]) if at else before
            if self._every[signal] is None:
                self._note_pause(signal, since, int(words[at]))
            if self._usual(signal, since, int(words[at]) - since):
                continue
            self._gap(signal, time_us, since, int(words[at]), found)
            self._word_us[signal], self._word_lost_us[signal] = int(words[at]), self._lost(int(words[at]))
        if len(words):
            if self._silent[signal]:
                self._end(signal, before, int(words[0]), found)
            self._word_us[signal], self._word_lost_us[signal] = int(words[-1]), self._lost(int(words[-1]))
        self._begin(signal, time_us, None, found)

    def _wide(self, signal: int, said: Words, before: int) -> list[int]:
        """Words before which there was a silence that may be too long, or that teaches something."""
        words, every = said.time_us, self._every[signal]
        untaught = every is None and not self._even_us[signal]
        least_us = self._limit_us(signal, before) if every is not None else self._teaching_us(signal)
        if not untaught and max(said.widest_us, int(words[0]) - before) <= least_us:
            return []
        gaps = np.diff(words, prepend=before)
        if not untaught:
            return [int(at) for at in np.flatnonzero(gaps > least_us)]
        taught = self._learn(signal, words, gaps)
        after_us = self._teaching_us(signal)
        return [
            int(at)
            for at in np.flatnonzero(gaps > np.where(np.arange(len(gaps)) < taught, least_us, after_us))
        ]

    def _learn(self, signal: int, words: NDArray[np.int64], gaps: NDArray[np.int64]) -> int:
        """Take the first intervals; gives the position of the word that completed the lesson."""
        lesson = self._lesson_us[signal]
        first = 0 if self._word_us[signal] is not None else 1
        wanted = LESSON - len(lesson)
        lesson += gaps[first : first + wanted].tolist()
        if len(lesson) < LESSON:
            return len(gaps)
        self._even_us[signal], self._learned_us[signal] = (
            sorted(lesson)[LESSON // 2],
            int(words[first + wanted - 1]),
        )
        self._lesson_us[signal] = []
        return first + wanted

    def _teaching_us(self, signal: int) -> int:
        """Silences shorter than this change no learned limit."""
        even_us = self._even_us[signal]
        return min(max(LEAST_US, 10 * even_us), LEAST_LEARNED_US) // 3 if even_us else LEAST_LEARNED_US // 3

    def _repeats(self, signal: int, said: Words) -> None:
        """Count words that say the same again; of a rain gauge, that it does not rain."""
        value, before = said.value, self._said[signal]
        again = value == np.concatenate(([np.nan if before is None else before], value[:-1]))
        if self._rain[signal]:
            again &= value == 0.0
        at = np.flatnonzero(again)[: BEATS - self._again[signal]]
        self._again[signal] += len(at)
        if self._again[signal] == BEATS:
            self._again_us[signal] = int(said.time_us[at[-1]])
        self._said[signal] = float(value[-1])

    def _note_pause(self, signal: int, since: int, until: int) -> None:
        """Count a pause among those of its three days; what breaks the limit is none."""
        assert self._start_us is not None
        pause_us = until - since - (self._lost(until) - self._lost(since))
        if self._silent[signal] or pause_us > self._limit_us(signal, since):
            return
        period, pauses = (until - self._start_us) // LEARNING_US, self._pauses[signal]
        if not pauses or pauses[-1][0] != period:
            pauses.append([period, pause_us, 0])
            del pauses[:-2]
        newest = pauses[-1]
        if pause_us * NEAR > newest[1]:
            newest[1], newest[2] = pause_us, 0
        newest[1] = max(newest[1], pause_us)
        newest[2] += int(pause_us >= NEAR * newest[1])

    def _usual(self, signal: int, since: int, gap_us: int) -> bool:
        """Whether a gap is no silence and teaches nothing: no longer than one heard, and within the limit."""
        if self._silent[signal] or gap_us > self._longest_us[signal]:
            return False
        return gap_us <= self._limit_us(signal, since)

    def _gap(self, signal: int, time_us: Any, since: int, until: int, found: list[Silence]) -> None:
        """A gap between two words: perhaps a silence that began and ended here; learn its length."""
        self._word_us[signal] = since
        if since >= int(time_us[0]):
            self._word_lost_us[signal] = self._lost(since)
        if not self._silent[signal]:
            self._begin(signal, time_us, until, found)
        heard = until - since - (self._lost(until) - self._word_lost_us[signal])
        if self._silent[signal]:
            heard = min(heard, self._limit_us(signal, since))
            self._end(signal, since, until, found)
        self._longest_us[signal] = max(self._longest_us[signal], heard)

    def _begin(self, signal: int, time_us: Any, until: int | None, found: list[Silence]) -> None:
        """Say so at the first reading by which the silence has been heard for too long."""
        since = self._word_us[signal]
        if since is None or self._silent[signal]:
            return
        limit = self._limit_us(signal, since)
        first = int(np.searchsorted(time_us, since + limit, side="right"))
        past = len(time_us) if until is None else int(np.searchsorted(time_us, until))
        while first < past:
            lost = self._lost(int(time_us[first])) - self._word_lost_us[signal]
            after = int(np.searchsorted(time_us, since + limit + lost, side="right"))
            if after <= first:
                self._silent[signal] = True
                alone = self._others_us(signal, int(time_us[first])) > since + limit // 2
                found.append(Silence(int(time_us[first]), signal, since, limit / 1e6, False, alone))
                return
            first = after

    def _others_us(self, signal: int, until_us: int) -> int:
        """The last word of any other signal up to a time."""
        past = int(np.searchsorted(self._readings.time_us, until_us, side="right"))
        whose = self._readings.signal[:past]
        theirs = np.flatnonzero((whose != signal) & (whose >= 0))
        if len(theirs):
            return int(self._readings.time_us[theirs[-1]])
        return max((word for other, word in enumerate(self._before_us) if other != signal), default=0)

    def _end(self, signal: int, since: int, at_us: int, found: list[Silence]) -> None:
        self._silent[signal] = False
        found.append(Silence(at_us, signal, since, 0.0, True))

    def _limit_us(self, signal: int, now_us: int) -> int:
        every = self._every[signal]
        if every is not None:
            return int(max(10e6 * every, 120e6))
        assert self._start_us is not None
        if self._rests[signal] and not 0 < self._again_us[signal] <= now_us:
            return EVER_US
        longest, even = self._longest_us[signal], self._even_us[signal]
        heard_us = now_us - self._start_us
        evenly = longest <= (EVEN if heard_us >= DAY_US else EVENEST) * even
        if 0 < self._learned_us[signal] <= now_us and heard_us >= QUARTER_US and evenly:
            return int(max(3 * longest, 10 * even, LEAST_US))
        if self._speaks_on_change(signal, now_us):
            return max(3 * longest, WEEK_US)
        if heard_us < LEARNING_US:
            return DAY_US
        return 3 * longest if longest >= DAY_US else min(max(3 * longest, LEAST_LEARNED_US), DAY_US)

    def _lately(self, signal: int, now_us: int) -> list[list[int]]:
        """What its pauses were like in the last two periods."""
        assert self._start_us is not None
        period = (now_us - self._start_us) // LEARNING_US
        return [pauses for pauses in self._pauses[signal] if pauses[0] >= period - 1]

    def _speaks_on_change(self, signal: int, now_us: int) -> bool:
        """Whether its pauses are those of one that gives no sign of life of itself."""
        lately, even_us = self._lately(signal, now_us), self._even_us[signal]
        longest = max((its for _, its, _ in lately), default=0)
        if 3 * longest <= LEAST_LEARNED_US or longest <= THIN * even_us:
            return False
        return sum(near for _, its, near in lately if its >= NEAR * longest) < BEATS

    def saved(self) -> dict[str, Any]:
        return {
            "start_us": self._start_us,
            "newest_us": self._newest_us,
            "lost_us": self._lost_us,
            "word_us": self._word_us,
            "word_lost_us": self._word_lost_us,
            "longest_us": self._longest_us,
            "pauses": self._pauses,
            "said": self._said,
            "again": self._again,
            "again_us": self._again_us,
            "lesson_us": self._lesson_us,
            "even_us": self._even_us,
            "learned_us": self._learned_us,
            "silent": self._silent,
            "before_us": self._before_us,
        }

    def restore(self, saved: dict[str, Any]) -> None:
        for name, value in saved.items():
            setattr(self, f"_{name}", value)
