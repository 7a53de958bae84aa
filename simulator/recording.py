"""A stretch of simulated readings in one piece, with what was really wrong."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from simulator.simulation import Simulation
from simulator.truth.labels import truths

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from simulator.scenario import Scenario
    from simulator.truth.labels import Truth


@dataclass(frozen=True, slots=True)
class Recording:
    """N readings in time order, values in each signal's declared unit, and the truths.

    signal  int16 (N,)    position in `plant.signals`
    """

    plant: Plant
    scenario: Scenario
    signal: NDArray[np.int16]
    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    truths: tuple[Truth, ...]

    def of(self, name: str) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """(times, stored values) of one signal. KeyError where the plant has none of that name."""
        here = self.signal == self.plant.index(name)
        return self.time_us[here], self.value[here]

    def si_values(self) -> NDArray[np.float64]:
        """All values in SI units, in the recording's order."""
        out = self.value.copy()
        for i, signal in enumerate(self.plant.signals):
            here = self.signal == i
            out[here] = signal.to_si(self.value[here])
        return out


def simulate(plant: Plant, scenario: Scenario, days: float, seed: int, start_us: int) -> Recording:
    """Readings of `days` days from `start_us`, all at once. A month of 1 s readings takes some 150 MB;
    for longer, advance a `Simulation` piece by piece."""
    simulation = Simulation(plant, scenario, seed, start_us)
    batch = simulation.advance(start_us + round(days * 86_400e6)).in_arrival_order()
    order = batch.time_us.argsort(kind="stable")
    batch = batch[order]
    return Recording(plant, scenario, batch.signal, batch.time_us, batch.value, tuple(truths(simulation)))
