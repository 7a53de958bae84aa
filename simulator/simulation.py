"""The whole: a world and its sensors, advanced together as far as one likes."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from simulator.sensing.sensors import Sensor
from simulator.sensing.trace import Piece, Trace
from simulator.works.world import World

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from simulator.onset import FaultPlan
    from simulator.scenario import Scenario

_CHUNK_S = 6 * 3_600.0  # bounds memory, whatever one asks for


@dataclass(frozen=True, slots=True)
class Batch:
    """N readings in order of arrival.

    signal      int16 (N,)    position in `Plant.signals`
    time_us     int64 (N,)    when it was measured, microseconds since the Unix epoch
    value       float64 (N,)  in the signal's declared unit, as a readings file has it
    arrived_us  int64 (N,)    when it reached the broker
    """

    signal: NDArray[np.int16]
    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    arrived_us: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.time_us)

    def __getitem__(self, which: slice | NDArray[np.bool_] | NDArray[np.intp]) -> Batch:
        return Batch(self.signal[which], self.time_us[which], self.value[which], self.arrived_us[which])

    @classmethod
    def concatenate(cls, parts: list[Batch]) -> Batch:
        """The parts, one after the other."""
        if not parts:
            empty = np.empty(0)
            return cls(empty.astype(np.int16), empty.astype(np.int64), empty, empty.astype(np.int64))
        return cls(
            np.concatenate([part.signal for part in parts]),
            np.concatenate([part.time_us for part in parts]),
            np.concatenate([part.value for part in parts]),
            np.concatenate([part.arrived_us for part in parts]),
        )

    def in_arrival_order(self) -> Batch:
        """Sorted by arrival; at one instant by time and signal."""
        return self[np.lexsort((self.signal, self.time_us, self.arrived_us))]


class Simulation:
    """A plant under a scenario, from `start_us` on. The same arguments give the same readings, however
    the time is cut into calls of `advance`."""

    def __init__(self, plant: Plant, scenario: Scenario, seed: int, start_us: int) -> None:
        self.plant, self.scenario, self.seed, self.start_us = plant, scenario, seed, start_us
        self.world = World(plant, scenario, seed, start_us)
        changes = {change.signal: change for change in scenario.sensors}
        self._sensors = [
            Sensor(plant, i, changes.get(signal.name), self.world.courses, seed)
            for i, signal in enumerate(plant.signals)
        ]
        self._pieces: list[Piece] = []
        self._waiting: list[Batch] = []
        self._until_s = 0.0

    @property
    def now_us(self) -> int:
        """Up to where readings have been handed out."""
        return self.start_us + round(self._until_s * 1e6)

    def decimals(self) -> list[int]:
        """Decimals worth writing, signal by signal."""
        return [sensor.decimals for sensor in self._sensors]

    def advance(self, until_us: int) -> Batch:
        """Readings that arrive before `until_us` and have not been handed out yet."""
        target_s = (until_us - self.start_us) / 1e6
        parts = []
        while self._until_s < target_s:
            parts.append(self._chunk(min(self._until_s + _CHUNK_S, target_s)))
        return Batch.concatenate(parts)

    def forked(self, *plans: FaultPlan) -> Simulation:
        """A copy that goes on from here with further faults, which begin later than the readings handed
        out reach (and than what the world has already looked ahead). The one copied stays as it is.

        The copy's readings are those of a simulation that had these faults from its start.
        """
        copy = deepcopy(self)
        copy.scenario = replace(self.scenario, faults=(*self.scenario.faults, *plans))
        copy.world.scenario = copy.scenario
        copy.world.plan(plans)
        for sensor in copy._sensors:
            sensor.hear_of(copy.world.courses)
        return copy

    def _chunk(self, until_s: float) -> Batch:
        self.world.run_until(until_s + 2.0 * max(sensor.reach_s for sensor in self._sensors) + 1.0)
        self._pieces += self.world.take_pieces()
        trace = Trace(self._pieces, self.world.hardware)
        parts = [self._batch(i, *sensor.report(trace, until_s)) for i, sensor in enumerate(self._sensors)]
        # a jittered reading may still look back a little
        self._pieces = [piece for piece in self._pieces if piece.t1 > until_s - 600.0]
        self._until_s = until_s
        everything = Batch.concatenate(self._waiting + parts).in_arrival_order()
        here = everything.arrived_us < self.start_us + round(until_s * 1e6)
        self._waiting = [everything[~here]]
        return everything[here]

    def _batch(
        self,
        index: int,
        times_s: NDArray[np.float64],
        stored: NDArray[np.float64],
        arrived_s: NDArray[np.float64],
    ) -> Batch:
        time_us, arrived_us = (
            self.start_us + np.round(seconds * 1e3).astype(np.int64) * 1_000
            for seconds in (times_s, arrived_s)
        )
        return Batch(np.full(len(stored), index, dtype=np.int16), time_us, stored, arrived_us)
