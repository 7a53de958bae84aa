"""Same seed, same readings, however the time is cut; readings as sensors give them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from conftest import DAY_S, START_US
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.plant.description import Plant
from simulator.onset import FaultPlan
from simulator.recording import simulate
from simulator.scenario import Scenario
from simulator.sensing.sensors import SensorChange
from simulator.simulation import Batch, Simulation

_ROUGH = (
    SensorChange("pressure", {"drop_share": 0.05, "repeat_share": 0.05, "late_share": 0.05, "late_s": 30.0}),
    SensorChange("motor", {"deadband": 0.3, "every_s": 60.0}),
)


def _readings(plant: Plant, days: float, cuts: tuple[float, ...] = (), **changes: object) -> Batch:
    simulation = Simulation(plant, Scenario("t", "t", sensors=_ROUGH, **changes), 4, START_US)  # type: ignore[arg-type]
    parts = [simulation.advance(START_US + round(cut * DAY_S * 1e6)) for cut in (*sorted(cuts), days)]
    return Batch.concatenate(parts)


@settings(max_examples=6, deadline=None)
@given(cuts=st.lists(st.floats(0.001, 0.4), max_size=6))
def test_where_it_is_cut_does_not_matter(cuts: list[float]) -> None:
    import plants

    plan = FaultPlan("sensor_fault", "stuck", 1.0, 0.1 * DAY_S, 0.2 * DAY_S, signal="discharge")
    whole, cut = (
        _readings(plants.juniper(), 0.4, some, faults=(plan,)).in_arrival_order()
        for some in ((), tuple(cuts))
    )
    assert np.array_equal(whole.time_us, cut.time_us)
    assert np.array_equal(whole.value, cut.value)
    assert np.array_equal(whole.signal, cut.signal)


def test_seed_decides(juniper: Plant) -> None:
    scenario = Scenario("t", "t")
    first, again, other = (simulate(juniper, scenario, 0.2, seed, START_US) for seed in (1, 1, 2))
    assert np.array_equal(first.value, again.value)
    assert not np.array_equal(first.value[:1000], other.value[:1000])


def test_arrival_is_in_order_and_not_before_measurement(juniper: Plant) -> None:
    batch = _readings(juniper, 0.3)
    assert np.all(np.diff(batch.arrived_us) >= 0)
    assert np.all(batch.arrived_us >= batch.time_us)
    late = batch.arrived_us - batch.time_us
    assert np.max(late) <= 30_200_000
    assert 0.03 < np.mean(late[batch.signal == 0] > 0) < 0.12


def test_losses_and_repeats(juniper: Plant) -> None:
    batch = _readings(juniper, 0.3)
    mine = batch.time_us[batch.signal == 0]
    different = len(np.unique(mine))
    assert different == pytest.approx(0.95 * 0.3 * DAY_S, rel=0.01)
    assert len(mine) - different == pytest.approx(0.05 * different, rel=0.15)


def test_deadband_reports_changes_and_keeps_in_touch(juniper: Plant) -> None:
    batch = _readings(juniper, 0.3)
    mine = batch.signal == juniper.index("motor")
    gaps = np.diff(batch.time_us[mine]) / 1e6
    assert np.max(gaps) <= 62.0
    assert mine.sum() < 0.1 * 0.3 * DAY_S
    quiet = gaps < 55
    assert np.all(np.abs(np.diff(batch.value[mine]))[quiet] > 0.3)


def test_values_lie_on_the_converters_steps(juniper: Plant) -> None:
    batch = _readings(juniper, 0.2)
    values = batch.value[batch.signal == juniper.index("pressure")]
    assert np.allclose(values, np.round(values / 0.02) * 0.02, atol=1e-9)
    assert len(np.unique(values)) > 50


def test_rain_adds_up_to_what_fell(juniper: Plant) -> None:
    simulation = Simulation(juniper, Scenario("t", "t"), 2, START_US)
    batch = simulation.advance(START_US + round(6 * DAY_S * 1e6))
    gauge = juniper.signals[juniper.index("rain")]
    caught = float(gauge.to_si(batch.value[batch.signal == juniper.index("rain")]).sum())
    fell = simulation.world.pieces[-1].rain1 if simulation.world.pieces else simulation._pieces[-1].rain1
    assert fell > 0.002
    assert caught == pytest.approx(fell, abs=0.0003)


@pytest.mark.parametrize("cause", ["stuck", "silent", "out_of_range", "implausible"])
def test_sensor_faults(juniper: Plant, cause: str) -> None:
    plan = FaultPlan("sensor_fault", cause, 1.0, 0.1 * DAY_S, 0.2 * DAY_S, signal="pressure")
    good, bad = (
        simulate(juniper, Scenario("t", "t", faults=faults), 0.3, 4, START_US).of("pressure")
        for faults in ((), (plan,))
    )
    inside = (good[0] > START_US + 0.1 * DAY_S * 1e6) & (good[0] < START_US + 0.2 * DAY_S * 1e6)
    if cause == "silent":
        assert len(bad[0]) == pytest.approx(len(good[0]) - inside.sum(), abs=1)
        return
    assert np.array_equal(good[1][~inside], bad[1][~inside])
    if cause == "stuck":
        assert len(np.unique(bad[1][inside])) == 1
    elif cause == "out_of_range":
        assert np.all(bad[1][inside] > 100)
    else:
        assert np.max(np.abs(np.diff(bad[1][inside]))) > 5


def test_live_continuation_follows_history(juniper: Plant) -> None:
    """Two weeks at once, then second by second: no gap, no repeat."""
    simulation = Simulation(juniper, Scenario("t", "t"), 5, START_US)
    history = simulation.advance(START_US + round(0.5 * DAY_S * 1e6))
    live = [simulation.advance(simulation.now_us + 1_000_000) for _ in range(30)]
    times = np.concatenate([part.time_us[part.signal == 0] for part in (history, *live)])
    assert np.max(np.diff(np.sort(times))) < 1_200_000
    assert len(np.unique(times)) == len(times)


def test_people_away_and_guests_change_the_draw(juniper: Plant) -> None:
    from simulator.scenario import Spell
    from simulator.works.world import World

    drawn = []
    for changes in ({}, {"guests": (Spell(0, 9e9, 6),)}, {"away": (Spell(-DAY_S, 9e9),)}):
        scenario = replace(Scenario("t", "t", programmes=()), **changes)
        world = World(juniper, scenario, 3, START_US)
        world.run_until(3 * DAY_S)
        drawn.append(world.totals.supplied)
    assert drawn[1] > 1.8 * drawn[0] > 0
    assert drawn[2] == 0.0


def test_a_fork_is_the_simulation_that_had_the_fault_from_its_start(juniper) -> None:
    """Practice goes on from a healthy stretch; the twin without the fault stays untouched."""
    plan = FaultPlan("clogged_filter", severity=0.9, from_s=1.2 * DAY_S, onset="ramp", over_s=0.3 * DAY_S)
    lie = FaultPlan("sensor_fault", "stuck", from_s=1.3 * DAY_S, signal="pressure")
    at_us, until_us = START_US + round(DAY_S * 1e6), START_US + round(2 * DAY_S * 1e6)
    whole = Simulation(juniper, Scenario("a", "a", faults=(plan, lie)), 5, START_US).advance(until_us)
    healthy = Simulation(juniper, Scenario("a", "a"), 5, START_US)
    before = healthy.advance(at_us)
    after = healthy.forked(plan, lie).advance(until_us)
    twin = healthy.advance(until_us)
    assert np.array_equal(np.concatenate([before.time_us, after.time_us]), whole.time_us)
    assert np.array_equal(np.concatenate([before.value, after.value]), whole.value)
    alone = Simulation(juniper, Scenario("a", "a"), 5, START_US).advance(until_us)
    assert np.array_equal(np.concatenate([before.value, twin.value]), alone.value)
    with pytest.raises(ValueError, match="begins"):
        healthy.forked(plan)
