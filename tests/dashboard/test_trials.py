"""Guided tests as pages: asked for, gone through, told from stored readings, kept in the logbook's form."""

from __future__ import annotations

import html
import json
import re
import time
from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from analytics.readings import Readings
from analytics.records import Outlook
from analytics.trials.course import TRIALS
from analytics.trials.shapes import Estimate
from collector.commands import Commands, Hold, Log
from collector.store.response import Entry
from dashboard.telling import kept
from dashboard.telling.alarms import figure_words as logbook_figures
from dashboard.telling.trials import FIGURES, figures_words
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
    found = kept.signature(newest_first)
    assert {name: (one.estimate.value, one.time_us) for name, one in found.items()} == {
        "air_charge_pa": (2.0, 2),
        "delivery_m3_s": (4.0, 1),
    }


def test_a_band_about_nothing_is_said_as_less_than() -> None:
    (said,) = figures_words({"leak_m3_s": Estimate(1e-9, -1e-8, 2e-8)}, "us")
    assert said == (FIGURES["leak_m3_s"][0], "nothing that shows; less than 0.5 gal a day")


CHARGE = 28.0 * made.PSI
KEPT_US, AT_US = 1_780_000_000_000_000, 1_783_000_000_000_000


def result(at: int, **figures: float) -> Entry:
    return Entry(at, at, "Ana", "tank", "test result", "", dict(figures))


@pytest.mark.parametrize(
    ("psi", "half", "means"),
    [
        (24.0, 0.6, "has lost air since"),
        (28.4, 0.6, "As then, as near as this can tell."),
        # ten kelvin are (28 + 12.4)/293 x 10 = 1.4 psi at 4600 ft: a cool tank is no tank that lost air
        (25.9, 0.3, "As then, as near as this can tell."),
        (24.0, 3.0, "As then, as near as this can tell."),
        (32.0, 0.6, "has more air than then"),
    ],
)
def test_a_later_charge_is_told_beside_the_kept_one(psi: float, half: float, means: str) -> None:
    plant, value = made.juniper(), psi * made.PSI
    first = result(KEPT_US, commissioning=1, **kept.logged({"air_charge_pa": estimate(CHARGE, 0.6)}))
    later = result(AT_US - 60_000_000, **kept.logged({"air_charge_pa": estimate(value, half)}))
    own = kept.signature([later, first])
    (now,) = kept.later([later, first], own).values()
    told = kept.told(plant, "air_charge_pa", own["air_charge_pa"], now, AT_US)
    assert told.startswith(f"{psi:.1f} psi today; was 28.0 psi when kept ")
    assert means in told


def test_what_the_runs_teach_is_told_beside_the_kept_delivery() -> None:
    plant, name = made.juniper(), "delivery_cut_in_m3_s"
    own = kept.signature(
        [
            result(
                KEPT_US,
                commissioning=1,
                **kept.logged({name: Estimate(9 * made.GPM, 8.2 * made.GPM, 9.4 * made.GPM)}),
            )
        ]
    )

    def told(p10: float, p50: float, p90: float) -> str:
        facts = SimpleNamespace(
            outlook=lambda _: Outlook(name, None, AT_US, *(made.GPM * one for one in (p10, p50, p90)))
        )
        (now,) = kept.learned(facts, own).values()  # type: ignore[arg-type]
        return kept.told(plant, name, own[name], now, AT_US)

    assert "flush the filter" in told(6.9, 7.0, 7.1)
    assert "As then" in told(7.8, 8.0, 8.2)  # 8.2 is its 90th percentile, 8.3 its 97.5th
    assert "As then" in told(8.5, 8.7, 8.9)


def test_a_figure_kept_without_its_band_is_told_and_not_judged() -> None:
    own = kept.signature([result(KEPT_US, commissioning=1, air_charge_pa=CHARGE)])
    now = kept.Found(estimate(20 * made.PSI, 0.5), AT_US)
    told = kept.told(made.juniper(), "air_charge_pa", own["air_charge_pa"], now, AT_US)
    assert told.endswith(kept.NO_BAND)


def test_the_logbook_tells_a_figure_once_with_its_band() -> None:
    entry = result(KEPT_US, commissioning=1, **kept.logged({"air_charge_pa": estimate(CHARGE, 0.6)}))
    (row,) = logbook_figures(entry, "us")
    assert row == ("Air charge", "28.0 psi (between 27.4 and 28.6 psi)")


def estimate(value_pa: float, half_psi: float) -> Estimate:
    return Estimate(value_pa, value_pa - half_psi * made.PSI, value_pa + half_psi * made.PSI)
