"""What the contract promises of the engine, tried on simulated plants whole: causal, deterministic, and
the same however the readings are cut, restarted or a little disordered."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics.engine import Engine
from analytics.plant.description import Plant
from analytics.readings import Readings
from analytics.records import Cycle, Finding
from collector.plantfile import load_plant
from simulator.library import load_scenario
from simulator.recording import Recording, simulate

START_US = 1_748_736_000_000_000  # 1 June 2025
DAY_US = 86_400_000_000
Said = tuple[list[Cycle], dict[tuple[str, str, int], Finding]]


@cache
def plant() -> Plant:
    return load_plant(Path(__file__).parents[2] / "simulator" / "plants" / "juniper-bench.toml")


@cache
def made(scenario: str, days: int) -> Recording:
    return simulate(plant(), load_scenario(scenario, plant()), days, 3, START_US)


@cache
def readings(scenario: str, days: int) -> Readings:
    """SI readings in time order."""
    some = made(scenario, days)
    return Readings.of(some.signal, some.time_us, some.si_values()).in_time_order()


def said(parts: list[Readings], restart_after: frozenset[int] = frozenset()) -> Said:
    """Everything an engine says of the parts; after some of them it is restored from its own snapshot."""
    engine = Engine(plant())
    cycles: list[Cycle] = []
    findings: dict[tuple[str, str, int], Finding] = {}
    for number, part in enumerate(parts):
        outcome = engine.feed(part)
        cycles += outcome.cycles
        findings |= {finding.key: finding for finding in outcome.findings}
        if number in restart_after:
            engine = Engine.restore(plant(), engine.snapshot())
    outcome = engine.finish()
    cycles += outcome.cycles
    findings |= {finding.key: finding for finding in outcome.findings}
    return cycles, findings


@cache
def losing() -> Readings:
    """From half a day before the pump loses its prime (5.4 days on) to a day and a half after."""
    everything = readings("lost-prime", 7)
    return everything[everything.time_us >= START_US + round(4.9 * DAY_US)]


@cache
def whole() -> Said:
    told = said([losing()])
    assert any(fault == "lost_prime" for fault, _, _ in told[1])
    return told


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    cuts=st.lists(st.integers(0, 600_000), max_size=12),
    restarts=st.frozensets(st.integers(0, 12), max_size=4),
)
def test_neither_chunks_nor_restarts_change_a_word(cuts: list[int], restarts: frozenset[int]) -> None:
    everything = losing()
    edges = sorted({0, len(everything), *(cut % len(everything) for cut in cuts)})
    parts = [everything[a:b] for a, b in pairwise(edges)]
    assert said(parts, restarts) == whole()


def test_one_reading_at_a_time_is_the_same() -> None:
    some = losing()[140_000:160_000]
    assert said([some[i : i + 1] for i in range(len(some))]) == said([some])


@pytest.mark.parametrize("share", [0.2, 0.26, 0.35, 0.5, 0.8])
def test_no_finding_looks_ahead(share: float) -> None:
    everything = losing()
    cut = int(share * len(everything))
    until_us = int(everything.time_us[cut])
    early = {key: f for key, f in said([everything[:cut]])[1].items() if f.raised_us < until_us}
    later = {key: f for key, f in whole()[1].items() if f.raised_us < until_us}
    assert early.keys() == later.keys()
    for key, finding in early.items():
        assert (finding.onset_us, finding.priority) == (later[key].onset_us, later[key].priority)


def test_small_disorder_and_repeats_change_nothing() -> None:
    everything = losing()
    chance = np.random.default_rng(5)
    arrival = everything.time_us + chance.integers(0, 2_000_000, len(everything))
    shuffled = everything[np.argsort(arrival, kind="stable")]
    assert said([shuffled]) == whole()


def test_input_is_let_be_and_state_does_not_grow() -> None:
    everything = readings("healthy", 7)
    before = everything.value.copy()
    engine = Engine(plant())
    sizes = []
    for day in range(7):
        a, b = np.searchsorted(everything.time_us, [START_US + day * DAY_US, START_US + (day + 1) * DAY_US])
        engine.feed(everything[int(a) : int(b)])
        sizes.append(len(engine.snapshot()))
    np.testing.assert_array_equal(everything.value, before)
    assert max(sizes) < 1_000_000


def test_a_lost_prime_is_found_after_it_began() -> None:
    """At a reading a second; every fault at five seconds is the contract suite's."""
    (truth,) = [one for one in made("lost-prime", 7).truths if one.fault == "lost_prime"][:1]
    (raised_us,) = [key[2] for key in whole()[1] if key[0] == "lost_prime"][:1]
    assert truth.from_us <= raised_us


def test_a_healthy_week_is_silent() -> None:
    """Nothing but what weather and life bring about, which the truths name."""
    known = {truth.fault for truth in made("healthy", 7).truths}
    assert {f.fault for f in said([readings("healthy", 7)])[1].values()} <= known


def test_gaps_and_values_that_are_no_numbers_raise_nothing() -> None:
    everything = readings("healthy", 7)
    hour = (everything.time_us - START_US) // 3_600_000_000
    holed = everything[(hour % 29 > 1)]
    holed.value[::997] = np.nan
    known = {truth.fault for truth in made("healthy", 7).truths} | {"sensor_fault"}
    assert {f.fault for f in said([holed])[1].values()} <= known
