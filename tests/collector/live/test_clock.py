"""Stamps from a wall clock that jumps: in order, apart, and soon right again."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from collector.live.clock import BELIEVED_BACK_US, Stamps

S = 1_000_000
BEGIN_US = 1_790_000_000 * S


def stamped(offsets_us: list[int]) -> list[int]:
    """Stamps once a second of a wall clock that is off by these."""
    stamps = Stamps()
    return [stamps.at(BEGIN_US + i * S + off, i * S)[0] for i, off in enumerate(offsets_us)]


def test_a_true_clock_is_believed() -> None:
    assert stamped([0] * 5) == [BEGIN_US + i * S for i in range(5)]


def test_a_step_forward_is_followed_at_once() -> None:
    assert stamped([0, 0, 3600 * S])[2] == BEGIN_US + 3602 * S


def test_four_minutes_back_keep_readings_apart_and_are_made_good() -> None:
    given_us = stamped([0] * 10 + [-240 * S] * 6000)
    apart = [b - a for a, b in pairwise(given_us)]
    assert min(apart) >= 0.94 * S
    assert max(apart) <= S
    assert given_us[-1] == BEGIN_US + 6009 * S - 240 * S


def test_an_hour_back_is_believed() -> None:
    stamps = Stamps()
    stamps.at(BEGIN_US, 0)
    assert stamps.at(BEGIN_US - 3600 * S, S) == (BEGIN_US - 3600 * S, True)


@given(st.lists(st.integers(-BELIEVED_BACK_US // 2, BELIEVED_BACK_US // 2), min_size=2, max_size=50))
def test_small_corrections_never_turn_time_round(offsets_us: list[int]) -> None:
    given_us = stamped(offsets_us)
    assert given_us == sorted(given_us)
