"""Readings files: what a row means, that the fast way and the exact way agree, and damaged files."""

from __future__ import annotations

import gzip
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from collector.readings.blocks import BlockReader
from collector.readings.digits import PAD, words
from collector.readings.file import HEADER, ReadingsError, ReadingsFile, read_readings
from collector.readings.rows import LONGEST_LINE, Malformed, Rows

PLANT = parse_plant(
    """
version = 1
timezone = "UTC"
[[signal]]
name = "pressure"
measures = "line_pressure"
topic = "a"
unit = "kPa"
[[signal]]
name = "motor"
measures = "pump_running"
topic = "b"
[[signal]]
name = "discharge pressure at the pump, upstream"
measures = "discharge_pressure"
topic = "c"
unit = "V"
calibration = [[0, "0 kPa"], [5, "500 kPa"]]
[[signal]]
name = "température de l'air dehors"
measures = "air_temperature"
topic = "d"
unit = "degF"
""",
    "p",
)
ROWS = Rows(PLANT)
BLOCKS = BlockReader(ROWS)


def written(folder: Path, text: str | bytes, name: str = "r.csv") -> Path:
    path = folder / name
    raw = text.encode() if isinstance(text, str) else text
    path.write_bytes(gzip.compress(raw) if name.endswith(".gz") else raw)
    return path


# -- one row ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("time", "time_us"),
    [
        ("0", 0),
        ("1900000000", 1_900_000_000_000_000),
        ("1900000000.5", 1_900_000_000_500_000),
        ("1900000000.1234567", 1_900_000_000_123_457),
        ("1.9e9", 1_900_000_000_000_000),
        ("-1.5", -1_500_000),
        # RFC 3339, 5.8: the examples.
        ("1985-04-12T23:20:50.52Z", 482_196_050_520_000),
        ("1996-12-19T16:39:57-08:00", 851_042_397_000_000),
        ("1990-12-31T23:59:60Z", 662_688_000_000_000),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130_000),
        ("2031-05-04t06:12:31z", 1_935_641_551_000_000),
        ("2031-05-04 06:12:31Z", 1_935_641_551_000_000),
        ("2031-05-04T06:12:31.1234569Z", 1_935_641_551_123_456),
        ("2031-05-04T06:12:31-00:00", 1_935_641_551_000_000),
    ],
)
def test_times(time: str, time_us: int) -> None:
    assert ROWS.read(f"{time},pressure,1".encode())[1] == time_us
    assert fast(f"{time},pressure,1\n".encode())[0] == [(0, time_us, 1.0)]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("2031-05-04T06:12:31,pressure,1", "offset"),
        ("2031-05-04,pressure,1", "offset"),
        ("2031-02-29T06:12:31Z,pressure,1", "no such date"),
        ("2031-13-01T06:12:31Z,pressure,1", "no such date"),
        ("2031-05-04T24:00:00Z,pressure,1", "time of day"),
        ("2031-05-04T06:60:00Z,pressure,1", "time of day"),
        ("2031-05-04T06:12:31+24:00,pressure,1", "time of day"),
        ("2031-05-04T06:12:31+0200,pressure,1", "RFC 3339"),
        ("1900000000000,pressure,1", "seconds"),
        ("1e300,pressure,1", "range"),
        ("nan,pressure,1", "RFC 3339"),
        ("now,pressure,1", "RFC 3339"),
        (",pressure,1", "RFC 3339"),
        ("1,presure,1", 'unknown signal "presure"'),
        ("1,,1", "unknown signal"),
        ("1,pressure,", "no value"),
        ("1,pressure,nan", "not a number"),
        ("1,pressure,inf", "not a number"),
        ("1,pressure,1e999", "too large"),
        ("1,pressure,1_0", "not a number"),
        ("1,pressure,0x1", "not a number"),
        ("1,pressure,1.2.3", "not a number"),
        ("1,pressure,--1", "not a number"),
        ("1,pressure,-", "not a number"),
        ("1,pressure,.", "not a number"),
        ("1,pressure,٣", "not a number"),
        ("1,pressure,on", "not a number"),
        ("1,motor,2", "neither 0 nor 1"),
        ("1,pressure", "2 fields"),
        ("1,pressure,1,", "4 fields"),
        ("1;pressure;1", "1 field"),
        ('1,"pressure,1', "quotes"),
        ('1,"pres"sure",1', "quotes"),
        ("\0,pressure,1", "RFC 3339"),
        ("1,pressure,1\0", "not a number"),
    ],
)
def test_malformed_rows(line: str, says: str) -> None:
    with pytest.raises(Malformed, match=says.replace('"', ".")):
        ROWS.read(line.encode())
    assert fast(line.encode() + b"\n")[0] == []


