"""How forecasts are scored, against outside values: `forecasts.csv` gives each its source, tolerance as
printed, and how it is known."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from analytics.outlooks.forecast import interval_score, pinball

OURS: dict[str, Callable[[dict[str, Any]], float]] = {
    # Hyndman and Athanasopoulos count it twice
    "quantile_score_x2": lambda i: 2.0 * pinball(i["y"], i["f"], i["p"]),
    "mean_pinball": lambda i: pinball(i["y"], i["f"], i["p"]),
    "winkler": lambda i: interval_score(i["y"], i["lower"], i["upper"], i["alpha"]),
    "interval_score": lambda i: interval_score(i["y"], i["lower"], i["upper"], i["alpha"]),
}
ROWS = list(csv.DictReader((Path(__file__).parent / "forecasts.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['id']}-{row['topic']}")
def test_outside_value(row: dict[str, str]) -> None:
    found = OURS[row["topic"]](json.loads(row["inputs"]))
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]
