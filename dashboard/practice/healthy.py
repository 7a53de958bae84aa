"""The healthy stretch that every practice goes on from: simulated and learned once a plant, then kept.

An engine needs some days to know a plant. They are the same for every exercise, so they are made
once, in the background as soon as somebody looks at the room, and each exercise forks off their end.
"""

from __future__ import annotations

import datetime as dt
import threading
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from analytics.engine import Engine
from analytics.readings import Readings
from dashboard.practice.tape import Tape
from simulator.scenario import Scenario
from simulator.simulation import Batch, Simulation
from simulator.works.hardware import Sizes

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from analytics.records import Outcome

DAY_US = 86_400_000_000
#: The engine's references are set by then: the scenarios that judge it begin their faults after five.
LEARNED_DAYS = 6
#: Readings kept at full resolution from before the fault.
LEAD_US = DAY_US
SEED = 7
_STEP_US = DAY_US // 4
#: A June that is nobody's: long days, a garden that is watered, no frost but a practised one.
_FIRST_DAY = dt.datetime(2026, 6, 1)  # noqa: DTZ001 (its zone is the plant's)


@dataclass(frozen=True, slots=True)
class Healthy:
    """The end of the healthy stretch: fork the simulation, restore the engine, copy the tape."""

    simulation: Simulation
    state: bytes
    tape: Tape


class Stretch:
    """One plant's healthy stretch, made at the first asking."""

    def __init__(self, plant: Plant, rated_flow_m3_s: float | None = None) -> None:
        """`rated_flow_m3_s`: what the plant's own runs deliver, where the plant file gives none."""
        self.plant = plant
        self._flow_m3_s = rated_flow_m3_s
        self._lock = threading.Lock()
        self._made: Healthy | None = None
        self.share = 0.0

    def ready(self) -> Healthy:
        """The stretch; waits while it is made. Several may ask at once, one makes it."""
        with self._lock:
            if self._made is None:
                self._made = self._make()
            return self._made

    def _make(self) -> Healthy:
        plant = self.plant
        begin_us = round(_FIRST_DAY.replace(tzinfo=ZoneInfo(plant.timezone)).timestamp() * 1e6)
        # no rain, and a storage that lasts: nothing else is to happen than what is practised
        scenario = Scenario("practice", "Practice", dry=True, storage_share=0.85)
        if plant.pump.rated_flow_m3_s is None and self._flow_m3_s:
            scenario = replace(scenario, sizes=Sizes(rated_flow_m3_s=self._flow_m3_s))
        simulation, engine, tape = Simulation(plant, scenario, SEED, begin_us), Engine(plant), Tape(plant)
        end_us = begin_us + LEARNED_DAYS * DAY_US
        while simulation.now_us < end_us:
            advance(simulation, engine, tape, simulation.now_us + _STEP_US)
            self.share = (simulation.now_us - begin_us) / (end_us - begin_us)
        tape.forget(end_us - LEAD_US)
        return Healthy(simulation, engine.snapshot(), tape)


def advance(simulation: Simulation, engine: Engine, tape: Tape, until_us: int) -> Outcome:
    """Simulate, examine and put on tape what arrives up to a moment."""
    batch = simulation.advance(until_us)
    said = engine.feed(readings_si(simulation.plant, batch))
    tape.add(batch, said, until_us)
    return said


def readings_si(plant: Plant, batch: Batch) -> Readings:
    """A batch as the engine takes it: SI, in order of arrival."""
    si = np.array(batch.value)
    for i, signal in enumerate(plant.signals):
        here = batch.signal == i
        si[here] = signal.to_si(batch.value[here])
    return Readings.of(batch.signal, batch.time_us, si)
