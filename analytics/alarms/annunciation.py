"""Findings, commands and time in; alarms and their changes out. No clock: `now_us` is an argument.

The same words at the same times give the same alarms, whether they come one by one or after a restart:
everything is in the `Alarm` records, which the caller keeps.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from analytics.advice import advice
from analytics.alarms.rationale import (
    ALARMS,
    CHATTER_TIMES,
    CHATTER_US,
    SETTLED_US,
    SHELVED_LONGEST_US,
)
from analytics.alarms.records import Alarm, Change
from analytics.alarms.states import COMMANDS, SILENT, Event, Refused, State, next_state
from analytics.judging.arbitration import follows

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from analytics.records import Finding, Priority

SILENCES = {
    Event.SHELVE: State.SHELVED,
    Event.SUPPRESS: State.SUPPRESSED,
    Event.REMOVE: State.OUT_OF_SERVICE,
}
RANK: dict[Priority, int] = {"high": 0, "medium": 1, "low": 2}


class Annunciator:
    """All alarms of one plant. Every method that changes something returns the changes, in order."""

    def __init__(self, alarms: Iterable[Alarm] = ()) -> None:
        self.alarms = {alarm.place: alarm for alarm in alarms}

    # -- what the plant says -------------------------------------------------------------------

    def hear(self, finding: Finding, now_us: int) -> list[Change]:
        """A finding raised, brought up to date or cleared. Events, and words on older findings, pass."""
        if finding.fault not in ALARMS:
            return []
        alarm = self._at(finding.fault, finding.of)
        if finding.raised_us < alarm.raised_us:
            return []
        changes = []
        if finding.raised_us > alarm.raised_us:
            changes += self._begun(alarm, finding, now_us)
        elif alarm.standing and finding.cleared_us is None:
            changes += self._renewed(alarm, finding, now_us)
        alarm = self._at(finding.fault, finding.of)
        if finding.cleared_us is not None and alarm.standing:
            # what was waiting for its on-delay may have outlasted it before the condition went
            changes += self._settled(alarm, min(finding.cleared_us, now_us))
            alarm = self._at(finding.fault, finding.of)
            self._keep(replace(alarm, standing=False, turned_us=min(finding.cleared_us, now_us)))
        return changes + self.pass_time(now_us)

    def _begun(self, alarm: Alarm, finding: Finding, now_us: int) -> list[Change]:
        """A finding that is new here."""
        changes = []
        if alarm.active and not alarm.standing:  # its off-delay may have run out before
            changes += self._settled(alarm, min(finding.raised_us, now_us))
            alarm = self._at(*alarm.place)
        recent = (*(t for t in alarm.times_us if finding.raised_us - t < CHATTER_US), finding.raised_us)
        alarm = replace(
            alarm,
            raised_us=finding.raised_us,
            onset_us=finding.onset_us,
            cause=finding.cause,
            priority=finding.priority if not alarm.active else alarm.priority,
            standing=True,
            turned_us=min(finding.raised_us, now_us),  # a sensor's clock may be ahead of ours
            times_us=recent[-CHATTER_TIMES:],
            chattering=alarm.chattering or len(recent) >= CHATTER_TIMES,
        )
        self._keep(alarm)
        return changes + self._renewed(alarm, finding, now_us)

    def _renewed(self, alarm: Alarm, finding: Finding, now_us: int) -> list[Change]:
        """A later word on a finding that stands: worse than it was announced, or merely newer."""
        worse = RANK[finding.priority] < RANK[alarm.priority]
        alarm = replace(alarm, priority=finding.priority, cause=finding.cause)
        self._keep(alarm)
        return self._step(alarm, Event.WORSENED, now_us) if worse and alarm.active else []

    # -- time ----------------------------------------------------------------------------------

    def pass_time(self, now_us: int) -> list[Change]:
        """What is due by now: delays, ends of shelving, suppression by design."""
        changes: list[Change] = []
        for place in sorted(self.alarms):
            changes += self._settled(self.alarms[place], now_us)
        for place in sorted(self.alarms):
            changes += self._designed(self.alarms[place], now_us)
        return changes

    def due_us(self) -> int | None:
        """When time alone will next change something; None while nothing waits for it."""
        waiting = [self._turns_us(alarm) for alarm in self.alarms.values() if alarm.standing != alarm.active]
        waiting += [alarm.until_us for alarm in self.alarms.values() if alarm.until_us is not None]
        return min(waiting, default=None)

    @staticmethod
    def _turns_us(alarm: Alarm) -> int:
        """When the condition, as it is now, will have outlasted its delay."""
        delays = ALARMS[alarm.fault]
        if alarm.standing:
            return alarm.turned_us + delays.on_us
        return alarm.turned_us + max(delays.off_us, SETTLED_US if alarm.chattering else 0)

    def _settled(self, alarm: Alarm, now_us: int) -> list[Change]:
        changes = []
        if alarm.standing != alarm.active and now_us >= self._turns_us(alarm):
            event = Event.RAISED if alarm.standing else Event.CLEARED
            alarm = replace(alarm, active=alarm.standing)
            if event is Event.CLEARED:
                times_us = () if alarm.chattering else alarm.times_us
                alarm = replace(alarm, cleared_us=alarm.turned_us, times_us=times_us, chattering=False)
            changes += self._step(alarm, event, now_us)
            alarm = self._at(*alarm.place)
        if alarm.state is State.SHELVED and alarm.until_us is not None and now_us >= alarm.until_us:
            changes += self._step(alarm, Event.SHELVING_RUNS_OUT, now_us)
        return changes

    def _designed(self, alarm: Alarm, now_us: int) -> list[Change]:
        """Suppression by design: for a while (a guided test), or while its cause is announced."""
        cause = self._cause_of(alarm)
        if alarm.state is State.SUPPRESSED:
            if alarm.until_us is not None and now_us < alarm.until_us:
                return []
            if cause is None:
                return self._step(alarm, Event.UNSUPPRESS, now_us)
            self._keep(replace(alarm, until_us=None))
            return []
        if cause is not None and alarm.active and alarm.state not in SILENT:
            return self._step(alarm, Event.SUPPRESS, now_us, reason=_follows_from(cause))
        return []

    def _cause_of(self, alarm: Alarm) -> Alarm | None:
        """A standing alarm of which this one is a consequence, and which is no less urgent.

        What was called before the cause even began is a fault of its own.
        """
        for other in self.alarms.values():
            caused = other is not alarm and follows(alarm.fault, other.fault, other.cause)
            if not caused or not other.active or other.state is State.OUT_OF_SERVICE:
                continue
            if alarm.raised_us < other.onset_us:
                continue
            mutual = follows(other.fault, alarm.fault, alarm.cause)
            first = not mutual or (other.raised_us, other.place) < (alarm.raised_us, alarm.place)
            if first and RANK[other.priority] <= RANK[alarm.priority]:
                return other
        return None

    # -- what people say -----------------------------------------------------------------------

    def command(
        self,
        event: Event,
        fault: str,
        of: str | None,
        now_us: int,
        *,
        by: str,
        reason: str = "",
        until_us: int | None = None,
    ) -> list[Change]:
        """A person's command. Raises Refused, for a person to read, and has then changed nothing."""
        assert event in COMMANDS, event
        if fault not in ALARMS:
            raise Refused(f"{fault} is no alarm")
        if event is Event.SHELVE and not (until_us and now_us < until_us <= now_us + SHELVED_LONGEST_US):
            raise Refused("an alarm is shelved for a time: from now to seven days at most")
        if event in (Event.SHELVE, Event.REMOVE) and not reason.strip():
            raise Refused("say why: the reason stands beside the alarm for whoever comes next")
        alarm = self._at(fault, of)
        ends_us = until_us if event is Event.SHELVE else None
        changes = self._step(alarm, event, now_us, by=by, reason=reason.strip(), until_us=ends_us)
        return changes + self.pass_time(now_us)

    def hold(self, faults: Sequence[str], until_us: int, now_us: int, by: str, reason: str) -> list[Change]:
        """Suppress by design until a time (a guided test); a time that is not to come ends it."""
        if unknown := [fault for fault in faults if fault not in ALARMS]:
            raise Refused(f"{unknown[0]} is no alarm")
        changes = []
        for fault in faults:
            alarm = self._at(fault, None)
            if until_us > now_us:
                changes += self._step(alarm, Event.SUPPRESS, now_us, by=by, reason=reason, until_us=until_us)
            elif alarm.state is State.SUPPRESSED:
                self._keep(replace(alarm, until_us=None))
        return changes + self.pass_time(now_us)

    # -- inside --------------------------------------------------------------------------------

    def _at(self, fault: str, of: str | None) -> Alarm:
        return self.alarms.get((fault, of or "")) or Alarm(fault, of or None)

    def _keep(self, alarm: Alarm) -> None:
        self.alarms[alarm.place] = alarm

    def _step(
        self,
        alarm: Alarm,
        event: Event,
        now_us: int,
        *,
        by: str = "",
        reason: str = "",
        until_us: int | None = None,
    ) -> list[Change]:
        """One step of the life cycle; kept, and said as a change."""
        before, after = alarm.state, next_state(alarm.state, event, alarm.active)
        moved = replace(alarm, state=after)
        if after is not before:
            moved = replace(moved, since_us=now_us, until_us=None, reason="", by="")
        if SILENCES.get(event) is after:
            moved = replace(moved, reason=reason, by=by, until_us=until_us)
        if after is State.UNACKNOWLEDGED and (before is not after or event is Event.WORSENED):
            moved = replace(moved, announced_us=now_us, acknowledged_us=None)
        if event is Event.ACKNOWLEDGE and moved.acknowledged_us is None:
            moved = replace(moved, acknowledged_us=now_us)
        self._keep(moved)
        return [
            Change(
                now_us, alarm.fault, alarm.of, alarm.raised_us, event, before, after, alarm.priority,
                alarm.active, by, reason, alarm.chattering,
            )
        ]  # fmt: skip


def _follows_from(cause: Alarm) -> str:
    title = advice(cause.fault, cause.cause).title.rstrip(".")
    return f"it follows from another: {title[:1].lower()}{title[1:]}"
