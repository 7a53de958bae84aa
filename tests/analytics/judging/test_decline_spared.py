"""What looks like less delivery, or like delivery that is back, and is not: the hour, the tank, the shape.

Runs made up one by one, as in `test_decline`; what each stands for is said there where it is made.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from msgspec import structs

from analytics.faults.clogged_filter import CloggedFilter
from analytics.judging.decline import decline
from analytics.judging.signature import Signature
from analytics.judging.watch import AllClear, Known
from analytics.judging.worked_out import Decline
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics.judging.test_decline import HIGH, LOW, PLANT, Made, Q, made


def known_of(signature: Signature) -> Known:
    return cast(
        Known,
        SimpleNamespace(
            plant=PLANT,
            signature=signature,
            water=Water.of(PLANT),
            cause=lambda fault: None,
            is_open=lambda fault, of=None: True,
        ),
    )


def learn(signature: Signature, run: Run) -> None:
    signature.learn(run, True, 0.5 * (HIGH - LOW))


def at_time(made_run: Run, at_us: int) -> Run:
    return structs.replace(made_run, at_us=at_us, cycle=replace(made_run.cycle, stop_us=at_us))


def runs_of(times_us: list[int], left: list[float], seed: int) -> list[bool]:
    rng, signature = np.random.default_rng(seed), Signature()
    called = []
    for at_us, share in zip(times_us, left, strict=True):
        learn(signature, at_time(made(0, Made(share), rng, 0.03, 0.0, 2.0), at_us))
        found = decline(known_of(signature))
        called.append(found is not None and found.sure)
    return called


BEGAN_US, HOUR_US = 1_900_000_000_000_000, 3_600_000_000
#: Household runs every two hours, then a garden's, every six minutes for three hours.
HOUSE = [BEGAN_US + one * 2 * HOUR_US for one in range(48)]
GARDEN = [HOUSE[-1] + HOUR_US + one * HOUR_US // 10 for one in range(30)]


def test_a_sixth_less_for_three_hours_is_the_hours_and_no_fault() -> None:
    """Mains that sag while the garden is watered: back within the evening (common practice, no source)."""
    for seed in range(10):
        assert not any(runs_of(HOUSE + GARDEN, [1.0] * 48 + [0.84] * 30, seed))


def test_a_sixth_less_now_and_a_tenth_all_day_before_it_is_called() -> None:
    for seed in range(10):
        assert any(runs_of(HOUSE + GARDEN, [1.0] * 34 + [0.89] * 14 + [0.84] * 30, seed))


def test_a_tank_that_is_out_of_water_before_cut_in_shows_no_delivery() -> None:
    """Too much air charge: runs begin where the charge is, and flows by the old charge read a fifth low."""
    for seed in range(10):
        rng, signature = np.random.default_rng(seed), Signature()
        for at in range(90):
            one = made(at, Made(0.78 if at >= 60 else 1.0), rng, 0.03, 0.0, 2.0)
            if at >= 60:
                start = LOW + 0.25 * (HIGH - LOW)
                one = structs.replace(
                    one, pressure_low_pa=start, cycle=replace(one.cycle, pressure_start_pa=start)
                )
            learn(signature, one)
            found = decline(known_of(signature))
            assert found is None or not found.sure
    # the same loss from where the switch always closed is one
    rng, signature = np.random.default_rng(0), Signature()
    for at in range(90):
        learn(signature, made(at, Made(0.78 if at >= 60 else 1.0), rng, 0.03, 0.0, 2.0))
    found = decline(known_of(signature))
    assert found is not None
    assert found.sure


def curved(at: int, left: float, power: float, rng: np.random.Generator) -> Run:
    """A curve that falls from 1.15 to 0.85 over the band, and keeps its shape as a clog's does."""
    one = made(at, Made(left, power), rng, 0.03, 0.0, 2.0)
    low, high = one.cycle.delivery_start_m3_s, one.cycle.delivery_stop_m3_s
    assert low is not None
    assert high is not None
    return structs.replace(
        one, cycle=replace(one.cycle, delivery_start_m3_s=1.15 * low, delivery_stop_m3_s=0.85 * high)
    )


