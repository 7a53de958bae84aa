"""`holdwater simulate` as a script sees it."""

from __future__ import annotations

import csv
import gzip
import json
from datetime import datetime
from importlib.resources import files
from pathlib import Path

import plants
import pytest

from collector.cli import main
from simulator import library

_PLANT = str(files("simulator") / "plants" / "juniper-bench.toml")


def _make(out: Path, scenario: str = "lost-prime", *more: str) -> int:
    return main(["simulate", _PLANT, "--scenario", scenario, "--days", "0.1", "--out", str(out), *more])


def test_readings_and_truths(tmp_path: Path) -> None:
    out, own = tmp_path / "readings.csv.gz", tmp_path / "own.toml"
    own.write_text('version = 1\n[[fault]]\nfault = "lost_prime"\nfrom = "0.4 days"\n')
    assert _make(out, str(own), "--days", "0.6") == 0
    with gzip.open(out, "rt", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["time", "signal", "value"]
    assert {row["signal"] for row in rows} == {signal.name for signal in plants.juniper().signals}
    times = [datetime.fromisoformat(row["time"]).timestamp() for row in rows[:20_000]]
    highest = times[0]
    for at in times:
        assert at > highest - 60.0  # the contract: in order to within 60 s
        highest = max(highest, at)
    truth = json.loads((tmp_path / "readings.truth.json").read_text())
    assert truth["version"] == 1
    assert truth["faults"][0]["fault"] == "lost_prime"
    assert truth["faults"][0]["from"] == "2026-06-01T09:36:00.000Z"
    assert truth["faults"][0]["symptomatic_from"] > truth["faults"][0]["from"]


def test_same_seed_same_bytes(tmp_path: Path) -> None:
    contents = []
    for name, seed in (("a", "7"), ("b", "7"), ("c", "8")):
        out = tmp_path / f"{name}.csv.gz"
        assert _make(out, "healthy", "--seed", seed) == 0
        contents.append(out.read_bytes())
    assert contents[0] == contents[1] != contents[2]


def test_unknown_scenario_names_the_known(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _make(tmp_path / "x.csv", "gremlins") == 2
    told = capsys.readouterr().err
    assert "gremlins" in told
    assert all(name in told for name in library.names())


@pytest.mark.parametrize(
    ("more", "word"),
    [
        (["--days", "-1"], "--days"),
        (["--start", "yesterday"], "--start"),
        (["--seed", "-4"], "--seed"),
        (["--publish", "http://x"], "mqtt://"),
    ],
)
def test_mistakes_are_the_owners(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], word: str
) -> None:
    assert _make(tmp_path / "x.csv", "healthy", *more) == 2
    assert word in capsys.readouterr().err


def test_bad_plant_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("version = 1\n[switch]\ncut_in = '30 gal'\n")
    for path in (bad, tmp_path / "none.toml"):
        assert main(["simulate", str(path), "--scenario", "healthy", "--out", str(tmp_path / "x.csv")]) == 2
        assert path.stem in capsys.readouterr().err


def test_list_and_score(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", "--list"]) == 0
    assert "clogged-filter" in capsys.readouterr().out
    (tmp_path / "t.json").write_text(
        json.dumps(
            {
                "faults": [
                    {
                        "fault": "lost_prime",
                        "cause": None,
                        "of": None,
                        "until": None,
                        "from": "2026-06-01T00:00:00Z",
                        "symptomatic_from": "2026-06-01T00:10:00Z",
                    }
                ]
            }
        )
    )
    (tmp_path / "f.ndjson").write_text(
        '{"fault": "lost_prime", "cause": null, "raised": "2026-06-01T00:11:30Z"}\n'
    )
    assert main(["simulate", "--score", str(tmp_path / "t.json"), str(tmp_path / "f.ndjson")]) == 0
    assert "1.5 min" in capsys.readouterr().out
    assert main(["simulate", "--score", str(tmp_path / "none"), str(tmp_path / "f.ndjson")]) == 2
    assert main(["simulate"]) == 2
