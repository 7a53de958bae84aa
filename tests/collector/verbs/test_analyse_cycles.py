"""`holdwater analyse` and `holdwater cycles` as scripts rely on them (contract, sections 3 and 4)."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

from analytics.advice import advice

PLANT = Path(__file__).parents[3] / "simulator" / "plants" / "juniper-bench.toml"
KEYS = [
    "version", "fault", "cause", "of", "priority", "onset", "raised", "cleared",
    "confidence", "summary", "evidence",
]  # fmt: skip
COLUMNS = (
    "start,stop,run_time_s,rest_before_s,pressure_start_pa,pressure_stop_pa,drawdown_m3,"
    "delivery_start_m3_s,delivery_stop_m3_s,demand_m3_s"
)


def holdwater(*words: object) -> subprocess.CompletedProcess[str]:
    program = [sys.executable, "-m", "collector.cli", *map(str, words)]
    return subprocess.run(program, capture_output=True, text=True, timeout=120)


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Seven days in which the pump loses its prime on the sixth, with one row that is no reading."""
    path = tmp_path_factory.mktemp("recording") / "readings.csv"
    words = ("simulate", PLANT, "--scenario", "lost-prime", "--days", 7, "--seed", 3, "--out", path)
    assert holdwater(*words).returncode == 0
    with path.open("a") as file:
        file.write("yesterday,pressure,forty\n")
    return path


def test_findings_as_lines_of_json(recording: Path) -> None:
    told = holdwater("analyse", PLANT, recording, "--json")
    assert told.returncode == 0, told.stderr
    found = [json.loads(line) for line in told.stdout.splitlines()]
    assert all(list(one) == KEYS for one in found)
    assert "lost_prime" in [one["fault"] for one in found]
    assert [one["raised"] for one in found] == sorted(one["raised"] for one in found)
    assert all(one["version"] == 1 and one["priority"] in ("high", "medium", "low") for one in found)
    assert "line " in told.stderr  # the row that is no reading is told by its line
    assert holdwater("analyse", PLANT, recording, "--json").stdout == told.stdout


def test_a_story_for_a_person(recording: Path) -> None:
    told = holdwater("analyse", PLANT, recording)
    assert told.returncode == 0
    words, lost = " ".join(told.stdout.split()), advice("lost_prime")
    assert f"still there: {lost.title.rstrip('.')}. The pump has been running for 2 days" in words
    assert f"[lost_prime; high] First: {lost.steps[0].do} Caution: {lost.steps[0].caution}" in words
    assert max(map(len, told.stdout.splitlines())) <= 80  # where no terminal says how wide it is


def test_one_row_a_run(recording: Path) -> None:
    told = holdwater("cycles", PLANT, recording)
    assert told.returncode == 0, told.stderr
    assert told.stdout.splitlines()[0] == COLUMNS
    rows = list(csv.DictReader(io.StringIO(told.stdout)))
    assert len(rows) > 30
    drawn = sorted(float(row["drawdown_m3"]) for row in rows if row["drawdown_m3"])
    # Boyle's law for 28/30/50 psi and 44 gal at 4,600 ft: 13.4 gal (see tests/reference for the formula)
    assert drawn[len(drawn) // 2] == pytest.approx(13.4 * 3.785412e-3, rel=0.05)


@pytest.mark.parametrize("verb", ["analyse", "cycles"])
def test_what_cannot_be_used_is_the_owners_to_mend(verb: str, tmp_path: Path) -> None:
    for plant, readings in ((PLANT, tmp_path / "none.csv"), (tmp_path / "none.toml", tmp_path / "none.csv")):
        told = holdwater(verb, plant, readings)
        assert told.returncode == 2
        assert "none." in told.stderr
        assert told.stdout == ""
