"""Rows to small traces: what is drawn stays in its box and keeps its peaks."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.plant.description import Measure
from dashboard.drawing import traces
from dashboard.site import Site
from dashboard.telling.facts import Facts
from tests.dashboard import made

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def facts(folder: Path, at_us: int) -> Facts:
    return Site(made.juniper(), folder).facts(at_us)


def points(path: str) -> np.ndarray:
    return np.array([[float(a), float(b)] for a, b in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)])


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=2000), st.integers(10, 300))
def test_thinning_keeps_the_ends_and_the_extremes(values: list[float], room: int) -> None:
    value = np.array(values)
    kept = traces.thin(np.arange(len(value)), value, room)
    assert kept[0] == 0
    assert kept[-1] == len(value) - 1
    assert value[kept].min() == value.min()
    assert value[kept].max() == value.max()
    assert np.all(np.diff(kept) > 0)
    assert len(kept) <= max(room + 2, 2)


def test_the_saw_tooth_stays_in_its_box_and_reaches_both_marks(facts: Facts) -> None:
    small = traces.pressure(facts, facts.signal(Measure.LINE_PRESSURE))
    assert small is not None
    xy = points(dict(small.paths)["trace live"])
    assert xy[:, 0].min() >= 0
    assert xy[:, 0].max() <= traces.WIDTH
    assert xy[:, 1].min() >= 0
    assert xy[:, 1].max() <= traces.HEIGHT
    assert small.words == "Line pressure over half an hour, between 30.0 and 50.0 psi."


def test_every_run_of_the_day_is_a_tooth(facts: Facts) -> None:
    small = traces.runs(facts)
    assert small is not None
    day = [c for c in facts.cycles if c.start_us > facts.now_us - traces.DAY_US]
    assert dict(small.paths)["teeth"].count("M") == len(day)


def test_the_fan_ends_between_the_tenth_and_the_ninetieth(facts: Facts) -> None:
    days = facts.outlook("days_to_empty", "rain")
    small = traces.storage(facts, facts.plant.storages[0], days)
    assert small is not None
    assert "fan" in dict(small.paths)
    assert small.words.endswith("then down to the outlet in 8 to 15 days.")
    assert "fan" not in dict(traces.storage(facts, facts.plant.storages[0], None).paths)  # type: ignore[union-attr]


def test_water_used_today_is_what_the_runs_moved(facts: Facts) -> None:
    """14:00 local: fourteen hours of runs, one each 912 s, of 72 s at about 8.6 gpm."""
    used = traces.used_today(facts)
    assert used is not None
    expected = 14 * 3600 / 912 * 72 * 8.6 * made.GPM
    assert used == pytest.approx(expected, rel=0.08)  # the made-up runs wobble by 4 % twice


def test_nothing_to_draw_draws_nothing() -> None:
    empty = Facts(made.juniper(), now_us=0)
    assert traces.runs(empty) is None
    assert traces.use(empty) is None
    assert traces.delivery(empty) is None
    assert traces.used_today(empty) is None
    assert traces.pressure(empty, empty.plant.signals[0]) is None
