"""What a household draws against what has been measured in houses."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.calendar import Calendar
from simulator.demand.enduses import household
from simulator.demand.garden import Hose, Programme, by_hand, programmed
from simulator.seeds import stream

#: 10th, 50th and 90th percentile of litres and of mean L/s per event, worked out once from
#: WEUSEDTO (Di Mauro et al., CC BY 4.0; a flat in Naples, events above 0.2 L) and CIWS, the labelled
#: events of 2020 (UCHIC, BSD-3-Clause; a house in Utah). None of the data is kept here.
_MEASURED: dict[str, list[tuple[tuple[float, float, float], tuple[float, float, float]]]] = {
    "toilet": [((4.06, 8.51, 14.02), (0.132, 0.159, 0.274)), ((12.0, 12.0, 12.0), (0.0, 0.0, 9.9))],
    "basin": [((0.25, 0.64, 2.59), (0.013, 0.029, 0.052)), ((0.47, 1.26, 3.78), (0.039, 0.057, 0.079))],
    "kitchen": [((0.26, 0.69, 2.71), (0.017, 0.036, 0.063)), ((0.47, 1.26, 3.78), (0.039, 0.057, 0.079))],
    "shower": [((3.44, 15.4, 37.2), (0.046, 0.074, 0.095)), ((33.7, 58.0, 132.8), (0.079, 0.108, 0.137))],
    "washing machine": [((47.0, 50.4, 54.5), (0.156, 0.182, 0.186))],
}
_HOSE = ((8.0, 59.9, 147.8), (0.125, 0.192, 0.304))  # CIWS, label "hose"


def _days(count: int):
    calendar = Calendar(1_780_272_000_000_000, "America/Boise", (6, 5))
    return [calendar.day(number) for number in range(count)]


@pytest.fixture(scope="module")
def uses():
    random = stream(1, "test")
    return [use for day in _days(120) for use in household(day, 2.0, 1.0, random)]


@pytest.mark.parametrize("what", _MEASURED)
def test_event_shapes_lie_among_the_measured(uses, what: str) -> None:
    """The median lies between the lowest 10th and the highest 90th percentile of the houses, and no
    tenth of ours lies wholly outside."""
    mine = [use for use in uses if use.what == what]
    litres = np.array([(use.stop_s - use.start_s) * use.flow_m3_s * 1e3 for use in mine])
    flows = np.array([use.flow_m3_s * 1e3 for use in mine])
    if what == "washing machine":
        litres = litres * 4  # four fills a wash
    for ours, which in ((litres, 0), (flows, 1)):
        low = min(house[which][0] for house in _MEASURED[what])
        high = max(house[which][2] for house in _MEASURED[what])
        assert low <= np.median(ours) <= high
        assert np.percentile(ours, 95) > low
        assert np.percentile(ours, 5) < high


def test_hose_lies_among_the_measured() -> None:
    random = stream(2, "test")
    uses = [use for day in _days(400) for use in by_hand(day, Hose(), random)]
    litres = [(use.stop_s - use.start_s) * use.flow_m3_s * 1e3 for use in uses]
    assert _HOSE[0][0] < np.median(litres) < _HOSE[0][2]
    assert _HOSE[1][0] < np.median([use.flow_m3_s * 1e3 for use in uses]) < _HOSE[1][2]


def test_a_person_uses_what_people_use(uses) -> None:
    """80 to 200 L a person-day indoors: the span of measured household studies (common knowledge, no
    single source)."""
    litres = sum((use.stop_s - use.start_s) * use.flow_m3_s * 1e3 for use in uses) / 240
    assert 80 < litres < 200


def test_nights_are_quiet(uses) -> None:
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("America/Boise")
    hours = [datetime.fromtimestamp(1_780_272_000 + use.start_s, UTC).astimezone(zone).hour for use in uses]
    counts = np.bincount(hours, minlength=24)
    assert counts[1:4].sum() < 0.05 * counts.sum()
    assert counts[6:9].sum() > 3 * counts[1:4].sum()


def test_programmes_keep_time_and_season() -> None:
    random = stream(3, "test")
    (day,) = _days(1)
    drip = Programme("beds", "drip", 5.5, 2, 1_200.0, 1e-4)
    first, second = programmed(day, drip, 5e-4, random)
    assert first.start_s == day.start_s + 5.5 * 3_600
    assert second.start_s == pytest.approx(first.stop_s + 2.0)
    assert first.regulated
    winter = Programme("beds", "drip", 5.5, 2, 1_200.0, 1e-4, first_month=11, last_month=12)
    assert programmed(day, winter, 5e-4, random) == []


def test_days_follow_daylight_saving() -> None:
    calendar = Calendar(1_761_900_000_000_000, "America/Boise")  # 31 October 2025
    lengths = {calendar.day(number).length_s for number in range(5)}
    assert lengths == {86_400.0, 90_000.0}