@pytest.mark.parametrize(
    ("line", "row"),
    [
        ("1,pressure,41.25", (0, 1_000_000, 41.25)),
        (" 1 , pressure , 41.25 ", (0, 1_000_000, 41.25)),
        ('"1","pressure","41.25"', (0, 1_000_000, 41.25)),
        ("1,pressure,-.5", (0, 1_000_000, -0.5)),
        ("1,pressure,+5.", (0, 1_000_000, 5.0)),
        ("1,pressure,5e-3", (0, 1_000_000, 0.005)),
        ("1,motor,TRUE", (1, 1_000_000, 1.0)),
        ("1,motor,off", (1, 1_000_000, 0.0)),
        ("1,motor,1.0", (1, 1_000_000, 1.0)),
        ('1,"discharge pressure at the pump, upstream",2.5', (2, 1_000_000, 2.5)),
        ("1,température de l'air dehors,-4", (3, 1_000_000, -4.0)),
    ],
)
def test_rows(line: str, row: tuple[int, int, float]) -> None:
    assert ROWS.read(line.encode()) == row
    assert fast(line.encode() + b"\n") == ([row], [])


# -- the fast way and the exact way agree --------------------------------------------------------------


def exact(text: bytes) -> tuple[list[tuple[int, int, float]], list[tuple[int, str]]]:
    """Rows and malformed lines, each line read by itself."""
    found, bad = [], []
    for number, line in enumerate(text.split(b"\n")[:-1], 1):
        line = line.removesuffix(b"\r")
        if not line.strip():
            continue
        try:
            found.append(ROWS.read(line))
        except Malformed as error:
            bad.append((number, str(error)))
    return found, bad


def fast(text: bytes) -> tuple[list[tuple[int, int, float]], list[tuple[int, str]]]:
    block = BLOCKS.read(text)
    assert block.lines == text.count(b"\n")
    assert block.malformed == len(block.named)
    rows = zip(block.signal.tolist(), block.time_us.tolist(), block.value.tolist(), strict=True)
    return list(rows), block.named


ZONES = st.integers(-1439, 1439).map(lambda minutes: timezone(timedelta(minutes=minutes)))
MOMENTS = st.builds(
    lambda us, zone: datetime(1970, 1, 2, tzinfo=UTC).astimezone(zone) + timedelta(microseconds=us),
    st.integers(0, 2**52),
    st.just(UTC) | ZONES,
)
TIMES = st.one_of(
    MOMENTS.map(lambda at: at.isoformat().replace("+00:00", "Z")),
    MOMENTS.map(lambda at: at.isoformat(timespec="milliseconds")),
    MOMENTS.map(lambda at: at.isoformat(timespec="seconds").replace("+00:00", "Z")),
    st.integers(0, 2**33).map(str),
    st.decimals(0, 2**33, places=3).map(str),
    st.floats(0, 2**33).map(repr),
)
VALUES = st.one_of(
    st.decimals(-(10**6), 10**6, places=2).map(str),
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.integers(-(10**20), 10**20).map(str),
    st.sampled_from(["0", "1", "-0.0", "", "nan", "1.", ".5", "-", "0.1000000000000000055511151231257827"]),
    st.sampled_from(["on", "OFF", "True", "false", "offf", "\u212an"]),
)
NAMES = st.sampled_from([signal.name for signal in PLANT.signals] + ["nobody", ""])
FIELDS = st.tuples(TIMES, NAMES, VALUES).map(",".join)
CHARS = st.text(alphabet="0123456789.,-+:TZz\"' \r\x00epressuremoto\ufeffé", max_size=30)
LINES = st.lists(FIELDS | FIELDS | CHARS, max_size=12)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(LINES, st.sampled_from(["\n", "\r\n"]))
@example(["2031-05-04T06:12:31Z,pressure,41.25"] * 3, "\n")
@example(["1,pressure,9007199254740993", "1,pressure,-0", "1,pressure,0.30000000000000004"], "\n")
@example(["1970-01-01T00:00:00.5+00:00,motor,1", "5,motor,1"], "\n")
@example([",,", ",,,", '"', "\r", "1,pressure,1\r\r"], "\r\n")
def test_both_ways_agree(lines: list[str], end: str) -> None:
    text = "".join(line + end for line in lines).encode()
    assert repr(fast(text)) == repr(exact(text))  # as text, so that -0.0 and 0.0 differ


