"""What a loss of delivery is weighed by: its runs' own scatter, the motor's power, and what it showed before.

Runs made up one by one, as in `test_decline`.
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
from analytics.judging.left_over import Base, left_over
from analytics.judging.signature import LESSON, Signature
from analytics.judging.watch import AllClear, Claim, Known
from analytics.judging.worked_out import Decline
from analytics.seeing.events import Run
from tests.analytics.judging.test_decline import PLANT, Made, Q, first_sure, made
from tests.analytics.judging.test_decline_spared import known_of, learn


def test_runs_that_scatter_more_than_the_lessons_are_no_surer_than_they_are() -> None:
    """A lesson of one night's runs by a leak alone, alike to 3 %; then a household's, which differ by a
    quarter: of 24 the mean is good to 0.25 / sqrt(24), and of two figures that err apart to 0.7 of that."""
    errors = []
    for seed in range(20):
        rng, signature = np.random.default_rng(seed), Signature()
        for at in range(100):
            learn(signature, made(at, Made(), rng, 0.03 if at < 40 else 0.25, 0.0, 0.5))
        found = left_over(known_of(signature), Base(signature.clean, signature.learned_runs), LESSON)
        assert found is not None
        errors.append(found[1])
    assert np.mean(errors) > 0.7 * 0.25 / LESSON**0.5 * 0.7


@pytest.mark.parametrize(("every_s", "sure"), [(5.0, True), (14.0, False)])
def test_the_figures_of_runs_of_four_samples_err_together(every_s: float, sure: bool) -> None:
    """Clean runs that scatter by a quarter, and twelve of which each reads a third low: seen closely, three
    figures of each that err apart are five standard errors off. Of a run of a minute seen every 14 s all
    three are of the same samples, whose edges are late or early, and they are three off."""
    called = []
    for seed in range(10):
        rng, signature = np.random.default_rng(seed), Signature()
        for at in range(40):
            off = max(1.0 + 0.25 * rng.standard_normal(), 0.3)
            learn(signature, made(at, Made(off), rng, 0.02, 0.0, 2.0))
        for at in range(40, 52):
            learn(signature, made(at, Made(0.64), rng, 0.02, 0.0, 2.0))
        found = decline(known_of(signature), every_s)
        called.append(found is not None and found.sure)
    assert (
        sum(called) >= 6 if sure else sum(called) <= 2
    )  # of ten lessons, some scatter less than they should


def test_power_speaks_for_a_worn_pump_or_against_it() -> None:
    """Wear takes about as much off the power as off the delivery: where the meter says the same as when
    clean, what reads low is what people draw, and it takes longer to believe that it is the pump."""
    bare = replace(PLANT, filter=None)

    def first(power: float) -> list[int]:
        truth = [Made(0.855, power) if at >= 60 else Made(power=1.0) for at in range(120)]
        called = [
            first_sure(lambda at: truth[at], 120, seed=seed, scatter=0.08, hides=0.0, plant=bare)
            for seed in range(20)
        ]
        return [120 if at is None else at for at in called]

    as_ever, worn = first(1.0), first(0.86)
    assert min(worn) >= 60
    assert np.mean(as_ever) - np.mean(worn) > 2.0


def with_a_tap(at: int, left: float, rng: np.random.Generator) -> Run:
    """A tap closes as the pump starts in three of eight runs, which read higher at their start by all that it
    drew, and opens in two, which read lower; neither shows a steady draw."""
    one = made(at, Made(left), rng, 0.03, 0.0, 2.0)
    drew = (0.9, -0.4, 0.0, 0.9, -0.4, 0.0, 0.9, 0.0)[at % 8] * Q
    start = one.cycle.delivery_start_m3_s
    assert start is not None
    return structs.replace(
        one, slope_before_m3_s=-drew, cycle=replace(one.cycle, delivery_start_m3_s=start + drew)
    )


def test_a_finding_stands_while_most_runs_are_as_when_it_was_raised() -> None:
    """The upper quartile of eight such runs is that of taps, and says that delivery is back."""
    for seed in range(10):
        rng, signature = np.random.default_rng(seed), Signature()
        known = known_of(signature)
        asked = vars(known) | {"declined": lambda _, known=known: decline(known)}
        detector, cleared = CloggedFilter(PLANT), []
        for at in range(140):
            left = 0.75 if 40 <= at < 100 else 1.0
            run = made(at, Made(left), rng, 0.03, 0.0, 2.0) if at < 60 else with_a_tap(at, left, rng)
            open_ = at >= 60 and not cleared
            words = detector.weighed(
                run, cast(Any, SimpleNamespace(**asked | {"is_open": lambda _, is_=open_: is_}))
            )
            cleared += [at for word in words if isinstance(word, AllClear)]
            learn(signature, run)
        assert cleared, seed
        assert cleared[0] >= 100, (seed, cleared)


@pytest.mark.parametrize(
    ("left", "clog", "claimed"), [(0.84, 0.65, False), (0.84, 0.95, True), (0.70, 0.65, True)]
)
def test_a_power_meter_is_given_time_to_tell_filter_from_pump(
    left: float, clog: float, claimed: bool
) -> None:
    """It says more with each percent that is lost; a quarter is not waited beyond."""
    known = SimpleNamespace(
        plant=PLANT,
        signature=Signature(),
        declined=lambda _: Decline(left, 0.02, True, clog, None),
        cause=lambda fault: None,
        is_open=lambda _: False,
    )
    detector, words = CloggedFilter(PLANT), []
    for at in range(4):
        words += detector.weighed(
            made(at, Made(), np.random.default_rng(at), 0.03, 0.0, 2.0), cast(Known, known)
        )
    assert any(isinstance(word, Claim) for word in words) == claimed
