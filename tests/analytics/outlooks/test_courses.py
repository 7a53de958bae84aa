"""The grid of courses: what it is by the laws themselves; quicker arithmetic takes nothing from it."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.outlooks.courses import (
    LAWS,
    SHARES,
    Reading,
    Record,
    course,
    evidence,
    growing,
    kinds,
    off,
    passed,
)
from tests.analytics.outlooks.clogs import LEVEL, resistance

DAYS = np.arange(30.0)
ONSETS, FLUSHES = np.linspace(-5.0, 25.0, 7), np.geomspace(0.25, 366.0, 9)


def record(error: float) -> Record:
    rng = np.random.default_rng(3)
    log_left = np.log(1.0 - 0.004 * DAYS) + rng.normal(0.0, error, len(DAYS))
    return Record(DAYS, log_left, np.full(len(DAYS), error**-2), float(len(DAYS)))


@pytest.mark.parametrize("law", list(LAWS))
@pytest.mark.parametrize("share", list(SHARES))
def test_a_course_follows_its_law(law: float, share: float) -> None:
    part = np.linspace(0.0, 1.0, 11)
    left = [1.0 / np.sqrt(1.0 + share * (resistance(law, share, one) - 1.0)) for one in part]
    assert course(part, law, share, LEVEL) == pytest.approx(np.log(left), abs=1e-12)
    assert part[-1] == 1.0  # it is taken as it is, and left so


@pytest.mark.parametrize("flushes", [FLUSHES, -FLUSHES[:4]], ids=["ahead", "behind"])
@pytest.mark.parametrize("error", [0.002, 0.02])
def test_single_precision_weighs_as_double_does(error: float, flushes: np.ndarray) -> None:
    """To a thousandth of the odds, where a course is likely enough to count at all."""
    days, reading = record(error), Reading([])
    quick = evidence(days, growing(days, ONSETS, flushes, LEVEL, reading), 0.003)
    part = passed(DAYS, ONSETS, flushes)
    exact = np.stack(
        [
            evidence(days, off(days, course(part, law, share, LEVEL)), 0.003)
            for law, share, _ in kinds(reading)
        ]
    )
    counts = exact > exact.max() - 20.0
    assert np.abs(quick - exact)[counts].max() < 1e-3


def test_days_that_err_together_weigh_as_fewer_do() -> None:
    days = record(0.01)
    apart = growing(days, ONSETS, FLUSHES, LEVEL, Reading([]))
    half = days._replace(weight=0.5 * days.weight, counts_as=0.5 * days.counts_as)
    asked_anew = evidence(half, growing(half, ONSETS, FLUSHES, LEVEL, Reading([])), 0.003)
    assert evidence(days._replace(worth=0.5), apart, 0.003) == pytest.approx(asked_anew, abs=1e-3)
    assert not np.allclose(evidence(days, apart, 0.003), asked_anew, atol=0.1)
