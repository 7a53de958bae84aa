"""What goes into a history comes out of it, for its writer and for readers beside it."""

from __future__ import annotations

import dataclasses
import math
import threading

import numpy as np
import pytest

from analytics.readings import TICK, Readings
from analytics.records import Cycle, Finding, Outlook
from collector.store import Batch, History, Sample, SetAside, Writer
from collector.store.errors import HistoryForeign, HistoryTaken
from collector.store.records import MOST_SET_ASIDE
from tests.collector.store.plants import HOUR_US, SECOND_US, START_US, plant, readings, seconds


@pytest.fixture
def writer(tmp_path):
    with Writer(tmp_path, plant()) as opened:
        yield opened


@pytest.fixture
def reader(tmp_path):
    with History(tmp_path, plant()) as opened:
        yield opened


def write(writer, found: Readings, snapshot: bytes | None = None) -> int:
    return writer.commit(Batch(writer.admit(found), snapshot=snapshot))


def rows(history, name="pressure", start=-(2**62), stop=2**62):
    series = history.readings(name, start, stop)
    return list(zip(series.time_us.tolist(), series.value.tolist(), strict=True))


def test_before_anything_was_written_a_reader_answers_with_nothing(reader, tmp_path):
    assert reader.latest() == {}
    assert rows(reader) == []
    assert len(reader.rollup("pressure", 0, START_US)) == 0
    assert len(reader.bands("pressure", 0, START_US, 100)) == 0
    assert (reader.cycles(), reader.findings(), reader.outlooks(), reader.set_aside()) == ([], [], [], [])
    assert reader.tail(0) == (0, {})
    assert (reader.seq(), reader.span(), reader.engine_state()) == (0, None, None)
    assert reader.counts() == {"readings": 0}
    assert list(reader.recording(["motor"], 0, START_US)) == []
    assert not (tmp_path / "spring").exists()


def test_a_reader_opened_first_sees_what_is_written_later(tmp_path, reader):
    assert reader.latest() == {}
    with Writer(tmp_path, plant()) as writer:
        assert reader.latest() == {}
        write(writer, readings([(0, START_US, 41.25), (1, START_US + 5, 6.5)]))
        assert reader.latest() == {"pressure": Sample(START_US, 41.25), "motor": Sample(START_US + 5, 6.5)}


