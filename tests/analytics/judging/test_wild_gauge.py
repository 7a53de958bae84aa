"""Wild gauges: most beats are passed over by their words' steps, and none is that could count."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analytics.judging.wild_gauge import _steps
from analytics.seeing.middles import unspiked

WORDS = st.lists(st.floats(0.0, 1e6), min_size=3, max_size=60)


@given(words=WORDS, least_pa=st.floats(0.0, 5e5))
def test_no_more_middles_rise_than_words_step(words: list[float], least_pa: float) -> None:
    value = np.array(words)
    rises = np.count_nonzero(np.diff(unspiked(value)) > least_pa)
    assert rises <= _steps(value, least_pa)


def test_a_fall_that_uncovers_a_rise_is_a_step() -> None:
    # the middles 1, 1, 5, 9, 9 rise twice, and one of the two steps below them is a fall
    value = np.array([1.0, 0.0, 9.0, 5.0, 9.0])
    assert _steps(value, 0.5) == 4
    assert np.count_nonzero(np.diff(unspiked(value)) > 0.5) <= 4
