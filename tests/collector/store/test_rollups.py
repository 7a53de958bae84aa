"""Rollups are what adding up by hand gives."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from collector.store.blocks import HOUR_US, MINUTE_US
from collector.store.rollups import Rollup

values = st.one_of(st.floats(-1e6, 1e6), st.sampled_from([math.nan, math.inf, -math.inf]))
rows = st.dictionaries(st.integers(-2 * HOUR_US, 2 * HOUR_US), values, max_size=60)


def by_hand(found: dict[int, float], step_us: int) -> dict[int, tuple[float, float, float, int]]:
    steps: dict[int, list[float]] = {}
    for time_us, value in sorted(found.items()):
        steps.setdefault(time_us // step_us * step_us, []).append(value)
    numbers = {step: [v for v in members if math.isfinite(v)] for step, members in steps.items()}
    return {
        step: (min(n), math.fsum(n), max(n), len(n)) if n else (math.nan, 0.0, math.nan, 0)
        for step, n in numbers.items()
    }


def told(rollup: Rollup) -> dict[int, tuple[float, float, float, int]]:
    columns = (rollup.minimum, rollup.total, rollup.maximum, rollup.count)
    return {
        int(t): (float(a), float(b), float(c), int(d))
        for t, a, b, c, d in zip(rollup.time_us, *columns, strict=True)
    }


def same(a: dict, b: dict) -> bool:
    return list(a) == list(b) and all(
        np.allclose(a[step], b[step], rtol=1e-12, atol=1e-7, equal_nan=True) for step in a
    )


def of(found: dict[int, float], step_us: int) -> Rollup:
    ordered = sorted(found.items())
    return Rollup.of(
        np.array([t for t, _ in ordered], np.int64), np.array([v for _, v in ordered], np.float64), step_us
    )


@given(rows)
def test_minutes_and_hours_equal_those_by_hand(found):
    minutes = of(found, MINUTE_US)
    assert same(told(minutes), by_hand(found, MINUTE_US))
    assert same(told(minutes.by(HOUR_US)), by_hand(found, HOUR_US))


@given(rows, rows)
def test_parts_that_share_steps_join(one, other):
    other = {t: v for t, v in other.items() if t not in one}
    joined = Rollup.joined([of(one, MINUTE_US), of(other, MINUTE_US)], MINUTE_US)
    assert same(told(joined), by_hand(one | other, MINUTE_US))
