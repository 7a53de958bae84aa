"""A fault that comes and goes is one finding: told twice, then kept for as long as it keeps coming back."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import pytest

from analytics.engine import Engine
from analytics.judging.arbitration import Ledger
from analytics.judging.habits import Habit
from analytics.judging.watch import AllClear, Claim
from analytics.records import Finding
from tests.analytics import traces

HOUR = 3_600_000_000
DAY = 24 * HOUR
SAID = Claim("burst_line", 0, "high", 0.9, "It has burst.")
CLOGS = Claim("clogged_filter", 0, "medium", 0.9, "It clogs.")
OVER = AllClear("burst_line", None, "The line holds.")


def comes_and_goes(ledger: Ledger, *days: float, claim: Claim = SAID) -> list[Finding]:
    """The findings after an hour of it on each day, in their last words."""
    found: dict[tuple[str, str, int], Finding] = {}
    clear = AllClear(claim.fault, claim.of, OVER.summary)
    for day in days:
        at_us = int(day * DAY)
        changed = [*ledger.over(at_us), *ledger.hear([claim], at_us), *ledger.hear([clear], at_us + HOUR)]
        found |= {one.key: one for one in changed}
    return list(found.values())


def test_what_comes_each_day_is_two_findings_and_the_second_is_gone_for_now() -> None:
    first, second = comes_and_goes(Ledger(), 10, 11, 12, 13, 14.5, 15)
    assert first.cleared_us == 10 * DAY + HOUR
    assert (second.raised_us, second.cleared_us, second.priority) == (11 * DAY, None, "low")
    assert "gone for now" in second.summary
    assert second.gone_for_now
    assert not first.gone_for_now


def test_when_it_comes_again_it_is_told_as_what_it_is() -> None:
    """At its full priority, so that whoever had acknowledged it hears of it."""
    ledger = Ledger()
    comes_and_goes(ledger, 10, 11)
    assert not ledger.is_open("burst_line")  # it explains nothing while it is away
    (again,) = ledger.hear([SAID], 12 * DAY)
    assert (again.raised_us, again.priority, again.summary) == (11 * DAY, "high", "It has burst.")
    assert ledger.is_open("burst_line")
    assert not again.gone_for_now


def test_what_has_stayed_away_for_twice_its_longest_absence_is_over_by_then() -> None:
    ledger = Ledger()
    comes_and_goes(ledger, 10, 11)
    assert ledger.waiting_us == 11 * DAY + HOUR + 2 * 23 * HOUR
    assert ledger.over(ledger.waiting_us - 1) == []
    (over,) = ledger.over(ledger.waiting_us)
    assert (over.raised_us, over.cleared_us) == (11 * DAY, 11 * DAY + HOUR + 2 * 23 * HOUR)
    assert ledger.waiting_us is None
    (fresh,) = ledger.hear([SAID], 20 * DAY)
    assert fresh.raised_us == 20 * DAY


@pytest.mark.parametrize("claim", [SAID, Claim("freeze_risk", 0, "medium", 0.9, "It freezes."), CLOGS])
def test_what_comes_a_fortnight_later_or_with_the_weather_or_was_put_right_is_another(claim: Claim) -> None:
    days = (10, 25, 40) if claim is SAID else (10, 11.5, 13)
    found = comes_and_goes(Ledger(), *days, claim=claim)
    assert [one.cleared_us for one in found] == [one.raised_us + HOUR for one in found]
    assert len(found) == 3


def test_a_restart_forgets_neither_habit_nor_what_has_gone_for_now() -> None:
    judge = Engine(traces.plant()).judge
    comes_and_goes(judge._ledger, 10, 11)
    saved = msgspec.msgpack.decode(msgspec.msgpack.encode(judge.saved()))
    again = Engine(traces.plant()).judge
    again.restore(saved)
    assert again._ledger.waiting_us == judge._ledger.waiting_us
    assert again._ledger.habits == judge._ledger.habits
    assert [type(habit) for habit in again._ledger.habits.values()] == [Habit]
    (told,) = again._ledger.hear([replace(SAID, summary="Again.")], 12 * DAY)
    assert told.raised_us == 11 * DAY
