"""A plant-year of arrays in memory through the engine, against one reference pass over the same arrays.

The year is DISTINCT days of Juniper Bench, simulated second by second, set one after the other until
a year is full. Both are timed by this process's own processor time, so that neighbours on the machine
do not count, and by the clock.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from analytics.engine import Engine
from analytics.plant.description import Plant
from analytics.readings import Readings
from collector.plantfile import load_plant
from simulator.library import load_scenario
from simulator.simulation import Simulation

PLANT = Path(__file__).parents[2] / "simulator" / "plants" / "juniper-bench.toml"
DISTINCT = 73  # a fifth of a year
ROUNDS = 5
CHUNK = 1_000_000  # readings a feed, as from a file
LIVE_S = 7200
START_US = 1_748_736_000_000_000  # 2025-06-01
DAY_US = 86_400_000_000
LEVEL = 250_000.0


def seconds(work: Callable[[], object]) -> tuple[float, float]:
    """How long it takes, once: processor time and clock time."""
    own, begin = time.process_time(), time.perf_counter()
    work()
    return time.process_time() - own, time.perf_counter() - begin


def two_signals() -> tuple[Plant, Plant]:
    """Juniper Bench, and the same with pressure and motor current for its only sensors."""
    whole = load_plant(PLANT)
    fitted = tuple(whole.signals[whole.index(name)] for name in ("pressure", "motor"))
    return whole, replace(whole, signals=fitted)


def recording(whole: Plant, plant: Plant, days: int = DISTINCT) -> Readings:
    """What the sensors of `plant` say at 1 Hz."""
    world = Simulation(whole, load_scenario("healthy", whole), seed=11, start_us=START_US)
    parts = []
    for day in range(1, days + 1):
        batch = world.advance(START_US + day * DAY_US)
        for position, signal in enumerate(plant.signals):
            its = batch.signal == whole.index(signal.name)
            number = np.full(np.count_nonzero(its), position)
            parts.append(Readings.of(number, batch.time_us[its], signal.to_si(batch.value[its])))
    return Readings.concatenate(parts).in_time_order()


def year(some: Readings) -> Readings:
    """The same days again and again, each round after the one before."""
    time_us = [some.time_us + turn * DISTINCT * DAY_US for turn in range(ROUNDS)]
    return Readings(np.tile(some.signal, ROUNDS), np.concatenate(time_us), np.tile(some.value, ROUNDS))


def run() -> None:
    """Prints the ratio to the reference pass, and what one second of live readings takes."""
    whole, plant = two_signals()
    some = recording(whole, plant)
    _year(plant, year(some))
    _live(plant, some[-2 * LIVE_S :])


def _year(plant: Plant, readings: Readings) -> None:
    by_signal = [readings.value[readings.signal == signal] for signal in np.unique(readings.signal)]
    reference = [seconds(lambda: [np.flatnonzero(np.diff(x > LEVEL)) for x in by_signal]) for _ in range(3)]
    engine, count = Engine(plant), len(readings)
    cuts = range(0, count, CHUNK)
    ours = seconds(lambda: [engine.feed(readings[at : at + CHUNK]) for at in cuts])
    print(f"{DISTINCT * ROUNDS} days, {count:,} readings in {ours[1]:.1f} s:")
    own, clock = (
        one / least for one, least in zip(ours, map(min, zip(*reference, strict=True)), strict=True)
    )
    print(f"  {own:.0f} times one reference pass by processor time, {clock:.0f} by the clock (target: 60)")


def _live(plant: Plant, readings: Readings) -> None:
    live = Engine(plant)
    cuts = np.flatnonzero(np.diff(readings.time_us // 1_000_000)) + 1
    took = []
    for a, b in pairwise(cuts.tolist()):
        piece = readings[a:b]
        took.append(seconds(lambda piece=piece: live.feed(piece))[1])
    median, most = np.percentile(took, [50, 99]) * 1e3
    print("live, one second of readings (target: below 1 ms):")
    print(f"  median {median:.2f} ms, 99th percentile {most:.2f} ms")
