"""Where a leak of the line goes: out downstream of the pressure tank, or back through the check valve.

On one gauge the two look alike. They part where more is fitted:

- a flow meter after the tank sees what leaks downstream of it, while the pump runs too, if that is above
  its start;
- the storage's level: what goes back through the check valve comes back to the storage, which then rises
  through the rests by what the line loses. What leaks downstream is gone.

        share = rise of the storage / loss of the line      1: check valve, 0: downstream

The level is asked in blocks of quiet, dry rest, and by the quarter of the day, of which the medians are
averaged: a filling by tanker, pump or gutter spoils a few blocks and not their median; a gauge that drifts
with the day's warmth drifts back in another quarter.

Parameters:
    FLOW_START  0.52 L/min   below it a meter's zero says nothing: the least flow that a house's meter is good
                          for (Q1 of Q3 2.5 m3/h, R 80; ISO 4064-1, from memory). A paddle wheel may want
                          twice as much, so that is asked
    BLOCK_S     2 h       of quiet rest
    BLOCKS      3         in each of QUARTERS 3 of the day's quarters, the newest KEPT 8: the median of
                          three is safe from one that was filled
    LEAST_M_H   1 mm/h    that the leak would lift the storage by: the usual gauge drifts by a centimetre
                          within the day (see storage_leak), 1.3 mm/h at its steepest, of which the mean of
                          three quarters keeps a third
    APART       2         standard errors from the middle between the two: one verdict in forty wrong by
                          chance where the error is at its largest, and none is given while it is larger
    MOST        1.7       a storage that rises faster than the line can lose by any error of the tank's
                          plate is being filled: not told

Source: none; the balance is arithmetic.
"""

from __future__ import annotations

from math import sqrt
from statistics import median
from typing import TYPE_CHECKING, Literal

import msgspec

from analytics.plant.description import Measure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from analytics.judging.balance import LevelStep
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat

FLOW_START_M3_S = 0.52 / 6e4
FLOWS, LOW_SHARE = 144, 0.10
BLOCK_S, BLOCKS, KEPT = 2 * 3600.0, 3, 8
QUARTERS = 3
LEAST_M_S = 0.001 / 3600.0
APART, MOST = 2.0, 1.7
QUARTER_US = 6 * 3_600_000_000
#: A median's standard error, and the standard deviation of a median absolute deviation.
OF_A_MEDIAN, OF_A_MAD = 1.2533, 1.4826

Path = Literal["downstream", "check_valve"]


class PathMemory(msgspec.Struct):
    quarter: int = 0
    block_m3: float = 0.0
    block_s: float = 0.0
    blocks_m3_s: list[list[float]] = msgspec.field(default_factory=lambda: [[], [], [], []])
    flows_m3_s: list[float] = []

    def forget(self) -> None:
        """The leak is gone: what the storage did says nothing of the next."""
        self.block_m3 = self.block_s = 0.0
        self.blocks_m3_s, self.flows_m3_s = [[], [], [], []], []


class LeakPath:
    """What is fitted to tell by, and what it says."""

    def __init__(self, plant: Plant) -> None:
        self._flow = next(iter(plant.measuring(Measure.SUPPLY_FLOW)), None)
        one = len(plant.measuring(Measure.STORAGE_LEVEL)) == 1 and len(plant.storages) == 1
        self._storage = plant.storages[0] if one else None

    def beat(
        self, memory: PathMemory, beat: Beat, steps: Mapping[str, LevelStep | None], leaking: bool
    ) -> None:
        """Take up ten minutes.

        steps: of the storages' levels, by name. leaking: the line is losing water, so what the storage does
        counts."""
        flow = beat.spans.get(self._flow) if self._flow is not None else None
        if flow is not None and flow.count:  # it stands after the tank: what it sees, the pump has no part in
            memory.flows_m3_s = [*memory.flows_m3_s[1 - FLOWS :], flow.mean]
        step = steps.get(self._storage.name) if leaking and self._storage is not None else None
        if step is None or not (step.quiet and step.dry) or step.seconds > BLOCK_S:
            return
        quarter = beat.to_us // QUARTER_US % 4
        if quarter != memory.quarter:
            memory.quarter, memory.block_m3, memory.block_s = quarter, 0.0, 0.0
        memory.block_m3 += step.change_m3
        memory.block_s += step.seconds
        if memory.block_s >= BLOCK_S:
            kept = memory.blocks_m3_s[quarter]
            memory.blocks_m3_s[quarter] = [*kept[1 - KEPT :], memory.block_m3 / memory.block_s]
            memory.block_m3 = memory.block_s = 0.0

    def told(self, memory: PathMemory, leak_m3_s: float) -> Path | None:
        """Where a leak of this size goes, or None where what is fitted cannot tell."""
        return self._by_meter(memory, leak_m3_s) or self._by_level(memory, leak_m3_s)

    def _by_meter(self, memory: PathMemory, leak_m3_s: float) -> Path | None:
        flows = sorted(memory.flows_m3_s)
        if len(flows) < FLOWS // 6:
            return None
        low = flows[int(LOW_SHARE * len(flows))]
        if low > 0.5 * leak_m3_s:
            return "downstream"
        return "check_valve" if leak_m3_s > 2.0 * FLOW_START_M3_S and low < 0.1 * leak_m3_s else None

    def _by_level(self, memory: PathMemory, leak_m3_s: float) -> Path | None:
        storage = self._storage
        if storage is None or leak_m3_s * storage.full_level_m / storage.volume_m3 < LEAST_M_S:
            return None
        share, error = rise_share(memory, leak_m3_s)
        if share is None or error > 0.5 / APART or abs(share) > MOST:
            return None
        if share - APART * error > 0.5:
            return "check_valve"
        return "downstream" if share + APART * error < 0.5 and share > -0.5 else None


def rise_share(memory: PathMemory, leak_m3_s: float) -> tuple[float | None, float]:
    """Rise of the storage over the line's loss, and its standard error; None: too few blocks."""
    enough = [blocks for blocks in memory.blocks_m3_s if len(blocks) >= BLOCKS]
    if len(enough) < QUARTERS or leak_m3_s <= 0.0:
        return None, 0.0
    middles = [median(blocks) for blocks in enough]
    off = [abs(rate - mid) for blocks, mid in zip(enough, middles, strict=True) for rate in blocks]
    error = OF_A_MEDIAN * OF_A_MAD * median(off) / sqrt(len(off))
    return sum(middles) / len(middles) / leak_m3_s, error / leak_m3_s
