"""The straight line's day of crossing: against a table, a known line, and chance itself."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.outlooks.trend import days_until, student_t90


@pytest.mark.parametrize("freedom", [3, 4, 5, 8, 12, 40])
def test_students_t_as_in_scipy(freedom: int) -> None:
    assert student_t90(freedom) == pytest.approx(stats.t.ppf(0.9, freedom), rel=0.01)


def test_known_line() -> None:
    early, middle, late = days_until([(d, 1.0 - 0.02 * d) for d in range(8)], 0.76)
    assert (early, middle, late) == pytest.approx((5.0, 5.0, 5.0))


def test_what_does_not_fall_has_no_day() -> None:
    rng = np.random.default_rng(1)
    level = [(float(d), 1.0 + 0.01 * rng.normal()) for d in range(20)]
    assert days_until(level, 0.75)[1:] == (None, None)
    assert days_until(level[:4], 0.75) == (None, None, None)


def test_band_holds_eight_in_ten() -> None:
    """2000 noisy declines of a known line: 80 % of the crossings within the band, by three standard
    errors of a share (0.027)."""
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(2000):
        points = [(float(d), 1.0 - 0.01 * d + 0.02 * rng.normal()) for d in range(14)]
        early, _, late = days_until(points, 0.8)
        truth = 20.0 - 13.0
        inside += (early is not None and early <= truth) and (late is None or late >= truth)
    assert inside / 2000 == pytest.approx(0.8, abs=0.03)


def test_level_days_before_a_decline_do_not_flatten_its_line() -> None:
    """Ten level days, then a hundredth a day: 0.75 is due ten days after the last. One line through all
    would say nineteen. Eight in ten within the band, by three standard errors of a share of 200."""
    inside, middles = 0, []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        value = [1.0 - 0.01 * max(d - 10, 0) + 0.003 * rng.normal() for d in range(26)]
        early, middle, late = days_until(list(enumerate(value)), 0.75)
        assert early is not None
        assert middle is not None
        assert late is not None
        inside += early <= 10.0 <= late
        middles.append(middle)
    assert inside / 200 == pytest.approx(0.8, abs=0.085)
    assert np.median(middles) == pytest.approx(10.0, abs=0.3)


def test_an_error_that_all_days_share_widens_the_band() -> None:
    """Of a fiftieth, at a hundredth a day: a tenth and a ninetieth percentile 1.28 x 2 days either side."""
    points = [(d, 1.0 - 0.01 * d) for d in range(40)]
    early, _, late = days_until(points, 0.5, 0.02)
    assert early is not None
    assert late is not None
    assert late - early == pytest.approx(2 * 1.28 * 2.0, rel=0.05)


def test_a_decline_that_has_just_begun_is_told_with_a_wide_band() -> None:
    """Six level days and ten of a decline: which day it began is not known, and the band says so."""
    inside = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        value = [1.0 - 0.012 * max(d - 5, 0) + 0.02 * rng.normal() for d in range(16)]
        early, _, late = days_until(list(enumerate(value)), 0.75)
        truth = (0.25 - 0.12) / 0.012
        inside += (early is not None and early <= truth) and (late is None or late >= truth)
    assert inside / 200 == pytest.approx(0.8, abs=0.1)


def test_days_that_share_their_runs_widen_the_band() -> None:
    """Errors that carry over by six tenths from day to day. Taken for independent, 44 truths of 100 were
    inside; thirty days show too little of it for all eighty, but two in three are."""
    inside = 0
    for seed in range(400):
        rng, error, value = np.random.default_rng(seed), 0.0, []
        for d in range(30):
            error = 0.6 * error + 0.012 * rng.normal()
            value.append(1.0 - 0.006 * d + error)
        early, _, late = days_until(list(enumerate(value)), 0.75)
        truth = 0.25 / 0.006 - 29.0
        inside += (early is not None and early <= truth) and (late is None or late >= truth)
    assert 0.64 < inside / 400 < 0.85
