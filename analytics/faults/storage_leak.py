"""A storage tank falls while nothing draws from it.

What fails: a seam, a fitting, a drain cock or the buried pipe before the pump; a float valve or a
tap somebody left open.

Physics: with the pump at rest and no rain the water in the tank stands still, but for evaporation.
A leak of q takes q dt from every quiet stretch, day and night:

    loss = - sum of dV over quiet, dry steps

Sensors show: `storage_level` going down through the rests of the pump, night after night.

Mistaken for it: the pump's own draw reported late (steps go from reading to reading, see
`analytics.balance`); rain and the roof's dripping after it; linked tanks evening out; an open
tank's evaporation; an ultrasonic gauge that drifts with the day's temperature (up to a centimetre
here: over a day it comes back, so losses must be seen over LAST_S); water taken with a bucket
(counts for no more than CAP_SHARE of the evidence in an hour).

The evidence is a sum of losses over an allowance, begun anew whenever it falls to nothing (Page's
CUSUM), judged against the level's own scatter:

    S <- max(0, S - dV - allowance * dt),   raised at S >= threshold

Parameters:
    ALLOWANCE_M_DAY  5 mm/day   evaporation from an open tank in summer, 5 to 8 mm/day at its most
                                (FAO-56's reference range); a covered one loses next to nothing
    LEAST_SHARE      0.4 %      of the full volume: strapping and gauge are no better
    LEAST_M          10 mm      of level: the daily drift that common gauges show
    SCATTERS         8          times the level's usual step: for independent normal steps a CUSUM
                                with this threshold and a positive allowance gives a false alarm
                                less than once in a hundred years of beats (Wald: exp(-2 S k / s2))
    LAST_S           20 h       of evidence, unless it is BIG times the threshold
    BIG              3
    CAP_SHARE        0.3        of the threshold, besides scatter, that one hour can add
    CLEAR_S          12 h       of quiet with less than a quarter of the loss: cleared

Source: Page 1954; the balance is arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from analytics import words
from analytics.balance import LevelStep, LevelTrack, Watched, follow
from analytics.plant.description import MOTOR_MEASURES, Measure, Storage
from analytics.watch import AllClear, Claim, Coverage, Detector

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.beats import Beat
    from analytics.plant.description import Plant
    from analytics.watch import Known, Word

ALLOWANCE_M_DAY = 0.005
LEAST_SHARE = 0.004
LEAST_M = 0.010
SCATTERS = 8.0
LAST_S = 20 * 3600.0
BIG = 3.0
CAP_SHARE = 0.3
CLEAR_S = 12 * 3600.0
DAY_S = 86_400.0


@dataclass
class One:
    """Memory of one storage."""

    track: LevelTrack = field(default_factory=LevelTrack)
    sum_m3: float = 0.0
    since_us: int = 0  # when the sum last left nothing
    quiet_s: float = 0.0  # quiet time within the sum
    lost_m3: float = 0.0  # uncapped loss within the sum
    standing: bool = False
    loss_m3_s: float = 0.0
    well_s: float = 0.0  # quiet time since, with little loss
    well_m3: float = 0.0


@dataclass
class LeakMemory:
    storages: dict[str, One] = field(default_factory=dict)


class StorageLeak(Detector):
    FAULT = "storage_leak"
    Memory = LeakMemory
    memory: LeakMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._watched = [Watched(plant, one) for one in plant.storages]
        self._motors = [plant.signals[at].name for at in plant.measuring(*MOTOR_MEASURES)]

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        found: list[Word] = []
        for watched in self._watched:
            name = watched.storage.name
            one = self.memory.storages.setdefault(name, One())
            step = follow(one.track, beat, watched)
            if step is None or not (step.quiet and step.dry) or step.rising or step.seconds > DAY_S:
                continue
            if self._disbelieved(watched, known):
                continue
            found += (
                self._standing(one, step, name) if one.standing else self._gather(one, step, watched.storage)
            )
        return found

    def _disbelieved(self, watched: Watched, known: Known) -> bool:
        """Whether a signal that the balance rests on is known to lie."""
        if not known.is_open("sensor_fault"):
            return False
        assert watched.level is not None
        names = [self.plant.signals[watched.level].name, *self._motors]
        return any(known.is_open("sensor_fault", name) for name in names)

    def _gather(self, one: One, step: LevelStep, storage: Storage) -> Sequence[Word]:
        area_m2 = storage.volume_m3 / storage.full_level_m
        threshold = max(
            LEAST_SHARE * storage.volume_m3, LEAST_M * area_m2, SCATTERS * step.scatter_m * area_m2
        )
        loss = -step.change_m3
        cap = CAP_SHARE * threshold * step.seconds / 3600.0 + 4.0 * step.scatter_m * area_m2
        gain = min(loss, cap) - ALLOWANCE_M_DAY * area_m2 * step.seconds / DAY_S
        if one.sum_m3 <= 0.0:
            one.since_us, one.quiet_s, one.lost_m3 = step.from_us, 0.0, 0.0
        one.sum_m3 = max(one.sum_m3 + gain, 0.0)
        one.quiet_s += step.seconds
        one.lost_m3 += loss
        lasted = (step.to_us - one.since_us) / 1e6 >= LAST_S or one.sum_m3 >= BIG * threshold
        if one.sum_m3 < threshold or not lasted or one.quiet_s < 3600.0:
            return ()
        one.standing, one.loss_m3_s = True, one.lost_m3 / one.quiet_s
        one.well_s = one.well_m3 = 0.0
        return [self._claim(one, step, storage, one.sum_m3 / threshold)]

    def _claim(self, one: One, step: LevelStep, storage: Storage, strength: float) -> Claim:
        usable = float(storage.volume_at(step.level_m) - storage.volume_at(storage.outlet_level_m))
        days = max(usable, 0.0) / (one.loss_m3_s * DAY_S)
        return Claim(
            self.FAULT,
            of=storage.name,
            onset_us=one.since_us,
            priority="high" if days * DAY_S < storage.warn_ahead_s else "medium",
            confidence=min(0.99, 0.8 + 0.1 * strength),
            summary=(
                f"The {storage.name} storage loses {words.volume_a_day(self.plant, one.loss_m3_s)} while the "
                "pump rests and no rain falls: look for wet ground, a drain cock or an open tap."
            ),
            evidence={
                "loss_m3_s": one.loss_m3_s,
                "lost_m3": one.lost_m3,
                "quiet_time_s": one.quiet_s,
                "level_m": step.level_m,
                "empty_by_leak_alone_s": days * DAY_S,
            },
        )

    def _standing(self, one: One, step: LevelStep, name: str) -> Sequence[Word]:
        """Wait for quiet hours in which next to nothing is lost."""
        one.well_s += step.seconds
        one.well_m3 -= step.change_m3
        if one.well_m3 > 0.25 * one.loss_m3_s * one.well_s:
            if one.well_s > CLEAR_S:
                one.well_s = one.well_m3 = 0.0
            return ()
        if one.well_s < CLEAR_S:
            return ()
        one.standing, one.sum_m3 = False, 0.0
        return [
            AllClear(self.FAULT, of=name, summary="The level has stood still through half a day of rests.")
        ]


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
