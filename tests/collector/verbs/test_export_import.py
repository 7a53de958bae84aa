"""`export`, `import` and `findings`: files in, the same files out."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.cli import main
from collector.store import Batch, Writer
from collector.verbs.export import instants, number
from tests.collector.store.plants import HOUR_US, START_US, TEXT, plant, readings, seconds


@pytest.fixture
def plant_file(tmp_path):
    path = tmp_path / "spring.toml"
    path.write_text(TEXT.replace("PRESSURE_UNIT", "psi"))
    return path


def fill(data, found) -> None:
    with Writer(data, plant()) as history:
        history.commit(Batch(history.admit(found), snapshot=None))


def exported(capsys, *words) -> str:
    assert main(["export", *map(str, words)]) == 0
    return capsys.readouterr().out


def test_export_import_export_is_identical(tmp_path, plant_file, capsys):
    found = seconds(START_US, 4000)
    odd = readings(
        [
            *(
                (0, START_US + 2 * HOUR_US + k, v)
                for k, v in enumerate([1 / 3, 1e-300, -0.0, 1e22, 123456789.125])
            ),
            *((1, START_US + 2 * HOUR_US + k, v) for k, v in enumerate([5e-324, 0.1 + 0.2, -7.0])),
        ]
    )
    fill(tmp_path / "one", found)
    fill(tmp_path / "one", odd)
    first = exported(capsys, plant_file, "--data", tmp_path / "one")
    assert len(first.splitlines()) == 1 + len(found) + len(odd)
    (tmp_path / "out.csv").write_text(first)
    assert main(["import", str(plant_file), str(tmp_path / "out.csv"), "--data", str(tmp_path / "two")]) == 0
    assert "12,008 readings stored" in capsys.readouterr().err
    assert exported(capsys, plant_file, "--data", tmp_path / "two") == first
    kept = (tmp_path / "two" / "spring" / "plant.toml").read_text()
    assert kept == plant_file.read_text()


def test_export_is_in_time_order_and_reads_as_csv(tmp_path, plant_file, capsys):
    found = seconds(START_US, 100)
    fill(tmp_path, found)
    rows = list(csv.DictReader(exported(capsys, plant_file, "--data", tmp_path).splitlines()))
    assert {row["signal"] for row in rows} == {"pressure", "motor", "level, rain"}
    ordered = found.in_time_order()
    assert [float(row["value"]) for row in rows] == ordered.value.tolist()
    assert [row["time"] for row in rows] == instants(ordered.time_us)


def test_export_takes_signals_and_a_span_in_the_plants_own_time(tmp_path, plant_file, capsys):
    # Boise is six hours behind UTC in May
    fill(tmp_path, readings([(s, START_US + k * 1_000_000, s + k) for k in range(5) for s in (0, 1)]))
    words = [plant_file, "--data", tmp_path, "--signal", "motor"]
    whole = exported(capsys, *words).splitlines()
    assert len(whole) == 6
    start = np.datetime64(START_US, "us").item()
    utc = exported(capsys, *words, "--from", f"{start.isoformat()}+00:00", "--to", "2031-12-31")
    assert utc.splitlines() == whole
    assert exported(capsys, *words, "--to", start.isoformat() + "Z") == "time,signal,value\n"
    local = np.datetime64(START_US + 2_000_000 - 6 * HOUR_US, "us").item().isoformat()
    assert exported(capsys, *words, "--from", local).splitlines() == [whole[0], *whole[3:]]


def test_mistakes_are_told_all_at_once(tmp_path, plant_file, capsys):
    words = [str(plant_file), "--data", str(tmp_path), "--signal", "flow", "--from", "soon", "--to", "late"]
    assert main(["export", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    for word in ("'flow'", "pressure, motor", "--from", "'soon'", "--to", "'late'"):
        assert word in said.err


@pytest.mark.parametrize("verb", ["export", "findings"])
def test_nothing_stored_yet_is_no_mistake(tmp_path, plant_file, capsys, verb):
    assert main([verb, str(plant_file), "--data", str(tmp_path / "none")]) == 0
    assert capsys.readouterr().out in ("time,signal,value\n", "")
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize("verb", ["export", "findings"])
def test_a_plant_file_that_is_not_there_is_the_owners_mistake(tmp_path, capsys, verb):
    assert main([verb, str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err


def test_a_history_from_a_newer_version_is_told_without_a_trace(tmp_path, plant_file, capsys):
    import sqlite3

    fill(tmp_path, seconds(START_US, 2))
    with sqlite3.connect(tmp_path / "spring" / "history.sqlite") as raw:
        raw.execute("PRAGMA user_version = 99")
    for verb in ("export", "findings"):
        assert main([verb, str(plant_file), "--data", str(tmp_path)]) == 1
        assert "newer holdwater" in capsys.readouterr().err


def test_import_says_what_it_could_not_read(tmp_path, plant_file, capsys):
    file = tmp_path / "in.csv"
    file.write_text("time,signal,value\n2031-05-03T06:00:00Z,pressure,41.5\nrubbish\n")
    assert main(["import", str(plant_file), str(file), "--data", str(tmp_path)]) == 0
    said = capsys.readouterr().err
    assert "1 readings stored" in said
    assert "line 3" in said
    assert main(["import", str(plant_file), str(tmp_path / "none.csv"), "--data", str(tmp_path)]) == 2


def test_findings_are_the_contracts_lines(tmp_path, plant_file, capsys):
    from analytics.records import Finding

    open_one = Finding("dry_supply", None, START_US + 5, START_US, "high", 0.94, "No water.", None)
    cleared = Finding("lost_prime", None, START_US, START_US, "high", 0.9, "Air.", None, START_US + 9)
    with Writer(tmp_path, plant()) as history:
        history.commit(Batch(findings=[open_one, cleared]))
    assert main(["findings", str(plant_file), "--data", str(tmp_path)]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["fault"] for line in lines] == ["lost_prime", "dry_supply"]
    assert list(lines[0]) == [
        *("version", "fault", "cause", "of", "priority", "onset", "raised", "cleared", "confidence"),
        *("summary", "evidence"),
    ]
    assert main(["findings", str(plant_file), "--data", str(tmp_path), "--open"]) == 0
    assert json.loads(capsys.readouterr().out)["fault"] == "dry_supply"


@given(st.floats(allow_nan=False))
def test_numbers_are_exact_and_short(value):
    text = number(value)
    assert float(text).hex() == value.hex()
    assert len(text) <= len(repr(value))


def test_times_have_microseconds_only_where_there_are_any():
    times = np.array([0, 250_000, 1_935_532_800_000_000, -1])
    assert instants(times) == [
        "1970-01-01T00:00:00Z",
        "1970-01-01T00:00:00.250000Z",
        "2031-05-03T00:00:00Z",
        "1969-12-31T23:59:59.999999Z",
    ]
