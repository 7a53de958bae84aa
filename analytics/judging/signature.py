"""The plant's own clean signature, learned from its runs.

The first LESSON usable runs while nothing is found wrong make the commissioning signature, which is
then kept: a slow fault cannot move what it is measured against. The newest KEPT runs stand beside it.
Robust throughout: medians, an upper quartile for delivery (demand that comes and goes inside a run
hides delivery and can only lower it), and the median absolute deviation for the scatter.

Where a repair has changed the tank (`repaired`) the runs before it are no longer recent.

Parameters: LESSON 24 runs, half a day to two days of a household, robust scatter known to a fifth;
LIFTED 0.3 of the rise that makes a run: above what warming air lifts,
for what the motor draws where samples are so far apart that no run can be measured;
RECENT 12 runs, enough for the quartile of a run scattered by 8 % to be good to 4 %. FIRST_WORD 6 runs
give a provisional signature.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from analytics.judging import agreed, gains
from analytics.judging.agreed import Agreed
from analytics.judging.brief import Brief, kink, usable
from analytics.judging.counted import Counted, note
from analytics.judging.gains import Gains
from analytics.judging.hidden import bests
from analytics.judging.tank_size import size_by_meter
from analytics.judging.trait import Trait, known_of, middle_of, trait_of, upper

if TYPE_CHECKING:
    from analytics.seeing.events import Run

LESSON = 24
LATELY = 8  # of the newest runs, against the clean ones
FIRST_WORD = 6
RECENT = 12
EACH = 3  # of the newest runs whose drop is kept, those too in which more was drawn than the pump gave
KEPT = LESSON  # of the newest runs, and of the newest that are HOURLY_US apart, for what comes slowly
HOURLY_US = 3_600_000_000
ROUGH = 0.12
LIFTED = 0.3
DRAWS_KEPT, DRAWS_ENOUGH = 3, 2 * LESSON
KINK_ERRS = 1.3  # three standard errors of a kink at close samples above it, as `story.UNHEARD_OF`
#: A median's standard error over the mean's; a quartile's is 1.36, which the better of the two hides.
OF_A_MEDIAN = 1.2533
SIGMA_LEAST = 0.04  # of a figure: kinks at 1 s sampling
#: Sampled no finer than this, a run of few samples does not show what comes and goes within it, and runs of
#: household and of garden differ by a fifth: the lesson is of a whole day then, of LESSON_MOST runs at most.
#: A quarter of a minute, and by a twentieth sooner as words that are due then do come.
COARSE_S, LESSON_HOURS, LESSON_MOST = 14.25, 23.0, 4 * LESSON


TRAITS = (
    "kink_m3_s", "delivery_m3_s", "delivery_start_m3_s", "delivery_stop_m3_s", "drawdown_m3", "run_time_s",
    "start_pa", "stop_pa", "motor_level", "filter_drop_pa", "metered_m3_s",
    "leap_pa", "whole_m3_s",
)  # fmt: skip


class _Told:
    """What was worked out of a list of runs: of those an hour apart it stands for many a run."""

    def __init__(self, briefs: list[Brief]) -> None:
        self.briefs = briefs
        self._columns: dict[str, list[float | None]] = {}
        self._sorted: dict[tuple[str, int], list[float] | None] = {}
        self._traits: dict[tuple[str, int], Trait | None] = {}

    def sorted(self, name: str, last: int) -> list[float] | None:
        """What the newest `last` said of a figure; None where fewer than half of them did."""
        asked = (name, last)
        if asked not in self._sorted:
            if name not in self._columns:
                self._columns[name] = [getattr(brief, name) for brief in self.briefs]
            newest = self._columns[name][-last:]
            self._sorted[asked] = known_of(newest) if len(newest) * 2 >= last else None
        return self._sorted[asked]

    def trait(self, name: str, last: int) -> Trait | None:
        """Over the newest `last`; None with fewer than half of them."""
        asked = (name, last)
        if asked not in self._traits:
            values = self.sorted(name, last)
            self._traits[asked] = trait_of(values) if values is not None else None
        return self._traits[asked]


@dataclass
class Signature:
    lesson: list[Brief] = field(default_factory=list)
    recent: list[Brief] = field(default_factory=list)
    hourly: list[Brief] = field(default_factory=list)  # an hour apart: KEPT of them have seen a whole day
    clean: dict[str, Trait] = field(default_factory=dict)
    first: dict[str, Trait] = field(default_factory=dict)  # of the first LATELY runs alone
    bests: list[float] = field(default_factory=list)  # of the lesson's runs (`hidden`)
    first_bests: list[float] = field(default_factory=list)  # of its first LATELY
    learned_us: int | None = None  # when the lesson was over
    learned_runs: int = 0
    lesson_seen: int = 0  # runs that were seen whole meanwhile, the unusable ones too
    #: How long runs last, where samples are too far apart for more.
    counted: Counted = field(default_factory=Counted)
    agreed: Agreed = field(default_factory=Agreed)
    gains: Gains = field(default_factory=Gains)
    full_m3: float = 0.0  # what the plate's band takes
    #: Across the filter, of the newest EACH runs, and where they stopped.
    drops_pa: list[tuple[float, float]] = field(default_factory=list)
    loads: list[float] = field(default_factory=list)  # what the motor said in the first runs that lifted
    draws_m3_s: list[float] = field(default_factory=list)  # the largest that were seen, largest first
    draws_seen: int = 0
    sound_draws_m3_s: list[float] = field(default_factory=list)  # likewise, by a sound tank
    sound_draws_seen: int = 0
    #: The pressure tank's size over its plate's by a flow meter, in the lesson; its relative standard error.
    tank_size: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        self._told = [_Told(self.recent), _Told(self.hourly)]  # by `now`

    def learn(self, run: Run, healthy: bool, least_rise_pa: float, tank_sound: bool = True) -> None:
        """Take up a run that is over; one that raised pressure by less says nothing of filter or pump."""
        self._see_draws(run, healthy, tank_sound)
        if self.learned_us is None and run.entire:
            self.lesson_seen += 1
        if run.interval_s >= COARSE_S and _rose(run, least_rise_pa):
            note(self.counted, run, healthy, self.full_m3)
            if self.full_m3 > 0.0:
                agreed.note(self.agreed, run, healthy, self.full_m3)
        if _rose(run, least_rise_pa):
            gains.note(self.gains, run, healthy)
        if healthy and len(self.loads) < LESSON:
            self._see_load(run, LIFTED * least_rise_pa)
        drop_pa, stop_pa = run.cycle.filter_drop_pa, run.cycle.pressure_stop_pa
        if drop_pa is not None and stop_pa is not None and run.entire and _rose(run, least_rise_pa):
            self.drops_pa = [*self.drops_pa, (drop_pa, stop_pa)][-EACH:]
        brief = usable(run)
        if brief is None or brief.stop_pa - brief.start_pa < least_rise_pa:
            return
        self.recent = [*self.recent, brief][-KEPT:]
        if not self.hourly or brief.at_us - self.hourly[-1].at_us >= HOURLY_US:
            self.hourly = [*self.hourly, brief][-KEPT:]
        if self.learned_us is not None or not healthy:
            return
        self.lesson.append(brief)
        self.learned_runs = len(self.lesson)
        self.tank_size = size_by_meter(self.lesson)
        if len(self.lesson) >= LESSON and (run.interval_s < COARSE_S or _a_day(self.lesson)):
            self.learned_us = brief.at_us
        if len(self.lesson) >= FIRST_WORD:
            known = {name: known_of([getattr(brief, name) for brief in self.lesson]) for name in TRAITS}
            self.clean = {name: trait_of(values) for name, values in known.items() if values is not None}
            self.bests = bests(self.lesson, self.clean)
        if len(self.lesson) == LATELY:
            self.first, self.first_bests = self.clean, self.bests
        if self.learned_us is not None:
            self.lesson = []

    def _see_draws(self, run: Run, healthy: bool, tank_sound: bool) -> None:
        """Demand at rest, beside a run that was seen whole.

        A tank short of air makes each flow look larger, the pump's own kink as well: such draws are brought
        back by it, and left out where it is not known and something stands. One that is charged above cut-in
        runs out within a rest, as no draw empties it: those of a sound tank are kept apart."""
        grown = self._grown(run)
        if run.entire and (healthy or grown is not None):
            slopes = [s for s in (run.slope_before_m3_s, run.slope_after_m3_s) if s is not None]
            seen = [-s / (grown or 1.0) for s in slopes]
            self.draws_m3_s = sorted([*self.draws_m3_s, *seen], reverse=True)[:DRAWS_KEPT]
            self.draws_seen += len(seen)
            if tank_sound:
                self.sound_draws_m3_s = sorted([*self.sound_draws_m3_s, *seen], reverse=True)[:DRAWS_KEPT]
                self.sound_draws_seen += len(seen)

    def _grown(self, run: Run) -> float | None:
        """How much more a run's kink shows than clean ones did, beyond what a kink errs by; 1 where it does
        not, None where nobody knows."""
        best, now = best_delivery(self.clean), kink(run)
        if best is None or now is None or self.clean[best].middle <= 0.0:
            return None
        share = now / self.clean[best].middle
        return share if share > KINK_ERRS else 1.0

    def _see_load(self, run: Run, least_rise_pa: float) -> None:
        """The motor's words of a run that lifted pressure: one in some fifty of a lone word is its inrush."""
        began_pa, high_pa = run.cycle.pressure_start_pa, run.pressure_high_pa
        if run.motor_words is None or began_pa is None or high_pa is None or not run.entire:
            return
        if high_pa - began_pa > least_rise_pa:
            self.loads = [*self.loads, run.motor_words]

    def load(self) -> float | None:
        """What the motor draws, by its words alone; None of fewer than FIRST_WORD runs."""
        return middle_of(sorted(self.loads)) if len(self.loads) >= FIRST_WORD else None

    def tank_times(self) -> float:
        """How many times larger than the plate's the tank is; 1 where no meter has told."""
        return self.tank_size[0] if self.tank_size is not None else 1.0

    def of_the_long_alone(self) -> bool:
        """Whether the lesson passed over most runs, too short to be measured: those in it last long because
        somebody draws, and show less than the pump gives."""
        return 2 * self.learned_runs < self.lesson_seen

    def largest_draw_m3_s(self) -> float | None:
        """The largest draw seen DRAWS_KEPT times: one odd slope does not count. None while too few were. Of a
        sound tank alone, once it has shown enough."""
        if self.sound_draws_seen >= DRAWS_ENOUGH:
            return self.sound_draws_m3_s[-1]
        return self.draws_m3_s[-1] if self.draws_seen >= DRAWS_ENOUGH else None

    def fastest_fall_m3_s(self) -> float:
        """The fastest that a tank was seen to empty at rest, as often, sound or not."""
        return self.draws_m3_s[-1] if self.draws_seen >= DRAWS_ENOUGH else 0.0

    def repaired(self, anew: bool = False) -> None:
        """A fault of pump, filter or tank is gone: the runs that showed it are no longer recent, nor, where
        the lesson was of such runs (`anew`), clean."""
        self.recent = self.recent[-2:]
        self.hourly = self.recent[-1:]
        self.drops_pa = self.drops_pa[-2:]
        self.counted.newest = self.counted.newest[-2:]
        self.agreed.newest = self.agreed.newest[-2:]
        self.gains.newest = self.gains.newest[-2:]
        if anew:
            self.lesson, self.clean, self.first, self.bests, self.first_bests = [], {}, {}, [], []
            self.learned_us, self.learned_runs, self.lesson_seen = None, 0, 0
            self.counted, self.agreed, self.gains = Counted(), Agreed(), Gains()
            self.tank_size = None

    def now(self, name: str, last: int = RECENT, hourly: bool = False) -> Trait | None:
        """A trait over the newest `last` runs (an hour apart); None with fewer than half of them."""
        return self._telling(hourly).trait(name, last)

    def upper(self, name: str, last: int, hourly: bool = False) -> float | None:
        """`now(...).upper`, which takes less to tell."""
        values = self._telling(hourly).sorted(name, last)
        return upper(values) if values is not None else None

    def middle(self, name: str, last: int, hourly: bool = False) -> float | None:
        """`now(...).middle`, likewise."""
        values = self._telling(hourly).sorted(name, last)
        return middle_of(values) if values is not None else None

    def lower_than(self, limit: float, name: str, hourly: bool = False) -> int | None:
        """How many of the newest KEPT runs show less of a figure; None where it is known of too few."""
        values = self._telling(hourly).sorted(name, KEPT)
        return bisect_left(values, limit) if values is not None else None

    def _telling(self, hourly: bool) -> _Told:
        briefs = self.hourly if hourly else self.recent
        told = self._told[hourly]
        if told.briefs is not briefs:
            told = self._told[hourly] = _Told(briefs)
        return told


def _rose(run: Run, least_pa: float) -> bool:
    """Whether a run filled the tank, for all that samples far apart show."""
    low, high = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
    return low is not None and high is not None and high - low >= least_pa


def _a_day(lesson: list[Brief]) -> bool:
    lasted_us = lesson[-1].at_us - lesson[0].at_us
    return lasted_us >= LESSON_HOURS * HOURLY_US or len(lesson) >= LESSON_MOST


def best_delivery(clean: dict[str, Trait]) -> str | None:
    """The figure of delivery to go by: the kinks, unless they scatter by more than ROUGH and the mid-run
    one by less. None if neither is known. (A drip line makes the mid-run figure look steadier than it is.)
    """
    shares = {
        name: clean[name].sigma / clean[name].middle
        for name in ("kink_m3_s", "delivery_m3_s")
        if name in clean and clean[name].middle > 0.0
    }
    if shares.get("kink_m3_s", 1.0) <= ROUGH:
        return "kink_m3_s"
    if not shares:  # of a motor seen too coarsely for both ends
        return "delivery_start_m3_s" if "delivery_start_m3_s" in clean else None
    return min(shares, key=lambda name: shares[name])
