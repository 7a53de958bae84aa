"""What would follow from another setting: by Boyle's law written out here, and through Dash's own route."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from dashboard.telling import display
from dashboard.telling.expected import expected
from dashboard.telling.otherwise import can, otherwise, pressures
from dashboard.web.app import make_app
from tests.dashboard import made
from tests.dashboard.paired import client_of

if TYPE_CHECKING:
    from pathlib import Path

    from flask.testing import FlaskClient

PLANT = replace(made.juniper(), altitude_m=0.0)
SEA_LEVEL_PSI = 101_325 / made.PSI  # ISO 2533


def row(name: str, pressure: str, tank: str) -> tuple[str, str]:
    told = {one: (now, then) for one, now, then in otherwise(PLANT, pressure, tank).rows}
    return told[name]


@pytest.mark.parametrize(("pressure", "cut_in", "cut_out"), [("20-40", 20, 40), ("40-60", 40, 60)])
def test_drawdown_is_boyle_s(pressure: str, cut_in: float, cut_out: float) -> None:
    """p V stays: air of (cut-in less 2 psi) in the whole tank, at both ends of the band."""
    assert PLANT.pressure_tank is not None
    air = (cut_in - 2 + SEA_LEVEL_PSI) * PLANT.pressure_tank.volume_m3
    drawdown = air / (cut_in + SEA_LEVEL_PSI) - air / (cut_out + SEA_LEVEL_PSI)
    assert row("Water it gives a cycle", pressure, "now")[1] == str(display.volume(drawdown, "us"))
    assert row("Air charge", pressure, "now")[1] == f"{cut_in - 2:g} psi"


def test_twice_the_tank_gives_twice_the_water_and_half_the_starts() -> None:
    told = expected(PLANT)
    assert told.drawdown_m3 is not None
    assert told.fastest_cycle_s is not None
    assert row("Water it gives a cycle", "now", "twice")[1] == str(display.volume(2 * told.drawdown_m3, "us"))
    now, then = row("Starts an hour, at most", "now", "twice")
    assert now == f"{3600 / told.fastest_cycle_s:.0f}"
    assert then == f"{1800 / told.fastest_cycle_s:.0f}"


def test_a_run_too_short_for_the_motor_is_said_to_be() -> None:
    run = expected(PLANT).run_time_s
    assert run is not None
    plant = replace(PLANT, pump=replace(PLANT.pump, min_run_time_s=run * 0.9))
    assert "long enough" in otherwise(plant, "now", "now").words[0]
    assert "too short" in otherwise(plant, "now", "half").words[0]


def test_a_plant_file_that_says_too_little_is_not_asked() -> None:
    assert can(PLANT)
    assert not can(replace(PLANT, pressure_tank=None))
    assert not can(replace(PLANT, switch=None))


@pytest.fixture(scope="module")
def client(folder: Path) -> FlaskClient:
    return client_of(make_app([made.juniper()], folder))


def called(client: FlaskClient, setting: str, tank: str, path: str = "/at/juniper-bench/set-up") -> str:
    """What Dash's route answers to the page's own question."""
    inputs = [
        {"id": "setting", "property": "data", "value": setting},
        {"id": "tank", "property": "data", "value": tank},
        {"id": "place", "property": "pathname", "value": path},
    ]
    asked = {
        "output": "then.children",
        "outputs": {"id": "then", "property": "children"},
        "inputs": inputs,
        "changedPropIds": ["setting.data"],
    }
    answer = client.post(
        "/dash/_dash-update-component", json=asked, headers={"Sec-Fetch-Site": "same-origin"}
    )
    assert answer.status_code == 200, answer.text
    return json.dumps(answer.json)


def test_another_setting_comes_with_its_cautions(client: FlaskClient) -> None:
    told = called(client, "40-60", "now")
    assert "38 psi (now" in told
    assert "Mains voltage" in told
    assert "never stops" in told
    assert "Mains voltage" not in called(client, "now", "twice")


@pytest.mark.parametrize(
    ("setting", "tank", "path"),
    [
        ("90-95", "now", "/at/juniper-bench/set-up"),
        ("now", "huge", "/at/juniper-bench/set-up"),
        ("now", "now", "/at/x/"),
    ],
)
def test_what_we_did_not_offer_is_told_off(client: FlaskClient, setting: str, tank: str, path: str) -> None:
    assert "no setting to choose from" in called(client, setting, tank, path)


def test_every_setting_offered_can_be_reckoned() -> None:
    for units in ("us", "metric"):
        plant = replace(PLANT, display_units=units)
        for key in pressures(plant):
            assert len(otherwise(plant, key, "half").rows) == 4
