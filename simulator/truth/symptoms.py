"""When a fault first shows: the noise-free plant against its noise-free twin without that fault.

Both run from the same seed, so until the fault begins they are the same to the last digit. The
fault is symptomatic from the first moment at which a fitted sensor's truth leaves what the twin's
truth does within `SLACK_S` of that moment by more than `SIGMAS` of that sensor's noise, and stays out
for three samples: a pump that stops a second later is no symptom yet.

Some faults are defined by a limit instead (`LIMITED`), and are symptomatic when it is passed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import Measure
from simulator.sensing.sensors import MAKES, truth_of
from simulator.sensing.trace import Piece, Trace
from simulator.works.world import World

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.plant.description import Plant
    from simulator.numbers import Floats
    from simulator.onset import FaultPlan
    from simulator.scenario import Scenario
    from simulator.sensing.trace import Moment

SLACK_S = 10
SIGMAS = 4.0
_CHUNK_S = 6 * 3_600
#: Rain and switching are the same in both, or seen in pressure and current.
_COMPARED = set(Measure) - {Measure.PUMP_RUNNING, Measure.RAINFALL}


def symptomatic_s(
    plant: Plant, scenario: Scenario, seed: int, start_us: int, plan: FaultPlan, until_s: float
) -> float | None:
    """When the planned fault first shows [s since the start]; None where it does not before `until_s`."""
    if plan.fault == "sensor_fault":
        return _sensor_shows(plant, plan, until_s)
    others = tuple(one for one in scenario.faults if one is not plan)
    pair = _Pair(
        World(plant, scenario, seed, start_us), World(plant, replace(scenario, faults=others), seed, start_us)
    )
    at_s = max(plan.from_s, 0.0)
    pair.skip_to(at_s)
    while at_s < until_s:
        to_s = min(at_s + _CHUNK_S, until_s)
        shows = pair.first_difference(plant, at_s, to_s)
        if shows is not None:
            return shows
        at_s = to_s
    return None


def _sensor_shows(plant: Plant, plan: FaultPlan, until_s: float) -> float | None:
    """A lying sensor shows with its next reading; a silent one when ten readings and two minutes lack."""
    shows = plan.from_s
    if plan.cause == "silent":
        signal = plant.signals[plant.index(plan.signal or "")]
        shows += max(10 * (signal.every_s or MAKES[signal.measures].every_s), 120.0)
    return shows if shows < until_s else None


#: Faults defined by a limit: level, temperature or a horizon. The world itself notes when it passes.
LIMITED = ("dry_supply", "freeze_risk", "storage_depletion", "storage_overflow")


class _Pair:
    """The plant and its twin, advanced together."""

    def __init__(self, faulty: World, healthy: World) -> None:
        self.faulty, self.healthy = faulty, healthy
        self._pieces: tuple[list[Piece], list[Piece]] = ([], [])

    def skip_to(self, at_s: float) -> None:
        for world in (self.faulty, self.healthy):
            while world.now_s < at_s - _CHUNK_S:
                world.run_until(min(world.now_s + _CHUNK_S, at_s - SLACK_S))
                world.take_pieces()

    def first_difference(self, plant: Plant, from_s: float, to_s: float) -> float | None:
        """First second in the stretch at which the two can be told apart."""
        times = np.arange(np.ceil(from_s) - SLACK_S, to_s + SLACK_S + 1.0)
        moments = [self._moment(which, times) for which in (0, 1)]
        first = None
        for signal in plant.signals:
            if signal.measures in _COMPARED:
                make = MAKES[signal.measures]
                apart = _apart(
                    truth_of(plant, signal), moments[0], moments[1], make.noise, make.relative_noise
                )
                apart &= times[SLACK_S:-SLACK_S] >= from_s
                lasting = apart[2:] & apart[1:-1] & apart[:-2]
                if lasting.any():
                    when = float(times[SLACK_S + int(np.argmax(lasting))])
                    first = when if first is None else min(first, when)
        return first

    def _moment(self, which: int, times: Floats) -> Moment:
        world, kept = (self.faulty, self.healthy)[which], self._pieces[which]
        world.run_until(float(times[-1]) + 1.0)
        kept += world.take_pieces()
        kept[:] = [piece for piece in kept if piece.t1 > times[0]]
        return Trace(kept, world.hardware).at(np.maximum(times, kept[0].t0))


def _apart(
    truth: Callable[[Moment], Floats], faulty: Moment, healthy: Moment, noise: float, relative: float
) -> np.ndarray:
    """Where the faulty plant's value lies outside all that the twin shows nearby, beyond noise."""
    ours, theirs = truth(faulty), truth(healthy)
    windows = np.lib.stride_tricks.sliding_window_view(theirs, 2 * SLACK_S + 1)
    low, high = windows.min(axis=1), windows.max(axis=1)
    mine = ours[SLACK_S:-SLACK_S]
    band = SIGMAS * (noise + relative * np.abs(mine))
    result: np.ndarray = (mine < low - band) | (mine > high + band)
    return result
