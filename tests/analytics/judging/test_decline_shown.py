"""What shows a decline beside many runs in a row: runs hours apart, and what the filter holds back alone.

Runs made up one by one, as in `test_decline`.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
from msgspec import structs

from analytics.judging.blame import filter_share, resistance
from analytics.judging.decline import decline
from analytics.judging.signature import Signature
from analytics.judging.watch import Known
from analytics.judging.worked_out import Decline
from analytics.seeing.cycles import _difference
from analytics.seeing.spells import Ended
from analytics.seeing.tracks import Track
from tests.analytics.judging.test_decline import Made, first_sure, made
from tests.analytics.judging.test_decline_spared import known_of, learn, runs_of

HOUR_US = 3_600_000_000
BEGAN_US = 1_900_000_000_000_000


def declining(at: int, a_run: float) -> Made:
    return Made(1.0 if at < 40 else max(1.0 - a_run * (at - 40), 0.5))


def test_a_slow_decline_of_few_runs_a_day_is_called_before_three_tenths_are_gone() -> None:
    """Six runs a day, four hours apart, of which each delivers 1.5 % less than the one before."""
    called = [
        first_sure(lambda at: declining(at, 0.015), 80, seed=seed, scatter=0.03, hides=0.2, every_h=4.0)
        for seed in range(10)
    ]
    assert all(at is not None and 40 < at < 40 + 0.27 / 0.015 for at in called), called


def test_years_of_few_runs_a_day_are_never_called() -> None:
    """Some demand is hidden in a quarter of them: two plant-years of six runs a day."""
    called = [first_sure(lambda at: Made(), 450, seed=seed, scatter=0.06, every_h=4.0) for seed in range(10)]
    assert called == [None] * 10


def test_a_sixth_less_for_the_hours_of_one_night_is_the_hours_and_no_fault() -> None:
    """Runs hours apart that do not span a day may all be of the mains' or the storage's bad night."""
    house = [BEGAN_US + one * 4 * HOUR_US for one in range(40)]
    night = [house[-1] + (one + 1) * 3 * HOUR_US // 2 for one in range(7)]
    for seed in range(10):
        assert not any(runs_of(house + night, [1.0] * 40 + [0.84] * 7, seed))


def gauged(made_up: list[Made], interval_s: float, seed: int, scatter: float = 0.04) -> list[Decline | None]:
    rng, signature, said = np.random.default_rng(seed), Signature(), []
    asked = vars(known_of(signature)) | {"is_open": lambda fault, of=None: False}
    known = cast(Known, SimpleNamespace(**asked))
    for at, truth in enumerate(made_up):
        run = made(at, truth, rng, scatter, 0.0, 2.0)
        drop_pa = run.cycle.filter_drop_pa
        assert drop_pa is not None
        seen = drop_pa + 1_000.0 * rng.standard_normal()
        learn(signature, structs.replace(run, cycle=replace(run.cycle, filter_drop_pa=seen)))
        said.append(decline(known, interval_s))
    return said


def test_runs_too_short_for_their_sampling_show_a_clog_by_what_the_filter_holds_back() -> None:
    """Runs of a minute, seen once a minute: no slope, and yet 60 kPa across a screen that took 8."""
    clogged = [Made(drop_pa=8_000.0)] * 40 + [Made(0.85, drop_pa=60_000.0)] * 10
    for seed in range(5):
        said = gauged(clogged, 60.0, seed)
        assert not any(found is not None and found.sure for found in said[:40])
        assert any(found is not None and found.sure and found.clog > 0.9 for found in said[40:])


def test_a_drop_that_has_only_begun_to_rise_does_not_acquit_the_filter() -> None:
    """Two runs through a clogged screen among five: their median drop is still the clean one."""
    rng, signature = np.random.default_rng(0), Signature()
    for at in range(62):
        truth = Made(0.6, drop_pa=110_000.0) if at >= 60 else Made(drop_pa=8_000.0)
        learn(signature, made(at, truth, rng, 0.03, 0.0, 2.0))
    known = known_of(signature)
    assert filter_share(known, 0.6, resistance(known, 0.6)) >= 0.5


def test_a_drop_that_has_fallen_acquits_the_filter_whatever_the_delivery_reads() -> None:
    """A worn pump at 0.75 of its flow, which reads 0.65 by chance: of 28 kPa at the screen 18 are left."""
    rng, signature = np.random.default_rng(0), Signature()
    for at in range(68):
        truth = Made(0.75, drop_pa=18_000.0) if at >= 60 else Made(drop_pa=28_000.0)
        learn(signature, made(at, truth, rng, 0.03, 0.0, 2.0))
    known = known_of(signature)
    assert filter_share(known, 0.65, resistance(known, 0.65)) < 0.1


def test_a_rough_drop_that_falls_over_many_runs_speaks_for_the_pump() -> None:
    """Gauges whose difference scatters by 14 kPa about 24: a worn pump leaves 10 of them, a clog all."""
    rng, signature = np.random.default_rng(0), Signature()
    for at in range(84):
        truth = Made(0.65, drop_pa=10_000.0) if at >= 60 else Made(drop_pa=24_000.0)
        run = made(at, truth, rng, 0.03, 0.0, 2.0)
        seen = (run.cycle.filter_drop_pa or 0.0) + 14_000.0 * rng.standard_normal()
        learn(signature, structs.replace(run, cycle=replace(run.cycle, filter_drop_pa=seen)))
    known = known_of(signature)
    assert resistance(known, 0.65) is None  # none of it is sure
    assert filter_share(known, 0.65, None) < 0.5


def test_a_filter_that_clogs_at_once_is_called_and_never_a_worn_pump() -> None:
    for seed in range(10):
        said = gauged([Made(drop_pa=8_000.0)] * 60 + [Made(0.58, drop_pa=110_000.0)] * 10, 10.0, seed)
        sure = [found for found in said if found is not None and found.sure]
        assert sure
        assert all(found.clog >= 0.5 for found in sure)


def track(times_s: list[float], values: list[float]) -> Track:
    named = SimpleNamespace(
        time_us=(np.array(times_s) * 1e6).astype(np.int64), value=np.array(values, np.float64)
    )
    return cast(Track, named)


def test_gauges_that_speak_half_a_minute_apart_show_no_drop_where_there_is_none() -> None:
    """Pressure climbs by 1 kPa a second; the outlet's words, 5 kPa above it, come 25 s after the line's."""
    run = Ended(0, 60_000_000, 180_000_000, 240_000_000, True, True, None, 300_000_000)
    line_s = [10.0, 70.0, 130.0, 190.0, 235.0]
    line = track(line_s, [200e3 + 1e3 * max(min(at, 200.0) - 30.0, 0.0) for at in line_s])
    outlet_s = [35.0, 95.0, 155.0, 215.0]
    outlet = track(outlet_s, [205e3 + 1e3 * max(at - 30.0, 0.0) for at in outlet_s])
    drop_pa = _difference(outlet, line, run, 40_000_000)
    assert drop_pa is not None
    assert abs(drop_pa - 5e3) < 500.0


def test_a_delivery_that_reads_low_clogs_no_filter_whose_drop_is_as_ever() -> None:
    """A third less by the newest runs, which scatter by so much that it shows nothing; 28 kPa across the
    screen as when clean, though Q^2 foretells half of it."""
    runs = [Made(drop_pa=28_000.0)] * 60 + [Made(0.66, drop_pa=28_000.0)] * 7
    said = [found for seed in range(5) for found in gauged(runs, 10.0, seed, scatter=0.4)]
    assert not any(found is not None and found.sure for found in said)