@pytest.mark.parametrize(("left", "power"), [(0.77, 0.74), (0.92, 0.88)])
def test_the_motors_power_outweighs_the_curves_shape(left: float, power: float) -> None:
    """Power down as much as delivery is a worn pump, whatever eight kinks make of the shape.

    Trial figures of the design: a clog takes a quarter of the loss off the power, wear all of it."""
    for seed in range(10):
        rng, signature = np.random.default_rng(seed), Signature()
        for at in range(60):
            learn(signature, curved(at, 1.0 if at < 48 else left, 1.0 if at < 48 else power, rng))
        found = decline(known_of(signature))
        assert found is not None
        assert found.clog < 0.5


class Open:
    """A finding of a clog stands; `left` is what the newest runs say."""

    def __init__(self, left: float) -> None:
        self.left = left
        self.signature = Signature()

    def declined(self, interval_s: float) -> Decline:
        return Decline(self.left, 0.02, False, 0.9, None)

    def is_open(self, fault: str, of: str | None = None) -> bool:
        return True


@pytest.mark.parametrize(("left", "cleared"), [(1.0, True), (1.25, True), (3.4, False), (0.6, False)])
def test_a_pump_that_seems_better_than_new_is_a_tank_without_air(left: float, cleared: bool) -> None:
    """All flows look larger by as much as the tank has lost: the filter is as clogged as it was. A quarter
    more is a filter that was dirty when the plant was learned."""
    detector, said = CloggedFilter(PLANT), []
    for at in range(12):
        run = made(at, Made(), np.random.default_rng(at), 0.03, 0.0, 2.0)
        said += detector.weighed(run, cast(Any, Open(left)))
    assert any(isinstance(word, AllClear) for word in said) == cleared


def test_after_a_flush_the_runs_before_it_say_nothing() -> None:
    signature = Signature()
    rng = np.random.default_rng(0)
    for at in range(60):
        learn(signature, made(at, Made(0.6 if at >= 40 else 1.0), rng, 0.03, 0.0, 2.0))
    signature.repaired()
    assert len(signature.recent) == 2
    assert len(signature.hourly) == 1
    assert signature.clean["kink_m3_s"].middle == pytest.approx(Q, rel=0.05)


def gauged(
    noise_pa: float, clean_pa: float, now_pa: float, left: float, seed: int, at: int = 60
) -> list[bool]:
    """What is called where an outlet gauge's drop scatters by so much from run to run."""
    rng, signature, called = np.random.default_rng(seed), Signature(), []
    for one in range(at + 20):
        truth = Made(left, drop_pa=now_pa) if one >= at else Made(drop_pa=clean_pa)
        run = made(one, truth, rng, 0.15, 0.3, 2.0)
        assert run.cycle.filter_drop_pa is not None
        seen = run.cycle.filter_drop_pa + noise_pa * rng.standard_normal()
        learn(signature, structs.replace(run, cycle=replace(run.cycle, filter_drop_pa=seen)))
        found = decline(known_of(signature))
        called.append(found is not None and found.sure and found.clog > 0.9)
    return called


def test_two_gauges_that_speak_at_different_times_still_show_a_clog() -> None:
    """Their difference scatters by 17 kPa about a clean drop of 8 (half a minute apart, on a quick tank): its
    medians do not, and 100 kPa across a screen is a clog."""
    for seed in range(10):
        called = gauged(17_000.0, 8_000.0, 100_000.0, 0.75, seed)
        assert any(called[60:])
        assert not any(called[:60])


def test_gauges_that_scatter_do_not_clog_a_filter_by_chance() -> None:
    for seed in range(10):
        assert not any(gauged(17_000.0, 8_000.0, 8_000.0, 0.95, seed, at=200))


def test_a_clog_that_begins_within_the_lesson_shows_across_the_filter() -> None:
    rng, signature, called = np.random.default_rng(1), Signature(), []
    for one in range(22):
        drop = 10_000.0 * (1.0 + 0.3 * max(one - 8, 0))
        learn(signature, made(one, Made(1.0 - 0.012 * max(one - 8, 0), drop_pa=drop), rng, 0.05, 0.0, 12.0))
        found = decline(known_of(signature))
        called.append(found is not None and found.sure and found.clog > 0.9)
    assert any(called[12:])


