"""Arrays in memory through the engine, against one reference pass over the same arrays."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np

from analytics.engine import Engine
from analytics.readings import Readings
from collector.plantfile import load_plant
from simulator.library import load_scenario
from simulator.simulation import Simulation

PLANT = Path(__file__).parents[2] / "simulator" / "plants" / "juniper-bench.toml"
DAYS = 30
START_US = 1_748_736_000_000_000  # 2025-06-01
DAY_US = 86_400_000_000


def seconds(work: Callable[[], object]) -> float:
    """How long it takes, once."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def recording() -> list[Readings]:
    """Pressure and current of Juniper Bench at 1 Hz, a part a day."""
    plant = load_plant(PLANT)
    world = Simulation(plant, load_scenario("healthy", plant), seed=11, start_us=START_US)
    wanted = [plant.index("pressure"), plant.index("motor")]
    parts = []
    for day in range(1, DAYS + 1):
        batch = world.advance(START_US + day * DAY_US)
        value = np.empty(len(batch))
        for position, signal in enumerate(plant.signals):
            here = batch.signal == position
            value[here] = signal.to_si(batch.value[here])
        readings = Readings.of(batch.signal, batch.time_us, value)
        parts.append(readings[np.isin(batch.signal, wanted)].in_time_order())
    return parts


def run() -> None:
    """Prints the ratio to the reference pass, and what one second of live readings takes."""
    plant = load_plant(PLANT)
    parts = recording()
    count = sum(map(len, parts))
    level = 250_000.0
    by_signal = [[part.value[part.signal == s] for part in parts] for s in np.unique(parts[0].signal)]
    reference = seconds(lambda: [np.flatnonzero(np.diff(x > level)) for xs in by_signal for x in xs])
    engine = Engine(plant)
    ours = seconds(lambda: [engine.feed(part) for part in parts])
    print(f"{DAYS} days, {count:,} readings: {count / ours / 1e6:.1f} million a second,")
    print(f"  {ours / reference:.0f} times one reference pass (target: at most 60)")
    last = parts[-1]
    live = Engine(plant)
    cuts = np.flatnonzero(np.diff(last.time_us // 1_000_000)) + 1
    took = []
    for a, b in pairwise(cuts):
        piece = last[a:b]
        took.append(seconds(lambda piece=piece: live.feed(piece)))
    median, most = np.percentile(took, [50, 99]) * 1e3
    print("live, one second of readings (target: below 1 ms):")
    print(f"  median {median:.2f} ms, 99th percentile {most:.2f} ms")