@given(st.binary(max_size=120))
def test_both_ways_agree_on_rubbish(rubbish: bytes) -> None:
    text = rubbish + b"\n"
    assert repr(fast(text)) == repr(exact(text))


@given(st.lists(st.tuples(TIMES, st.just("pressure"), VALUES).map(",".join), min_size=1), st.data())
def test_both_ways_agree_on_one_byte_changed(lines: list[str], data: st.DataObject) -> None:
    text = bytearray("".join(line + "\n" for line in lines).encode())
    text[data.draw(st.integers(0, len(text) - 2))] = data.draw(st.integers(0, 255))
    text += b"\n"
    assert repr(fast(bytes(text))) == repr(exact(bytes(text)))


def _moment(second: int) -> datetime:
    return datetime(2031, 10, 26, 0, 58, tzinfo=UTC) + timedelta(seconds=second, microseconds=7001 * second)


FORMS = {
    "seconds": lambda second: _moment(second).isoformat(timespec="seconds").replace("+00:00", "Z"),
    "milliseconds": lambda second: _moment(second).isoformat(timespec="milliseconds")[:23] + "Z",
    "microseconds": lambda second: _moment(second).isoformat(timespec="microseconds")[:26] + "Z",
    "offset": lambda second: (
        _moment(second).astimezone(timezone(timedelta(hours=-9.5))).isoformat()[:19] + "-09:30"
    ),
    "fraction and offset": lambda second: _moment(second).isoformat(timespec="milliseconds")[:23] + "+05:45",
    "since 1970": lambda second: str(1_950_742_680 + second),
    "fraction since 1970": lambda second: f"{1_950_742_680 + second}.{7 * second % 1000:03d}",
}


@pytest.mark.parametrize("form", FORMS)
@given(st.data())
def test_rows_of_one_form_are_read_as_such_and_both_ways_agree_on_one_byte_changed(
    form: str, data: st.DataObject
) -> None:
    names = ("pressure", "motor", "température de l'air dehors")
    rows = [f"{FORMS[form](second)},{names[second % 3]},{second % 2}" for second in range(150)]
    end = data.draw(st.sampled_from(["\n", "\r\n"]))
    text = bytearray("".join(row + end for row in rows).encode())
    padded = np.frombuffer(b"\0" * PAD + bytes(text) + b"\0" * PAD, np.uint8)
    alike = BLOCKS._alike(padded, words(padded))
    assert alike is not None
    assert alike.plain.all()
    for at in data.draw(st.lists(st.integers(len(rows[0]), len(text) - 2), max_size=2)):
        text[at] = data.draw(st.sampled_from(b'0123456789,.-+:TZ" \r\n\xff') | st.integers(0, 255))
    assert repr(fast(bytes(text))) == repr(exact(bytes(text)))


# -- files ------------------------------------------------------------------------------------------


