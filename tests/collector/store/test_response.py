"""Alarms, logbook, outbox and commands come back from the file as they went in."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from typing import TYPE_CHECKING

from analytics.alarms.records import Alarm, Change
from analytics.alarms.states import Event, State
from collector.store import Batch, Carried, Due, Entry, History, Response, Writer, schema
from collector.store.salvage import salvage
from tests.collector.store.plants import plant as bench

if TYPE_CHECKING:
    from pathlib import Path

ALARM = Alarm(
    "sensor_fault", "motor", State.SHELVED, 5, 4, "medium", "silent", True, 4, True, 5, None, None, 99,
    "new battery", "Ann", (1, 4), True, 3,
)  # fmt: skip
CHANGE = Change(
    5, "lost_prime", None, 4, Event.RAISED, State.NORMAL, State.UNACKNOWLEDGED, "high", True, "", "", False
)
ENTRY = Entry(
    1, 7, "Ann", "tank", "repair", "Filled to 28 psi.", {"air_charge_pa": 193053.2, "gauge": "old"},
    "short_cycling", None, 4, None, True,
)  # fmt: skip
DUE = Due(1, 5, "phone", b'{"title":"x"}', "high", 2, None)
ALL = Response([ALARM], [CHANGE], [ENTRY], [DUE], [Carried("k", 7, "no")])


def test_everything_comes_back_as_it_was(tmp_path: Path) -> None:
    with Writer(tmp_path, bench()) as writer:
        writer.commit(Batch(response=ALL))
    with History(tmp_path, bench()) as history:
        assert history.alarms() == [ALARM]
        assert history.alarm_changes() == history.alarm_changes(fault="lost_prime") == [CHANGE]
        assert history.alarm_changes(fault="burst_line") == []
        assert history.logbook() == history.logbook(kind="repair", watching=True) == [ENTRY]
        assert history.logbook(kind="observation") == []
        assert history.due() == history.due("phone") == [DUE]
        assert history.due("other") == []
        assert history.carried("k") == Carried("k", 7, "no")
        assert history.carried("other") is None
        assert (history.last_id("logbook"), history.last_id("outbox")) == (1, 1)


def test_a_later_record_takes_the_earlier_ones_place_and_old_deliveries_go(tmp_path: Path) -> None:
    month_us = 31 * 86_400_000_000
    with Writer(tmp_path, bench()) as writer:
        writer.commit(Batch(response=ALL))
        writer.commit(Batch(response=Response(due=[Due(1, 5, "phone", b"{}", "high", 3, 70)])))
        assert writer.due() == []
        writer.commit(Batch(response=Response(due=[Due(2, month_us, "phone", b"{}", "low")])))
        with sqlite3.connect(writer.path) as raw:
            assert raw.execute("SELECT id FROM outbox").fetchall() == [(2,)]


def test_joined_keeps_the_order() -> None:
    one, two = Response(carried=[Carried("a", 1)]), Response(carried=[Carried("b", 2)])
    assert [c.id for c in one.joined(two).carried] == ["a", "b"]
    assert bool(one)
    assert not Response()


def test_a_history_of_the_first_version_is_brought_forward(tmp_path: Path) -> None:
    with Writer(tmp_path, bench()) as writer:
        path = writer.path
    with sqlite3.connect(path) as raw:
        for table in ("alarm", "alarm_change", "logbook", "outbox", "command"):
            raw.execute(f"DROP TABLE {table}")
        for column in ("raised_priority", "raised_summary"):
            raw.execute(f"ALTER TABLE finding DROP COLUMN {column}")
        raw.execute("PRAGMA user_version = 1")
    with Writer(tmp_path, bench()) as writer:
        writer.commit(Batch(response=ALL))
        assert writer.alarms() == [ALARM]
        with sqlite3.connect(path) as raw:
            assert raw.execute("PRAGMA user_version").fetchone() == (schema.VERSION,)


def test_salvage_saves_them(tmp_path: Path) -> None:
    with Writer(tmp_path, bench()) as writer:
        writer.commit(Batch(response=ALL))
        folder = writer.folder
    salvage(folder)
    with History(tmp_path, bench()) as history:
        assert history.alarms() == [ALARM]
        assert history.logbook() == [ENTRY]
        assert history.due() == [DUE]
        assert history.carried("k") is not None
        assert history.alarm_changes() == [CHANGE]


def test_salvage_takes_an_older_files_shorter_rows(tmp_path: Path) -> None:
    with Writer(tmp_path, bench()) as writer:
        writer.commit(Batch(response=ALL))
        folder, path = writer.folder, writer.path
    with sqlite3.connect(path) as raw:
        raw.execute("ALTER TABLE alarm DROP COLUMN onset_us")
        raw.execute("PRAGMA user_version = 2")
    salvage(folder)
    with History(tmp_path, bench()) as history:
        assert history.alarms() == [replace(ALARM, onset_us=0)]
