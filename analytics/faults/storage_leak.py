"""A storage tank falls while nothing draws from it.

What fails: a seam, a fitting, a drain cock or the buried pipe before the pump; a float valve or a
tap somebody left open.

Physics: with the pump at rest and no rain the water in the tank stands still, but for evaporation.
A leak of q takes q dt from every quiet stretch, day and night:

    loss = - sum of dV over quiet, dry steps

Sensors show: `storage_level` going down through the rests of the pump, night after night.

Mistaken for it: the pump's own draw reported late (steps go from reading to reading, see
`analytics.judging.balance`); rain and the roof's dripping after it; linked tanks evening out, for minutes
after a run or for hours after one was filled (`analytics.judging.levels`); an open
tank's evaporation; an ultrasonic gauge that drifts with the day's temperature (up to a centimetre
here, and more in a warm shed: over a day it comes back, so losses must be seen over LAST_S); water taken
with a bucket (counts for no more than CAP_SHARE of the evidence in an hour); a header tank that the pump
fills and a house below draws from (`LevelTrack.fed_1`).

The evidence is twofold. A sum of losses over an allowance, begun anew whenever it falls to nothing
(Page's CUSUM), says that enough has gone, by day and by night:

    S <- max(0, S - dV - allowance * dt),   wanted: S >= threshold

Since each quarter of a day from then on, the common slope of all rests (`analytics.outlooks.slope`) says
whether the gauge's scatter could do that, and when it began:

    wanted: loss - allowance >= ERRORS errors, and (loss - allowance) * quiet time >= threshold

The second bound is needed because the sum begins at a crest of the gauge's scatter and so is too large
by about a step; the slope begins after it. The loss is told since the quarter from
which on most is sure.

Parameters:
    ALLOWANCE_M_DAY  5 mm/day   evaporation from an open tank in summer, 5 to 8 mm/day at its most
                                (FAO-56's reference range); a covered one loses next to nothing
    LEAST_SHARE      0.4 %      of the full volume: strapping and gauge are no better
    LEAST_M          10 mm      of level: the daily drift that common gauges show; and the gauge's last
                                digit on top, which is lost at every rounding
    ERRORS           5          standard errors: 3 in ten million a look by chance, a look an hour
                                or so that is independent: less than once in 300 years
    STEADILY         0.5        of what went must have gone by the slope of the rests: a leak does not leap
    GONE             0.7        of it must be gone by all steps, with DRAWN 0.6 of what the pump drew on top
                                (a worn pump, a wrong plate): what rises whenever the pump happens to run
                                was never lost, the gauge moved
    PARTS            12         quarters of a day, three days: a slower leak hides behind evaporation
    SWINGS           0.3        of the loss at least by each quarter of the day, as far as it tells: a gauge
                                that swings with the day comes back in another, a leak never rests; and two
                                opposite quarters tell of it where it is less than a swing by
    SWING_M          14 mm      from crest to trough makes at its steepest, pi times that a day (common
                                practice, no source: a metre and a half of air, warmer by 6 K), and the
                                scatter of the rests on top, by SWING_ERRORS 1
    LAST_S           36 h       of evidence, so that a day's drift has come back once, unless it is BIG times
    BIG              2          the threshold, twice what the gauge may drift
    CAP_SHARE        0.3        of the threshold, besides scatter and last digit, that one hour can add
    GIVEN_BACK       1.2        of what fell in leaps, which a rise may give back; more is water coming in
    CLEAR_S          12 h       of quiet that loses less than half, by CLEAR_ERRORS 2: cleared

Source: Page 1954 (CUSUM); the balance is arithmetic.
"""

from __future__ import annotations

from math import pi
from operator import itemgetter
from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.balance import (
    FED,
    GRAINS,
    RISE_SCATTERS,
    LevelStep,
    sigma_m3,
)
from analytics.judging.cycling_run import is_guessed
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.outlooks.slope import Part, Slope, is_round_the_clock, since_each
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.balance import Watched
    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant, Storage
    from analytics.seeing.beats import Beat

ALLOWANCE_M_DAY = 0.005
LEAST_SHARE = 0.004
LEAST_M = 0.010
ERRORS = 5.0
PARTS = 12
LAST_S = 36 * 3600.0
BIG = 2.0
CAP_SHARE = 0.3
GIVEN_BACK = 1.2
STEADILY = 0.5
SWINGS, SWING_M, SWING_ERRORS = 0.3, 0.014, 1.0
GONE, DRAWN = 0.7, 0.6
CLEAR_S = 12 * 3600.0
CLEAR_ERRORS = 2.0
DAY_S = 86_400.0