def test_a_recording(tmp_path: Path) -> None:
    rows = [
        "1970-01-01T00:00:02Z,pressure,200",
        "1,motor,on",
        "3,discharge pressure at the pump,2.5",
        '3,"discharge pressure at the pump, upstream",2.5',
        "",
        "4,température de l'air dehors,212",
    ]
    for name in ("r.csv", "r.csv.gz"):
        found = read_readings(written(tmp_path, "\n".join([HEADER, *rows]), name), PLANT)
        assert found.readings.signal.tolist() == [1, 0, 2, 3]
        assert found.readings.time_us.tolist() == [1_000_000, 2_000_000, 3_000_000, 4_000_000]
        assert found.readings.value == pytest.approx([1, 200_000, 250_000, 100])
        assert (found.malformed, found.late) == (1, 0)
        assert found.named == [(4, 'unknown signal "discharge pressure at the pump"')]
    stored = read_readings(written(tmp_path, "\n".join([HEADER, *rows])), PLANT, stored=True)
    assert stored.readings.value.tolist() == [1, 200, 2.5, 212]


def test_byte_order_mark_and_windows_line_ends(tmp_path: Path) -> None:
    path = written(tmp_path, b"\xef\xbb\xbf" + f"{HEADER}\r\n1,pressure,5\r\n2,pressure,6\r\n".encode())
    found = read_readings(path, PLANT)
    assert found.readings.value.tolist() == [5000, 6000]
    assert found.malformed == 0


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("r.csv", b"", "empty"),
        ("r.csv", b"1,pressure,5\n", '"1,pressure,5"'),
        ("r.csv", b"time;signal;value\n", "time,signal,value"),
        ("r.csv", b"signal,time,value\n", "time,signal,value"),
        ("r.csv", b"\x00" * 5000, "time,signal,value"),
        ("r.csv.gz", gzip.compress(b"", mtime=0), "empty"),
    ],
)
def test_what_is_no_readings_file(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(ReadingsError) as caught:
        read_readings(tmp_path / name, PLANT)
    assert says in str(caught.value)
    assert str(tmp_path / name) in str(caught.value)


def test_what_cannot_be_opened(tmp_path: Path) -> None:
    with pytest.raises(ReadingsError, match="No such file"):
        read_readings(tmp_path / "none.csv", PLANT)
    (tmp_path / "plain.csv.gz").write_text(f"{HEADER}\n1,pressure,1\n")
    with pytest.raises(ReadingsError):
        read_readings(tmp_path / "plain.csv.gz", PLANT)


def test_a_header_alone_is_an_empty_recording(tmp_path: Path) -> None:
    found = read_readings(written(tmp_path, HEADER), PLANT)
    assert len(found.readings) == found.malformed == 0


def test_malformed_rows_are_counted_to_the_last_and_named_to_a_bound(tmp_path: Path) -> None:
    rows = [f"{at},pressure,{'x' if at % 7 == 0 else at}" for at in range(70_000)]
    found = read_readings(written(tmp_path, "\n".join([HEADER, *rows])), PLANT)
    assert found.malformed == 10_000
    assert len(found.readings) == 60_000
    assert [line for line, _ in found.named] == [2 + 7 * at for at in range(100)]


def test_a_line_without_end_is_one_malformed_row(tmp_path: Path) -> None:
    text = f"{HEADER}\n1,pressure,1\n{'9' * 3_000_000}\n{'8' * LONGEST_LINE},pressure,1\n2,pressure,2\n"
    found = read_readings(written(tmp_path, text, "r.csv.gz"), PLANT)
    assert found.readings.value.tolist() == [1000, 2000]
    assert [line for line, _ in found.named] == [3, 4]
    assert all("longer" in reason for _, reason in found.named)


def test_a_recording_cut_short_by_a_power_cut(tmp_path: Path) -> None:
    whole = gzip.compress(
        "".join([f"{HEADER}\n", *(f"{at},pressure,{at % 50}.5\n" for at in range(100_000))]).encode()
    )
    (tmp_path / "r.csv.gz").write_bytes(whole[: len(whole) // 2])
    found = read_readings(tmp_path / "r.csv.gz", PLANT)
    kept = found.readings.value / 1000
    assert 10_000 < len(kept) < 100_000
    assert np.array_equal(kept, np.arange(len(kept)) % 50 + 0.5)
    assert 1 <= found.malformed <= 2  # the end itself, and the row it cut through
    assert found.named[-1][0] >= len(kept)
    assert "breaks off" in found.named[-1][1]


def test_rows_out_of_order_are_put_in_order_and_late_ones_counted(tmp_path: Path) -> None:
    times = [0, 30, 10, 60, 61, 0, 100, 40, 39.9]
    text = "\n".join([HEADER, *(f"{at},pressure,{at}" for at in times)])
    found = read_readings(written(tmp_path, text), PLANT)
    assert found.readings.time_us.tolist() == sorted(round(at * 1e6) for at in times)
    assert found.late == 2  # 0 after 61, 39.9 after 100; 40 after 100 is just in time


@given(st.permutations(range(12)), st.integers(1, 5))
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_chunks_are_the_recording(tmp_path: Path, order: list[int], chunk: int) -> None:
    """Within the disorder that the format allows, chunks one after the other are in order."""
    late = [at * 10 for at in order if max(order[: order.index(at) + 1]) - at <= 6]
    text = "\n".join([HEADER, *(f"{at},pressure,{at}" for at in late)])
    path = written(tmp_path, text)
    file = ReadingsFile(path, PLANT, chunk=chunk)
    chunks = list(file)
    assert all(len(one) for one in chunks)
    assert Readings.concatenate(chunks).time_us.tolist() == sorted(at * 1_000_000 for at in late)
    assert file.late == 0


def test_a_clock_that_stands_still_does_not_fill_the_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.readings.file._MOST_HELD", 2000)
    path = written(tmp_path, "\n".join([HEADER, *["5,pressure,1"] * 200_000]))
    chunks = list(ReadingsFile(path, PLANT, chunk=1))
    assert len(chunks) > 1
    assert sum(len(one) for one in chunks) == 200_000


def test_readings_of_one_instant_are_in_order_of_signal(tmp_path: Path) -> None:
    text = f"{HEADER}\n1,motor,1\n1,pressure,5\n"
    assert read_readings(written(tmp_path, text), PLANT).readings.signal.tolist() == [0, 1]


def test_line_numbers_run_on_across_stretches(tmp_path: Path) -> None:
    rows = [f"2031-05-04T06:12:31Z,pressure,{at}" for at in range(60_000)]
    rows[59_990] = "2031-05-04T06:12:31Z,pressure,oops"
    found = read_readings(written(tmp_path, "\n".join([HEADER, *rows])), PLANT)
    assert found.named == [(59_992, 'value "oops" is not a number')]


def test_giving_up_half_way_leaves_no_thread(tmp_path: Path) -> None:
    import threading

    path = written(tmp_path, "\n".join([HEADER, *(f"{at},pressure,1" for at in range(200_000))]))
    before = threading.active_count()
    chunks = iter(ReadingsFile(path, PLANT, chunk=1000))
    next(chunks)
    chunks.close()  # type: ignore[attr-defined]
    assert threading.active_count() == before


@pytest.mark.parametrize("chunk", [7, 400, 100_000])
def test_a_clock_set_back_is_left_for_the_engine_to_follow(tmp_path: Path, chunk: int) -> None:
    """The hour that is stamped twice is no disorder: put in order it would be two hours in one, each reading
    of the one between two of the other."""
    straight = [*range(0, 7_200, 10)]
    again = [*range(3_600, 12_000, 10)]
    text = "\n".join([HEADER, *(f"{at},pressure,30" for at in [*straight, *again])])
    file = ReadingsFile(written(tmp_path, text), PLANT, chunk=chunk)
    times = Readings.concatenate(list(file)).time_us // 1_000_000
    backward = np.flatnonzero(np.diff(times) < 0)
    assert len(backward) == 1
    assert times[backward[0]] == 7_190
    assert times[backward[0] + 1 :].tolist() == again
    assert file.late == (7_190 - 3_600) // 10 - 6
