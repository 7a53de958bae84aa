"""Delivery that falls away, on runs made up one by one: scatter, hidden demand, and what is lost.

The figures of a run are drawn from the scatter that the design measured (5 to 8 % a kink, mid-run biased
low by hidden demand), not from the code under test. What is asked: that no loss is called where there is
none, over years of runs; and that one is called in the runs that the issue allows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from msgspec import structs

from analytics.judging.decline import decline
from analytics.judging.signature import LESSON, Signature
from analytics.judging.watch import Known
from analytics.judging.worked_out import Decline
from analytics.plant.description import Filter, Measure, Plant, PressureTank, Pump, Signal, Switch
from analytics.records import Cycle
from analytics.seeing.events import Run
from analytics.seeing.water import Water

Q = 5e-4
LOW, HIGH = 200_000.0, 340_000.0
PLANT = Plant(
    "made-up", "Made up", "UTC", "metric", 0.0, Pump(500.0, None, 30.0, 20.0, 1.0, Measure.PUMP_CURRENT),
    (
        Signal("pressure", Measure.LINE_PRESSURE, "p", "Pa", every_s=1.0),
        Signal("motor", Measure.PUMP_POWER, "m", "W", every_s=1.0),
    ),
    Switch(LOW, HIGH), PressureTank(0.1, 180_000.0), Filter("before_tank"), (),
)  # fmt: skip


@dataclass(frozen=True)
class Made:
    """One run's truth: delivery as a share, power as a share, flow meter's word, the filter's drop."""

    left: float = 1.0
    power: float | None = None
    drop_pa: float | None = None


def made(at: int, truth: Made, rng: np.random.Generator, scatter: float, hides: float, every_h: float) -> Run:
    """A run; in one of four some demand is hidden, up to `hides` of what the pump gives."""
    hidden = hides * rng.random() if rng.random() < 0.25 else 0.0
    low, high = (Q * truth.left * (1.0 + scatter * rng.standard_normal()) for _ in range(2))
    mid = Q * truth.left * (1.0 - hidden) * (1.0 + 0.7 * scatter * rng.standard_normal())
    stop_us = int(at * every_h * 3.6e9) + 1_900_000_000_000_000
    power = 900.0 * truth.power if truth.power is not None else None
    cycle = Cycle(
        stop_us - int(6e7 / truth.left), stop_us, 60.0 / truth.left, 3600.0, LOW, HIGH, 0.02, low, high,
        0.0, mid, power, truth.drop_pa,
    )  # fmt: skip
    return Run(stop_us, cycle, True, 1.0, 0.0, mid, 0.0, pressure_low_pa=LOW, pressure_high_pa=HIGH)


def heard(
    truth: Callable[[int], Made], runs: int, seed: int = 0, scatter: float = 0.08, hides: float = 0.5,
    plant: Plant = PLANT, every_h: float = 2.0,
) -> Iterator[tuple[int, Decline | None]]:  # fmt: skip
    """(run, what decline says after it)"""
    rng, signature = np.random.default_rng(seed), Signature()
    known = SimpleNamespace(
        plant=plant,
        signature=signature,
        water=Water.of(plant),
        cause=lambda fault: None,
        is_open=lambda fault, of=None: False,
    )
    for at in range(runs):
        signature.learn(made(at, truth(at), rng, scatter, hides, every_h), True, 0.5 * (HIGH - LOW))
        yield at, decline(cast(Known, known))


def first_sure(truth: Callable[[int], Made], runs: int, **more: object) -> int | None:
    return next((at for at, found in heard(truth, runs, **more) if found is not None and found.sure), None)  # type: ignore[arg-type]


@pytest.mark.parametrize("scatter", [0.03, 0.08, 0.15])
def test_years_of_healthy_runs_are_never_called(scatter: float) -> None:
    """Ten plants of 600 runs each, hidden demand included: a plant-year."""
    called = [first_sure(lambda at: Made(), 600, seed=seed, scatter=scatter) for seed in range(10)]
    assert called == [None] * 10


@pytest.mark.parametrize("left", [0.4, 0.55])
def test_a_sudden_clog_is_called_within_ten_runs(left: float) -> None:
    """Issue 3, item 3."""
    late = [first_sure(lambda at: Made(left if at >= 60 else 1.0), 90, seed=seed) for seed in range(20)]
    assert all(at is not None and 60 < at < 70 for at in late)


