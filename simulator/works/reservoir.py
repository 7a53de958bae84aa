"""The storages: what comes in, what goes out, to the litre."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from analytics.plant.description import Plant, Storage


@dataclass(slots=True)
class Totals:
    """Water moved since the start [m3]: the books that have to balance."""

    collected: float = 0.0
    inflow: float = 0.0
    drawn: float = 0.0  # by the pump, less what leaked back
    leaked: float = 0.0
    evaporated: float = 0.0
    spilled: float = 0.0
    carried_in: float = 0.0  # by a person: a tanker, a repair
    from_well: float = 0.0
    supplied: float = 0.0  # through the supply line
    exchanged: float = 0.0  # water that came with another pressure tank
    lost: float = 0.0  # leaks and relief on the pressurised side


class Reservoir:
    """All storages of a plant. The pump draws from the first; what it spills fills the next."""

    def __init__(self, plant: Plant, share: float, totals: Totals) -> None:
        self.storages = plant.storages
        self.totals = totals
        self.volumes = [share * storage.volume_m3 for storage in self.storages]
        self._tables = [_table(storage) for storage in self.storages]

    def level_m(self, which: int = 0) -> float:
        """Level [m] in a storage."""
        return float(np.interp(self.volumes[which], *self._tables[which]))

    def surface_m2(self) -> float:
        """Open water of the first storage: what a level more would hold, by its strapping table."""
        volumes, levels = self._tables[0]
        i = min(max(int(np.searchsorted(volumes, self.volumes[0], side="right")), 1), len(volumes) - 1)
        return (volumes[i] - volumes[i - 1]) / (levels[i] - levels[i - 1])

    def levels(self) -> list[float]:
        return [self.level_m(i) for i in range(len(self.storages))]

    def set_volume(self, volume_m3: float) -> None:
        """Somebody fills or empties the first storage."""
        self.totals.carried_in += volume_m3 - self.volumes[0]
        self.volumes[0] = volume_m3

    def volume_at_outlet_m3(self) -> float:
        return float(self.storages[0].volume_at(self.storages[0].outlet_level_m))

    def step(
        self,
        seconds: float,
        drawn_m3: float,
        collected_m3: float,
        inflow_m3_s: float,
        leak_full_m3_s: float,
        evaporation_m_s: float,
    ) -> None:
        """Book one step's water. leak_full_m3_s: the first storage's leak at its full level."""
        if not self.storages:
            return
        first, totals = self.storages[0], self.totals
        share = max(self.level_m() / first.full_level_m, 0.0)
        leaked = min(leak_full_m3_s * sqrt(share) * seconds, self.volumes[0])  # Torricelli
        gone = 0.0
        if evaporation_m_s:
            gone = min(evaporation_m_s * self.surface_m2() * seconds, self.volumes[0] - leaked)
        self.volumes[0] += collected_m3 + inflow_m3_s * seconds - leaked - gone - drawn_m3
        totals.collected += collected_m3
        totals.inflow += inflow_m3_s * seconds
        totals.leaked += leaked
        totals.evaporated += gone
        self._spill()

    def _spill(self) -> None:
        over = 0.0
        for i, storage in enumerate(self.storages):
            self.volumes[i] += over
            over = max(self.volumes[i] - storage.volume_m3, 0.0)
            self.volumes[i] -= over
        self.totals.spilled += over


def _table(storage: Storage) -> tuple[list[float], list[float]]:
    """(volumes, levels), rising, for interpolation from volume to level."""
    pairs = storage.strapping or ((0.0, 0.0), (storage.full_level_m, storage.volume_m3))
    levels, volumes = zip(*pairs, strict=True)
    return list(volumes), list(levels)
