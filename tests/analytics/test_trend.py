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
