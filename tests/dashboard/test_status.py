"""Rows to words: the verdict, the stations, and where a finding is shown."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from analytics.plant.description import Measure
from analytics.records import GONE_FOR_NOW, Finding
from dashboard.site import Site
from dashboard.telling.facts import Facts, Reading
from dashboard.telling.status import finding_id, status
from tests.dashboard import made

if TYPE_CHECKING:
    from pathlib import Path

    from dashboard.telling.stations import Station


@pytest.fixture(scope="module")
def facts(folder: Path, at_us: int) -> Facts:
    return Site(made.juniper(), folder).facts(at_us)


def station(facts: Facts, key: str) -> Station:
    return next(band.station for band in status(facts).bands if band.station.key == key)


def test_a_healthy_plant_is_well_downhill(facts: Facts) -> None:
    told = status(facts)
    assert (told.mood, told.verdict) == ("well", "All is well.")
    keys = [band.station.key for band in told.bands]
    assert keys == ["storage-rain", "pump", "filter", "tank", "line"]
    assert not any(band.found for band in told.bands)


def test_the_figures_are_those_of_the_readings(facts: Facts) -> None:
    # 62 in of 84 in (7 ft) full, straight line, of 3,000 gal: 2,214 gal
    assert station(facts, "storage-rain").figure.text == "2,214"
    pressure, _ = made.saw(np.array([made_at(facts) - 1]))
    assert station(facts, "tank").figure.text == f"{pressure[0]:.0f}"
    assert station(facts, "tank").figure.note == "between 30 and 50"
    assert station(facts, "pump").sentence == "Rests 14 min, runs 72 s, as it should."
    assert station(facts, "storage-rain").sentence == "About 11 days at the present use, likely 8 to 15."


def made_at(facts: Facts) -> int:
    return facts.now_us // 1_000_000


def test_a_finding_stands_in_its_station_and_takes_the_verdict(facts: Facts) -> None:
    told = status(replace(facts, findings=(made.clogged(facts.now_us),)))
    assert told.mood == "wrong"
    found = {band.station.key: [one.finding.fault for one in band.found] for band in told.bands}
    assert found == {"storage-rain": [], "pump": [], "filter": ["clogged_filter"], "tank": [], "line": []}
    assert told.verdict != "All is well."


def test_the_worst_comes_first_and_the_others_are_named(facts: Facts) -> None:
    urgent = Finding("lost_prime", None, facts.now_us, facts.now_us, "high", 0.99, "No water moves.")
    told = status(replace(facts, findings=(made.clogged(facts.now_us), urgent)))
    first = status(replace(facts, findings=(urgent,)))
    assert told.verdict == first.verdict
    assert told.detail.startswith("And 1 more: ")


def test_silence_is_said_and_the_old_number_looks_old(facts: Facts) -> None:
    later = replace(facts, now_us=facts.now_us + 3 * 3_600_000_000)
    told = status(later)
    assert told.mood == "blind"
    assert told.verdict == "Nothing heard from the sensors for 3.0 h."
    assert told.flow == "unknown"
    assert station(later, "tank").figure.stale == "3.0 h ago"
    assert station(later, "pump").figure.text == "unknown"


def test_what_cannot_be_kept_is_not_taken_for_silent_sensors(facts: Facts) -> None:
    """Nothing new is in a history that cannot be written, however loudly the sensors speak."""
    later = replace(facts, now_us=facts.now_us + 3 * 3_600_000_000, trouble="the disk is full")
    told = status(later)
    assert told.mood == "blind"
    assert told.verdict == "What comes in cannot be kept."
    assert "the disk is full" in told.detail


def test_nothing_heard_yet_is_unknown_and_never_zero() -> None:
    told = status(Facts(made.juniper(), now_us=1_778_616_000_000_000))
    assert told.verdict == "No reading has come in yet."
    assert told.newest_us is None
    for band in told.bands:
        assert band.station.figure.text == "unknown", band.station.key
        assert band.station.fill is None


def test_a_plant_with_fewer_sensors_says_what_is_unseen(facts: Facts) -> None:
    plant = facts.plant
    kept = tuple(s for s in plant.signals if s.measures in (Measure.LINE_PRESSURE,))
    told = status(replace(facts, plant=replace(plant, signals=kept), cycles=()))
    unseen = [band.station.key for band in told.bands if not band.station.seen]
    assert unseen == ["storage-rain", "pump"]
    assert told.verdict == "Nothing is wrong that the sensors see."
    assert "storage" in told.detail
    assert "pump" in told.detail


def test_a_nan_reading_is_unknown(facts: Facts) -> None:
    latest = dict(facts.latest) | {"pressure": Reading(facts.now_us, float("nan"))}
    assert station(replace(facts, latest=latest), "tank").figure.text == "unknown"


def test_the_pipe_moves_only_while_the_motor_runs(facts: Facts) -> None:
    for amps, flow in ((5.8, "moving"), (0.02, "still")):
        latest = dict(facts.latest) | {"motor": Reading(facts.now_us, amps)}
        assert status(replace(facts, latest=latest)).flow == flow


def test_metric_where_the_owner_says_so(facts: Facts) -> None:
    metric = replace(facts, plant=replace(facts.plant, display_units="metric"))
    assert station(metric, "tank").figure.unit == "bar"
    assert station(metric, "storage-rain").figure.unit == "L"


def test_an_address_names_one_finding(facts: Facts) -> None:
    one = made.clogged(facts.now_us)
    assert finding_id(one) == f"clogged_filter.-.{one.raised_us}"
    assert finding_id(replace(one, of="rain")) != finding_id(one)


def test_short_runs_are_said_in_the_pumps_own_words(facts: Facts) -> None:
    short = tuple(replace(cycle, run_time_s=9.1) for cycle in facts.cycles)
    words = station(replace(facts, cycles=short), "pump").sentence
    assert words == "Rests 14 min, runs 9.1 s; it should run 60 s or longer."


def test_nothing_is_as_it_should_be_while_a_finding_stands(facts: Facts) -> None:
    words = station(replace(facts, findings=(made.clogged(facts.now_us),)), "pump").sentence
    assert words == "Rests 14 min, runs 72 s."


def test_the_filter_says_what_it_passes_now_of_what_it_passed_when_clean(facts: Facts) -> None:
    """The newest runs, and not a figure of this morning that the finding beside it contradicts."""
    slower = tuple(replace(run, delivery_mid_m3_s=5.0 * made.GPM) for run in facts.cycles[-6:])
    clog = replace(made.clogged(facts.now_us), evidence={"delivery_share_1": 0.5})
    now = replace(facts, cycles=(*facts.cycles[:-6], *slower), findings=(clog,), drawn={})
    figure = next(band.station.figure for band in status(now).bands if band.station.key == "filter")
    assert (figure.text, figure.unit, figure.note) == ("5.0", "gpm", "of 10.0 when clean")


def test_what_has_gone_for_now_takes_no_verdict_and_stops_no_water(facts: Facts) -> None:
    """It came and went before; while it is away the page says so and nothing else."""
    lost = Finding("lost_prime", None, facts.now_us - 10**9, facts.now_us - 10**9, "high", 0.9, "No water.")
    running_now = replace(facts, findings=(lost,))
    assert status(running_now).mood == "wrong"
    gone = replace(lost, priority="low", evidence={GONE_FOR_NOW: 1.0})
    told = status(replace(facts, findings=(gone,)))
    assert (told.mood, told.verdict) == ("well", "Nothing new is wrong.")
    assert "Gone for now, as before" in told.detail
    assert not any(band.wrong for band in told.bands)
    assert told.flow == status(facts).flow
