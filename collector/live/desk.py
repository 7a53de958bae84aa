"""One plant's alarms as the daemon holds them: from findings and commands to what is to be stored and told.

Everything that `step` returns goes into the next commit; messages are handed to the couriers only after
it (`committed`). No clock here: times are given.
"""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

import msgspec

from analytics.alarms.annunciation import RANK, Annunciator
from analytics.alarms.states import UNSEEN, Event, Refused
from collector import commands as asked_for
from collector.live.repairs import Repairs
from collector.notify.words import compose
from collector.store import Carried, Due, Entry, HistoryError, Response

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.alarms.records import Alarm, Change
    from analytics.plant.description import Plant
    from analytics.records import Finding
    from collector.commands import Asked, Command, Commands
    from collector.notify.office import Office
    from collector.store import History

log = logging.getLogger("holdwater.alarms")

_HOUR_US = 3_600_000_000
_EVENTS: dict[type, Event] = {
    asked_for.Acknowledge: Event.ACKNOWLEDGE,
    asked_for.Shelve: Event.SHELVE,
    asked_for.Unshelve: Event.UNSHELVE,
    asked_for.OutOfService: Event.REMOVE,
    asked_for.InService: Event.RETURN,
}


class Desk:
    """Where findings become alarms, and people's commands are carried out."""

    def __init__(self, history: History, plant: Plant, commands: Commands, office: Office) -> None:
        self._plant, self._commands, self._office = plant, commands, office
        self._annunciator = Annunciator(history.alarms())
        self._findings: dict[tuple[str, str], Finding] = {}
        self._repairs = Repairs(history)
        self._last_due = history.last_id("outbox")
        self._carried: set[str] = set()  # carried out, and still among the waiting
        self._unheard = history.findings()  # what the history knows and the alarms may not
        self._asked: list[Asked] = []
        self._notes: list[str] = []
        self._trouble = False
        office.hand_over(plant.name, history.due())
        office.show(plant.name, history.alarms())

    def due(self, now_us: int) -> bool:
        """Whether something is to be done though nothing was heard. Ask before each `step`."""
        if self._commands.changed(now_us):
            self._asked = [asked for asked in self._waiting() if asked.key not in self._carried]
        at_us = self._annunciator.due_us()
        return (
            bool(self._unheard or self._notes)
            or (at_us is not None and now_us >= at_us)
            or self._repairs.due(now_us)
            or self._office.reports.waiting(self._plant.name)
            or bool(self._asked)
        )

    def step(self, history: History, now_us: int, findings: Sequence[Finding]) -> Response:
        """What findings, commands and time change; to be committed.

        Never raises HistoryError: the findings it was given must not be lost for a question that the
        disk did not answer; what could not be asked is asked again.
        """
        before = dict(self._annunciator.alarms)
        changes: list[Change] = []
        for finding in [*self._owed(), *findings]:
            self._findings[finding.fault, finding.of or ""] = finding
            changes += self._annunciator.hear(finding, now_us)
        changes += self._annunciator.pass_time(now_us)
        carried, entries, commanded = self._carry_out(history, now_us)
        changes += commanded
        entries += self._watched(history, now_us, findings)
        entries += [self._repairs.noted(words, now_us) for words in self._notes]
        self._notes = []
        return Response(
            alarms=[a for place, a in self._annunciator.alarms.items() if before.get(place) != a],
            changes=changes,
            entries=entries,
            due=[*self._office.reports.take(self._plant.name), *self._messages(changes)],
            carried=carried,
        )

    def note(self, words: str) -> None:
        """Something that the owner should find in the logbook."""
        self._notes.append(words)

    def look_through(self, findings: Sequence[Finding]) -> None:
        """Findings as they are stored, which may have changed without passing here."""
        self._unheard = list(findings)

    def committed(self, response: Response) -> None:
        """The response is durable: tell, and let go of the commands that it carried out."""
        self._office.hand_over(self._plant.name, [due for due in response.due if not due.tries])
        if response.alarms:
            self._office.show(self._plant.name, self.alarms)
        if self._carried:
            try:
                self._commands.done(sorted(self._carried))
                self._carried.clear()
            except HistoryError as error:
                self._in_trouble(error)

    @property
    def alarms(self) -> list[Alarm]:
        return list(self._annunciator.alarms.values())

    # -- inside --------------------------------------------------------------------------------

    def _owed(self) -> list[Finding]:
        """Findings that were stored without passing here (an import, a history learned anew): those that
        stand, and those that an alarm still takes for standing."""
        found, self._unheard = self._unheard, []
        standing = {place: a.raised_us for place, a in self._annunciator.alarms.items() if a.standing}
        return [
            finding
            for finding in found
            if finding.cleared_us is None
            or standing.get((finding.fault, finding.of or "")) == finding.raised_us
        ]

    def _messages(self, changes: Sequence[Change]) -> list[Due]:
        rows = []
        for change in changes:
            finding = self._findings.get((change.fault, change.of or ""))
            if change.told is None or finding is None:
                continue
            body = msgspec.json.encode(compose(self._plant, change, finding))
            for name, courier in self._office.couriers.items():
                if RANK[change.priority] <= RANK[courier.least]:
                    self._last_due += 1
                    rows.append(Due(self._last_due, change.time_us, name, body, change.priority))
        return rows

    def _carry_out(self, history: History, now_us: int) -> tuple[list[Carried], list[Entry], list[Change]]:
        """Every command that waits and was not carried out before."""
        carried: list[Carried] = []
        entries: list[Entry] = []
        changes: list[Change] = []
        for asked in self._not_done(history):
            try:
                written, changed = self._do(asked, now_us)
                entries += written
                changes += changed
                carried.append(Carried(asked.key, now_us))
            except Refused as refused:
                carried.append(Carried(asked.key, now_us, str(refused)))
        return carried, entries, changes

    def _not_done(self, history: History) -> list[Asked]:
        """Commands that wait and that no commit has carried out."""
        waiting, self._asked = self._asked, []
        try:
            found = [asked for asked in waiting if history.carried(asked.key) is None]
        except HistoryError as error:
            self._in_trouble(error)
            return []
        self._carried |= {asked.key for asked in waiting}
        return found

    def _watched(self, history: History, now_us: int, findings: Sequence[Finding]) -> list[Entry]:
        try:
            return self._repairs.watch(history, now_us, findings)
        except HistoryError as error:
            self._in_trouble(error)
            return []

    def _waiting(self) -> list[Asked]:
        try:
            found = self._commands.waiting()
        except HistoryError as error:
            self._in_trouble(error)
            return []
        self._trouble = False
        return found

    def _in_trouble(self, error: HistoryError) -> None:
        """Said once. A queue that cannot be read must not keep readings from being stored."""
        self._commands.look_again()
        if not self._trouble:
            log.error("%s: commands and repairs cannot be looked at: %s", self._plant.name, error)
        self._trouble = True

    def _do(self, asked: Asked, now_us: int) -> tuple[list[Entry], list[Change]]:
        """Carry out one command. Raises Refused."""
        command = asked.command
        if isinstance(command, asked_for.Log):
            return self._log(command, asked, now_us)
        if isinstance(command, asked_for.Hold):
            until_us = now_us + int(command.minutes * 60e6)
            return [], self._annunciator.hold(command.faults, until_us, now_us, asked.by, command.reason)
        return [], self._annunciator.command(
            _EVENTS[type(command)],
            command.fault,
            command.of,
            now_us,
            by=asked.by,
            reason=_reason(command),
            until_us=now_us + int(command.hours * _HOUR_US)
            if isinstance(command, asked_for.Shelve)
            else None,
        )

    def _log(self, command: asked_for.Log, asked: Asked, now_us: int) -> tuple[list[Entry], list[Change]]:
        """An entry; a repair is watched, and is an answer to its alarm: it acknowledges it."""
        if command.kind not in asked_for.KINDS:
            raise Refused(f"a logbook entry is one of: {', '.join(asked_for.KINDS)}")
        if not command.words.strip():
            raise Refused("an entry wants words")
        entry = self._repairs.entered(command, asked)
        alarm = self._annunciator.alarms.get((command.fault or "", command.of or ""))
        if command.kind != "repair" or alarm is None or alarm.state not in UNSEEN:
            return [entry], []
        event = Event.ACKNOWLEDGE
        return [entry], self._annunciator.command(event, alarm.fault, alarm.of, now_us, by=asked.by)


def _reason(command: Command) -> str:
    return command.reason if isinstance(command, asked_for.Shelve | asked_for.OutOfService) else ""


def everything(desk: Desk) -> Response:
    """All that a new history wants to know of the alarms."""
    return Response(alarms=desk.alarms)
