"""The Salt room: what it says of waters, beds and season, in words that a person can act on."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest

from analytics.plant.description import Measure, Plant
from dashboard.telling import salt
from dashboard.telling.facts import Facts, Reading
from dashboard.telling.garden_plan import house_m3_day, planned
from dashboard.telling.waters import pair, salty
from dashboard.web.app import make_app
from tests.dashboard import made
from tests.dashboard.attended import Attended
from tests.dashboard.paired import client_of

US = 1_000_000


def facts(s_m: float, at_us: int, plant: Plant | None = None) -> Facts:
    plant = plant or made.juniper()
    latest = {"supply salt": Reading(at_us - 5 * US, s_m), "rain tank": Reading(at_us - 30 * US, 1.5)}
    cycles = tuple(made.cycles(at_us // US - 7 * made.DAY_S, at_us // US))
    return Facts(plant, at_us, latest=latest, cycles=cycles)


def test_the_valve_is_steered_to_what_the_crop_stands(at_us: int) -> None:
    told = salt.live(facts(0.25, at_us))
    assert told.fit == "poor"
    assert str(told.reading) == "2.50 dS/m"
    assert told.steer.startswith("Turn until the supply reads 1.67 dS/m: that is 49")
    assert "22\u00a0% rain" in told.share
    assert told.why == "what tomato stands without loss"


def test_another_target_is_taken_at_its_word(at_us: int) -> None:
    told = salt.live(facts(0.05, at_us), 1.4)
    assert told.fit == "well"
    assert "1.40 dS/m" in told.steer
    assert "Nothing to mix" in salt.live(facts(0.05, at_us), 5.0).steer
    assert "No mix" in salt.live(facts(0.05, at_us), 0.01).steer


def test_a_supply_beyond_both_waters_is_not_explained_away(at_us: int) -> None:
    assert "third water" in salt.live(facts(0.6, at_us)).share


def test_a_silent_probe_is_not_believed(at_us: int) -> None:
    old = facts(0.25, at_us)
    old = replace(old, latest={"supply salt": Reading(at_us - 3600 * US, 0.25)})
    told = salt.live(old)
    assert told.reading.text == "unknown"
    assert "silent" in told.age
    assert "cannot be told" in told.share


def test_pure_rain_gets_two_statements(at_us: int) -> None:
    told = salt.grades(facts(0.006, at_us))
    assert told is not None
    assert all("plants;" in value and "surface" in value for _, value in told.rows)
    assert any("no limit for plants; closes it" in value for _, value in told.rows)


def test_every_method_of_leaching_is_named(at_us: int) -> None:
    told = salt.crop(facts(0.12, at_us))
    assert told is not None
    assert sum("Must drain" in name for name, _ in told.rows) == 3
    assert "disagree" in told.words[0]


def test_the_house_is_metered_outside_the_hours_of_watering(at_us: int) -> None:
    house, told = house_m3_day(facts(0.1, at_us))
    assert "outside the hours of watering" in told
    plant = made.juniper()
    assert plant.garden is not None
    all_day = replace(plant, garden=replace(plant.garden, watered=()))
    everything, _ = house_m3_day(facts(0.1, at_us, all_day))
    assert 0 < house < everything


def test_the_plan_goes_to_the_seasons_end(at_us: int) -> None:
    told = planned(facts(0.1, at_us))
    assert told is not None
    assert told.lines[0].first.isoformat() == "2026-05-12"
    assert (told.lines[-1].first.month, len(told.lines)) == (9, 21)


def test_a_plant_without_salt_has_no_such_room() -> None:
    plant = made.juniper()
    dry = replace(
        plant, sources=(), signals=tuple(s for s in plant.signals if "conductivity" not in s.measures)
    )
    assert salty(plant)
    assert not salty(dry)
    assert pair(Facts(dry, 0)) is None
    assert not dry.measuring(Measure.SUPPLY_CONDUCTIVITY)


@pytest.fixture
def server(tmp_path: Path) -> Path:
    made.fill(tmp_path, 1_778_616_000, days=2)
    return tmp_path


def test_the_pages_answer_and_a_soil_test_lands_in_the_logbook(server: Path) -> None:
    app = make_app([made.juniper()], server)
    client = client_of(app)
    page = client.get("/at/juniper-bench/salt").text
    assert "Turn until the supply reads" in page
    assert "cross-connection" in page
    assert "soil laboratory" in page
    assert "14 March 2026" in page
    assert client.get("/at/juniper-bench/salt?target=nan").status_code == 400
    assert client.get("/at/juniper-bench/salt?part=1&target=1,4").text.startswith('<section id="mix"')
    with Attended(server):
        sent = client.post(
            "/at/juniper-bench/salt/test", data={"ece": "3.1", "day": "2026-05-02", "words": "Bed 2"}
        )
        assert sent.status_code == 303
        assert client.post("/at/juniper-bench/salt/test", data={"ece": "salty"}).status_code == 400
        page = client.get("/at/juniper-bench/salt").text
    assert "2 May 2026" in page
    assert "3.10 dS/m" in page
    assert "down from 4.20 dS/m" in page or "not known without" in page


def test_who_may_only_look_writes_no_soil_test(server: Path) -> None:
    client = client_of(make_app([made.juniper()], server), "view-only")
    assert "Write down a soil test" not in client.get("/at/juniper-bench/salt").text
    assert client.post("/at/juniper-bench/salt/test", data={"ece": "3.1"}).status_code == 403


def test_the_plan_prints_and_goes_to_a_spreadsheet(server: Path) -> None:
    client = client_of(make_app([made.juniper()], server))
    page = client.get("/at/juniper-bench/salt/plan").text
    assert "Hargreaves" in page
    assert "monthly normals" in page
    rows = list(csv.DictReader(io.StringIO(client.get("/at/juniper-bench/salt/plan.csv").text)))
    assert len(rows) >= 4
    assert all(float(row["held_10_m3"]) <= float(row["held_90_m3"]) for row in rows)
