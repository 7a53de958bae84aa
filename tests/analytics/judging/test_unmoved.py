"""Delivery that only seems to fall: the drop across the filter says what passes, whoever draws it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from analytics.judging.decline import decline
from analytics.judging.signature import Signature
from analytics.judging.watch import Known
from analytics.seeing.water import Water
from tests.analytics.judging.test_decline import HIGH, LOW, PLANT, Made, first_sure, made

CLEAN_PA = 20_000.0
SPARE_PA = 150_000.0  # what the pump has left over in the middle of its band, spent in filter and all else
NOISE_PA = 2_500.0


def drops(seed: int) -> np.ndarray:
    return NOISE_PA * np.random.default_rng(seed).standard_normal(200)


def seems(left: float, drop_pa: float, seed: int) -> int | None:
    """When a loss is called of runs that seem to deliver `left` from the sixtieth on, with such a drop."""
    noise = drops(seed)

    def truth(at: int) -> Made:
        return Made(left, drop_pa=drop_pa + noise[at]) if at >= 60 else Made(drop_pa=CLEAN_PA + noise[at])

    return first_sure(truth, 110, seed=seed, scatter=0.05)


@pytest.mark.parametrize("left", [0.6, 0.75])
def test_taps_that_are_open_all_day_are_no_loss_where_the_drop_has_stayed(left: float) -> None:
    called = [seems(left, CLEAN_PA, seed) for seed in range(20)]
    assert (
        called.count(None) >= 18
    )  # of a few the drop's own scatter leaves it open; without it all are called


@pytest.mark.parametrize("left", [0.6, 0.75])
def test_a_clog_raises_the_drop_and_is_called(left: float) -> None:
    """H = d + a Q^2 with H and a as when clean."""
    drop_pa = SPARE_PA - left**2 * (SPARE_PA - CLEAN_PA)
    late = [seems(left, drop_pa, seed) for seed in range(20)]
    assert all(at is not None and 60 < at < 80 for at in late)


@pytest.mark.parametrize("left", [0.6, 0.75])
def test_a_worn_pump_lowers_the_drop_and_is_called(left: float) -> None:
    late = [seems(left, left**2 * CLEAN_PA, seed) for seed in range(20)]
    assert all(at is not None and 60 < at < 95 for at in late)


def test_a_drop_that_may_be_the_gauges_zeros_spares_no_worn_pump() -> None:
    """All of it is an offset of one gauge against the other: no loss of flow moves it."""

    def truth(at: int) -> Made:
        left = 0.6 if at >= 60 else 1.0
        return Made(left, drop_pa=5_000.0 + 0.1 * noise[at])

    for seed in range(20):
        noise = drops(seed)
        at = first_sure(truth, 90, seed=seed, scatter=0.05)
        assert at is not None
        assert 60 < at < 80


@pytest.mark.parametrize(("stands", "back"), [(False, True), (True, False)])
def test_a_loss_that_was_told_is_over_when_delivery_is_back_and_not_by_the_drop(
    stands: bool, back: bool
) -> None:
    """Two gauges a minute apart may read the clean drop of a clogged filter for a day."""
    noise, rng, signature = drops(1), np.random.default_rng(1), Signature()
    for at in range(80):
        truth = Made(0.78 if at >= 60 else 1.0, drop_pa=CLEAN_PA + noise[at])
        signature.learn(made(at, truth, rng, 0.03, 0.0, 2.0), True, 0.5 * (HIGH - LOW))
    known = SimpleNamespace(
        plant=PLANT,
        signature=signature,
        water=Water.of(PLANT),
        cause=lambda fault: None,
        is_open=lambda fault, of=None: stands,
    )
    found = decline(cast(Known, known))
    assert found is not None
    assert not found.sure
    assert (found.left == 1.0) is back
