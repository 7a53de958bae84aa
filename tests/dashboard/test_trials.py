"""Guided tests as pages: asked for, gone through, told from stored readings, kept in the logbook's form."""

from __future__ import annotations

import html
import json
import re
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest

from analytics.readings import Readings
from analytics.trials.course import TRIALS
from collector.commands import Commands, Hold, Log
from collector.store.response import Entry
from dashboard.telling.trials import FIGURES, figures_words, signature
from dashboard.web.app import make_app
from tests.analytics.trials.plants import slow_draw
from tests.dashboard import made
from tests.dashboard.paired import client_of

if TYPE_CHECKING:
    from pathlib import Path

    from flask.testing import FlaskClient

BASE = "/at/juniper-bench/test"
#: A draw of fifteen minutes that began an hour ago.
MINUTES, AGO_S = 15.0, 3600


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int, float]:
    """(data, when the trial began [ms], seconds until its draw was over): Juniper Bench's tank at 21 psi."""
    data, plant = tmp_path_factory.mktemp("trial"), made.juniper()
    begun_s = int(time.time()) - AGO_S
    time_s, psi = slow_draw(44.0, 21.0, minutes=MINUTES)
    time_s, psi = np.append(5.0 + time_s, 5.0 + time_s[-1] + 5.0), np.append(psi, 0.0)
    time_us = ((begun_s + time_s) * 1e6).astype(np.int64)
    n, line, motor = len(time_us), plant.index("pressure"), plant.index("motor")
    said = Readings.of(
        np.repeat([line, motor], n), np.tile(time_us, 2), np.concatenate([psi.round(1), np.full(n, 0.02)])
    ).in_time_order()
    made.commit(data, plant, said)
    return data, begun_s * 1000, float(time_s[-1])


@pytest.fixture(scope="module")
def client(drawn: tuple[Path, int, float]) -> FlaskClient:
    return client_of(make_app([made.juniper()], drawn[0]))


@pytest.mark.parametrize("key", sorted(TRIALS))
def test_every_trial_says_what_is_done_with_its_cautions(client: FlaskClient, key: str) -> None:
    text = html.unescape(client.get(f"{BASE}/{key}").text)
    for step in TRIALS[key].steps:
        assert step.do in text
        assert step.caution in text
    assert "no safety device" in text


def test_beginning_holds_back_what_the_test_itself_does(
    client: FlaskClient, drawn: tuple[Path, int, float]
) -> None:
    answer = client.post(f"{BASE}/leak_down/begin")
    assert answer.status_code == 303
    assert re.search(r"/test/leak_down/now\?t=\d+$", answer.headers["Location"])
    (asked,) = Commands(drawn[0], "juniper-bench").waiting()
    assert isinstance(asked.command, Hold)
    assert "supply_leak" in asked.command.faults
    assert asked.by == "Ana"


def test_a_step_that_is_done_stands_in_the_address(client: FlaskClient) -> None:
    now_ms = int(time.time() * 1000)
    first = client.get(f"{BASE}/leak_down/next?t={now_ms - 9000}")
    assert re.search(r"now\?t=\d+&m=9\d\d\d$", first.headers["Location"])
    out = client.get(f"{BASE}/leak_down/next?t={now_ms - 9000}&m=10.20&out=1")
    assert re.search(r"&m=10\.20\.9\d\d\dx$", out.headers["Location"])
    assert "twenty-five minutes" in client.get(out.headers["Location"]).text


def test_a_draw_is_judged_from_what_was_stored(client: FlaskClient, drawn: tuple[Path, int, float]) -> None:
    _, begun, over = drawn
    now = f"{BASE}/air_charge/now?t={begun}&m=1000.2000.3000"
    going = client.get(now).text
    assert 'role="status"' in going
    assert "That is enough" in going
    told = client.get(f"{now}.{round(over * 1000) + 2000}").text
    assert "Not as it should be." in told
    assert "low on air" in told
    charge = re.search(r"Air charge</dt><dd>([\d.]+) psi \(between ([\d.]+) and ([\d.]+) psi\)", told)
    assert charge is not None
    value, low, high = map(float, charge.groups())
    assert low <= 21.0 <= high
    assert abs(value - 21.0) < 1.5
    figures = re.search(r'name="figures" value="([^"]*)"', told)
    assert figures is not None
    kept = json.loads(html.unescape(figures[1]))
    assert kept["air_charge_pa"] == pytest.approx(value * made.PSI, rel=0.01)
    assert "as this plant when well" not in told  # it is not well


def test_it_says_the_same_a_day_later_and_by_part(
    client: FlaskClient, drawn: tuple[Path, int, float]
) -> None:
    _, begun, over = drawn
    address = f"{BASE}/air_charge/now?t={begun}&m=1000.2000.3000.{round(over * 1000) + 2000}"
    whole, part = client.get(address).text, client.get(f"{address}&part=1").text
    said = re.search(r'<p class="said[^>]*>(.*?)</p>', whole)
    assert said is not None
    assert said[0] in part
    assert "<html" not in part


def test_the_result_goes_into_the_logbook(client: FlaskClient, drawn: tuple[Path, int, float]) -> None:
    """The form that the page offers is taken as it stands, and twice is once."""
    data, begun, over = drawn
    told = client.get(f"{BASE}/air_charge/now?t={begun}&m=1000.2000.3000.{round(over * 1000) + 2000}").text
    form = {name: html.unescape(value) for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', told)}
    for _ in range(2):
        assert client.post("/at/juniper-bench/do/log", data=form).status_code == 303
    (asked,) = [one for one in Commands(data, "juniper-bench").waiting() if isinstance(one.command, Log)]
    assert isinstance(asked.command, Log)
    assert asked.command.kind == "test result"
    assert asked.command.station == "tank"
    assert asked.command.words.startswith("Air charge test. The tank is low on air.")
    assert asked.command.figures["air_charge_pa"] == pytest.approx(21 * made.PSI, rel=0.07)


@pytest.mark.parametrize("asked", ["", "?t=x", "?t=5&m=9.3", "?t=99999999999999", "?t=5&m=" + "1." * 30])
def test_an_address_that_we_never_wrote_is_refused(client: FlaskClient, asked: str) -> None:
    assert client.get(f"{BASE}/air_charge/now{asked}").status_code == 400


def test_there_is_no_other_trial(client: FlaskClient) -> None:
    assert client.get(f"{BASE}/guess").status_code == 404


def test_who_may_only_look_cannot_begin(drawn: tuple[Path, int, float]) -> None:
    looking = client_of(make_app([made.juniper()], drawn[0]), "view-only")
    assert looking.post(f"{BASE}/delivery/begin").status_code == 403


def test_the_plants_own_figures_are_the_newest_that_were_kept() -> None:
    def entry(at: int, **figures: float) -> Entry:
        return Entry(at, at, "Ana", "tank", "test result", "", dict(figures))

    newest_first = [
        entry(3, air_charge_pa=1.0),
        entry(2, air_charge_pa=2.0, commissioning=1),
        entry(1, air_charge_pa=3.0, delivery_m3_s=4.0, commissioning=1),
    ]
    assert signature(newest_first) == {"air_charge_pa": (2.0, 2), "delivery_m3_s": (4.0, 1)}


def test_a_band_about_nothing_is_said_as_less_than() -> None:
    from analytics.trials.shapes import Estimate

    (said,) = figures_words({"leak_m3_s": Estimate(1e-9, -1e-8, 2e-8)}, "us")
    assert said == (FIGURES["leak_m3_s"][0], "nothing that shows; less than 0.5 gal a day")
