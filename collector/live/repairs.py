"""The logbook as the daemon writes it, and repairs that are watched until the plant has proved them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from analytics.alarms.proof import judge
from collector.store import Entry

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.alarms.proof import Verdict
    from analytics.records import Finding
    from collector.commands import Asked, Log
    from collector.store import History

AUTHOR = "Holdwater"
#: Proof comes with runs and days: once a minute is soon enough, and at once when a finding changes.
_LOOK_US = 60_000_000
#: A repair that nothing is heard of any more (its finding was lost with a damaged file) is let go.
_LET_GO_US = 30 * 86_400_000_000


class Repairs:
    """Repairs whose proof is awaited."""

    def __init__(self, history: History) -> None:
        self._last = history.last_id("logbook")
        self._watched = {entry.id: entry for entry in history.logbook(watching=True)}
        self._said: dict[int, list[str]] = {key: [] for key in self._watched}
        for entry in history.logbook(kind="confirmation", limit=1000):
            if entry.answers in self._said:
                self._said[entry.answers].append(str(entry.figures.get("outcome")))
        self._looked_us = 0

    def due(self, now_us: int) -> bool:
        return bool(self._watched) and now_us - self._looked_us >= _LOOK_US

    def entered(self, command: Log, asked: Asked) -> Entry:
        """A person's entry; a repair of a finding is watched from now on."""
        self._last += 1
        watching = command.kind == "repair" and command.fault is not None and command.raised_us is not None
        entry = Entry(
            self._last, command.time_us or asked.time_us, asked.by, command.station, command.kind,
            command.words.strip(), dict(command.figures), command.fault, command.of, command.raised_us,
            None, watching,
        )  # fmt: skip
        if watching:
            self._watched[entry.id], self._said[entry.id] = entry, []
            self._looked_us = 0
        return entry

    def noted(self, words: str, now_us: int) -> Entry:
        """An entry of the tool's own, about itself."""
        self._last += 1
        return Entry(self._last, now_us, AUTHOR, "", "observation", words)

    def watch(self, history: History, now_us: int, findings: Sequence[Finding]) -> list[Entry]:
        """Confirmations that are due. `findings` are newer than what the history holds."""
        if not self._watched or not (findings or self.due(now_us)):
            return []
        self._looked_us = now_us
        known = {finding.key: finding for finding in history.findings()}
        known |= {finding.key: finding for finding in findings}
        found: list[Entry] = []
        for entry in list(self._watched.values()):
            found += self._look(history, entry, known, now_us)
        return found

    def _look(
        self, history: History, entry: Entry, known: dict[tuple[str, str, int], Finding], now_us: int
    ) -> list[Entry]:
        assert entry.fault is not None
        assert entry.raised_us is not None
        finding = known.get((entry.fault, entry.of or "", entry.raised_us))
        if finding is None:
            gone = now_us - entry.time_us > _LET_GO_US
            return [self._let_go(entry)] if gone else []
        later = [
            one
            for one in sorted(known.values(), key=lambda one: one.raised_us)
            if (one.fault, one.of) == (finding.fault, finding.of) and one.raised_us > finding.raised_us
        ]
        runs = history.cycles(entry.time_us, now_us)
        verdict = judge(entry.time_us, finding, later, runs, now_us, self._said[entry.id])
        return [] if verdict is None else self._told(entry, verdict, now_us)

    def _told(self, entry: Entry, verdict: Verdict, now_us: int) -> list[Entry]:
        self._last += 1
        self._said[entry.id].append(verdict.outcome)
        told = Entry(
            self._last, now_us, AUTHOR, entry.station, "confirmation", verdict.words,
            {**verdict.figures, "outcome": verdict.outcome}, entry.fault, entry.of, entry.raised_us, entry.id,
        )  # fmt: skip
        return [told] if verdict.goes_on else [told, self._let_go(entry)]

    def _let_go(self, entry: Entry) -> Entry:
        self._watched.pop(entry.id)
        self._said.pop(entry.id)
        return replace(entry, watching=False)
