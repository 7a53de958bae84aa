"""A loss of delivery and a motor that works less, in the same runs; and a drop that every run shows.

Runs made up one by one, as in `test_decline`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from msgspec import structs

from analytics.judging.blame import resistance, risen_drop_pa
from analytics.judging.brief import usable
from analytics.judging.decline import decline
from analytics.judging.signature import Signature
from tests.analytics.judging.test_decline import HIGH, LOW, Made, first_sure, made
from tests.analytics.judging.test_decline_spared import known_of, learn

CLEAN = Made(power=1.0, drop_pa=8_000.0)


def test_a_clog_that_quickens_is_told_while_seven_tenths_are_left_where_the_motor_agrees() -> None:
    """Each run delivers 1.8 % less than the one before it, and a quarter of that is off the power."""

    def clogging(at: int) -> Made:
        loss = 0.018 * max(at - 40, 0)
        return Made(max(1.0 - loss, 0.3), power=1.0 - 0.26 * min(loss, 0.7))

    called = [first_sure(clogging, 80, seed=seed, scatter=0.07, hides=0.0, every_h=0.3) for seed in range(10)]
    assert all(at is not None and 40 < at <= 40 + 0.29 / 0.018 for at in called), called


def test_sagging_mains_and_a_household_that_draws_are_no_clog() -> None:
    """A month of evenings on which the motor works 4 % less and half of the runs hide up to half."""
    for seed in range(5):
        called = first_sure(
            lambda at: Made(power=0.96 if at % 12 >= 8 else 1.0), 360, seed=seed, scatter=0.08, hides=0.5
        )
        assert called is None


def test_a_draw_that_keeps_the_pump_near_its_cut_out_is_no_worn_pump() -> None:
    """A garden draws nearly all that is pumped: the runs are long, the motor works 6 % less near cut-out, and
    the tap closes as the pump stops, so that the start's kink alone shows what is delivered."""
    for seed in range(10):
        rng, signature = np.random.default_rng(seed), Signature()
        for at in range(50):
            run = made(at, CLEAN, rng, 0.05, 0.0, 2.0)
            if at >= 40:
                stop = 0.3 * (run.cycle.delivery_stop_m3_s or 0.0)
                long = replace(run.cycle, delivery_mid_m3_s=stop, delivery_stop_m3_s=stop, motor_level=846.0)
                run = structs.replace(run, cycle=long)
            learn(signature, run)
            found = decline(known_of(signature))
            assert found is None or not found.sure


def clogged(signature: Signature, drops_pa: list[float], lower_pa: float = 0.0, sank: bool = False) -> None:
    """Forty clean runs, and then those whose filter holds back so much."""
    rng = np.random.default_rng(0)
    for at in range(40):
        learn(signature, made(at, CLEAN, rng, 0.05, 0.0, 2.0))
    for at, drop_pa in enumerate(drops_pa, 40):
        run = made(at, replace(CLEAN, drop_pa=drop_pa), rng, 0.05, 0.0, 2.0)
        moved = replace(run.cycle, pressure_start_pa=LOW - lower_pa, pressure_stop_pa=HIGH - lower_pa)
        run = structs.replace(run, cycle=moved, pressure_low_pa=0.3 * LOW if sank else LOW - lower_pa)
        assert (usable(run) is None) == sank
        learn(signature, run)


def test_a_drop_that_grows_with_every_run_is_told_by_the_least_of_three() -> None:
    """By five runs' median and scatter it was not: growth itself spreads them."""
    signature = Signature()
    clogged(signature, [20_000.0, 24_000.0, 32_000.0, 40_000.0, 60_000.0])
    times = resistance(known_of(signature), 1.0)
    assert times is not None
    assert times > 3.0


def test_runs_that_more_is_drawn_in_than_a_clogged_pump_gives_show_its_filter_all_the_same() -> None:
    """Pressure sinks within them, and so they tell no delivery."""
    signature = Signature()
    clogged(signature, [200_000.0] * 3, sank=True)
    found = decline(known_of(signature))
    assert found is not None
    assert found.sure
    assert found.clog > 0.9


def test_one_run_that_shows_no_more_than_ever_acquits_the_two_beside_it() -> None:
    signature = Signature()
    clogged(signature, [200_000.0, 8_000.0, 200_000.0])
    assert risen_drop_pa(signature) is None


def test_a_line_gauge_that_has_shifted_down_clogs_no_filter() -> None:
    """The drop has grown by what pressure has fallen at the start and at the stop."""
    signature = Signature()
    clogged(signature, [58_000.0] * 4, lower_pa=50_000.0)
    assert risen_drop_pa(signature) is None
