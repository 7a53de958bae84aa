"""The storages' levels, followed once for all that ask: depletion, a leak, and where the line's leak goes.

Of several storages one may fill the other, by a pipe between them that evens out for hours or by its owner's
hand: what one loses while another gains has not leaked.

Parameters:
    LATELY_S    3 h     over which gains and losses are held against each other: tanks that a small pipe links
                        take half a day to even out, and a gauge shows their gain within this
    ELSEWHERE   0.3     of what is lost, gained elsewhere: two gauges and strappings, and some of it drawn
    ERRORS      4       standard errors of the two levels that a gain is told from: once in 30,000 such times
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Any

import msgspec

from analytics.judging.balance import LevelStep, LevelTrack, follow, sigma_m3, watched_storages

if TYPE_CHECKING:
    from collections.abc import Collection

    from analytics.plant.description import Plant, Storage
    from analytics.seeing.beats import Beat

LATELY_S, ELSEWHERE, ERRORS = 3 * 3600.0, 0.3, 4.0


class Levels:
    """One plant's. `steps` is of the beat that is heard, by the storage's name; `tracks` is kept."""

    def __init__(self, plant: Plant) -> None:
        self.watched = watched_storages(plant)
        self.tracks = {one.storage.name: LevelTrack() for one in self.watched}
        self.steps: dict[str, LevelStep | None] = {}

    def hear(self, beat: Beat, disbelieved: Collection[str | None]) -> None:
        """Take up a beat. Across what a level signal that is `disbelieved`, by name, says no step is made."""
        for one in self.watched:
            name = one.storage.name
            if one.level_name in disbelieved:
                self.tracks[name].time_us = 0
            self.steps[name] = follow(self.tracks[name], beat, one)
            if len(self.watched) > 1 and self.spoke(name, beat):
                self._keep(self.tracks[name], one.storage)

    @staticmethod
    def _keep(track: LevelTrack, storage: Storage) -> None:
        since_us = track.time_us - int(LATELY_S * 1e6)
        kept = [one for one in track.lately if one[0] >= since_us]
        track.lately = [*kept, (track.time_us, float(storage.held_m3(track.level_m)))]

    def goes_elsewhere(self, storage: str) -> bool:
        """Whether other storages have lately gained what this one lost."""
        lost_m3 = -_gained_m3(self.tracks[storage])
        if lost_m3 <= 0.0:
            return False
        gained_m3 = 0.0
        for other in self.watched:
            name, step = other.storage.name, self.steps[other.storage.name]
            gain_m3 = _gained_m3(self.tracks[name])
            if name != storage and step is not None:
                sure = gain_m3 > ERRORS * sqrt(2.0) * sigma_m3(step, other.storage)
                gained_m3 += gain_m3 if sure else 0.0
        return gained_m3 > ELSEWHERE * lost_m3

    def spoke(self, storage: str, beat: Beat) -> bool:
        """Whether the beat ended with a level that is believed."""
        return self.tracks[storage].time_us == beat.to_us

    def saved(self) -> Any:
        return msgspec.to_builtins(self.tracks)

    def restore(self, saved: Any) -> None:
        """Take up the tracks again. ValidationError if they are none."""
        self.tracks |= msgspec.convert(saved, dict[str, LevelTrack])


def _gained_m3(track: LevelTrack) -> float:
    return track.lately[-1][1] - track.lately[0][1] if track.lately else 0.0
