"""The alarm's states and what moves it from one to another, as a table.

States and their words are those of IEC 62682:2014 (the same as ANSI/ISA-18.2), alarm state transition
diagram, read from memory: normal (A), unacknowledged (B), acknowledged (C), returned to normal
unacknowledged (D), shelved (G), suppressed by design (H), out of service (I). Latched states (E, F) are
not used: a finding is over only when the plant's signature has come back, which is the very proof that a
latch would ask the owner to confirm by hand.

Every pair of state and event stands in the table, also those that change nothing. What is not possible
is None: the command is refused, and nothing changes. In the three states that keep an alarm silent, the
condition goes on being watched beside the state (`active`): where they end, the alarm is normal if the
condition is, and unacknowledged otherwise, so that it is announced (WHERE_IT_STANDS).
"""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class Event(StrEnum):
    RAISED = "raised"  # the condition came, and outlasted its on-delay
    CLEARED = "cleared"  # the condition went, and stayed away for its off-delay
    WORSENED = "worsened"  # a standing condition asks for a faster response than before: re-alarm
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SHELVING_RUNS_OUT = "shelving time runs out"
    SUPPRESS = "suppress"
    UNSUPPRESS = "unsuppress"
    REMOVE = "remove from service"
    RETURN = "return to service"


#: What a person may ask for; the rest is the process's and time's.
COMMANDS = frozenset({Event.ACKNOWLEDGE, Event.SHELVE, Event.UNSHELVE, Event.REMOVE, Event.RETURN})

#: In the place of a state: normal or unacknowledged, as the condition is.
WHERE_IT_STANDS = "where it stands"

Target = State | str | None

_N, _U, _A, _R = State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED
_S, _D, _O = State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE
_W = WHERE_IT_STANDS

#: One row an event, one column a state, in the order of `State`.
_ROWS: dict[Event, tuple[Target, ...]] = {
    # from:                  normal  unack.  ack.  returned  shelved  suppressed  out of service
    Event.RAISED:            (_U,    _U,     _A,   _U,       _S,      _D,         _O),
    Event.CLEARED:           (_N,    _R,     _N,   _R,       _S,      _D,         _O),
    Event.WORSENED:          (_N,    _U,     _U,   _R,       _S,      _D,         _O),
    Event.ACKNOWLEDGE:       (None,  _A,     _A,   _N,       None,    None,       None),
    Event.SHELVE:            (_S,    _S,     _S,   _S,       _S,      _S,         None),
    Event.UNSHELVE:          (None,  None,   None, None,     _W,      None,       None),
    Event.SHELVING_RUNS_OUT: (None,  None,   None, None,     _W,      None,       None),
    Event.SUPPRESS:          (_D,    _D,     _D,   _D,       _S,      _D,         _O),
    Event.UNSUPPRESS:        (_N,    _U,     _A,   _R,       _S,      _W,         _O),
    Event.REMOVE:            (_O,    _O,     _O,   _O,       _O,      _O,         _O),
    Event.RETURN:            (None,  None,   None, None,     None,    None,       _W),
}  # fmt: skip

TABLE: dict[tuple[State, Event], Target] = {
    (state, event): target for event, row in _ROWS.items() for state, target in zip(State, row, strict=True)
}

#: States in which an alarm is not announced.
SILENT = frozenset({State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE})

#: States in which somebody has yet to say that they have seen it.
UNSEEN = frozenset({State.UNACKNOWLEDGED, State.RETURNED})


class Refused(ValueError):
    """A command that is not possible in the alarm's state; says so for a person."""


def next_state(state: State, event: Event, active: bool) -> State:
    """Where an event leads. `active`: whether the condition stands (the event itself counted).

    Raises Refused where the table says that it is not possible.
    """
    target = TABLE[state, event]
    if target is None:
        raise Refused(f"an alarm that is {state} cannot be told to {event}")
    if target == WHERE_IT_STANDS:
        return State.UNACKNOWLEDGED if active else State.NORMAL
    return State(target)


def described() -> str:
    """The table in Markdown, for the guide."""
    lines = [f"| event | {' | '.join(State)} |", "| --- |" + " --- |" * len(State)]
    for event in Event:
        cells = (TABLE[state, event] for state in State)
        words = ("-" if to is None else str(to) for to in cells)
        lines.append(f"| {event} | {' | '.join(words)} |")
    return "\n".join(lines) + "\n"
