"""Damaged, full, foreign, older and newer files; giving up what is old; copies while writing."""

from __future__ import annotations

import sqlite3
import threading

import numpy as np
import pytest

from analytics.records import Cycle, Finding
from collector.store import Batch, History, Writer, schema
from collector.store import connection as connections
from collector.store.backup import back_up
from collector.store.errors import (
    HistoryDamaged,
    HistoryFull,
    HistoryNewer,
    HistoryOlder,
    HistoryReadOnly,
    HistoryTaken,
)
from collector.store.salvage import opened, salvage
from tests.collector.store.plants import HOUR_US, SECOND_US, START_US, plant, readings, seconds

NAMES = ("pressure", "motor", "level, rain")
FINDING = Finding("supply_leak", None, START_US, START_US, "low", 0.5, "It drips.")


def write(history, found, snapshot=None, **more) -> int:
    return history.commit(Batch(history.admit(found), snapshot=snapshot, **more))


def everything(history) -> dict[str, list[tuple[int, float]]]:
    return {
        name: list(zip(s.time_us.tolist(), s.value.tolist(), strict=True))
        for name in NAMES
        for s in [history.readings(name, -(2**62), 2**62)]
    }


def filled(folder, hours: int = 6) -> dict[str, list[tuple[int, float]]]:
    """A closed history of some sealed hours and a few journal rows; what it holds."""
    with Writer(folder, plant()) as history:
        for hour in range(hours):
            write(history, seconds(START_US + hour * HOUR_US, 3600, seed=hour), b"state %d" % hour)
        for k in range(20):
            start_us = START_US + hours * HOUR_US + k * 5 * SECOND_US
            write(history, seconds(start_us, 5, seed=99 + k), cycles=[Cycle(start_us, start_us + 1, 1.0)])
        history.commit(Batch(findings=[FINDING], counted={"late": 7}))
        return everything(history)


def overwrite(path, start: int, count: int) -> None:
    with path.open("r+b") as file:
        file.seek(start)
        file.write(np.random.default_rng(5).bytes(count))


# --- versions


def test_an_older_file_is_brought_up_to_date_and_keeps_what_it_holds(tmp_path, monkeypatch):
    held = filled(tmp_path)
    later = (("CREATE TABLE note (id INTEGER PRIMARY KEY, words TEXT)", "INSERT INTO note VALUES (1, 'x')"),)
    monkeypatch.setattr(schema, "STEPS", schema.STEPS + later)
    monkeypatch.setattr(schema, "VERSION", schema.VERSION + 1)
    with pytest.raises(HistoryOlder), History(tmp_path, plant()) as reader:
        reader.latest()
    with Writer(tmp_path, plant()) as history:
        assert everything(history) == held
    with sqlite3.connect(tmp_path / "spring" / "history.sqlite") as raw:
        assert raw.execute("PRAGMA user_version").fetchone() == (schema.VERSION,)
        assert raw.execute("SELECT * FROM note").fetchall() == [(1, "x")]


def test_a_step_that_fails_leaves_the_file_as_it_was(tmp_path, monkeypatch):
    held = filled(tmp_path)
    with monkeypatch.context() as patched:
        patched.setattr(schema, "STEPS", (*schema.STEPS, ("CREATE TABLE note (x)", "no such statement")))
        patched.setattr(schema, "VERSION", schema.VERSION + 1)
        with pytest.raises(sqlite3.OperationalError):
            Writer(tmp_path, plant())
    with Writer(tmp_path, plant()) as history:
        assert everything(history) == held


def test_a_newer_file_is_refused_with_what_would_help(tmp_path):
    filled(tmp_path)
    with sqlite3.connect(tmp_path / "spring" / "history.sqlite") as raw:
        raw.execute("PRAGMA user_version = 99")
    for read_only in (True, False):
        with pytest.raises(HistoryNewer, match="version is 99") as told:
            (History if read_only else Writer)(tmp_path, plant()).latest()
        assert "install" in told.value.would_help


# --- full, unwritable


def test_a_full_disk_is_told_and_writing_goes_on_when_there_is_room(tmp_path):
    with Writer(tmp_path, plant()) as history:
        write(history, seconds(START_US, 100))
        held = everything(history)
        (pages,) = history._write.execute("PRAGMA page_count").fetchone()
        history._write.execute(f"PRAGMA max_page_count = {pages + 4}")
        fresh = history.admit(seconds(START_US + 100 * SECOND_US, 2000))
        with pytest.raises(HistoryFull, match="make room"):
            history.commit(Batch(fresh))
        assert everything(history) == held
        history._write.execute("PRAGMA max_page_count = 1000000")
        history.commit(Batch(fresh))
        assert history.counts()["readings"] == 300 + 6000
        assert len(history.admit(fresh)) == 0


