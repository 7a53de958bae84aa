"""What draws hide of the delivery of a small tank, and what they do not.

Runs made up one by one, as in `test_decline`. A draw that empties a small tank goes on into the run, and ends
just before the run does or just after it: then the kink at the stop, or every figure of the run, reads low.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from msgspec import structs

from analytics.judging.decline import decline
from analytics.judging.hidden import by_chance
from analytics.judging.signature import Signature
from analytics.judging.watch import Known
from analytics.seeing.events import Run
from tests.analytics.judging.test_decline import HIGH, LOW, PLANT, Made, made

Seen = Callable[[Run, np.random.Generator], Run]


def called(seen: Seen, runs: int, seed: int, left: Callable[[int], float] = lambda at: 1.0) -> list[int]:
    rng, signature = np.random.default_rng(seed), Signature()
    known = SimpleNamespace(
        plant=PLANT,
        signature=signature,
        water=SimpleNamespace(true=True),
        is_open=lambda fault, of=None: False,
    )
    sure = []
    for at in range(runs):
        run = seen(made(at, Made(left(at)), rng, 0.04, 0.0, 0.5), rng)
        signature.learn(run, True, 0.5 * (HIGH - LOW))
        found = decline(cast(Known, known))
        if found is not None and found.sure:
            sure.append(at)
    return sure


def lowered(run: Run, start: float, stop: float, middle: float) -> Run:
    """The run's figures of delivery by so much."""
    cycle = run.cycle
    assert cycle.delivery_start_m3_s is not None
    assert cycle.delivery_stop_m3_s is not None
    assert cycle.delivery_mid_m3_s is not None
    low = replace(
        cycle,
        delivery_start_m3_s=start * cycle.delivery_start_m3_s,
        delivery_stop_m3_s=stop * cycle.delivery_stop_m3_s,
        delivery_mid_m3_s=middle * cycle.delivery_mid_m3_s,
    )
    return structs.replace(run, cycle=low)


@pytest.mark.parametrize(("low_when_learned", "is_called"), [(0, True), (3, False)])
def test_six_low_runs_of_eight_are_a_loss_where_clean_runs_do_not_read_so(
    low_when_learned: int, is_called: bool
) -> None:
    """A draw from before the start to after the stop hides three tenths or four in all figures."""
    low = {*range(4, 4 + 7 * low_when_learned, 7), 60, 61, 62, 64, 65, 67}
    for seed in range(10):
        at = iter(range(100))

        def seen(run: Run, rng: np.random.Generator, at: Iterator[int] = at) -> Run:
            now = next(at)
            share = 0.6 if now < 30 else 0.7
            return lowered(run, share, share, share) if now in low else run

        assert bool(called(seen, 80, seed)) == is_called


def test_a_sudden_clog_is_called_within_ten_runs_where_some_clean_ones_read_low() -> None:
    for seed in range(10):
        at = iter(range(200))

        def seen(run: Run, rng: np.random.Generator, at: Iterator[int] = at) -> Run:
            return lowered(run, 0.7, 0.7, 0.7) if next(at) % 9 == 4 else run

        sure = called(seen, 71, seed, lambda at: 0.5 if at > 60 else 1.0)
        assert sure
        assert sure[0] > 61


def test_draws_that_end_just_before_the_runs_do_are_no_loss() -> None:
    """A machine fills by the same draws, eight in a row: the start of each run shows what the pump gives."""
    for seed in range(10):
        at = iter(range(100))

        def seen(run: Run, rng: np.random.Generator, at: Iterator[int] = at) -> Run:
            return lowered(run, 1.0, 0.4, 0.6) if 80 <= next(at) < 88 else run

        assert called(seen, 100, seed) == []


def test_so_many_low_runs_are_likely_where_the_lesson_had_such() -> None:
    lesson = sorted([0.7] * 2 + [1.0] * 22)
    four_of_five = [0.65, 0.66, 0.68, 0.69, 1.0]
    # 2.5 of 25: C(5,4) 0.1^4 0.9 + 0.1^5
    assert by_chance([0.6] * 2 + [1.0] * 22, four_of_five, 4) == pytest.approx(4.6e-4, rel=1e-3)
    # none of 24, so half of one of 25: 0.02
    assert by_chance(lesson, four_of_five, 4) == pytest.approx(7.87e-7, rel=1e-3)
