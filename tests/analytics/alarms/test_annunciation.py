"""From findings to alarms: delays, chattering, suppression by design, shelving, restart."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics import faults
from analytics.alarms.annunciation import Annunciator
from analytics.alarms.rationale import ALARMS, EVENTS, SHELVED_LONGEST_US
from analytics.alarms.records import Alarm, Change
from analytics.alarms.states import COMMANDS, SILENT, Event, Refused, State
from analytics.records import Finding, Priority

MIN = 60_000_000
HOUR = 60 * MIN
T = 1_800_000_000_000_000


def found(
    fault: str = "lost_prime", at_us: int = T, priority: Priority = "high", of: str | None = None
) -> Finding:
    return Finding(fault, of, at_us, at_us - MIN, priority, 0.9, "Said.")


def gone(finding: Finding, at_us: int) -> Finding:
    return replace(finding, cleared_us=at_us)


def told(changes: list[Change]) -> list[tuple[str, str | None]]:
    return [(change.fault, change.told) for change in changes if change.told]


def state(desk: Annunciator, fault: str = "lost_prime") -> State:
    return desk.alarms[fault, ""].state


def acknowledged(desk: Annunciator, at_us: int, fault: str = "lost_prime") -> None:
    desk.command(Event.ACKNOWLEDGE, fault, None, at_us, by="Ann")


def test_every_fault_is_either_an_alarm_or_an_event() -> None:
    assert set(ALARMS) | EVENTS == set(faults.FAULTS)
    assert not set(ALARMS) & EVENTS


def test_an_event_calls_nobody() -> None:
    desk = Annunciator()
    assert desk.hear(found("storage_overflow", priority="low"), T) == []
    assert desk.alarms == {}


def test_a_whole_life() -> None:
    desk, one = Annunciator(), found()
    assert told(desk.hear(one, T)) == [("lost_prime", "raised")]
    assert state(desk) is State.UNACKNOWLEDGED
    acknowledged(desk, T + MIN)
    assert state(desk) is State.ACKNOWLEDGED
    assert desk.hear(gone(one, T + HOUR), T + HOUR) == []  # its off-delay has begun
    assert desk.due_us() == T + HOUR + 10 * MIN
    assert desk.pass_time(T + HOUR + 10 * MIN - 1) == []
    assert told(desk.pass_time(T + HOUR + 10 * MIN)) == [("lost_prime", "cleared")]
    alarm = desk.alarms["lost_prime", ""]
    assert alarm.state is State.NORMAL
    assert (alarm.announced_us, alarm.acknowledged_us, alarm.cleared_us) == (T, T + MIN, T + HOUR)
    assert desk.due_us() is None


def test_what_went_unseen_waits_for_its_acknowledgement() -> None:
    desk, one = Annunciator(), found()
    desk.hear(one, T)
    desk.hear(gone(one, T + HOUR), T + 2 * HOUR)
    assert state(desk) is State.RETURNED
    acknowledged(desk, T + 3 * HOUR)
    assert state(desk) is State.NORMAL


def test_a_sensor_that_is_silent_for_less_than_its_on_delay_is_not_told() -> None:
    desk, one = Annunciator(), found("sensor_fault", of="motor")
    assert desk.hear(one, T) == []
    assert desk.hear(gone(one, T + 4 * MIN), T + 4 * MIN) == []
    assert desk.pass_time(T + HOUR) == []
    assert desk.alarms["sensor_fault", "motor"].state is State.NORMAL


def test_what_came_and_went_while_nobody_listened_is_told_as_both() -> None:
    """A backlog is heard at once: the finding is seen for the first time when it is over."""
    desk = Annunciator()
    changes = desk.hear(gone(found("sensor_fault", of="motor"), T + 10 * MIN), T + 5 * HOUR)
    assert told(changes) == [("sensor_fault", "raised"), ("sensor_fault", "cleared")]
    assert desk.alarms["sensor_fault", "motor"].state is State.RETURNED


def test_a_sensor_whose_clock_is_ahead_delays_no_alarm() -> None:
    desk, one = Annunciator(), found(at_us=T + 4 * MIN)
    assert told(desk.hear(one, T)) == [("lost_prime", "raised")]
    desk.hear(gone(one, T + 5 * MIN), T + MIN)
    assert desk.due_us() == T + 11 * MIN


def test_back_within_the_off_delay_is_one_alarm() -> None:
    desk, first = Annunciator(), found()
    desk.hear(first, T)
    acknowledged(desk, T + MIN)
    desk.hear(gone(first, T + 10 * MIN), T + 10 * MIN)
    again = found(at_us=T + 15 * MIN)
    assert told(desk.hear(again, T + 15 * MIN)) == []
    assert state(desk) is State.ACKNOWLEDGED
    assert desk.alarms["lost_prime", ""].raised_us == again.raised_us


def test_worse_than_it_was_announced_calls_again() -> None:
    desk, one = Annunciator(), found("clogged_filter", priority="medium")
    desk.hear(one, T)
    acknowledged(desk, T + MIN, "clogged_filter")
    assert told(desk.hear(replace(one, confidence=0.99), T + HOUR)) == []
    assert told(desk.hear(replace(one, priority="high"), T + HOUR)) == [("clogged_filter", "worse")]
    assert state(desk, "clogged_filter") is State.UNACKNOWLEDGED
    assert told(desk.hear(replace(one, priority="high", confidence=0.5), T + HOUR)) == []


def test_the_third_time_in_six_hours_is_chattering_and_told_once_until_it_settles() -> None:
    desk, messages = Annunciator(), []
    for n in range(12):  # comes every 30 minutes for 5 of them
        one = found(at_us=T + n * 30 * MIN)
        messages += told(desk.hear(one, one.raised_us))
        over = one.raised_us + 5 * MIN
        messages += told(desk.hear(gone(one, over), over))
    last_us = T + 11 * 30 * MIN + 5 * MIN
    assert len(messages) == 5  # raised, cleared, raised, cleared, raised
    assert desk.alarms["lost_prime", ""].chattering
    assert desk.pass_time(last_us + HOUR - 1) == []
    assert told(desk.pass_time(last_us + HOUR)) == [("lost_prime", "cleared")]
    assert not desk.alarms["lost_prime", ""].chattering


def test_a_shelved_alarm_is_silent_until_its_time_runs_out() -> None:
    desk, one = Annunciator(), found()
    desk.hear(one, T)
    until = T + 8 * HOUR
    desk.command(
        Event.SHELVE, "lost_prime", None, T + MIN, by="Ann", reason="Priming on Friday", until_us=until
    )
    alarm = desk.alarms["lost_prime", ""]
    assert (alarm.state, alarm.reason, alarm.by, alarm.until_us) == (
        State.SHELVED,
        "Priming on Friday",
        "Ann",
        until,
    )
    desk.hear(gone(one, T + HOUR), T + 2 * HOUR)
    again = found(at_us=T + 3 * HOUR)
    assert told(desk.hear(again, T + 3 * HOUR)) == []
    assert desk.due_us() == until
    assert told(desk.pass_time(until)) == [("lost_prime", "raised")]


def test_unshelved_when_all_is_well_is_normal() -> None:
    desk, one = Annunciator(), found()
    desk.hear(one, T)
    desk.command(Event.SHELVE, "lost_prime", None, T, by="Ann", reason="x", until_us=T + HOUR)
    desk.hear(gone(one, T + MIN), T + 30 * MIN)
    assert told(desk.command(Event.UNSHELVE, "lost_prime", None, T + 31 * MIN, by="Ann")) == []
    assert state(desk) is State.NORMAL


@pytest.mark.parametrize(
    ("reason", "until_us"),
    [("", T + HOUR), ("  ", T + HOUR), ("x", None), ("x", T), ("x", T + SHELVED_LONGEST_US + 1)],
)
def test_shelving_wants_a_reason_and_an_end(reason: str, until_us: int | None) -> None:
    desk = Annunciator()
    desk.hear(found(), T)
    before = dict(desk.alarms)
    with pytest.raises(Refused):
        desk.command(Event.SHELVE, "lost_prime", None, T, by="A", reason=reason, until_us=until_us)
    assert desk.alarms == before


def test_out_of_service_ends_by_hand_only() -> None:
    desk = Annunciator()
    desk.command(Event.REMOVE, "freeze_risk", None, T, by="Ann", reason="Line drained for winter")
    desk.hear(found("freeze_risk"), T + HOUR)
    desk.pass_time(T + 5000 * HOUR)
    assert state(desk, "freeze_risk") is State.OUT_OF_SERVICE
    assert told(desk.command(Event.RETURN, "freeze_risk", None, T + 5001 * HOUR, by="Ann")) == [
        ("freeze_risk", "raised")
    ]


def test_a_consequence_is_suppressed_by_design_while_its_cause_stands() -> None:
    desk, leak = Annunciator(), found("supply_leak", priority="medium")
    burst = replace(found("burst_line", T + HOUR), onset_us=T - HOUR)
    desk.hear(leak, T)
    changes = desk.hear(burst, T + HOUR)
    assert told(changes) == [("burst_line", "raised")]
    assert state(desk, "supply_leak") is State.SUPPRESSED
    assert told(desk.hear(gone(burst, T + 2 * HOUR), T + 3 * HOUR)) == [
        ("burst_line", "cleared"),
        ("supply_leak", "raised"),
    ]


def test_what_was_called_before_a_cause_began_is_a_fault_of_its_own() -> None:
    desk = Annunciator()
    desk.hear(found("clogged_filter", T, "medium"), T)
    desk.hear(found("lost_prime", T + HOUR), T + HOUR)
    assert state(desk, "clogged_filter") is State.UNACKNOWLEDGED


def test_nothing_is_suppressed_by_a_less_urgent_cause() -> None:
    desk = Annunciator()
    desk.hear(found("overpressure"), T)
    desk.hear(found("short_cycling", T + MIN, "medium"), T + MIN)
    assert state(desk, "overpressure") is State.UNACKNOWLEDGED


def test_of_two_that_follow_from_each_other_the_first_speaks() -> None:
    desk = Annunciator()
    desk.hear(found("clogged_filter", T, "medium"), T)
    desk.hear(found("pump_wear", T + MIN, "medium"), T + MIN)
    assert state(desk, "clogged_filter") is State.UNACKNOWLEDGED
    assert state(desk, "pump_wear") is State.SUPPRESSED


def test_a_guided_test_holds_its_alarms_for_its_time() -> None:
    desk = Annunciator()
    desk.hold(["supply_leak"], T + HOUR, T, "Ann", "leak-down test")
    assert told(desk.hear(found("supply_leak", T + MIN, "medium"), T + MIN)) == []
    assert desk.due_us() == T + HOUR
    assert told(desk.pass_time(T + HOUR)) == [("supply_leak", "raised")]
    desk.hold(["supply_leak"], T + 3 * HOUR, T + 2 * HOUR, "Ann", "leak-down test")
    assert told(desk.hold(["supply_leak"], 0, T + 2 * HOUR + MIN, "Ann", "over")) == [
        ("supply_leak", "raised")
    ]


def test_a_hold_behind_a_cause_does_not_ask_for_time_for_ever() -> None:
    desk = Annunciator()
    desk.hear(found("burst_line"), T)
    desk.hold(["supply_leak"], T + HOUR, T, "Ann", "test")
    desk.hear(found("supply_leak", T + MIN, "medium"), T + MIN)
    desk.pass_time(T + HOUR)
    assert state(desk, "supply_leak") is State.SUPPRESSED
    assert desk.due_us() is None


def test_an_older_finding_or_a_repeated_word_changes_nothing() -> None:
    desk, one = Annunciator(), found()
    desk.hear(one, T)
    assert desk.hear(one, T + 1) == []
    assert desk.hear(found(at_us=T - HOUR), T + 2) == []


# --- whatever happens ----------------------------------------------------------------------------

MOMENT = st.integers(0, 90)
WORD = st.one_of(
    st.tuples(st.just("find"), st.sampled_from(["lost_prime", "supply_leak", "sensor_fault"]), MOMENT),
    st.tuples(st.just("clear"), st.sampled_from(["lost_prime", "supply_leak", "sensor_fault"]), MOMENT),
    st.tuples(st.sampled_from(sorted(COMMANDS)), st.sampled_from(["lost_prime", "supply_leak"]), MOMENT),
    st.tuples(st.just("wait"), st.just(""), MOMENT),
)
PRIORITIES: tuple[Priority, ...] = get_args(Priority)


def play(
    words: list[tuple[str, str, int]], restart: bool
) -> tuple[list[Change], dict[tuple[str, str], Alarm]]:
    """A story told to an annunciator that is or is not begun anew from its records at every word."""
    desk, now, changes, open_ = Annunciator(), T, [], {}
    for what, fault, minutes in words:
        now += minutes * MIN
        if restart:
            desk = Annunciator(list(desk.alarms.values()))
        if what == "find" and fault not in open_:
            open_[fault] = found(fault, now, PRIORITIES[minutes % 3])
            changes += desk.hear(open_[fault], now)
        elif what == "clear" and fault in open_:
            changes += desk.hear(gone(open_.pop(fault), now), now)
        elif isinstance(what, Event):
            with contextlib.suppress(Refused):
                changes += desk.command(what, fault, None, now, by="A", reason="r", until_us=now + HOUR)
        changes += desk.pass_time(now)
        due_us = desk.due_us()
        assert due_us is None or due_us > now  # else the daemon would commit for ever
    return changes, desk.alarms


@settings(max_examples=150, deadline=None)
@given(st.lists(WORD, max_size=40))
def test_restarts_change_nothing_and_silence_is_kept(words: list[tuple[str, str, int]]) -> None:
    whole, alarms = play(words, restart=False)
    assert (whole, alarms) == play(words, restart=True)
    for change in whole:
        assert change.told is None or change.after not in SILENT
    times = [change.time_us for change in whole]
    assert times == sorted(times)


@settings(max_examples=100, deadline=None)
@given(st.lists(WORD, max_size=40))
def test_in_the_end_every_alarm_is_where_its_condition_is(words: list[tuple[str, str, int]]) -> None:
    _, alarms = play([*words, ("wait", "", 100), ("wait", "", 100)], restart=False)
    for alarm in alarms.values():
        assert alarm.active == alarm.standing
        if alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
            assert alarm.active
        if alarm.state in (State.NORMAL, State.RETURNED):
            assert not alarm.active