def test_a_first_reading_that_could_not_be_stored_is_stored_later(tmp_path):
    """The stream that the failed commit began is forgotten with it."""
    with Writer(tmp_path, plant()) as history:
        (pages,) = history._write.execute("PRAGMA page_count").fetchone()
        history._write.execute(f"PRAGMA max_page_count = {pages}")
        fresh = history.admit(seconds(START_US, 200))
        with pytest.raises(HistoryFull):
            history.commit(Batch(fresh))
        history._write.execute("PRAGMA max_page_count = 1000000")
        history.commit(Batch(fresh))
        assert history.counts()["readings"] == 600
        assert set(history.latest()) == set(NAMES)


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(HistoryReadOnly, match="cannot be written"):
        Writer(tmp_path / "file", plant())


# --- giving up


def test_old_readings_are_given_up_and_their_rollups_stay(tmp_path):
    held = filled(tmp_path)
    cut_us = START_US + 2 * HOUR_US
    with Writer(tmp_path, plant()) as history:
        hours = history.rollup("motor", START_US, cut_us, "hour")
        minutes = history.rollup("motor", START_US, cut_us)
        while history.give_up(cut_us + HOUR_US // 2):  # whole hours only
            pass
        kept = {name: [row for row in rows if row[0] >= cut_us] for name, rows in held.items()}
        assert everything(history) == kept
        assert history.counts()["readings"] == sum(map(len, kept.values()))
        assert history.rollup("motor", START_US, cut_us, "hour").mean.tolist() == hours.mean.tolist()
        assert history.rollup("motor", START_US, cut_us).maximum.tolist() == minutes.maximum.tolist()
        assert len(history.admit(readings([(0, START_US + 77, 1.0), (0, cut_us + 77, 1.0)]))) == 1
    with Writer(tmp_path, plant()) as history:
        assert len(history.admit(readings([(0, START_US + 77, 1.0)]))) == 0
        history.commit(Batch())
        assert history.counts()["too_old"] == 1


# --- damage


def test_a_damaged_page_costs_no_more_than_it_held(tmp_path):
    held = filled(tmp_path)
    path = tmp_path / "spring" / "history.sqlite"
    with sqlite3.connect(path) as raw:
        ((body,),) = raw.execute("SELECT body FROM sealed WHERE signal = 2 ORDER BY hour LIMIT 1 OFFSET 3")
    page = path.read_bytes().index(body[:60]) // 1024
    overwrite(path, page * 1024, 1024)
    done = salvage(path.parent)
    assert done.aside.exists()
    with Writer(tmp_path, plant()) as history:
        saved = everything(history)
        for name in NAMES:
            assert set(saved[name]) <= set(held[name])
        lost = sum(len(held[name]) - len(saved[name]) for name in NAMES)
        assert 0 < lost <= 9 * 3600  # a page of 1024 bytes holds the heads of nine blocks at most
        assert done.readings == history.counts()["readings"] == sum(map(len, saved.values()))
        assert history.findings() == [FINDING]
        assert len(history.cycles()) == 20
        assert history.counts()["late"] == 7
        assert history.resume().state == b"state 5"
        assert write(history, seconds(START_US + 9 * HOUR_US, 5)) == 27


@pytest.mark.parametrize("place", range(8))
def test_any_damaged_stretch_leaves_a_history_that_works(tmp_path, place):
    held = filled(tmp_path)
    path = tmp_path / "spring" / "history.sqlite"
    overwrite(path, path.stat().st_size * place // 8, 3000)
    salvage(path.parent)
    with sqlite3.connect(path) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with Writer(tmp_path, plant()) as history:
        saved = everything(history)
        assert all(set(saved[name]) <= set(held[name]) for name in NAMES)
        if place:  # the first page holds the tables' names: without it nothing is found
            assert sum(map(len, saved.values())) > 0.5 * sum(map(len, held.values()))
        write(history, seconds(START_US + 9 * HOUR_US, 5))


def test_a_block_whose_bits_changed_is_told_and_salvage_leaves_it_out(tmp_path):
    held = filled(tmp_path)
    path = tmp_path / "spring" / "history.sqlite"
    with sqlite3.connect(path) as raw:
        ((body,),) = raw.execute("SELECT body FROM sealed LIMIT 1")
        broken = bytearray(body)
        broken[len(broken) // 2] ^= 1
        raw.execute("UPDATE sealed SET body = ? WHERE body = ?", (bytes(broken), body))
    with History(tmp_path, plant()) as reader:
        with pytest.raises(HistoryDamaged):
            reader.readings("pressure", START_US, START_US + HOUR_US)
        done = salvage(path.parent)
        assert done.readings == sum(map(len, held.values())) - 3600
        # The same reader goes on with the new file; the hour's rollups were kept.
        assert len(reader.readings("pressure", START_US, START_US + HOUR_US)) == 0
        assert reader.rollup("pressure", START_US, START_US + HOUR_US, "hour").count.tolist() == [3600]


def test_a_file_that_is_no_database_any_more_is_set_aside(tmp_path):
    filled(tmp_path)
    path = tmp_path / "spring" / "history.sqlite"
    overwrite(path, 0, path.stat().st_size)
    with pytest.raises(HistoryDamaged):
        Writer(tmp_path, plant())
    history, first = opened(tmp_path, plant())
    assert first is not None
    history.close()
    history, second = opened(tmp_path, plant(), damaged=True)
    assert second is not None
    assert second.aside != first.aside
    with history:
        assert everything(history) == {name: [] for name in NAMES}


def test_salvage_that_finds_no_room_changes_nothing_and_may_be_tried_again(tmp_path, monkeypatch):
    held = filled(tmp_path)
    path = tmp_path / "spring" / "history.sqlite"
    overwrite(path, path.stat().st_size // 2, 1024)
    before = path.read_bytes()

    wide = connections.writing

    def small(path):
        connection = wide(path)
        connection.execute("PRAGMA max_page_count = 100")
        return connection

    with monkeypatch.context() as patched:
        patched.setattr(connections, "writing", small)
        with pytest.raises(HistoryFull):
            salvage(path.parent)
    assert path.read_bytes() == before
    salvage(path.parent)
    with Writer(tmp_path, plant()) as history:
        assert sum(map(len, everything(history).values())) > 0.5 * sum(map(len, held.values()))


def test_power_that_goes_between_the_last_steps_of_salvage_loses_nothing(tmp_path):
    held = filled(tmp_path)
    folder = tmp_path / "spring"
    (folder / "history.sqlite").rename(folder / "history.new.sqlite")
    history, saved = opened(tmp_path, plant())
    with history:
        assert saved is None
        assert everything(history) == held


def test_salvage_waits_for_no_writer(tmp_path):
    with Writer(tmp_path, plant()), pytest.raises(HistoryTaken):
        salvage(tmp_path / "spring")


def test_a_reader_of_the_old_file_does_no_harm_to_the_new_one(tmp_path):
    """SQLite removes a log by name when the last connection of a file closes."""
    held = filled(tmp_path)
    reader = History(tmp_path, plant())
    reader.latest()
    salvage(tmp_path / "spring")
    with Writer(tmp_path, plant()) as history:
        write(history, seconds(START_US + 9 * HOUR_US, 5))
        reader.close()  # still of the file that was set aside
        write(history, seconds(START_US + 9 * HOUR_US + 5 * SECOND_US, 5))
        with History(tmp_path, plant()) as other:
            assert other.counts()["readings"] == sum(map(len, held.values())) + 30


# --- copies


def test_a_copy_made_while_writing_is_one_moment_of_it(tmp_path):
    held = filled(tmp_path)
    stop = threading.Event()
    with Writer(tmp_path, plant()) as history:
        history.keep_plant_file("version = 1\n")

        def go_on() -> None:
            number = 0
            while not stop.is_set():
                write(history, seconds(START_US + 9 * HOUR_US + number * SECOND_US, 1))
                number += 1

        thread = threading.Thread(target=go_on)
        thread.start()
        try:
            heard: list[tuple[int, int]] = []
            back_up(tmp_path / "spring", tmp_path / "copy" / "spring", lambda *pages: heard.append(pages))
        finally:
            stop.set()
            thread.join()
        now = everything(history)
    assert heard
    with Writer(tmp_path / "copy", plant()) as copy:
        copied = everything(copy)
        for name in NAMES:
            assert copied[name] == now[name][: len(copied[name])]
            assert len(copied[name]) >= len(held[name])
        assert len({len(rows) for rows in copied.values()}) == 1  # whole commits
    assert (tmp_path / "copy" / "spring" / "plant.toml").read_text() == "version = 1\n"


def test_a_copy_of_nothing_is_told(tmp_path):
    with pytest.raises(FileNotFoundError):
        back_up(tmp_path / "spring", tmp_path / "copy")
