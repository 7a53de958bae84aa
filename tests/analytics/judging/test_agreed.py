"""Runs that samples a minute apart hardly meet: a few that last longer, and a motor that works less in them.

Made up here: runs of a true length, each seen by a motor that speaks once a minute, at any phase, and a level
that the mains and the place within the band move by some percent. Before, two days' runs were asked for.
"""

from __future__ import annotations

from dataclasses import replace

import msgspec
import numpy as np
import pytest

from analytics.judging.agreed import Agreed, left, note
from analytics.records import Cycle
from analytics.seeing.events import Run
from tests.analytics.judging.test_decline import HIGH, LOW

BEGAN_US = 1_900_000_000_000_000
EVERY_S = 60.0
W, CLEAN_S, LEVEL = 0.02, 75.0, 900.0


def seen(
    start_s: float, true_s: float, rest_s: float, level: float, rng: np.random.Generator, top_pa: float = HIGH
) -> Run | None:
    """A run as a motor that speaks each minute shows it; None where no word fell into it."""
    words = int(np.floor((true_s + EVERY_S * rng.random()) / EVERY_S))
    if words == 0:
        return None
    start_us = BEGAN_US + int(1e6 * start_s)
    cycle = Cycle(start_us, start_us + int(1e6 * true_s), float(true_s), float(rest_s), LOW, top_pa, W)
    said = float(level * (1.0 + 0.03 * rng.uniform(-1.0, 1.0)))
    return Run(cycle.stop_us, cycle, True, EVERY_S, motor_s=words * EVERY_S, motor_words=said)


def household(
    share_by_day: list[float], level_by_day: list[float], seed: int, top_pa: list[float] | None = None
) -> list[Run]:
    """Twenty runs a day; in a quarter of them up to half of what the pump gives is drawn, unseen."""
    rng, runs, before = np.random.default_rng(seed), [], 0.0
    for day, share in enumerate(share_by_day):
        for at in sorted(rng.random(20)):
            hidden = 0.5 * rng.random() if rng.random() < 0.25 else 0.0
            start = 86_400.0 * (day + at)
            lasts = CLEAN_S / share / (1.0 - hidden)
            top = top_pa[day] if top_pa else HIGH
            run = seen(start, lasts, max(start - before, 300.0), LEVEL * level_by_day[day], rng, top)
            before = start + lasts
            runs += [run] if run is not None else []
    return runs


def called_after(runs: list[Run], levelled: bool = True) -> float | None:
    """The day on which two in a row are sure."""
    agreed, row = Agreed(), 0
    for run in runs:
        note(agreed, run, True, W)
        found = left(agreed, W, HIGH - LOW, levelled)
        row = row + 1 if found is not None and found.sure else 0
        if row == 2:
            return (run.at_us - BEGAN_US) / 86_400e6
    return None


def test_a_sudden_clog_is_called_within_the_day_where_the_motor_works_less() -> None:
    for seed in range(10):
        day = called_after(household([1.0] * 4 + [0.5] * 2, [1.0] * 4 + [0.88] * 2, seed))
        assert day is not None
        assert 4.0 < day < 4.9


@pytest.mark.parametrize("metered", [True, False])
def test_what_a_meter_sees_drawn_within_runs_is_no_loss(metered: bool) -> None:
    """A garden that draws half of what the pump gives, within all runs of two days, beside none."""
    runs = household([1.0] * 4 + [0.5] * 2, [1.0] * 6, 3)
    since_us = BEGAN_US + 4 * 86_400_000_000
    drawn = 0.5 * W / CLEAN_S if metered else None
    runs = [msgspec.structs.replace(run, flow_m3_s=drawn) if run.at_us > since_us else run for run in runs]
    assert (called_after(runs, levelled=False) is None) is metered


@pytest.mark.parametrize("mains", [0.0, 0.04])
def test_sound_runs_of_months_are_never_called(mains: float) -> None:
    """The mains of some days are lower than of others."""
    for seed in range(3):
        rng = np.random.default_rng(100 + seed)
        level = list(1.0 - mains * rng.random(60))
        assert called_after(household([1.0] * 60, level, seed)) is None
        assert called_after(household([1.0] * 60, level, seed), levelled=False) is None


def test_a_motor_that_works_as_ever_acquits_runs_that_last_longer() -> None:
    """Guests who draw in nearly every run."""
    for seed in range(5):
        assert called_after(household([1.0] * 4 + [0.6] * 4, [1.0] * 8, seed)) is None


def test_a_motor_that_works_less_alone_is_no_loss() -> None:
    for seed in range(5):
        assert called_after(household([1.0] * 8, [1.0] * 4 + [0.93] * 4, seed)) is None


def test_delivery_is_not_back_while_the_motor_works_less() -> None:
    """Lengths of a dozen runs alone would say so now and then."""
    less = [newest_share(household([1.0] * 6, [1.0] * 4 + [0.88] * 2, seed)) for seed in range(7)]
    as_ever = [newest_share(household([1.0] * 6, [1.0] * 6, seed)) for seed in range(7)]
    assert max(less) <= 0.8
    assert np.median(as_ever) > 0.95


def test_a_switch_that_stops_further_up_is_no_loss() -> None:
    """Its runs last longer, and the pump gives and takes less up there."""
    top = [HIGH] * 4 + [HIGH + 0.4 * (HIGH - LOW)] * 4
    for seed in range(5):
        assert called_after(household([1.0] * 4 + [0.6] * 4, [1.0] * 4 + [0.88] * 4, seed, top)) is None


def test_a_drip_line_beside_which_the_pump_cycles_is_added_to_what_it_gives() -> None:
    """Four tenths of the delivery, of which no slope is seen: W / R tells it."""
    rng, runs, clock = np.random.default_rng(1), [], 0.0
    for at in range(200):
        drip = at >= 80
        lasts, rest = (CLEAN_S / 0.6, CLEAN_S / 0.4) if drip else (CLEAN_S, 3_000.0)
        clock += rest
        run = seen(clock, lasts, rest, LEVEL * (0.97 if drip else 1.0), rng)
        clock += lasts
        runs += [run] if run is not None else []
    assert called_after(runs) is None
    assert called_after(runs, levelled=False) is None
    assert newest_share(runs) > 0.8
    assert newest_share([without_rest(run) for run in runs]) < 0.7  # nothing else would have told it


def newest_share(runs: list[Run]) -> float:
    agreed = Agreed()
    for run in runs:
        note(agreed, run, True, W)
    found = left(agreed, W, HIGH - LOW, True)
    assert found is not None
    return found.share


def without_rest(run: Run) -> Run:
    return msgspec.structs.replace(run, cycle=replace(run.cycle, rest_before_s=None))


def test_a_restart_changes_nothing() -> None:
    runs = household([1.0] * 3 + [0.5], [1.0] * 3 + [0.88], 3)
    whole, cut = Agreed(), Agreed()
    for run in runs:
        note(whole, run, True, W)
        note(cut, run, True, W)
        cut = msgspec.convert(msgspec.to_builtins(cut), Agreed)
        assert left(whole, W, HIGH - LOW, True) == left(cut, W, HIGH - LOW, True)
    assert whole.clean is not None
    assert not whole.lesson
    assert len(whole.newest) <= 12
