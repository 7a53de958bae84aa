"""Days to flush: against a known course, what must not be told, and chance itself over several laws."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from analytics.outlooks.clogging import MOST_DAYS, days_to_flush
from tests.analytics.outlooks.clogs import LEVEL, asked, made_up, resistance

POINTS = 20


def course(law: float, share: float, lasts: float, error: float) -> list[tuple[float, float, float]]:
    """Days of an exact course that reaches LEVEL `lasts` days after the first."""
    left = (1.0 / np.sqrt(1.0 + share * (resistance(law, share, day / lasts) - 1.0)) for day in range(POINTS))
    return [(float(day), float(one), error) for day, one in enumerate(left)]


@pytest.mark.parametrize(
    ("law", "share"), [(0.0, 0.3), (1.0, 0.1), (1.5, 1.0)], ids=["cake", "intermediate", "line"]
)
def test_an_exact_course_is_within_the_band(law: float, share: float) -> None:
    early, middle, late = days_to_flush(course(law, share, 30.0, 0.005), LEVEL, 0.002)
    left = 30.0 - (POINTS - 1)
    assert early is not None
    assert middle is not None
    assert late is not None
    assert early < left < late
    assert middle == pytest.approx(left, rel=0.35)
    assert late < 4.0 * left


def test_a_screen_that_quickens_is_told_sooner_than_its_straight_line() -> None:
    """The intermediate law grows as an exponential: the line through its last ten days is late."""
    points = course(1.0, 0.1, 30.0, 0.004)
    day, left = np.array(points)[-10:, :2].T
    slope, at_zero = np.polyfit(day, left, 1)
    straight = (LEVEL - at_zero) / slope - (POINTS - 1)
    _, middle, _ = days_to_flush(points, LEVEL, 0.002)
    assert middle is not None
    assert abs(middle - 11.0) < abs(straight - 11.0)


def test_nothing_is_told_of_a_clean_filter() -> None:
    """Forty plants of thirty healthy days: odds of ten on a clog are for one in ten at the most (Markov),
    and here each day has its own chance."""
    told = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        left = 1.0 + 0.01 * rng.standard_normal(30) + 0.01 * rng.standard_normal()
        points = [(float(day), float(one), 0.01) for day, one in enumerate(left)]
        told += days_to_flush(points, LEVEL, 0.01)[0] is not None
    assert told <= 4


def test_a_loss_that_came_at_once_and_stays_has_no_latest_day() -> None:
    left = [1.0] * 8 + [0.88] * 12
    assert days_to_flush([(float(d), one, 0.008) for d, one in enumerate(left)], LEVEL, 0.004)[2] is None


def test_past_the_level_it_wants_flushing_now() -> None:
    assert days_to_flush([(float(d), 0.7, 0.01) for d in range(6)], LEVEL, 0.01) == (0.0, 0.0, 0.0)


def test_long_past_the_level_it_wants_flushing_now() -> None:
    """Told so surely that nothing is left of the days ahead: no division by their sum, which is none."""
    left = [max(1.0 - 0.05 * day, 0.4) for day in range(20)]
    with np.errstate(invalid="raise"):
        told = days_to_flush([(float(d), one, 0.0005) for d, one in enumerate(left)], LEVEL, 0.001)
    assert told == (0.0, 0.0, 0.0)


def test_few_days_tell_nothing() -> None:
    assert days_to_flush(course(0.0, 0.3, 30.0, 0.005)[:4], LEVEL, 0.002) == (None, None, None)


def test_the_band_holds_seven_to_nine_truths_in_ten() -> None:
    """Of 150 made-up clogs of six kinds. A share of some 280 has a standard error of 0.025."""
    inside, count = 0, 0
    for seed in range(1000, 1150):
        clog = made_up(seed)
        for day in asked(clog, seed, 3):
            points = [(float(k), clog.seen[k], clog.said) for k in range(day + 1)][-90:]
            early, middle, late = days_to_flush(points, LEVEL, clog.common)
            if early is None:
                continue
            order = [one if one is not None else MOST_DAYS for one in (early, middle, late)]
            assert all(a <= b for a, b in pairwise(order))
            count += 1
            inside += order[0] <= clog.flush_day - day <= (late if late is not None else np.inf)
    assert count > 150
    assert 0.70 <= inside / count <= 0.90
