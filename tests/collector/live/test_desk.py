"""The desk: findings and commands into alarms, messages and logbook, once each, whatever is killed when."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from analytics.alarms.states import State
from analytics.records import Cycle, Finding
from collector.commands import (
    Acknowledge,
    Command,
    Commands,
    CommandsFull,
    Hold,
    InService,
    Log,
    OutOfService,
    Shelve,
    Unshelve,
)
from collector.live.desk import Desk
from collector.notify.office import Office
from collector.store import Batch, Response, Writer
from collector.store.errors import HistoryUnreachable
from tests.collector.store.plants import plant

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

S = 1_000_000
HOUR = 3600 * S
T = 1_800_000_000 * S
LOST = Finding("lost_prime", None, T, T - 60 * S, "high", 0.9, "No water moves.")
CLOGGED = Finding(
    "clogged_filter", None, T, T, "medium", 0.9, "Slow.", None, None,
    {"run_time_s": 120.0, "expected_run_time_s": 72.0},
)  # fmt: skip


class Nowhere:
    name = "phone"

    def send(self, messages: object) -> None:
        raise AssertionError("nothing is sent in these tests")


class Day:
    """A history, a desk over it, and commands; each step is one commit, as the daemon does it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.office = Office([(Nowhere(), "medium")])
        self.commands = Commands(folder, plant().name)
        self.history: Writer = Writer(folder, plant())
        self.desk = self._desk()

    def _desk(self) -> Desk:
        return Desk(self.history, plant(), self.commands, self.office)

    def step(
        self, now_us: int, *findings: Finding, cycles: Sequence[Cycle] = (), killed: str = ""
    ) -> Response:
        """`killed`: "before" or "after" the commit; then another desk takes over."""
        self.desk.due(now_us)
        said = self.desk.step(self.history, now_us, findings)
        if killed != "before":
            self.history.commit(Batch(findings=findings, cycles=cycles, response=said))
            if not killed:
                self.desk.committed(said)
        if killed:
            self.again()
        return said

    def again(self) -> None:
        self.history.close()
        self.history = Writer(self.folder, plant())
        self.commands = Commands(self.folder, plant().name)
        self.desk = self._desk()

    def ask(self, command: Command, at_us: int = T, key: str | None = None) -> str:
        return self.commands.put(command, by="Ann", now_us=at_us, key=key)

    def state(self, fault: str = "lost_prime") -> State:
        return {alarm.fault: alarm.state for alarm in self.history.alarms()}[fault]


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return Day(tmp_path)


def run(start_us: int) -> Cycle:
    return Cycle(start_us, start_us + 70 * S, 70.0)


def test_a_finding_becomes_an_alarm_and_one_message_a_channel(day: Day) -> None:
    said = day.step(T, LOST)
    assert [(due.channel, due.priority) for due in said.due] == [("phone", "high")]
    assert day.state() is State.UNACKNOWLEDGED
    assert [due.id for due in day.history.due()] == [1]
    assert day.step(T + S, replace(LOST, confidence=0.99)).due == []


def test_a_channel_is_not_told_what_is_below_its_least_priority(day: Day) -> None:
    assert day.step(T, replace(LOST, fault="switch_drift", priority="low")).due == []


@pytest.mark.parametrize("killed", ["", "before", "after"])
def test_a_command_is_carried_out_once_whenever_the_daemon_is_killed(day: Day, killed: str) -> None:
    day.step(T, LOST)
    key = day.ask(Acknowledge("lost_prime"))
    day.ask(Log(kind="repair", words="Primed it.", station="pump"), key="entry")
    day.step(T + S, killed=killed)
    day.step(T + 2 * S)
    day.step(T + 3 * S)
    assert day.state() is State.ACKNOWLEDGED
    assert len(day.history.logbook()) == 1
    assert len([c for c in day.history.alarm_changes() if c.by == "Ann"]) == 1
    assert day.history.carried(key) is not None
    assert day.commands.waiting() == []


def test_the_same_key_is_the_same_command(day: Day) -> None:
    for _ in range(2):
        day.ask(Log(kind="observation", words="It drips."), key="one")
    day.step(T)
    day.ask(Log(kind="observation", words="It drips."), key="one")  # the phone sends it once more
    day.step(T + S)
    assert [entry.words for entry in day.history.logbook()] == ["It drips."]


def test_what_is_refused_says_why_and_changes_nothing(day: Day) -> None:
    asked = [
        Acknowledge("lost_prime"),
        Shelve("lost_prime", hours=999, reason="x"),
        Shelve("lost_prime", hours=1, reason=" "),
        Acknowledge("storage_overflow"),
        Log(kind="gossip", words="x"),
        Log(kind="repair", words=" "),
        Hold(faults=("nothing",), minutes=5),
    ]
    keys = [day.ask(command) for command in asked]
    day.step(T)
    for key in keys:
        carried = day.history.carried(key)
        assert carried is not None
        assert carried.answer
    assert day.history.alarms() == []
    assert day.history.logbook() == []


def test_every_command_does_what_it_says(day: Day) -> None:
    day.step(T, LOST)
    for command, state in (
        (Shelve("lost_prime", hours=8, reason="Friday"), State.SHELVED),
        (Unshelve("lost_prime"), State.UNACKNOWLEDGED),
        (OutOfService("lost_prime", reason="Winter"), State.OUT_OF_SERVICE),
        (InService("lost_prime"), State.UNACKNOWLEDGED),
        (Hold(faults=("lost_prime",), minutes=5), State.SUPPRESSED),
        (Hold(faults=("lost_prime",), minutes=0), State.UNACKNOWLEDGED),
        (Acknowledge("lost_prime"), State.ACKNOWLEDGED),
    ):
        day.ask(command)
        day.step(T + S)
        assert day.state() is state, command


