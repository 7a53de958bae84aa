"""A promise of how soon, at the sampling that the plant file names: none that samples forbid."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from analytics.faults import coverage
from analytics.judging.pace_words import interval_s
from tests.analytics import traces

if TYPE_CHECKING:
    from analytics.plant.description import Plant


def sampled(pressure_s: float | None, motor_s: float | None) -> Plant:
    """A plant with a filter, pressure and current, and what its file says of how often each comes."""
    plant = traces.plant(traces.Trace())
    every = {"line_pressure": pressure_s, "pump_current": motor_s}
    signals = tuple(replace(one, every_s=every.get(one.measures.value, one.every_s)) for one in plant.signals)
    return replace(plant, signals=signals)


def said(pressure_s: float | None, motor_s: float | None, fault: str) -> str:
    return coverage(sampled(pressure_s, motor_s))[fault].sentence


@pytest.mark.parametrize(
    ("pressure_s", "motor_s", "interval"),
    [(1.0, 1.0, 1.0), (1.0, 60.0, 60.0), (None, None, None), (2.0, None, None), (60.0, None, 60.0)],
)
def test_the_slower_counts_and_what_is_not_said_is_not_known(
    pressure_s: float | None, motor_s: float | None, interval: float | None
) -> None:
    assert interval_s(sampled(pressure_s, motor_s)) == interval


def test_half_a_minute_is_promised_of_samples_that_can_keep_it() -> None:
    assert "within half a minute" in said(1.0, 1.0, "lost_prime")
    assert "within half a minute" in said(5.0, 5.0, "lost_prime")
    assert "within 60 seconds" in said(10.0, 10.0, "lost_prime")
    assert "within 6 minutes (on change: sooner)" in said(60.0, 60.0, "lost_prime")
    assert "within half a minute (six samples, where that is longer)" in said(None, None, "lost_prime")
    assert "within 2 minutes" in said(10.0, 10.0, "burst_line")
    assert "within 6 minutes" in said(60.0, 60.0, "burst_line")


def test_a_loss_that_far_samples_show_late_is_said_to_show_late() -> None:
    for fault in ("clogged_filter", "pump_wear"):
        assert "late" not in said(5.0, 5.0, fault)
        assert "a day or two late" in said(30.0, 30.0, fault)
        assert "two days or more, and not always" in said(60.0, 60.0, fault)
        assert "15 s apart or more" in said(None, None, fault)


def test_runs_that_may_not_be_seen_are_not_promised_within_five() -> None:
    """An interval that the file leaves out may be a minute: it promised five runs and their cause."""
    assert said(1.0, 1.0, "short_cycling") == "Told within five runs, with the cause."
    assert "3 s apart or less" in said(None, None, "short_cycling")
    assert "60 s, unless on change" in said(60.0, 60.0, "short_cycling")


def test_what_shows_of_a_filter_after_the_tank_is_no_rival_of_a_worn_pump() -> None:
    plant = sampled(1.0, 1.0)
    assert plant.filter is not None
    after = replace(plant, filter=replace(plant.filter, position="after_tank"))
    assert "tell it from a filter" in coverage(plant)["pump_wear"].sentence
    assert "tell it from a filter" not in coverage(after)["pump_wear"].sentence
