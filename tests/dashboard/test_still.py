"""The picture that stands for a chart: it holds what the figure holds, on round scales, gaps left open."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.drawing import figures, still
from dashboard.drawing.scale import clock_ticks, number, ticks
from dashboard.drawing.still import SIDE


@given(st.floats(-1e6, 1e6), st.floats(1e-4, 1e6))
def test_round_values_hold_what_they_are_for(low: float, span: float) -> None:
    high = low + span
    found = ticks(low, high)
    step = found[1] - found[0]
    assert 2 <= len(found) <= 7
    assert found[0] <= low + 1e-6 * step
    assert found[-1] >= high - 1e-6 * step
    assert f"{step:.3e}"[:5] in ("1.000", "2.000", "5.000")
    assert len({number(one, found) for one in found}) == len(found)


def test_a_value_that_stands_still_has_a_scale_about_it() -> None:
    for value in (0.0, 40.0, -3.2):
        found = ticks(value, value)
        assert found[0] <= value <= found[-1]
        assert len(found) >= 2


@given(st.integers(946_684_800, 2_208_988_800), st.floats(60, 30 * 365 * 86_400.0))
def test_the_clock_is_marked_at_round_instants(begin_s: int, seconds: float) -> None:
    begin_ms, end_ms = begin_s * 1000, begin_s * 1000 + int(seconds * 1000)
    found = clock_ticks(begin_ms, end_ms)
    assert 1 <= len(found) <= 6
    assert all(begin_ms <= at <= end_ms for at, _ in found)
    for at, words in found:
        then = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at)
        told = [f"{then:%H:%M}", f"{then:%H:%M:%S}", f"{then.day} {then:%b}", f"{then:%b}", f"{then:%Y}"]
        assert words in told
        assert then.microsecond == 0
        assert seconds < 5 * 60 or then.second == 0
        assert seconds < 5 * 3600 or then.minute == 0
        assert seconds < 5 * 86_400 or then.hour == 0


@pytest.fixture
def figure() -> figures.Figure:
    one = figures.base(figures.LIGHT, unit="psi")
    x = [f"2026-05-12 {hour:02d}:00:00.000" for hour in range(6)]
    low, mean, high = ([v, v + 1, nan, v + 3, v + 4, v + 5] for v in (30.0, 35.0, 45.0))
    figures.band(one, x, low, mean, high, figures.LIGHT)
    return one


def places(d: str) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", d)]


def test_every_value_stands_at_its_place_and_a_gap_stays_open(figure: figures.Figure) -> None:
    drawn = still.still(figure)
    areas = [path for path in drawn.paths if path.kind == "area"]
    assert len(areas) == 2  # one on each side of the gap
    (mean,) = [path for path in drawn.paths if path.role == "water"]
    assert mean.d.count("M") == 2
    assert [round(x) for x, _ in places(mean.d)] == [0, 200, 600, 800, 1000]
    low, high = still.limits(figure)
    for (_, y), value in zip(places(mean.d), (35, 36, 38, 39, 40), strict=True):
        assert y == pytest.approx(SIDE * (high - value) / (high - low), abs=0.1)
    assert [text for text, _ in drawn.beside] == ["30", "35", "40", "45", "50"]
    assert [text for text, _ in drawn.below] == ["12 May", "01:00", "02:00", "03:00", "04:00", "05:00"]
    assert [left for _, left in drawn.below] == pytest.approx([0, 20, 40, 60, 80, 100])


def test_marks_and_words_go_with_their_values(figure: figures.Figure) -> None:
    figures.level_mark(figure, 45.0, "cut-out", figures.LIGHT)
    figures.when(figure, "2026-05-12 02:30:00.000", "clogged filter", figures.LIGHT)
    drawn = still.still(figure)
    word = {one.text: one for one in drawn.words}
    assert word["cut-out"].left == 100
    assert word["cut-out"].across == "right"
    low, high = still.limits(figure)
    assert word["cut-out"].top == pytest.approx(100 * (high - 45) / (high - low))
    assert word["clogged filter"].left == pytest.approx(50)
    assert word["clogged filter"].role == "warm"
    assert word["psi"].down == "bottom"


def test_findings_that_stand_close_are_named_below_each_other_and_within_the_chart() -> None:
    from tests.dashboard import made

    day_us = 86_400_000_000
    found = [made.clogged(10 * day_us), made.clogged(10 * day_us + day_us // 8), made.clogged(16 * day_us)]
    figure = figures.base(figures.LIGHT)
    figures.finding_marks(figure, found, [6 * day_us, 13 * day_us + day_us // 2], "UTC", figures.LIGHT)
    words = [one for one in figure["layout"]["annotations"] if one["text"] == "clogged filter"]
    assert words[0]["y"] > words[1]["y"]
    assert words[2]["xanchor"] == "right"  # near the right end it stands before its line


def test_what_owners_and_sensors_write_is_text_in_the_picture(figure: figures.Figure) -> None:
    figures.level_mark(figure, 45.0, "<script>alert(1)</script>", figures.LIGHT)
    assert "<script>" not in still.html(figure)


def test_a_figure_without_readings_is_an_empty_frame() -> None:
    drawn = still.still(figures.base(figures.LIGHT, unit="psi"))
    assert drawn.paths == drawn.beside == ()  # no scale of numbers that nobody measured


def test_a_chart_that_is_studied_names_its_days_as_its_picture_does(figure: figures.Figure) -> None:
    """The day before the month, on dates alone: an axis of seconds keeps its numbers."""
    stops = figure["layout"]["xaxis"]["tickformatstops"]
    assert [one["value"].split("\n")[0] for one in stops] == ["%H:%M:%S", "%H:%M", "%-d %b", "%b"]
    seconds = figures.base(figures.LIGHT)
    figures.line(seconds, [0.0, 1.0], [0.0, 1.0], figures.LIGHT)  # type: ignore[arg-type]
    assert "tickformatstops" not in seconds["layout"]["xaxis"]
