"""No finding looks ahead: whole plants' recordings, cut at many places.

Of a finding that was raised before a cut, the uncut recording may give another `cleared`, `confidence`,
`cause` and `evidence`; all else that its line says is the same, and it is there.
"""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analytics.engine import Engine
from analytics.findings_json import finding_line
from analytics.plant.description import Plant
from analytics.readings import Readings
from analytics.records import Finding
from collector.plantfile import load_plant
from simulator.library import load_scenario
from simulator.recording import simulate

START_US = 1_748_736_000_000_000  # 1 June 2025
MAY_CHANGE = ("cleared", "confidence", "cause", "evidence")
CUTS = 120
Found = dict[tuple[str, str, int], Finding]


def fixed(finding: Finding) -> dict[str, Any]:
    """What no later reading may change."""
    line: dict[str, Any] = json.loads(finding_line(finding))
    return {name: value for name, value in line.items() if name not in MAY_CHANGE}


def taken(found: Found, outcome: Any) -> Found:
    return found | {finding.key: finding for finding in outcome.findings}


def plant_of_the_bench() -> Plant:
    return load_plant(Path(__file__).parents[2] / "simulator" / "plants" / "juniper-bench.toml")


@pytest.mark.parametrize(
    ("scenario", "days"),
    [("short-cycling", 8), ("storage-depletion", 9), ("storage-leak", 9), ("overpressure", 8)],
)
def test_what_was_raised_before_a_cut_stays_as_it_was(scenario: str, days: int) -> None:
    """Each cut ends a copy of the engine there, which is what a recording cut there would have given
    (chunks and restarts change nothing: `test_engine`); three are also cut for good."""
    plant = plant_of_the_bench()
    made = simulate(plant, load_scenario(scenario, plant), days, 7, START_US)
    everything = Readings.of(made.signal, made.time_us, made.si_values()).in_time_order()
    edges = np.linspace(0, len(everything), CUTS + 1).astype(int).tolist()
    engine, found = Engine(plant), Found()
    seen: list[tuple[int, Found]] = []
    for a, b in pairwise(edges):
        found = taken(found, engine.feed(everything[a:b]))
        cut = Engine.restore(plant, engine.snapshot())
        seen.append((int(everything.time_us[b - 1]), taken(found, cut.finish())))
    whole = taken(found, engine.finish())
    assert whole, "nothing was found, and nothing tested"
    for until_us, early in seen:
        expected = {key: fixed(f) for key, f in whole.items() if f.raised_us < until_us}
        assert {key: fixed(f) for key, f in early.items() if f.raised_us < until_us} == expected
    for number in (CUTS // 3, CUTS // 2, CUTS - 10):
        fresh = Engine(plant)
        apart = taken(taken(Found(), fresh.feed(everything[: edges[number + 1]])), fresh.finish())
        assert apart == seen[number][1]
