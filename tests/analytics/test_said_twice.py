"""What was sent twice, in a feed of any length: it leaves the ordering once, whichever way it goes."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.readings import Readings
from analytics.seeing.ordering import MANY, Ordering

SECOND_US = 1_000_000
#: Two signals a second, for so long that what is in order passes through as it is.
COUNT = 2 * MANY


def plain() -> Readings:
    time_us = np.repeat(np.arange(COUNT // 2) * SECOND_US, 2)
    return Readings.of(np.tile([0, 1], COUNT // 2), time_us, np.arange(COUNT) * 0.5)


def said_again(readings: Readings, which: list[int], more: float) -> Readings:
    """With some of them twice, the second time `more`."""
    again = np.array(which)
    return Readings(
        np.insert(readings.signal, again + 1, readings.signal[again]),
        np.insert(readings.time_us, again + 1, readings.time_us[again]),
        np.insert(readings.value, again + 1, readings.value[again] + more),
    )


def let_go(parts: list[Readings]) -> list[tuple[int, int, float]]:
    ordering = Ordering()
    ordering.feed(Readings.of([0], [-SECOND_US], [0.0]))
    out = Readings.concatenate([one for part in parts for one in ordering.feed(part)] + [ordering.finish()])
    return list(zip(out.signal.tolist(), out.time_us.tolist(), out.value.tolist(), strict=True))[1:]


def pieces(readings: Readings, size: int) -> list[Readings]:
    return [readings[at : at + size] for at in range(0, len(readings), size)]


@pytest.mark.parametrize("more", [0.0, 3.0, -3.0, np.nan])
@pytest.mark.parametrize("size", [COUNT * 2, MANY + 1, 7])
def test_it_leaves_once_and_of_two_that_differ_the_smaller(more: float, size: int) -> None:
    which = [0, 1, 500, 501, COUNT - 30, COUNT - 1]
    expected = plain().value
    expected[which] = np.fmin(expected[which], expected[which] + more)
    found = let_go(pieces(said_again(plain(), which, more), size))
    assert [value for *_, value in found] == expected.tolist()
    assert [(signal, at) for signal, at, _ in found] == list(
        zip(plain().signal.tolist(), plain().time_us.tolist(), strict=True)
    )


@pytest.mark.parametrize("size", [COUNT * 2, 7])
def test_signals_of_one_instant_leave_in_their_order(size: int) -> None:
    readings = plain()
    swapped = np.arange(COUNT).reshape(-1, 2)[:, ::-1].ravel()
    assert let_go(pieces(readings[swapped], size)) == let_go(pieces(readings, size))


def test_three_times_is_once() -> None:
    thrice = said_again(said_again(plain(), [9], 0.0), [9], 0.0)
    assert let_go([thrice]) == let_go([plain()])
