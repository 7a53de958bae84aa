"""The storages' levels, followed once for all that ask: depletion, a leak, and where the line's leak goes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec

from analytics.judging.balance import LevelStep, LevelTrack, follow, watched_storages

if TYPE_CHECKING:
    from collections.abc import Collection

    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat


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

    def spoke(self, storage: str, beat: Beat) -> bool:
        """Whether the beat ended with a level that is believed."""
        return self.tracks[storage].time_us == beat.to_us

    def saved(self) -> Any:
        return msgspec.to_builtins(self.tracks)

    def restore(self, saved: Any) -> None:
        """Take up the tracks again. ValidationError if they are none."""
        self.tracks |= msgspec.convert(saved, dict[str, LevelTrack])
