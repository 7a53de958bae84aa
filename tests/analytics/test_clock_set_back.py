"""A recording whose clock is set back: the engine goes on at once, keeps what it learned, raises nothing."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from analytics.readings import Readings
from analytics.seeing.ordering import Ordering
from analytics.seeing.turning import LASTING_US
from tests.analytics.test_engine import DAY_US, START_US, Said, losing, readings, said, whole

HOUR_US = 3_600_000_000
S = 1_000_000


def set_back(everything: Readings, at_us: int, by_us: int) -> Readings:
    """The same in order of arrival, as a clock stamps it that is set back by so much at `at_us`."""
    time_us = np.where(everything.time_us >= at_us, everything.time_us - by_us, everything.time_us)
    return Readings(everything.signal, time_us, everything.value)


@cache
def not_set_back() -> Said:
    return said([readings("healthy", 7)])


@pytest.mark.parametrize("by_us", [700 * S, HOUR_US, 3 * HOUR_US, 56 * 365 * DAY_US])
def test_no_fault_arises_and_cycles_go_on(by_us: int) -> None:
    at_us = START_US + round(3.4 * DAY_US)
    cycles, findings = said([set_back(readings("healthy", 7), at_us, by_us)])
    assert {fault for fault, _, _ in findings} <= {fault for fault, _, _ in not_set_back()[1]}
    plain = [cycle.start_us for cycle in not_set_back()[0]]
    blind_us = LASTING_US + HOUR_US // 4
    expected = [start_us - by_us for start_us in plain if start_us > at_us + blind_us]
    told = {cycle.start_us for cycle in cycles}
    missing = [start_us for start_us in expected if start_us not in told]
    assert len(expected) > 30
    assert len(missing) <= 1  # the run under way when the clock proved to be set back


def test_a_fault_an_hour_after_the_step_is_found_at_its_own_time() -> None:
    everything = losing()
    (raised_us,) = [key[2] for key in whole()[1] if key[0] == "lost_prime"][:1]
    _, findings = said([set_back(everything, raised_us - HOUR_US, HOUR_US)])
    found = [finding for key, finding in findings.items() if key[0] == "lost_prime"]
    assert abs(found[0].raised_us - (raised_us - HOUR_US)) <= 1 * S
    assert all(finding.onset_us <= finding.raised_us for finding in found)


def test_neither_chunks_nor_restarts_change_a_word() -> None:
    everything = losing()
    turned = set_back(everything, int(everything.time_us[len(everything) // 3]), HOUR_US)
    at_once = said([turned])
    edges = [0, *np.random.default_rng(2).integers(1, len(turned), 9).tolist(), len(turned)]
    third = len(turned) // 3
    for cuts in (sorted(edges), [0, *range(third - 50, third + 1500, 1), len(turned)]):
        parts = [turned[a:b] for a, b in pairwise(cuts)]
        assert said(parts, frozenset(range(0, 9, 2))) == at_once


def in_order(signal: list[int], second: list[int]) -> Readings:
    time_us = np.array(second, np.int64) * S + 1_000 * DAY_US
    return Readings(np.array(signal, np.int16), time_us, np.zeros(len(second)))


def released(ordering: Ordering, *parts: Readings) -> int:
    return sum(len(one) for part in parts for one in ordering.feed(part)) + len(ordering.finish())


def test_stragglers_batches_sent_again_and_one_slow_clock_turn_nothing() -> None:
    day = list(range(5000))
    live = in_order([0] * 5000, day)
    straggler = in_order([0], [100])
    again = in_order([0] * 590, list(range(4000, 4590)))
    later = in_order([0] * 100, list(range(5000, 5100)))
    slow = in_order([0, 1] * 5000, [second for k in range(5000) for second in (k + 5100, k)])
    ordering = Ordering()
    assert released(ordering, live, straggler, again, later, slow) == 10_100
    assert ordering.late == 1 + 590 + 5000
    assert ordering.turns.shift_us == 0


def test_a_sensor_that_was_never_on_time_turns_nothing() -> None:
    ordering = Ordering()
    released(ordering, in_order([0] * 5000, list(range(5000))), in_order([1] * 3000, list(range(3000))))
    assert ordering.late == 3000
    assert ordering.turns.shift_us == 0


def test_a_clock_set_back_costs_ten_minutes_whatever_the_step() -> None:
    for back_s in (700, 3600, 86_400 * 500):
        ordering = Ordering()
        first, second = list(range(5000)), list(range(5000 - back_s, 10_000 - back_s))
        count = released(ordering, in_order([0] * 5000, first), in_order([0] * 5000, second))
        assert (count, ordering.late) == (9_400, 600)
        assert ordering.turns.shift_us % DAY_US == 0
        restored = Ordering()
        restored.restore(ordering.saved())
        newest_us = 1_000 * DAY_US + second[-1] * S
        assert restored.turns.stamped(newest_us + ordering.turns.shift_us) == newest_us
        assert restored.turns.stamped(1_000 * DAY_US) == 1_000 * DAY_US  # before the step
