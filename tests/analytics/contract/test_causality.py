"""No finding looks ahead: every fault's recording, cut at many places.

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
from analytics.faults import FAULTS
from analytics.findings_json import finding_line
from analytics.plant.description import Plant
from analytics.readings import Readings
from analytics.records import Finding
from collector.plantfile import load_plant
from simulator.library import load_scenario
from simulator.recording import simulate
from tests.analytics.contract.recordings import START_US, Found, recorded

MAY_CHANGE = ("cleared", "confidence", "cause", "evidence")


def fixed(finding: Finding) -> dict[str, Any]:
    """What no later reading may change."""
    line: dict[str, Any] = json.loads(finding_line(finding))
    return {name: value for name, value in line.items() if name not in MAY_CHANGE}


def taken(found: Found, outcome: Any) -> Found:
    return found | {finding.key: finding for finding in outcome.findings}


def cut(plant: Plant, everything: Readings, cuts: int) -> None:
    """Each cut ends a copy of the engine there, which is what a recording cut there would have given
    (chunks and restarts change nothing: `test_invariance`); three are also cut for good."""
    edges = np.linspace(0, len(everything), cuts + 1).astype(int).tolist()
    engine, found = Engine(plant), Found()
    seen: list[tuple[int, Found]] = []
    for a, b in pairwise(edges):
        found = taken(found, engine.feed(everything[a:b]))
        copy = Engine.restore(plant, engine.snapshot())
        seen.append((int(everything.time_us[b - 1]), taken(found, copy.finish())))
    whole = taken(found, engine.finish())
    assert whole, "nothing was found, and nothing tested"
    for until_us, early in seen:
        expected = {key: fixed(f) for key, f in whole.items() if f.raised_us < until_us}
        assert {key: fixed(f) for key, f in early.items() if f.raised_us < until_us} == expected
    for number in (cuts // 3, cuts // 2, cuts - 10):
        fresh = Engine(plant)
        apart = taken(taken(Found(), fresh.feed(everything[: edges[number + 1]])), fresh.finish())
        assert apart == seen[number][1]


@pytest.mark.parametrize("fault", FAULTS)
def test_what_was_raised_before_a_cut_stays_as_it_was(fault: str) -> None:
    cut(*recorded(fault), cuts=40)


def test_so_it_does_at_a_reading_a_second() -> None:
    plant = load_plant(Path(__file__).parents[3] / "simulator" / "plants" / "juniper-bench.toml")
    made = simulate(plant, load_scenario("short-cycling", plant), 7, 7, START_US)
    everything = Readings.of(made.signal, made.time_us, made.si_values()).in_time_order()
    cut(plant, everything, cuts=120)
