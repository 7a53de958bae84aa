"""An alarm and what changed about it: plain data, times as microseconds UTC."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.alarms.states import Event, State

if TYPE_CHECKING:
    from analytics.records import Priority


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm, which is of a fault and, where it has one, its object; it outlives its findings.

    state, since_us  where it is in its life cycle, and since when
    raised_us        the finding that it last spoke of: (fault, of, raised_us)
    standing         whether that finding stands, and `turned_us`, when that last changed (data's time)
    active           the same after the delays: what the life cycle knows of the condition
    until_us         end of shelving, or of a suppression for a while
    reason, by       of the last command that silenced it
    times_us         when its findings were raised lately, for chattering
    """

    fault: str
    of: str | None
    state: State = State.NORMAL
    since_us: int = 0
    raised_us: int = 0
    priority: Priority = "low"
    cause: str | None = None
    standing: bool = False
    turned_us: int = 0
    active: bool = False
    announced_us: int | None = None
    acknowledged_us: int | None = None
    cleared_us: int | None = None
    until_us: int | None = None
    reason: str = ""
    by: str = ""
    times_us: tuple[int, ...] = ()
    chattering: bool = False
    onset_us: int = 0  # when that finding began

    @property
    def place(self) -> tuple[str, str]:
        return (self.fault, self.of or "")


@dataclass(frozen=True, slots=True)
class Change:
    """One step of an alarm's life, as it is kept for good.

    `told`: whether it is announced to people ("raised", "cleared"), or only noted (None).
    """

    time_us: int
    fault: str
    of: str | None
    raised_us: int
    event: Event
    before: State
    after: State
    priority: Priority
    active: bool
    by: str = ""
    reason: str = ""
    chattering: bool = False

    @property
    def told(self) -> str | None:
        """What people are told of it: "raised", "worse", "cleared", or None."""
        if self.after is State.UNACKNOWLEDGED and self.event is Event.WORSENED:
            return "worse"
        if self.after is State.UNACKNOWLEDGED and self.before is not State.UNACKNOWLEDGED:
            return "raised"
        if self.event is Event.CLEARED and self.before is not self.after:
            return "cleared"
        return None