class One(msgspec.Struct):
    """Memory of one storage."""

    sum_m3: float = 0.0
    fell_m: float = 0.0  # in steps too large for the level's scatter, and not given back yet
    drawn_m3: float = 0.0  # by the pump since the last step
    parts: list[Part] = []  # since the sum last left nothing, the newest PARTS
    standing: bool = False
    loss_m3_s: float = 0.0
    well: Slope = msgspec.field(default_factory=Slope)  # of the rests since, looked at for the repair
    well_s: float = 0.0


class LeakMemory(msgspec.Struct):
    storages: dict[str, One] = {}


class StorageLeak(Detector):
    FAULT = "storage_leak"
    Memory = LeakMemory
    memory: LeakMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._motors = [plant.signals[at].name for at in plant.measuring(*MOTOR_MEASURES)]

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        found: list[Word] = []
        for watched in known.levels.watched:
            name = watched.storage.name
            one = self.memory.storages.get(name)
            if one is None:
                one = self.memory.storages[name] = One()
            step = known.levels.steps[name]
            if beat.running_s > 0.0 and not is_guessed(self.plant, known.usual, known.water):
                one.drawn_m3 += beat.running_s * known.usual.delivery_m3_s
            drawn_m3 = one.drawn_m3
            one.drawn_m3 = 0.0 if step is not None else drawn_m3
            if self._disbelieved(watched, known):
                one.sum_m3 = 0.0
                continue
            if step is None or not step.dry or step.seconds > DAY_S:
                continue
            if not step.quiet:
                if one.parts and not step.rising:
                    one.parts[-1].gone_m3 -= step.change_m3 + DRAWN * drawn_m3
                continue
            if _comes_in(one, step):
                continue
            if not one.standing and known.levels.goes_elsewhere(name):
                one.sum_m3 = 0.0
                continue
            if not one.standing and known.levels.tracks[name].fed_1 > FED:
                one.sum_m3 = 0.0
                continue
            if one.standing and not known.is_open(self.FAULT, name):
                one.standing, one.sum_m3 = False, 0.0  # hung on another finding: gathered anew
            found += (
                self._standing(one, step, watched.storage)
                if one.standing
                else self._gather(one, step, watched.storage)
            )
        return found

    def _disbelieved(self, watched: Watched, known: Known) -> bool:
        """Whether a signal that the balance rests on is known to lie."""
        if not known.is_open("sensor_fault"):
            return False
        return any(known.is_open("sensor_fault", name) for name in (watched.level_name, *self._motors))

    def _gather(self, one: One, step: LevelStep, storage: Storage) -> Sequence[Word]:
        area_m2 = storage.volume_m3 / storage.full_level_m
        threshold = max(LEAST_SHARE * storage.volume_m3, (LEAST_M + step.grain_m) * area_m2)
        loss = -step.change_m3
        by_gauge_m = 4.0 * step.scatter_m + step.grain_m  # a coarse one tells of hours in one step
        cap = CAP_SHARE * threshold * step.seconds / 3600.0 + by_gauge_m * area_m2
        gain = min(loss, cap) - ALLOWANCE_M_DAY * area_m2 * step.seconds / DAY_S
        begins = one.sum_m3 <= 0.0
        if begins or not one.parts[-1].follows(step):
            one.parts = [*([] if begins else one.parts[1 - PARTS :]), Part(step.from_us)]
        one.sum_m3 = max(one.sum_m3 + gain, 0.0)
        part = one.parts[-1]
        part.quiet_s += step.seconds
        part.lost_m3 += loss
        part.gone_m3 += loss
        if not begins:  # a sum begins at a crest, which the slope is to know nothing of
            part.slope.step(step, storage.held_m3(step.level_m) - step.change_m3)
        if one.sum_m3 < threshold:
            return ()
        sure = self._surely(one, step, storage, threshold)
        steady = [
            some for some in sure if some[1].slope.loss_m3_s * some[1].quiet_s >= STEADILY * some[1].lost_m3
        ]
        if not steady:
            one.sum_m3 = 0.0 if sure else one.sum_m3  # gone in a leap, or by what the pump's signal missed
            return ()
        lost = max(steady, key=itemgetter(0))[1]
        one.standing, one.loss_m3_s = True, lost.slope.loss_m3_s
        one.well, one.well_s = Slope(), 0.0
        return [self._claim(one, step, storage, lost, threshold)]

    def _surely(
        self, one: One, step: LevelStep, storage: Storage, threshold_m3: float
    ) -> list[tuple[float, Part]]:
        """What has gone since the beginning of each part, where it is surely a leak; and how much is sure."""
        least_m3_s = ALLOWANCE_M_DAY * storage.volume_m3 / storage.full_level_m / DAY_S
        sigma, found = sigma_m3(step, storage), []
        for part in since_each(one.parts):
            lost_m3 = (part.slope.loss_m3_s - least_m3_s) * part.quiet_s
            lasted = step.to_us - part.since_us >= LAST_S * 1e6 or lost_m3 >= BIG * threshold_m3
            if lost_m3 < threshold_m3 or not lasted or part.quiet_s < 3600.0:
                continue
            surely_m3_s, _ = part.slope.bounds_m3_s(sigma, step.shared, ERRORS)
            has_gone = part.gone_m3 >= GONE * part.slope.loss_m3_s * part.quiet_s
            if surely_m3_s >= least_m3_s and has_gone and self._no_swing(one, part, step, storage):
                found.append((surely_m3_s, part))
        return found

    def _no_swing(self, one: One, lost: Part, step: LevelStep, storage: Storage) -> bool:
        """Whether a gauge that swings with the day cannot have shown what was lost."""
        since = [part for part in one.parts if part.since_us >= lost.since_us]
        always = is_round_the_clock(since, sigma_m3(step, storage), step.shared, SWINGS)
        fast_m3_s = SWING_M * pi / DAY_S * storage.volume_m3 / storage.full_level_m
        surely_m3_s, _ = lost.slope.bounds_m3_s(sigma_m3(step, storage), step.shared, SWING_ERRORS)
        return always or (always is None and surely_m3_s >= fast_m3_s)

    def _claim(self, one: One, step: LevelStep, storage: Storage, lost: Part, threshold_m3: float) -> Claim:
        usable = storage.held_m3(step.level_m) - storage.held_m3(storage.outlet_level_m)
        days = max(usable, 0.0) / (one.loss_m3_s * DAY_S)
        return Claim(
            self.FAULT,
            of=storage.name,
            onset_us=lost.since_us,
            priority="high" if days * DAY_S < storage.warn_ahead_s else "medium",
            confidence=min(0.99, 0.8 + 0.1 * one.sum_m3 / threshold_m3),
            summary=(
                f"The {storage.name} storage loses {words.volume_a_day(self.plant, one.loss_m3_s)} while the "
                "pump rests and no rain falls: look for wet ground, a drain cock or an open tap."
            ),
            evidence={
                "loss_m3_s": one.loss_m3_s,
                "lost_m3": one.loss_m3_s * lost.quiet_s,
                "quiet_time_s": lost.quiet_s,
                "level_m": step.level_m,
                "empty_by_leak_alone_s": days * DAY_S,
            },
        )

    def _standing(self, one: One, step: LevelStep, storage: Storage) -> Sequence[Word]:
        """Wait for half a day of rests that surely lose less than half of what they did, and in which no
        water surely comes in: a leak is hidden by that."""
        one.well.step(step, storage.held_m3(step.level_m) - step.change_m3)
        one.well_s += step.seconds
        if one.well_s < CLEAR_S:
            return ()
        low, high = one.well.bounds_m3_s(sigma_m3(step, storage), step.shared, CLEAR_ERRORS)
        if high < 0.5 * one.loss_m3_s and high > -0.5 * one.loss_m3_s:
            one.standing, one.sum_m3 = False, 0.0
            still = "The level has stood still through half a day of rests."
            return [AllClear(self.FAULT, of=storage.name, summary=still)]
        if low > 0.5 * one.loss_m3_s or high < 0.0 or one.well_s > 4.0 * CLEAR_S:
            one.well, one.well_s = Slope(), 0.0
        return ()


def _comes_in(one: One, step: LevelStep) -> bool:
    """Whether a rise is water coming in, which says nothing of a leak. One that gives back what fell as
    suddenly is the gauge's: whoever counts its falls must count its returns."""
    if not step.rising:
        usual_m = RISE_SCATTERS * step.scatter_m + GRAINS * step.grain_m + 1e-4
        one.fell_m += -step.change_m if -step.change_m > usual_m else 0.0
        return False
    gives_back = step.change_m <= GIVEN_BACK * one.fell_m
    one.fell_m = max(one.fell_m - step.change_m, 0.0)
    return not gives_back


def coverage(plant: Plant) -> Coverage:
    """Needs a level and the motor."""
    level = plant.measuring(Measure.STORAGE_LEVEL)
    motor = plant.measuring(*MOTOR_MEASURES)
    if level and motor:
        rain = "" if plant.measuring(Measure.RAINFALL) else " A rain gauge would let it see between showers."
        return Coverage(True, f"Told by the level while the pump rests.{rain}")
    missing = "a storage_level signal" if not level else "a motor signal, to know when nothing draws"
    return Coverage(False, f"Needs {missing}.")


def detector(plant: Plant) -> StorageLeak:
    return StorageLeak(plant)
