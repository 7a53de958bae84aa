"""A sound pump by a gauge that has come to read higher, against Boyle's law worked out here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from msgspec import structs

from analytics.judging.decline import decline
from analytics.judging.left_over import Base, left_over
from analytics.judging.signature import Signature
from analytics.seeing.events import Run
from tests.analytics.judging.test_decline import HIGH, LOW, Made, made
from tests.analytics.judging.test_decline_spared import known_of, learn

SEA_PA, UP = 101_325.0, 60_000.0


def read_higher(run: Run, up_pa: float, top_up_pa: float, told: float) -> Run:
    """The run by a gauge that is off: its pressures, and its flows times `told`."""
    c = run.cycle
    flows = (c.delivery_start_m3_s, c.delivery_stop_m3_s, c.delivery_mid_m3_s)
    assert all(one is not None for one in flows)
    start, stop, mid = (told * one for one in flows if one is not None)
    cycle = replace(
        c, pressure_start_pa=LOW + up_pa, pressure_stop_pa=HIGH + top_up_pa, delivery_start_m3_s=start,
        delivery_stop_m3_s=stop, delivery_mid_m3_s=mid,
    )  # fmt: skip
    return structs.replace(
        run, cycle=cycle, pressure_low_pa=LOW + up_pa, pressure_high_pa=HIGH + top_up_pa, slope_run_m3_s=mid
    )


def seen(true: float, up_pa: float, top_up_pa: float, seed: int = 0) -> Signature:
    """Clean runs, and then those of a pump that gives `true` of it by the gauge that is off."""
    middle = 0.5 * (LOW + HIGH) + SEA_PA
    told = (middle / (middle + UP)) ** 2
    rng, signature = np.random.default_rng(seed), Signature()
    for at in range(90):
        one = made(at, Made(true if at >= 60 else 1.0), rng, 0.03, 0.0, 2.0)
        learn(signature, one if at < 60 else read_higher(one, up_pa, top_up_pa, told))
    return signature


def test_a_sound_pump_by_a_gauge_that_reads_higher_is_not_called() -> None:
    """Flows read a third low, which the curve of a pump against more pressure does not explain."""
    for seed in range(10):
        signature = seen(1.0, UP, UP, seed)
        found = left_over(known_of(signature), Base(signature.clean, signature.learned_runs), 8)
        assert found is not None
        assert found[0] == pytest.approx(1.0, abs=0.06)
        told = decline(known_of(signature))
        assert told is None or not told.sure


def test_a_pump_that_gives_two_thirds_is_called_all_the_same() -> None:
    for seed in range(10):
        told = decline(known_of(seen(0.67, UP, UP, seed)))
        assert told is not None
        assert told.sure


def test_a_cut_out_that_moved_alone_is_no_gauge() -> None:
    """One spring of the switch: what the tank tells of flows is as true as ever."""
    signature = seen(1.0, 0.0, UP)
    found = left_over(known_of(signature), Base(signature.clean, signature.learned_runs), 8)
    assert found is not None
    assert found[0] < 0.9
