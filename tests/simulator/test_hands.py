"""What a person does by hand at the simulated plant, and that the books still balance."""

from __future__ import annotations

import pytest
from conftest import world_of

from analytics.plant.description import Plant
from simulator.onset import FaultPlan
from simulator.works.hands import Hands
from simulator.works.world import World

HOUR_S = 3600.0


def quiet(plant: Plant, *faults: FaultPlan) -> tuple[World, Hands]:
    """A plant at which nobody draws but the person beside it, an hour after midnight."""
    world = world_of(plant, *faults, people=0.0, programmes=())
    world.run_until(HOUR_S)
    return world, Hands(world)


def on(world: World, seconds: float) -> None:
    world.run_until(world.now_s + seconds)


def test_a_tap_and_the_breaker(juniper: Plant) -> None:
    world, hands = quiet(juniper)
    hands.breaker(on=False)
    before, through = world.tank_water_m3(), world.totals.supplied
    hands.open_tap(3e-4)
    on(world, 600.0)
    assert not world.motor.energised
    assert world.line_pa < 20e3  # what stands between tee and tap
    drawn = world.totals.supplied - through
    assert before - world.tank_water_m3() == pytest.approx(drawn, rel=1e-3)
    hands.shut_tap()
    hands.breaker(on=True)
    assert world.motor.energised
    on(world, 600.0)
    assert not world.motor.energised
    assert world.line_pa > 300e3


def test_a_pipe_without_its_tank_falls_at_once_where_it_leaks(juniper: Plant) -> None:
    leak = FaultPlan("supply_leak", "check_valve", 0.3, HOUR_S / 2)
    world, hands = quiet(juniper, leak)
    hands.breaker(on=False)
    before, held, totals = world.line_pa, world.tank_water_m3(), world.totals
    drawn = totals.drawn
    hands.tank_valve(is_open=False)
    on(world, 60.0)
    assert world.line_pa < 0.5 * before
    hands.tank_valve(is_open=True)
    # the tank kept its water, and what the pipe lost comes out of it
    assert world.line_pa == pytest.approx(before, rel=0.02)
    gone = held - world.tank_water_m3() + totals.exchanged
    assert gone == pytest.approx(drawn - totals.drawn, abs=1e-6)


def test_a_shut_garden_valve_ends_what_is_drawn_or_leaks_beyond_it(juniper: Plant) -> None:
    world, hands = quiet(juniper, FaultPlan("supply_leak", "downstream", 0.5, HOUR_S / 2))
    hands.breaker(on=False)
    hands.garden_valve(is_open=False)
    hands.open_tap(3e-4)
    totals = (world.totals.supplied, world.totals.lost)
    on(world, 300.0)
    assert (world.totals.supplied, world.totals.lost) == totals
    hands.garden_valve(is_open=True)
    on(world, 60.0)
    assert world.totals.supplied > totals[0]
    assert world.totals.lost > totals[1]
