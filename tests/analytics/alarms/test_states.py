"""Every pair of state and event, against the rules of IEC 62682's state diagram written down apart.

The rules are from memory of IEC 62682:2014 / ANSI/ISA-18.2 (alarm state transition diagram and its text);
the standard itself was not at hand.
"""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

from analytics.alarms.states import COMMANDS, SILENT, TABLE, Event, Refused, State, described, next_state

PAIRS = list(product(State, Event))


def reached(state: State, event: Event, active: bool) -> State | None:
    try:
        return next_state(state, event, active)
    except Refused:
        return None


def rule(state: State, event: Event, active: bool) -> State | None:
    """The standard's text as conditions, not as a table."""
    afresh = State.UNACKNOWLEDGED if active else State.NORMAL
    if state is State.OUT_OF_SERVICE:  # only maintenance ends it
        kept = {Event.SHELVE: None, Event.RETURN: afresh}
        refused = {Event.ACKNOWLEDGE, Event.UNSHELVE, Event.SHELVING_RUNS_OUT}
        return None if event in refused else kept.get(event, state)
    if event is Event.REMOVE:
        return State.OUT_OF_SERVICE
    if event is Event.RETURN:
        return None
    if event is Event.SHELVE:
        return State.SHELVED
    if state is State.SHELVED:  # the operator's own suppression goes before the designed one
        if event in (Event.UNSHELVE, Event.SHELVING_RUNS_OUT):
            return afresh
        return None if event is Event.ACKNOWLEDGE else state
    if event in (Event.UNSHELVE, Event.SHELVING_RUNS_OUT):
        return None
    if event is Event.SUPPRESS:
        return State.SUPPRESSED
    if state is State.SUPPRESSED:
        if event is Event.UNSUPPRESS:
            return afresh
        return None if event is Event.ACKNOWLEDGE else state
    if event is Event.ACKNOWLEDGE:
        return {
            State.UNACKNOWLEDGED: State.ACKNOWLEDGED,
            State.ACKNOWLEDGED: State.ACKNOWLEDGED,
            State.RETURNED: State.NORMAL,
        }.get(state)
    if event is Event.CLEARED:
        return {State.UNACKNOWLEDGED: State.RETURNED, State.ACKNOWLEDGED: State.NORMAL}.get(state, state)
    if event is Event.RAISED and state in (State.NORMAL, State.RETURNED):
        return State.UNACKNOWLEDGED
    if event is Event.WORSENED and state is State.ACKNOWLEDGED:
        return State.UNACKNOWLEDGED
    return state


@pytest.mark.parametrize("active", [True, False], ids=["standing", "gone"])
@pytest.mark.parametrize(("state", "event"), PAIRS)
def test_every_pair(state: State, event: Event, active: bool) -> None:
    assert reached(state, event, active) == rule(state, event, active)


def test_the_table_is_whole() -> None:
    assert set(TABLE) == set(PAIRS)


@pytest.mark.parametrize("state", State)
def test_the_process_itself_is_never_refused(state: State) -> None:
    """Only a person can ask for what is not possible (and a shelf time runs out on a shelf alone)."""
    for event in set(Event) - COMMANDS - {Event.SHELVING_RUNS_OUT}:
        assert reached(state, event, True) is not None


def test_every_state_can_be_reached_and_left() -> None:
    found = {State.NORMAL}
    for _ in State:
        found |= {
            after
            for state, event, active in product(found, Event, (True, False))
            if (after := reached(state, event, active)) is not None
        }
    assert found == set(State)
    for state in State:
        assert {reached(state, event, active) for event, active in product(Event, (True, False))} - {
            state,
            None,
        }


@pytest.mark.parametrize("state", sorted(SILENT))
def test_what_is_silenced_is_announced_when_silence_ends_and_it_still_stands(state: State) -> None:
    ends = {State.SHELVED: Event.UNSHELVE, State.SUPPRESSED: Event.UNSUPPRESS}
    event = ends.get(state, Event.RETURN)
    assert next_state(state, event, True) is State.UNACKNOWLEDGED
    assert next_state(state, event, False) is State.NORMAL


def test_a_refusal_is_said_for_a_person() -> None:
    with pytest.raises(Refused, match="an alarm that is normal cannot be told to acknowledge"):
        next_state(State.NORMAL, Event.ACKNOWLEDGE, False)


def test_the_guide_shows_the_table_as_it_is() -> None:
    guide = Path(__file__).parents[3] / "DEVELOPERS.md"
    assert described() in guide.read_text(encoding="utf-8")