def test_a_tank_that_is_overcharged_within_the_lesson_is_no_clog() -> None:
    for seed in range(10):
        rng, signature = np.random.default_rng(seed), Signature()
        for at in range(60):
            one = made(at, Made(0.75 if at >= 10 else 1.0), rng, 0.05, 0.0, 2.0)
            if at >= 10:
                start = LOW + 0.4 * (HIGH - LOW)
                one = structs.replace(
                    one, pressure_low_pa=start, cycle=replace(one.cycle, pressure_start_pa=start)
                )
            signature.learn(one, True, 0.3 * (HIGH - LOW))
            found = decline(known_of(signature))
            assert found is None or not found.sure


def test_a_charge_that_stands_a_little_above_cut_in_presses_more_air_and_is_no_clog() -> None:
    """Runs begin a tenth of the band above where they did, on a charge of 215 kPa instead of 180: by Boyle's
    law pressure tells 0.89 of the water, and noise that it is 0.85."""
    for raised, called in ((0.1, False), (0.0, True)):
        said = []
        for seed in range(10):
            rng, signature = np.random.default_rng(seed), Signature()
            for at in range(90):
                one = made(at, Made(0.85 if at >= 60 else 1.0), rng, 0.02, 0.0, 2.0)
                start = LOW + (raised if at >= 60 else 0.0) * (HIGH - LOW)
                learn(signature, structs.replace(one, cycle=replace(one.cycle, pressure_start_pa=start)))
                found = decline(known_of(signature))
                said.append(found is not None and found.sure)
        assert any(said) is called


def test_runs_that_begin_with_a_leap_are_of_an_empty_tank_and_no_clog() -> None:
    """As the test above; samples so near each other that they meet the fall to cut-in."""
    for leap, called in ((0.2, False), (0.0, True)):
        rng, signature = np.random.default_rng(3), Signature()
        said = []
        for at in range(90):
            one = made(at, Made(0.8 if at >= 60 else 1.0), rng, 0.03, 0.0, 2.0)
            leapt_pa = (leap if at >= 60 else 0.0) * (HIGH - LOW) + 700.0 * rng.standard_normal()
            learn(signature, structs.replace(one, leap_pa=leapt_pa))
            found = decline(known_of(signature))
            said.append(found is not None and found.sure)
        assert any(said) is called


def sure_at_last(left: float, hides: float, seed: int) -> bool:
    """After a lesson of a garden's runs, all alike, and sixteen in a morning, each with a draw that comes and
    goes within it and takes up to `hides` of the delivery."""
    rng, signature = np.random.default_rng(seed), Signature()
    for at in range(46):
        hidden = hides * (0.3 + 0.7 * rng.random()) if at >= 30 else 0.0
        share = (left if at >= 30 else 1.0) * (1.0 - hidden)
        learn(signature, at_time(made(0, Made(share), rng, 0.02, 0.0, 2.0), BEGAN_US + at * HOUR_US // 10))
    found = decline(known_of(signature))
    return found is not None and found.sure


def test_a_spell_that_scatters_is_the_households_and_a_clog_leaves_runs_alike() -> None:
    """Five of them may still lie together by chance."""
    assert sum(sure_at_last(1.0, 0.5, seed) for seed in range(20)) <= 6
    assert all(sure_at_last(0.6, 0.0, seed) for seed in range(20))


def test_where_the_motor_speaks_seldom_the_gauge_tells_how_finely_runs_were_seen() -> None:
    """A contact each half minute beside a gauge each second."""
    asked: list[float] = []
    known = SimpleNamespace(declined=asked.append)
    for pressure_s in (1.0, 45.0, None):
        run = made(0, Made(), np.random.default_rng(0), 0.03, 0.0, 2.0)
        run = structs.replace(run, interval_s=30.0, pressure_s=pressure_s)
        CloggedFilter(PLANT).weighed(run, cast(Known, known))
    assert asked == [1.0, 30.0, 30.0]