def test_shelving_runs_out_without_a_reading_and_across_a_restart(day: Day) -> None:
    day.step(T, LOST)
    day.ask(Shelve("lost_prime", hours=1, reason="Lunch"))
    day.step(T)
    day.again()
    day.step(T + S)
    assert not day.desk.due(T + HOUR - 1)
    assert day.desk.due(T + HOUR)
    assert [due.channel for due in day.step(T + HOUR).due] == ["phone"]


def test_findings_that_were_stored_elsewhere_are_taken_up_at_the_start(day: Day) -> None:
    """An import raises one; an engine that learned anew closes another."""
    day.step(T, LOST)
    day.history.commit(Batch(findings=[replace(LOST, cleared_us=T + HOUR), CLOGGED]))
    day.again()
    day.step(T + 2 * HOUR)
    assert day.state() is State.RETURNED
    assert day.state("clogged_filter") is State.UNACKNOWLEDGED


def test_undelivered_messages_are_handed_over_again_after_a_restart(day: Day) -> None:
    day.step(T, LOST)
    day.office = Office([(Nowhere(), "low")])
    day.again()
    courier = day.office.couriers["phone"]
    assert courier._handed.qsize() == 1
    (due,) = day.history.due()
    day.office.reports.put(plant().name, replace(due, tries=1, done_us=T + S))
    assert day.desk.due(T + S)
    day.step(T + S)
    assert day.history.due() == []
    assert courier._handed.qsize() == 1


def repair(fault: Finding) -> Log:
    return Log(kind="repair", words="Flushed it.", fault=fault.fault, raised_us=fault.raised_us)


def outcomes(day: Day) -> list[object]:
    return [entry.figures["outcome"] for entry in reversed(day.history.logbook(kind="confirmation"))]


def test_a_repair_is_an_answer_and_is_proved_by_the_signatures_return(day: Day) -> None:
    day.step(T, CLOGGED)
    day.ask(repair(CLOGGED), T + HOUR)
    day.step(T + HOUR)
    assert day.state("clogged_filter") is State.ACKNOWLEDGED
    day.step(T + 2 * HOUR, cycles=[run(T + HOUR + 600 * S), run(T + HOUR + 1600 * S)])
    assert outcomes(day) == []
    day.again()
    day.step(T + 3 * HOUR, replace(CLOGGED, cleared_us=T + 3 * HOUR))
    assert outcomes(day) == ["proved"]
    (told,) = day.history.logbook(kind="confirmation")
    assert told.author == "Holdwater"
    assert told.words.startswith("It worked: 2 hours after the repair, 2 runs on")
    assert day.history.logbook(watching=True)  # for its return
    day.step(T + HOUR + 7 * 24 * HOUR)
    assert outcomes(day) == ["proved", "held"]
    assert day.history.logbook(watching=True) == []


def test_a_repair_that_did_not_help_is_told_once(day: Day) -> None:
    day.step(T, CLOGGED)
    day.ask(repair(CLOGGED), T)
    day.step(T)
    runs = [run(T + n * 1000 * S) for n in range(1, 22)]
    day.step(T + 7 * HOUR, cycles=runs)
    day.step(T + 8 * HOUR)
    day.step(T + 9 * HOUR)
    assert outcomes(day) == ["not yet"]
    (told,) = day.history.logbook(kind="confirmation")
    assert told.figures["run_time_s"] == 70.0
    assert told.figures["expected_run_time_s"] == 72.0
    day.step(T + 10 * HOUR, replace(CLOGGED, cleared_us=T + 10 * HOUR))
    assert outcomes(day) == ["not yet", "proved"]


def test_a_fault_that_comes_back_is_told(day: Day) -> None:
    day.step(T, LOST)
    day.ask(repair(LOST), T)
    day.step(T)
    day.step(T + HOUR, replace(LOST, cleared_us=T + HOUR))
    again = replace(LOST, raised_us=T + 30 * HOUR, onset_us=T + 30 * HOUR)
    day.step(T + 30 * HOUR, again)
    assert outcomes(day) == ["proved", "came back"]
    assert day.history.logbook(watching=True) == []


def test_so_many_commands_and_no_more(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.commands.MOST_WAITING", 2)
    queue = Commands(tmp_path, "bench")
    for _ in range(2):
        queue.put(Acknowledge("lost_prime"), by="A", now_us=T)
    with pytest.raises(CommandsFull):
        queue.put(Acknowledge("lost_prime"), by="A", now_us=T)
    assert len(queue.waiting()) == 2


def test_a_damaged_queue_is_set_aside_and_keeps_no_alarm_from_being_raised(day: Day) -> None:
    day.ask(Acknowledge("lost_prime"))
    day.commands.path.write_bytes(b"x" * 4096)
    day.step(T, LOST)
    assert day.state() is State.UNACKNOWLEDGED
    day.ask(Acknowledge("lost_prime"))  # into a new queue
    day.step(T + S)
    assert day.state() is State.ACKNOWLEDGED


def test_a_disk_that_does_not_answer_loses_no_finding_and_no_command(
    day: Day, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = day.ask(Log(kind="observation", words="It drips."))
    with monkeypatch.context() as broken:

        def no_answer(*_: object, **__: object) -> None:
            raise HistoryUnreachable(day.history.path)

        broken.setattr(day.history, "carried", no_answer)
        day.step(T, LOST)
    assert day.state() is State.UNACKNOWLEDGED
    assert day.history.carried(key) is None
    day.step(T + S)
    assert day.history.carried(key) is not None
    assert len(day.history.logbook()) == 1
