"""A storage tank stands at its overflow while more comes in.

What fails: nothing yet; water that was worth keeping runs away, and may wash out what stands below.
It is the moment to water, to fill another tank, or to see that the overflow pipe is clear.

Physics: at the overflow the level can rise no further, so what rain brings no longer shows as a
rise. With a rain gauge the balance tells:

    expected = runoff * area * rain - first flush,  and the level at `full_level` does not follow it.

Without one, or where rain did not bring that rise (a hose, a pump, a float valve that sticks), a level that
rose into the overflow's mark and stays there has more coming in at that moment; and a level above the mark
is water standing over the weir.

Sensors show: `storage_level` at the full level, `rainfall` still coming.

Mistaken for it: a tank filled to the brim and left (no finding: nothing comes in); a level gauge
that reads a little high (so the mark alone is not enough); the last of a shower.

Parameters:
    NEAR_SHARE    1.5 %   of the full level: what common level gauges are good to
    EXPECT_SHARE  1 %     of the full volume that rain must have brought at the mark, twice what
                          could still hide below it on average
    FOLLOW        0.5     the level must have followed by less than this share of it
    RISE_SHARE    2 %     of the full level in two hours, beyond what a gauge's rain can bring: a fill
    BEATS         5       at the mark: a gauge that leapt there is known to lie by then
    CLEAR_S       24 h    without inflow, or the level CLEAR_SHARE below the mark: a spell of wet
    CLEAR_SHARE   5 %     weather is one finding, not one a shower

Source: arithmetic of the balance; thresholds common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.balance import APART_SHARE, Watched
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.physics.roof import caught_m3
from analytics.plant.description import Measure
from analytics.seeing.middles import middle

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat

NEAR_SHARE = 0.015
EXPECT_SHARE = 0.01
FOLLOW = 0.5
RISE_SHARE = 0.02
RISE_BEATS = 12
BEATS = 5
CLEAR_S = 24 * 3600.0
CLEAR_SHARE = 0.05


class Brim(msgspec.Struct):
    """Memory of one storage."""

    levels_m: list[float] = []  # of the last two hours
    beats: int = 0  # at the mark, in a row
    since_us: int = 0
    entry_m: float = 0.0  # level when the mark was reached
    rain_m: float = 0.0  # since then
    flush_m3: float = 0.0  # what the first-flush pipe takes of it
    rained_us: int = 0
    rains_m: list[float] = []  # of the last two hours, a beat each
    filling: bool = False  # it was reached by a rise
    standing: bool = False
    inflow_us: int = 0  # last beat with more coming in


class BrimMemory(msgspec.Struct):
    storages: dict[str, Brim] = {}


class StorageOverflow(Detector):
    FAULT = "storage_overflow"
    Memory = BrimMemory
    memory: BrimMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._watched = [Watched(plant, one) for one in plant.storages]

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        found: list[Word] = []
        for watched in self._watched:
            if watched.level is None:
                continue
            brim = self.memory.storages.setdefault(watched.storage.name, Brim())
            self._rain(brim, beat, watched)
            span = beat.spans.get(watched.level)
            if span is None or not span.count:
                continue
            if known.is_open("sensor_fault", self.plant.signals[watched.level].name):
                brim.beats = 0
                continue
            found += self._level(
                brim, beat, middle(span, APART_SHARE * watched.storage.full_level_m), watched
            )
        return found

    def _rain(self, brim: Brim, beat: Beat, watched: Watched) -> None:
        span = beat.spans.get(watched.rain) if watched.rain is not None else None
        fell_m = span.mean * span.count if span is not None and span.high > 0.0 else 0.0
        brim.rains_m = [*brim.rains_m[-RISE_BEATS + 1 :], fell_m]
        if fell_m <= 0.0:
            return
        if brim.beats and brim.levels_m and (beat.to_us - brim.rained_us) / 1e6 >= CLEAR_S:
            # another shower: it fills the first-flush pipe, and what was drawn since the last
            brim.rain_m, brim.entry_m = 0.0, brim.levels_m[-1]
            brim.since_us = brim.since_us if brim.standing else beat.from_us
            brim.flush_m3 = self.plant.catchment.first_flush_m3 if self.plant.catchment else 0.0
        brim.inflow_us = brim.rained_us = beat.to_us
        if brim.beats:
            brim.rain_m += fell_m

    def _level(self, brim: Brim, beat: Beat, level_m: float, watched: Watched) -> Sequence[Word]:
        storage = watched.storage
        near_m = NEAR_SHARE * storage.full_level_m
        low_m = min(brim.levels_m, default=level_m)
        brim.levels_m = [*brim.levels_m[-RISE_BEATS + 1 :], level_m]
        if level_m < storage.full_level_m - near_m:
            brim.beats = 0
            brim.rain_m = 0.0
            clear = brim.standing and level_m < (1.0 - CLEAR_SHARE) * storage.full_level_m
            return self._clear(brim, storage.name) if clear else ()
        if level_m > storage.full_level_m + near_m:
            brim.inflow_us = beat.to_us
        if not brim.beats:
            brim.since_us, brim.entry_m, brim.flush_m3 = beat.from_us, level_m, 0.0
            brim.filling = level_m - low_m > RISE_SHARE * storage.full_level_m + self._by_rain_m(
                brim, watched
            )
        brim.beats += 1
        if brim.standing:
            over = (beat.to_us - brim.inflow_us) / 1e6 >= CLEAR_S
            return self._clear(brim, storage.name) if over else ()
        inflow_m3 = self._inflow_m3(brim, level_m, watched)
        if brim.beats < BEATS or inflow_m3 is None:
            return ()
        brim.standing = True
        brim.inflow_us = max(brim.inflow_us, beat.to_us if watched.rain is None or brim.filling else 0)
        return [self._claim(brim, level_m, inflow_m3, storage.name)]

    def _by_rain_m(self, brim: Brim, watched: Watched) -> float:
        """The most that the rain of the last two hours can have raised the level; 0 without a gauge."""
        storage, catchment = watched.storage, self.plant.catchment
        if watched.rain is None or catchment is None:
            return 0.0
        return sum(brim.rains_m) * catchment.area_m2 * storage.full_level_m / storage.volume_m3

    def _inflow_m3(self, brim: Brim, level_m: float, watched: Watched) -> float | None:
        """Water that came and did not show since the mark was reached; None while nothing says so."""
        storage, catchment = watched.storage, self.plant.catchment
        area_m2 = storage.volume_m3 / storage.full_level_m
        if watched.rain is not None and catchment is not None:
            brought = float(caught_m3(brim.rain_m, catchment.area_m2, catchment.runoff))
            brought -= brim.flush_m3
            shown = max(level_m - brim.entry_m, 0.0) * area_m2
            if brought > EXPECT_SHARE * storage.volume_m3 and shown < FOLLOW * brought:
                return brought
            if not brim.filling:
                return None
        over_m = level_m - storage.full_level_m
        if brim.filling or over_m > NEAR_SHARE * storage.full_level_m:
            return max(over_m, 0.0) * area_m2
        return None

    def _claim(self, brim: Brim, level_m: float, inflow_m3: float, name: str) -> Claim:
        return Claim(
            self.FAULT,
            of=name,
            onset_us=brim.since_us,
            priority="low",
            confidence=0.9,
            summary=(
                f"The {name} storage is full at {words.length(self.plant, level_m)} and more comes in: "
                "water runs away at the overflow."
            ),
            evidence={"level_m": level_m, "inflow_m3": inflow_m3},
        )

    def _clear(self, brim: Brim, name: str) -> Sequence[Word]:
        brim.standing, brim.filling, brim.rain_m = False, False, 0.0
        return [AllClear(self.FAULT, of=name, summary="Nothing more comes in.")]


def coverage(plant: Plant) -> Coverage:
    """Needs a level; a rain gauge and the catchment make it surer."""
    if not plant.measuring(Measure.STORAGE_LEVEL):
        return Coverage(False, "Needs a storage_level signal.")
    if plant.measuring(Measure.RAINFALL) and plant.catchment:
        return Coverage(True, "Told by the level at its overflow while rain still comes.")
    return Coverage(True, "Told by a level that rises to its overflow; a rain gauge would make it surer.")


def detector(plant: Plant) -> StorageOverflow:
    return StorageOverflow(plant)
