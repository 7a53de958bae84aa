"""A motor that works so much less that nothing but less water explains it.

Runs made up one by one, as in `test_decline`: what the tank shows of them is spoilt, the motor's
level is not.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from msgspec import structs

from analytics.faults.pump_wear import PumpWear
from analytics.judging.decline import decline
from analytics.judging.signature import Signature
from analytics.judging.watch import AllClear, Claim, Known, Word
from analytics.plant.description import Filter, Plant
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics.judging.test_decline import HIGH, LOW, PLANT, Made, Q, made
from tests.analytics.judging.test_decline_spared import learn

BARE = replace(PLANT, filter=None)


def known_of(signature: Signature, plant: Plant, *stands: str) -> Known:
    return cast(
        Known,
        SimpleNamespace(
            plant=plant,
            signature=signature,
            water=Water.of(plant),
            cause=lambda fault: None,
            is_open=lambda fault: fault in stands,
        ),
    )


def spoilt(one: Run, rng: np.random.Generator) -> Run:
    """A run of which a rough gauge shows next to nothing at either end, and beside which draws change."""
    kinks = Q * rng.uniform(0.2, 2.2, 2)
    cycle = replace(one.cycle, delivery_start_m3_s=kinks[0], delivery_stop_m3_s=kinks[1], demand_m3_s=0.3 * Q)
    return structs.replace(one, cycle=cycle, slope_before_m3_s=-0.5 * Q, slope_after_m3_s=-0.1 * Q)


def called_after(left: float, power: float, seed: int) -> int | None:
    """How many runs after a loss it is sure, of a plant that draws as it fills."""
    rng, signature = np.random.default_rng(seed), Signature()
    for at in range(60):
        truth = Made(left, power) if at >= 40 else Made(power=1.0)
        learn(signature, spoilt(made(at, truth, rng, 0.05, 0.0, 2.0), rng))
        found = decline(known_of(signature, PLANT))
        if found is not None and found.sure:
            return at - 40
    return None


def test_longer_runs_and_a_fifth_less_power_are_told_within_ten_runs_though_kinks_say_nothing() -> None:
    called = [called_after(0.5, 0.8, seed) for seed in range(20)]
    assert all(at is not None and 0 <= at < 9 for at in called), called


def test_a_power_meter_that_reads_a_fifth_less_of_runs_that_bring_as_much_is_no_loss() -> None:
    assert [called_after(1.0, 0.8, seed) for seed in range(20)] == [None] * 20


def test_a_meter_that_has_read_less_for_days_makes_no_loss_of_a_garden_that_is_watered() -> None:
    for seed in range(10):
        rng, signature = np.random.default_rng(seed), Signature()
        for at in range(62):
            truth = Made(0.6 if at >= 54 else 1.0, 1.0 if at < 40 else 0.85)
            learn(signature, spoilt(made(at, truth, rng, 0.05, 0.0, 2.0), rng))
            found = decline(known_of(signature, PLANT))
            assert found is None or not found.sure


def test_longer_runs_beside_what_a_garden_draws_are_no_loss_while_the_motor_works_nearly_as_it_did() -> None:
    assert [called_after(0.5, 0.93, seed) for seed in range(20)] == [None] * 20


def overcharged(power: list[float], plant: Plant, drop_pa: float | None = None) -> list[bool]:
    """Whether wear is sure after each run, two hours apart, of a tank that makes flows look doubled."""
    rng, signature, called = np.random.default_rng(1), Signature(), []
    for at in range(40):
        learn(signature, made(at, Made(power=1.0, drop_pa=drop_pa), rng, 0.05, 0.0, 2.0))
    for at, level in enumerate(power, 40):
        learn(signature, made(at, Made(2.0, level, drop_pa), rng, 0.05, 0.0, 2.0))
        found = decline(known_of(signature, plant, "short_cycling"))
        called.append(found is not None and found.sure and found.clog < 0.5)
    return called


def test_a_pump_that_wears_beside_an_overcharged_tank_is_told_by_its_motor() -> None:
    wears = [1.0 - 0.01 * day for day in range(40)]
    called = overcharged(wears, BARE)
    assert True in called
    assert 0.70 < wears[called.index(True)] < 0.85
    assert not any(overcharged([0.88] * 40, BARE))


def test_an_evening_is_no_wear() -> None:
    assert not any(overcharged([1.0] * 12 + [0.75] * 5 + [1.0] * 7 + [0.75] * 5 + [1.0] * 12, BARE))


def test_where_a_clog_would_explain_it_as_well_nothing_is_said_but_by_the_drop_across_the_filter() -> None:
    assert PLANT.filter == Filter("before_tank")
    assert not any(overcharged([0.8] * 40, PLANT))
    assert any(overcharged([0.6] * 40, PLANT))
    assert any(overcharged([0.8] * 20, PLANT, drop_pa=8_000.0))


def test_switches_that_now_act_further_up_cost_the_motor_work_too() -> None:
    rng, signature = np.random.default_rng(1), Signature()
    for at in range(80):
        run = made(at, Made(2.0, 0.8) if at >= 40 else Made(power=1.0), rng, 0.05, 0.0, 2.0)
        if at >= 40:
            higher = 0.2 * (HIGH - LOW)
            cycle = replace(run.cycle, pressure_start_pa=LOW + higher, pressure_stop_pa=HIGH + higher)
            run = structs.replace(run, cycle=cycle, pressure_low_pa=LOW + higher)
        learn(signature, run)
        found = decline(known_of(signature, BARE, "short_cycling"))
        assert found is None or not found.sure


@pytest.mark.parametrize(("power", "cleared"), [(0.8, False), (1.0, True)])
def test_what_the_motor_told_has_gone_when_the_motor_works_again(power: float, cleared: bool) -> None:
    """The tank still makes flows look as large as the clean ones': that alone clears nothing."""
    rng, signature, detector = np.random.default_rng(1), Signature(), PumpWear(BARE)
    said: list[Word] = []
    stands = {"short_cycling"}
    known = cast(
        Known,
        SimpleNamespace(
            plant=BARE, signature=signature, water=Water.of(BARE), is_open=lambda fault: fault in stands,
            cause=lambda fault: None, declined=lambda interval_s: decline(known),
        ),
    )  # fmt: skip
    for at in range(110):
        truth = Made(power=1.0) if at < 40 else Made(2.0, 0.8) if at < 70 else Made(1.0, power)
        run = made(at, truth, rng, 0.03, 0.0, 2.0)
        learn(signature, run)
        words = detector.weighed(run, known)
        said += words
        if any(isinstance(word, Claim) for word in words):
            stands.add("pump_wear")
        if at == 70:
            stands.discard("short_cycling")
            signature.repaired()
    claim = next(word for word in said if isinstance(word, Claim))
    assert claim.apart_from == {"short_cycling"}
    assert any(isinstance(word, AllClear) for word in said) == cleared
