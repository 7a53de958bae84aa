"""When the air wants topping up, on courses made up here: straight, or by a share a day."""

from __future__ import annotations

from math import log

import numpy as np
import pytest

from analytics.outlooks.clogging import days_by_any
from analytics.outlooks.courses import Reading
from analytics.outlooks.figures import AIR_GOES

LEVEL = 0.75
Band = tuple[float | None, float | None, float | None]


def told(share: list[float], error: float, common: float = 0.002) -> Band:
    days = [(float(day), one, error) for day, one in enumerate(share)]
    return days_by_any([Reading(days, {1.0: 1.0}, AIR_GOES, by_use=False)], LEVEL, common)


def holds(band: Band, truth: float) -> bool:
    early, _, late = band
    return early is not None and early <= truth and (late is None or truth <= late)


@pytest.mark.parametrize("straight", [True, False])
def test_the_band_holds_eight_in_ten(straight: bool) -> None:
    """Eight in ten of 80 declines, by three standard errors of such a share (0.134)."""
    inside, asked = 0, 0
    for seed in range(80):
        rng = np.random.default_rng(seed)
        lasts, now = float(rng.uniform(15.0, 60.0)), float(rng.uniform(0.4, 0.9))
        days = np.arange(0.0, max(now * lasts, 10.0))
        part = days / lasts
        true = 1.0 - 0.25 * part if straight else LEVEL**part
        band = told((true + 0.01 * rng.standard_normal(len(days))).tolist(), 0.01)
        if band[0] is not None:
            asked += 1
            inside += holds(band, lasts - float(days[-1]))
    assert asked > 60
    assert inside / asked == pytest.approx(0.8, abs=0.134)


def test_days_that_err_together_do_not_pass_for_many() -> None:
    """A spell of some days moves all of them (r = 0.6, by three times what their runs say): the band of a
    line through them held 61 % of these truths."""
    inside, asked = 0, 0
    for seed in range(80):
        rng = np.random.default_rng(1_000 + seed)
        lasts = float(rng.uniform(20.0, 60.0))
        days = np.arange(0.0, float(rng.uniform(0.5, 0.9)) * lasts)
        off = np.zeros(len(days))
        for day in range(1, len(days)):
            off[day] = 0.6 * off[day - 1] + 0.8 * 0.03 * rng.standard_normal()
        band = told((1.0 - 0.25 * days / lasts + off).tolist(), 0.01)
        if band[0] is not None:
            asked += 1
            inside += holds(band, lasts - float(days[-1]))
    assert asked > 40
    assert inside / asked >= 0.65


def test_level_days_before_a_decline_do_not_flatten_its_course() -> None:
    """Ten level days, then a hundredth a day: 0.75 is due ten days after the last; one line would say 19."""
    middles = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        share = [1.0 - 0.01 * max(day - 10, 0) + 0.003 * rng.standard_normal() for day in range(26)]
        band = told(share, 0.003)
        assert band[1] is not None
        middles.append(band[1])
    assert np.median(middles) == pytest.approx(10.0, abs=0.8)


def test_what_does_not_fall_has_no_day() -> None:
    rng = np.random.default_rng(1)
    assert told([1.0 + 0.01 * rng.standard_normal() for _ in range(20)], 0.01) == (None, None, None)
    assert told([0.9, 0.88, 0.86, 0.84], 0.003) == (None, None, None)


def test_an_error_that_all_days_share_widens_the_band() -> None:
    share = [LEVEL ** (day / 30.0) for day in range(16)]
    sure, unsure = (told(share, 0.004, common) for common in (0.001, 0.03))
    widths = [(log(late) - log(early)) for early, _, late in (sure, unsure) if early and late]
    assert len(widths) == 2
    assert widths[1] > 1.5 * widths[0]


def test_what_scatters_too_much_is_not_told_of() -> None:
    """Samples a minute apart: a tenth from one day to the next says nothing of weeks."""
    told_of = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        share = [1.0 - 0.002 * day + 0.1 * rng.standard_normal() for day in range(20)]
        told_of += told(share, 0.03)[1] is not None
    assert told_of <= 2


def test_a_level_that_is_passed_by_less_than_its_error_may_not_be_passed() -> None:
    """Three days at the level, give or take: it said that the day had surely come."""
    share = [1.0 - 0.0125 * day for day in range(21)]  # 0.75 on the last
    early, middle, late = told(share, 0.02, 0.02)
    assert early == 0.0
    assert middle is not None
    assert late is not None
    assert late > 0.5