def test_readings_come_back_exactly_from_journal_and_from_sealed_hours(writer, reader):
    found = seconds(START_US, 5000)
    for part in np.array_split(np.arange(len(found)), 40):
        write(writer, found[part], snapshot=b"state")
    sealed = writer._write.execute("SELECT count(*) FROM sealed").fetchone()[0]
    left = writer._write.execute("SELECT count(*) FROM journal").fetchone()[0]
    assert sealed >= 3
    assert left > 0
    for position, signal in enumerate(plant().signals):
        mine = found[found.signal == position].in_time_order()
        expected = list(zip(mine.time_us.tolist(), mine.value.tolist(), strict=True))
        assert rows(reader, signal.name) == expected
        middle = mine.time_us[len(mine) // 2]
        assert rows(reader, signal.name, START_US + 10, middle) == [
            row for row in expected if START_US + 10 <= row[0] < middle
        ]
    assert reader.counts()["readings"] == len(found)
    assert reader.span() == (found.time_us.min(), found.time_us.max())


def test_nothing_is_sealed_before_a_snapshot_covers_it(writer):
    write(writer, seconds(START_US, 9000))
    assert writer._write.execute("SELECT count(*) FROM sealed").fetchone() == (0,)
    write(writer, seconds(START_US + 9000 * SECOND_US, 1), snapshot=b"state")
    assert writer._write.execute("SELECT count(*) FROM sealed").fetchone()[0] > 0


def test_the_first_value_stays_and_repeats_are_counted(writer, reader):
    write(writer, readings([(0, START_US, 40.0), (0, START_US, 99.0), (0, START_US + 1, 41.0)]))
    fresh = writer.admit(readings([(0, START_US, 40.0), (0, START_US + 1, 7.0), (1, START_US, 1.0)]))
    assert fresh.signal.tolist() == [1]
    writer.commit(Batch(fresh))
    assert rows(reader) == [(START_US, 40.0), (START_US + 1, 41.0)]
    assert reader.counts() == {"readings": 3, "repeated": 3}


def test_a_repeat_is_known_between_admitting_and_committing(writer):
    first = writer.admit(readings([(0, START_US, 40.0)]))
    assert len(first) == 1
    assert len(writer.admit(readings([(0, START_US, 40.0)]))) == 0


@pytest.mark.parametrize("reopened", [False, True])
def test_repeats_of_sealed_and_of_hot_readings_are_known(tmp_path, reopened):
    found = seconds(START_US, 4000)
    writer = Writer(tmp_path, plant())
    write(writer, found[: 3 * 3900], snapshot=b"state")
    write(writer, found[3 * 3900 :])
    if reopened:
        writer.close()
        writer = Writer(tmp_path, plant())
    with writer:
        assert len(writer.admit(found)) == 0
        late = Readings(found.signal[:6], found.time_us[:6] + 1, found.value[:6])
        assert len(writer.admit(late)) == 6


def test_late_readings_merge_into_their_sealed_hour(writer, reader):
    found = seconds(START_US, 4000)
    late = np.arange(len(found)) % 7 == 0
    write(writer, found[~late], snapshot=b"state")
    write(writer, found[late])
    write(writer, seconds(START_US + 2 * HOUR_US, 200), snapshot=b"state")
    mine = found[found.signal == 0].in_time_order()
    assert rows(reader, "pressure", START_US, START_US + HOUR_US + HOUR_US // 2) == list(
        zip(mine.time_us.tolist(), mine.value.tolist(), strict=True)
    )
    bands = reader.rollup("pressure", START_US, START_US + HOUR_US, "hour")
    inside = mine.value[mine.time_us < START_US + HOUR_US]
    assert (bands.count[0], bands.minimum[0], bands.maximum[0]) == (len(inside), inside.min(), inside.max())
    assert bands.mean[0] == pytest.approx(inside.mean(), rel=1e-12)


@pytest.mark.parametrize("step", ["minute", "hour"])
def test_rollups_are_the_same_before_and_after_sealing(writer, reader, step):
    found = seconds(START_US, 4500)
    write(writer, found)
    before = reader.rollup("motor", START_US + 90 * SECOND_US, START_US + 2 * HOUR_US, step)
    write(writer, seconds(START_US + 3 * HOUR_US, 1), snapshot=b"state")
    after = reader.rollup("motor", START_US + 90 * SECOND_US, START_US + 2 * HOUR_US, step)
    for name in ("time_us", "minimum", "maximum", "count"):
        assert getattr(before, name).tolist() == getattr(after, name).tolist()
    assert after.mean == pytest.approx(before.mean, rel=1e-12)
    assert len(after) == (75 - 1 if step == "minute" else 2)


def test_nan_is_stored_and_kept_out_of_rollups(writer, reader):
    write(writer, readings([(0, START_US, math.nan), (0, START_US + 1, 3.0), (1, START_US, math.nan)]))
    write(writer, seconds(START_US + 3 * HOUR_US, 1), snapshot=b"state")
    assert math.isnan(rows(reader)[0][1])
    assert reader.rollup("pressure", START_US, START_US + HOUR_US).mean.tolist() == [3.0]
    empty = reader.rollup("motor", START_US, START_US + HOUR_US, "hour")
    assert empty.count.tolist() == [0]
    assert math.isnan(empty.mean[0])


@pytest.mark.parametrize(
    ("span_us", "points", "step_us"),
    [
        (600 * SECOND_US, 700, 0),
        (HOUR_US, 400, 9 * SECOND_US),
        (3 * HOUR_US, 400, 60 * SECOND_US),
        (24 * HOUR_US, 400, 300 * SECOND_US),
        (365 * 24 * HOUR_US, 400, 24 * HOUR_US),
        (3650 * 24 * HOUR_US, 400, 240 * HOUR_US),
    ],
)
def test_bands_take_the_step_that_the_screen_can_show(writer, reader, span_us, points, step_us):
    found = seconds(START_US, 4200)
    write(writer, found, snapshot=b"state")
    bands = reader.bands("pressure", START_US, START_US + span_us, points)
    mine = found[(found.signal == 0) & (found.time_us < START_US + span_us)]
    assert bands.step_us == step_us
    assert len(bands) <= points + 1
    assert int(bands.count.sum()) == len(mine)
    assert float(np.nanmax(bands.maximum)) == mine.value.max()
    assert float(np.nanmin(bands.minimum)) == mine.value.min()


def test_tail_gives_each_commit_once(writer, reader):
    seq = reader.seq()
    write(writer, readings([(0, START_US, 1.0), (TICK, START_US + 1, 0.0)]))
    write(writer, readings([(0, START_US + 2, 2.0), (1, START_US + 2, 3.0)]))
    seq, new = reader.tail(seq)
    assert new["pressure"].value.tolist() == [1.0, 2.0]
    assert new["motor"].value.tolist() == [3.0]
    assert reader.tail(seq) == (seq, {})
    write(writer, readings([(1, START_US + 3, 4.0)]))
    seq, new = reader.tail(seq)
    assert {name: series.value.tolist() for name, series in new.items()} == {"motor": [4.0]}


def test_numbers_of_commits_rise_over_sealing_and_reopening(tmp_path):
    with Writer(tmp_path, plant()) as writer:
        write(writer, seconds(START_US, 100))
        last = write(writer, seconds(START_US + 2 * HOUR_US, 100), snapshot=b"state")
        assert writer._write.execute("SELECT count(*) FROM journal").fetchone() == (0,)
    with Writer(tmp_path, plant()) as writer:
        assert write(writer, seconds(START_US + 3 * HOUR_US, 1)) == last + 1


def test_the_engine_resumes_from_its_snapshot_and_what_came_after(tmp_path):
    before, after = seconds(START_US, 50), seconds(START_US + 50 * SECOND_US, 60, seed=2)
    ticks = readings([(TICK, START_US + 111 * SECOND_US, 0.0)])
    after = Readings.concatenate([after, ticks])[::-1]  # order of arrival, not of time
    with Writer(tmp_path, plant()) as writer:
        assert writer.resume().state is None
        write(writer, before, snapshot=b"state at 50")
        for part in np.array_split(np.arange(len(after)), 9):
            write(writer, after[part])
    with Writer(tmp_path, plant()) as writer:
        resumed = writer.resume()
        replay = Readings.concatenate(list(resumed.replay))
        assert (resumed.state, resumed.fits) == (b"state at 50", True)
    assert replay.signal.tolist() == after.signal.tolist()
    assert replay.time_us.tolist() == after.time_us.tolist()
    for position, signal in enumerate(plant().signals):
        mine = after.signal == position
        assert replay.value[mine].tolist() == signal.to_si(after.value[mine]).tolist()


def test_changed_signals_are_noticed_at_resuming_and_a_changed_unit_is_none(tmp_path):
    with Writer(tmp_path, plant()) as writer:
        write(writer, seconds(START_US, 2), snapshot=b"state")
    with Writer(tmp_path, plant("bar")) as writer:
        assert writer.resume().fits
    turned = dataclasses.replace(plant(), signals=plant().signals[::-1])
    with Writer(tmp_path, turned) as writer:
        assert not writer.resume().fits


def test_records_come_back_as_they_went_in(writer, reader):
    cycle = Cycle(START_US, START_US + 7, 0.1 + 0.2, pressure_start_pa=1 / 3)
    finding = Finding("short_cycling", None, START_US + 9, START_US, "high", 1 / 7, "It runs often — “…”.")
    silent = Finding(
        *("sensor_fault", "motor", START_US + 9, START_US, "low", 0.5, "Silent."),
        *("silent", START_US + 99, {"a_s": 0.1, "b_s": math.nan}),
    )
    outlooks = [Outlook("days_to_empty", "rain", START_US + k, None, k / 3, 9.0) for k in (5, 9, 7)]
    aside = SetAside(START_US, "spring/pressure", "no number", "bonjour")
    writer.commit(Batch(cycles=[cycle], findings=[silent, finding], outlooks=outlooks, set_aside=[aside]))
    assert reader.cycles() == [cycle]
    assert reader.cycles(START_US + 1) == []
    told = reader.findings()
    assert told[1] == finding
    assert math.isnan(told[0].evidence.pop("b_s"))
    silent.evidence.pop("b_s")
    assert told[0] == silent
    assert reader.findings(open_only=True) == [finding]
    assert reader.outlooks() == [outlooks[1]]
    assert reader.set_aside() == [aside]
    assert reader.counts() == {"readings": 0, "set_aside": 1}


def test_a_later_word_on_a_finding_takes_the_place_of_the_earlier(writer, reader):
    first = Finding("dry_supply", None, START_US, START_US, "high", 0.6, "Perhaps.")
    last = Finding("dry_supply", None, START_US, START_US, "high", 0.9, "Yes.", None, START_US + 5)
    last = dataclasses.replace(last, raised_priority="medium", raised_summary="Perhaps.")
    writer.commit(Batch(findings=[first]))
    writer.commit(Batch(findings=[last]))
    assert reader.findings() == [last]


def test_what_was_set_aside_is_bounded_and_all_of_it_counted(writer, reader):
    many = [SetAside(k, "t", "r", "x" * 1000) for k in range(MOST_SET_ASIDE + 500)]
    writer.commit(Batch(set_aside=many))
    writer.commit(Batch(set_aside=many[:30]))
    kept = reader.set_aside(10_000)
    assert len(kept) == MOST_SET_ASIDE
    assert kept[0].time_us == 29
    assert max(len(message.excerpt) for message in kept) == 200
    assert reader.counts()["set_aside"] == MOST_SET_ASIDE + 530


def test_tallies_add_up(writer, reader):
    writer.commit(Batch(counted={"late": 2}))
    writer.commit(Batch(counted={"late": 3, "unknown_topic": 1}))
    assert reader.counts() == {"readings": 0, "late": 5, "unknown_topic": 1}


def test_a_unit_that_changes_begins_a_new_stream_and_reads_as_one(tmp_path):
    with Writer(tmp_path, plant("psi")) as writer:
        write(writer, readings([(0, START_US, 43.5)]))
        write(writer, seconds(START_US + 3 * HOUR_US, 1), snapshot=b"state")
    with Writer(tmp_path, plant("bar")) as writer:
        write(writer, readings([(0, START_US + 9 * HOUR_US, 3.0)]))
        assert len(writer.admit(readings([(0, START_US, 2.9)]))) == 0
        series = writer.readings("pressure", START_US, START_US + 10 * HOUR_US)
        # 1 psi = 6894.757 Pa (NIST SP 811, appendix B.8)
        assert series.value[[0, -1]].tolist() == pytest.approx([43.5 * 6894.757e-5, 3.0], rel=1e-6)
        bands = writer.rollup("pressure", START_US, START_US + HOUR_US, "hour")
        assert bands.maximum[0] == pytest.approx(43.5 * 6894.757e-5, rel=1e-6)
        assert writer.latest()["pressure"].value == 3.0
    with History(tmp_path, plant("psi")) as reader:
        assert reader.readings("pressure", START_US, START_US + 1).value.tolist() == [43.5]


def test_one_writer_at_a_time(tmp_path, writer):
    with pytest.raises(HistoryTaken):
        Writer(tmp_path, plant())


def test_a_file_that_is_not_ours_is_refused(tmp_path):
    import sqlite3

    (tmp_path / "spring").mkdir()
    other = sqlite3.connect(tmp_path / "spring" / "history.sqlite")
    other.execute("CREATE TABLE theirs (x)")
    other.close()
    for read_only in (True, False):
        with pytest.raises(HistoryForeign), (History if read_only else Writer)(tmp_path, plant()) as history:
            history.latest()


def test_the_folder_holds_the_plant_file_in_force(tmp_path, writer):
    for text in ("first = 1\n", "first = 1\n", "second = “2”\n"):
        writer.keep_plant_file(text)
        assert (tmp_path / "spring" / "plant.toml").read_text("utf-8") == text


def test_a_large_batch_goes_to_its_hours_at_once(writer, reader):
    write(writer, seconds(START_US - 50 * SECOND_US, 50))
    found = seconds(START_US, 9000)
    write(writer, found, snapshot=b"state")
    assert writer._write.execute("SELECT count(*) FROM journal").fetchone() == (0,)
    assert reader.counts() == {"readings": len(found) + 150}
    mine = found[found.signal == 2].in_time_order()
    assert rows(reader, "level, rain", START_US) == list(
        zip(mine.time_us.tolist(), mine.value.tolist(), strict=True)
    )


def test_a_recording_is_everything_in_time_order(writer, reader):
    found = seconds(START_US, 4000)
    write(writer, found[:9000], snapshot=b"state")
    write(writer, found[9000:])
    whole = Readings.concatenate(list(reader.recording(["motor", "pressure"], -(2**62), 2**62)))
    expected = found[found.signal < 2].in_time_order()
    for name in ("signal", "time_us", "value"):
        assert getattr(whole, name).tolist() == getattr(expected, name).tolist()


def test_many_threads_read_while_one_writes(writer, reader):
    wrong: list[object] = []

    def look() -> None:
        for _ in range(40):
            series = reader.readings("pressure", 0, 2**62)
            steps = (series.time_us - START_US) // SECOND_US
            if steps.tolist() != list(range(len(steps))) or len(steps) % 60:
                wrong.append(steps)
            reader.latest()
            reader.rollup("motor", 0, 2**62)

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for minute in range(150):
        found = seconds(START_US + minute * 60 * SECOND_US, 60, seed=minute)
        write(writer, found, snapshot=b"state" if minute % 5 == 4 else None)
    for thread in threads:
        thread.join()
    assert not wrong
    assert reader.counts()["readings"] == 150 * 60 * 3
