"""When messages go: at once, gathered, or in the morning; and how long a failing channel waits."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.records import Priority
from collector.notify.planning import GAP_US, GATHER_US, going, is_quiet, wait_s
from collector.notify.words import Message

S = 1_000_000
ZONE = "America/Boise"
NIGHT = (21 * 60 + 30, 6 * 60 + 30)


def at(hour: int, minute: int = 0) -> int:
    """A moment of 12 May 2026 by Boise's clock, which is then 6 h behind UTC."""
    return int((datetime(2026, 5, 12, tzinfo=UTC).timestamp() + (hour + 6) * 3600 + minute * 60) * S)


def message(at_us: int, priority: Priority = "medium", told: str = "raised") -> Message:
    return Message("p", "P", ZONE, told, at_us, priority, "H", "lost_prime")


def test_high_goes_at_once_and_takes_along_what_waits() -> None:
    now = at(12)
    assert going([message(now), message(now, "high")], None, now, now - 15 * S) == [0, 1]
    assert going([message(now, "high")], None, now, now - 5 * S) == []  # within ten seconds of the last


def test_the_rest_is_gathered_and_keeps_its_distance() -> None:
    now = at(12)
    one = [message(now)]
    assert going(one, None, now + GATHER_US - 1, 0) == []
    assert going([*one, message(now + 10 * S)], None, now + GATHER_US, 0) == [0, 1]
    assert going(one, None, now + GATHER_US, now) == []
    assert going(one, None, now + GAP_US, now) == [0]


@pytest.mark.parametrize(
    ("hour", "quiet"), [(21, False), (22, True), (0, True), (6, True), (7, False), (12, False)]
)
def test_quiet_hours_are_the_owners(hour: int, quiet: bool) -> None:
    assert is_quiet(NIGHT, ZONE, at(hour)) is quiet
    assert is_quiet((6 * 60, 7 * 60), ZONE, at(hour)) is (hour == 6)
    assert not is_quiet(None, ZONE, at(hour))


def test_at_night_only_what_is_low_or_over_waits() -> None:
    night = at(23)
    waiting = [
        message(night, "low"),
        message(night, "high", "cleared"),
        message(night, "medium"),
        message(night, "high"),
    ]
    assert going(waiting, NIGHT, night + GATHER_US, 0) == [2, 3]
    assert going(waiting[:2], NIGHT, night + GATHER_US, 0) == []
    assert going(waiting[:2], NIGHT, at(24 + 7), 0) == [0, 1]


def test_a_clock_that_was_set_back_holds_nothing_up() -> None:
    now = at(12)
    assert going([message(now + 3600 * S)], None, now, now + 3600 * S) == [0]


@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 100_000), st.sampled_from(["high", "medium", "low"]), st.booleans()),
        min_size=1,
        max_size=60,
    )
)
def test_all_are_sent_in_the_end_and_never_in_a_storm(
    told: list[tuple[int, Priority, bool]],
) -> None:
    """A day and more, looked at every half minute: each goes once; without a high one, five minutes apart."""
    start = at(0)
    coming = sorted(
        (message(start + s * S, p, "cleared" if over else "raised") for s, p, over in told),
        key=lambda one: one.at_us,
    )
    held: list[Message] = []
    sent: list[tuple[int, list[Message]]] = []
    for now in range(start, start + 40 * 3600 * S, 30 * S):
        while coming and coming[0].at_us <= now:
            held.append(coming.pop(0))
        go = going(held, NIGHT, now, sent[-1][0] if sent else 0)
        if go:
            sent.append((now, [held[n] for n in go]))
            held = [one for n, one in enumerate(held) if n not in go]
    assert held == []
    assert sum(len(batch) for _, batch in sent) == len(told)
    for (before, _), (after, batch) in pairwise(sent):
        if not any(one.priority == "high" and one.told != "cleared" for one in batch):
            assert after - before >= GAP_US


def test_waits_double_up_to_a_bound() -> None:
    assert 2.5 <= wait_s(1) <= 5.0
    assert 20.0 <= wait_s(4) <= 40.0
    for failures in (12, 500):
        assert 450.0 <= wait_s(failures) <= 900.0
