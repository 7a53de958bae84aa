"""A loss told by how fast the tank gains, on runs made up one by one: of few runs, and with nothing known of
the draws beside them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from msgspec import structs

from analytics.faults.clogged_filter import CloggedFilter
from analytics.judge import Judge
from analytics.judging.decline import decline
from analytics.judging.gains import Gains, lost, note
from analytics.judging.signature import LESSON, Signature
from analytics.judging.watch import Claim, Known
from analytics.plant.description import Measure, Plant
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics.judging.test_decline import HIGH, LOW, PLANT, Made, Q, made

#: Of the delivery, drawn in a run from its first second to its last, and seen neither before nor after it.
Hidden = Callable[[np.random.Generator], float]
CONTACT = replace(PLANT, signals=(PLANT.signals[0], replace(PLANT.signals[1], measures=Measure.PUMP_RUNNING)))


def nothing(rng: np.random.Generator) -> float:
    return 0.0


def often(rng: np.random.Generator) -> float:
    """One run of ten loses up to two thirds to a draw."""
    return 0.67 * rng.random() if rng.random() < 0.1 else 0.0


def gained(
    at: int, left: float, rng: np.random.Generator, hidden: Hidden, every_h: float, beside: float | None = 0.0
) -> Run:
    """A run of rates that err by 3 %; of the draws beside it nobody knows anything where `beside` is None."""
    one = made(at, Made(left, 1.0), rng, 0.03, 0.0, every_h)
    net = left - hidden(rng) - (beside or 0.0)
    first, whole, last = (Q * net * (1.0 + 0.03 * rng.standard_normal()) for _ in range(3))
    drawn = None if beside is None else -beside * Q
    cycle = one.cycle
    if beside is None:
        cycle = replace(
            cycle, delivery_start_m3_s=None, delivery_stop_m3_s=None, delivery_mid_m3_s=None, demand_m3_s=None
        )
    return structs.replace(
        one, cycle=cycle, slope_before_m3_s=drawn, slope_after_m3_s=drawn, slope_first_m3_s=first,
        slope_run_m3_s=whole, slope_last_m3_s=last,
    )  # fmt: skip


def first_told(
    left: Callable[[int], float], runs: int, seed: int, hidden: Hidden = often, every_h: float = 4.0
) -> int | None:
    rng, gains = np.random.default_rng(seed), Gains()
    for at in range(runs):
        note(gains, gained(at, left(at), rng, hidden, every_h), healthy=True)
        if lost(gains, levelled=False) is not None:
            return at
    return None


def known_of(signature: Signature, plant: Plant = CONTACT) -> Known:
    return cast(
        Known,
        SimpleNamespace(
            plant=plant, signature=signature, water=Water.of(plant), is_open=lambda fault, of=None: False
        ),
    )


def test_plant_years_of_runs_that_hide_draws_are_never_called() -> None:
    """Forty plants of 300 runs each, eight plant-years at four hours."""
    assert [first_told(lambda at: 1.0, 300, seed) for seed in range(40)] == [None] * 40


@pytest.mark.parametrize("left", [0.5, 0.65])
def test_a_sudden_loss_is_told_within_ten_runs_though_some_hide_draws(left: float) -> None:
    told = [first_told(lambda at: left if at >= 40 else 1.0, 60, seed) for seed in range(20)]
    assert sum(at is not None and 40 < at < 50 for at in told) >= 19, told


def test_a_slow_loss_on_a_plant_of_three_runs_a_day_is_told_before_three_tenths_are_gone() -> None:
    def left(at: int) -> float:
        return float(np.interp(at, [40, 80], [1.0, 0.5]))

    told = [first_told(left, 80, seed, every_h=8.0) for seed in range(20)]
    assert all(at is not None and left(at) > 0.7 for at in told), told


def test_a_loss_that_begins_within_the_lesson_is_told_before_the_lesson_is_over() -> None:
    """Three runs a day make a lesson of more than a week."""
    told = [first_told(lambda at: 0.6 if at >= 12 else 1.0, LESSON, seed, nothing, 8.0) for seed in range(20)]
    assert all(at is not None and at < LESSON for at in told), told


def test_it_is_a_loss_though_nothing_is_known_of_the_draws_beside_the_runs() -> None:
    """A gauge that speaks on change has no word between a stop and the next draw: no kink, and no demand."""
    rng, signature = np.random.default_rng(4), Signature()
    for at in range(60):
        run = gained(at, 0.65 if at >= 48 else 1.0, rng, nothing, 4.0, beside=None)
        signature.learn(run, True, 0.5 * (HIGH - LOW))
        found = decline(known_of(signature))
        assert at >= 48 or found is None or not found.sure
    assert found is not None
    assert found.sure
    assert found.left == pytest.approx(0.65, abs=0.05)
    assert found.since_us is not None
    assert abs(found.since_us - gained(48, 1.0, rng, nothing, 4.0).cycle.stop_us) <= 2 * 4 * 3_600_000_000


def test_what_is_drawn_before_and_after_alike_is_no_loss() -> None:
    """Guests who draw a third of the delivery in every run for two weeks."""
    rng, gains = np.random.default_rng(5), Gains()
    for at in range(140):
        note(gains, gained(at, 1.0, rng, nothing, 4.0, beside=0.33 if at >= 40 else 0.0), healthy=True)
        assert lost(gains, levelled=False) is None


def test_runs_of_one_session_say_no_more_than_one() -> None:
    """A hose that draws from the first second to the last, for two hours and thirty runs."""
    rng, gains = np.random.default_rng(6), Gains()
    for at in range(40):
        note(gains, gained(at, 1.0, rng, often, 4.0), healthy=True)
    for at in range(40 * 60, 40 * 60 + 30):
        note(gains, gained(at, 0.6, rng, nothing, 4.0 / 60.0), healthy=True)
        assert lost(gains, levelled=False) is None


def test_of_a_session_the_runs_that_gained_most_tell() -> None:
    """Three runs a quarter of an hour apart, of which one hides a draw more often than not, thrice a day."""

    def one_of_three(rng: np.random.Generator) -> float:
        return 0.67 * rng.random() if rng.random() < 0.3 else 0.0

    def sessions_until_told(left: float, seed: int) -> int | None:
        rng, gains = np.random.default_rng(seed), Gains()
        for session in range(60):
            for run in range(3):
                share = left if session >= 30 else 1.0
                note(gains, gained(32 * session + run, share, rng, one_of_three, 0.25), healthy=True)
                if lost(gains, levelled=False) is not None:
                    return session - 30
        return None

    assert [sessions_until_told(1.0, seed) for seed in range(20)] == [None] * 20
    told = [sessions_until_told(0.65, seed) for seed in range(20)]
    assert sum(at is not None and 0 <= at <= 4 for at in told) >= 19, told


def test_a_motor_that_works_less_is_one_witness_more() -> None:
    def told(level: float, seed: int) -> int:
        rng, gains = np.random.default_rng(seed), Gains()
        for at in range(80):
            run = gained(at, 0.75 if at >= 40 else 1.0, rng, often, 4.0)
            cycle = replace(run.cycle, motor_level=level if at >= 40 else 1.0)
            note(gains, structs.replace(run, cycle=cycle), healthy=True)
            if lost(gains, levelled=True) is not None:
                return at
        return 80

    assert sum(told(0.93, seed) for seed in range(10)) <= sum(told(1.0, seed) for seed in range(10)) - 10


def test_what_one_likelihood_tells_is_said_at_once() -> None:
    """It needs no second run that says so: of two runs a day that would cost half a day."""
    rng, signature, detector = np.random.default_rng(7), Signature(), CloggedFilter(CONTACT)
    known = known_of(signature)
    known.declined = lambda interval_s: decline(known)  # type: ignore[method-assign]
    for at in range(60):
        run = gained(at, 0.65 if at >= 48 else 1.0, rng, nothing, 12.0, beside=None)
        signature.learn(run, True, 0.5 * (HIGH - LOW))
        found = decline(known)
        said = detector.weighed(run, known)
        if found is not None and found.sure:
            break
    assert [type(word) for word in said] == [Claim]
    assert 48 < at < 58


def test_a_gain_of_nothing_is_as_any_odd_one() -> None:
    rng, gains = np.random.default_rng(8), Gains()
    for at in range(60):
        run = gained(at, 1.0, rng, nothing, 4.0)
        if at % 9 == 0:
            run = structs.replace(run, slope_first_m3_s=0.0, slope_run_m3_s=-Q, slope_last_m3_s=0.0)
        note(gains, run, healthy=True)
        assert lost(gains, levelled=False) is None


def test_a_run_is_weighed_with_itself_among_the_newest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else each loss is told a run late: half a day, of two runs a day."""
    heard: list[bool] = []

    def weighed(self: CloggedFilter, run: Run, known: Known) -> tuple[()]:
        heard.append(known.signature.recent[-1].at_us == run.cycle.stop_us)
        return ()

    monkeypatch.setattr(CloggedFilter, "weighed", weighed)
    judge, rng = Judge(PLANT), np.random.default_rng(9)
    for at in range(4):
        judge._judge(gained(at, 1.0, rng, nothing, 4.0))
    assert heard == [True] * 4