@pytest.mark.parametrize("runs", [80, 200])
def test_a_slow_clog_is_called_before_three_tenths_are_lost(runs: int) -> None:
    """Half of the delivery goes within `runs` runs (a week or two), after the lesson. Issue 3, item 3."""

    def truth(at: int) -> Made:
        return Made(float(np.interp(at, [60, 60 + runs], [1.0, 0.5])))

    for seed in range(20):
        at = first_sure(truth, 60 + runs, seed=seed)
        assert at is not None
        assert 0.7 < truth(at).left < 0.95


def test_what_begins_while_the_plant_is_learned_is_not_learned() -> None:
    def truth(at: int) -> Made:
        return Made(float(np.interp(at, [4, 4 + 4 * LESSON], [1.0, 0.5])))

    for seed in range(10):
        at = first_sure(truth, 5 * LESSON, seed=seed)
        assert at is not None
        assert truth(at).left > 0.65


def test_a_loss_that_stays_small_is_not_called() -> None:
    """Mains that sag by a tenth cost a pump as much (common practice, no source): nobody's fault."""
    for seed in range(10):
        assert first_sure(lambda at: Made(0.92 if at >= 60 else 1.0), 300, seed=seed) is None


def test_drop_over_flow_squared_calls_the_filter_before_delivery_tells() -> None:
    """A clean screen at 7 kPa, three times as tight: delivery is down by a twentieth only."""

    def truth(at: int) -> Made:
        return Made(0.95, drop_pa=19_000.0) if at >= 60 else Made(drop_pa=7_000.0)

    at = first_sure(truth, 80)
    assert at is not None
    assert 60 < at < 70
    *_, (_, found) = heard(truth, 80)
    assert found is not None
    assert found.clog > 0.9


def test_a_gauge_that_is_off_by_a_little_does_not_clog_the_filter() -> None:
    """A drop of 1 kPa read as 3: three times as much, and less than a gauge's zero is good for."""
    off = [Made(0.96, drop_pa=3_000.0) if at >= 60 else Made(drop_pa=1_000.0) for at in range(120)]
    assert first_sure(lambda at: off[at], 120) is None


@pytest.mark.parametrize(("power", "filter_"), [(0.92, True), (0.74, False)])
def test_the_motors_power_tells_filter_from_pump(power: float, filter_: bool) -> None:
    """Trial figures of the design: wear 0.74 at 0.73 delivery, clog 0.92 at 0.69."""
    left = 0.69 if filter_ else 0.73
    *_, (_, found) = heard(lambda at: Made(left, power) if at >= 60 else Made(power=1.0), 100)
    assert found is not None
    assert (found.clog > 0.7) == filter_
    assert (found.clog < 0.3) != filter_


def test_without_a_filter_it_is_the_pump() -> None:
    bare = replace(PLANT, filter=None)
    *_, (_, found) = heard(lambda at: Made(0.7 if at >= 60 else 1.0), 100, plant=bare)
    assert found is not None
    assert found.sure
    assert found.clog == 0.0


def test_an_outlet_gauge_that_lies_wears_no_pump_that_has_no_filter() -> None:
    def truth(at: int) -> Made:
        return Made(1.0, drop_pa=10_000.0 if at < 60 else 90_000.0)

    assert first_sure(truth, 90) is not None
    assert first_sure(truth, 90, plant=replace(PLANT, filter=None)) is None


def test_demand_hidden_in_runs_in_a_row_is_no_loss_where_the_kinks_stand() -> None:
    """A morning of garden and house: eight runs that read four tenths low by their middles alone."""
    for seed in range(20):
        rng, signature = np.random.default_rng(seed), Signature()
        known = SimpleNamespace(
            plant=PLANT,
            signature=signature,
            water=Water.of(PLANT),
            cause=lambda fault: None,
            is_open=lambda fault, of=None: False,
        )
        for at in range(60):
            one = made(at, Made(), rng, 0.08, 0.0, 2.0)
            if at >= 52:
                one = structs.replace(one, cycle=replace(one.cycle, delivery_mid_m3_s=0.6 * Q))
            signature.learn(one, True, 0.5 * (HIGH - LOW))
            found = decline(cast(Known, known))
            assert found is None or not found.sure
