"""Findings and logbook as the server answers, and what the forms do, with and without a collector."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from collector.store import Batch, Entry, History, Response, Writer
from dashboard.drawing.evidence import WIDTH, draw
from dashboard.site import Site
from dashboard.telling.evidence import Evidence, caption, evidence, moments
from dashboard.telling.status import finding_id
from dashboard.web import actions
from dashboard.web.app import make_app
from tests.dashboard import made
from tests.dashboard.attended import Attended
from tests.dashboard.paired import client_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from flask.testing import FlaskClient

    from analytics.records import Finding

BASE = "/at/juniper-bench"
NOW_US = time.time_ns() // 1000
FOUND = made.clogged(NOW_US)
HERE = f"{BASE}/findings/{finding_id(FOUND)}"


@pytest.fixture
def data(tmp_path: Path) -> Path:
    made.fill(tmp_path, NOW_US // 1_000_000, days=1, findings=(FOUND,), coarse_s=60)
    return tmp_path


@pytest.fixture
def client(data: Path) -> FlaskClient:
    return client_of(make_app([made.juniper()], data))


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    """A plant that nobody attends, for all that changes nothing."""
    data = tmp_path_factory.mktemp("still")
    made.fill(data, NOW_US // 1_000_000, days=1, findings=(FOUND,), coarse_s=60)
    return client_of(make_app([made.juniper()], data))


@pytest.fixture
def attended(data: Path) -> Iterator[Attended]:
    with Attended(data) as one:
        yield one


def post(client: FlaskClient, what: str, finding: Finding | None = FOUND, **fields: object) -> str:
    """What the page says after a form was sent."""
    if finding is not None:
        fields |= {"finding": finding_id(finding), "back": HERE}
    answer = client.post(f"{BASE}/do/{what}", data=fields)
    assert answer.status_code == 303, answer.text
    return client.get(answer.headers["Location"]).text


def kept(data: Path) -> History:
    return History(data, made.juniper())


def test_findings_lists_what_stands_and_what_is_past(folder: Path, wrong_folder: Path) -> None:
    well = client_of(make_app([made.juniper()], folder)).get(f"{BASE}/findings").text
    assert "What the sensors see is as it should be" in well
    assert "over after" in well
    wrong = client_of(make_app([made.juniper()], wrong_folder)).get(f"{BASE}/findings").text
    assert "None yet." in wrong
    assert 'class="open"' in wrong


def test_a_findings_page_says_all_without_a_script(still: FlaskClient) -> None:
    html = still.get(HERE).text
    for words in (
        "Why we think so", "Delivery of each run, gpm", ">began<", ">called<", ">expected<", "What to do",
        "What would prove it mended", "94 % sure", "5.6 gpm", "See to it soon", "What happened",
    ):  # fmt: skip
        assert words in html, words
    assert html.count("<h1") == 1
    steps = re.search(r'<ol class="steps">(.*?)</ol>', html, flags=re.S)
    assert steps is not None
    assert "caution" in steps[1]
    assert not re.search(r"<script[^>]*(charts|rooms)\.js", html)


def test_an_unknown_finding_is_not_found(still: FlaskClient) -> None:
    assert still.get(f"{BASE}/findings/nothing.-.1").status_code == 404
    assert still.post(f"{BASE}/do/acknowledge", data={"finding": "nothing.-.1"}).status_code == 404


def test_acknowledge_shelve_and_take_up_again(client: FlaskClient, attended: Attended) -> None:
    time.sleep(0.6)
    assert "Unacknowledged since" in client.get(HERE).text
    said = post(client, "acknowledge")
    assert "Acknowledged today" in said
    assert "Acknowledged by Ana" in said
    assert ">Acknowledge</button>" not in said
    said = post(client, "shelve", hours=8, reason="Flushing on Friday")
    assert re.search(r"Shelved until (today|tomorrow) \d\d:\d\d by Ana: Flushing on Friday", said)
    assert "Put aside" in client.get(f"{BASE}/findings").text
    water = client.get("/").text
    assert "Nothing new is wrong." in water
    assert 'class="station wrong' not in water
    assert "Flushing on Friday" in water
    said = post(client, "unshelve")
    assert "Unacknowledged since" in said
    said = post(client, "out-of-service", reason="Winter")
    assert "Out of service since today" in said
    assert "Unacknowledged" in post(client, "in-service")


def test_what_is_refused_is_said_on_the_page(client: FlaskClient, attended: Attended) -> None:
    time.sleep(0.6)
    assert "Not done: say why" in post(client, "shelve", hours=8, reason=" ")
    assert "Not done: an alarm is shelved for a time" in post(client, "shelve", hours=500, reason="x")
    assert "Not done: an alarm that is unacknowledged cannot be told to unshelve" in post(client, "unshelve")


def test_a_repair_is_logged_watched_and_proved(client: FlaskClient, attended: Attended, data: Path) -> None:
    time.sleep(0.6)
    said = post(client, "log", kind="repair", station="filter", words="Flushed the <screen>.")
    assert "Repair, Ana" in said
    assert "Flushed the &lt;screen&gt;." in said
    assert "Acknowledged" in said  # a repair is an answer
    assert "<b>Repair logged</b> today" in said
    attended.tell(replace(FOUND, cleared_us=time.time_ns() // 1000))
    until = time.monotonic() + 5
    while not kept(data).logbook(kind="confirmation"):
        assert time.monotonic() < until
        time.sleep(0.1)
    said = client.get(HERE).text
    assert "It worked:" in said
    assert "Repair logged" not in said
    assert "It was over" in said
    book = client.get(f"{BASE}/logbook").text
    assert "It worked:" in book
    assert HERE in book


def test_while_the_collector_is_down_a_command_waits_and_the_page_says_so(
    client: FlaskClient, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(actions, "WAIT_S", 0.1)
    said = post(client, "log", kind="repair", words="Flushed it.", key="a" * 32)
    assert "Kept. Holdwater&#39;s collector carries it out" in said or "Kept. Holdwater's" in said
    assert "Flushed it." in client.get(f"{BASE}/logbook").text
    post(client, "log", kind="repair", words="Flushed it.", key="a" * 32)  # a double tap
    with Attended(data):
        time.sleep(1.0)
    assert [entry.words for entry in kept(data).logbook()] == ["Flushed it."]
    assert "Kept." not in client.get(HERE).text


@pytest.mark.parametrize(
    ("what", "fields", "status"),
    [
        ("log", {"kind": "gossip", "words": "x"}, 400),
        ("log", {"kind": "confirmation", "words": "It worked"}, 400),
        ("log", {"kind": "repair", "words": "x", "figures": "[1]"}, 400),
        ("log", {"kind": "repair", "words": "x", "figures": '{"a": {"b": 1}}'}, 400),
        ("shelve", {"finding": finding_id(FOUND), "hours": "long"}, 400),
        ("acknowledge", {}, 404),
        ("explode", {"finding": finding_id(FOUND)}, 404),
    ],
)
def test_what_no_form_of_ours_sends(
    still: FlaskClient, what: str, fields: dict[str, str], status: int
) -> None:
    assert still.post(f"{BASE}/do/{what}", data=fields).status_code == status


def test_nobody_else_may_act(data: Path) -> None:
    app = make_app([made.juniper()], data)
    form = {"finding": finding_id(FOUND)}
    stranger = app.test_client()
    assert stranger.post(f"{BASE}/do/acknowledge", data=form).status_code in (401, 403)
    guest = client_of(app, "view-only")
    assert guest.post(f"{BASE}/do/acknowledge", data=form).status_code == 403
    assert "<form" not in guest.get(HERE).text
    assert "<form" not in guest.get(f"{BASE}/logbook").text
    mate = client_of(app)
    elsewhere = {"Origin": "https://evil.example", "Sec-Fetch-Site": "cross-site"}
    assert mate.post(f"{BASE}/do/acknowledge", data=form, headers=elsewhere).status_code == 403
    assert mate.get(f"{BASE}/do/acknowledge").status_code in (404, 405)


@pytest.mark.parametrize(
    "back", ["https://evil.example/", "//evil.example", "/at/other/findings", "javascript:1"]
)
def test_back_leads_nowhere_else(still: FlaskClient, monkeypatch: pytest.MonkeyPatch, back: str) -> None:
    monkeypatch.setattr(actions, "WAIT_S", 0.0)
    fields = {"kind": "observation", "words": "x", "back": back}
    answer = still.post(f"{BASE}/do/log", data=fields)
    assert answer.headers["Location"].startswith(f"{BASE}/logbook?done=")


def test_a_part_is_sent_alone_and_only_when_something_changed(still: FlaskClient) -> None:
    part = still.get(HERE, headers={"X-Part": "1"}).text
    assert part.startswith('<div id="story"')
    (version,) = re.findall(r'data-version="(\w+)"', part)
    assert still.get(f"{HERE}?seen={version}", headers={"X-Part": "1"}).status_code == 204
    assert still.get(f"{HERE}?seen=old", headers={"X-Part": "1"}).status_code == 200


def test_the_logbook_shows_figures_in_the_owners_units(client: FlaskClient, data: Path) -> None:
    entry = Entry(
        1,
        NOW_US,
        "Ana",
        "tank",
        "test result",
        "Air charge test.",
        {"air_charge_pa": 27 * made.PSI, "gauge": "old"},
    )
    with Writer(data, made.juniper()) as writer:
        writer.commit(Batch(response=Response(entries=[entry])))
    book = client.get(f"{BASE}/logbook").text
    assert "Test result, Ana" in book
    assert "27.0 psi" in book
    assert "<dt>Gauge</dt><dd>old</dd>" in book


# --- the drawing ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "fault",
    ["lost_prime", "short_cycling", "storage_depletion", "clogged_filter", "sensor_fault", "freeze_risk"],
)
def test_every_kind_of_evidence_is_drawn(folder: Path, at_us: int, fault: str) -> None:
    site = Site(made.juniper(), folder)
    of = {"sensor_fault": "pressure", "storage_depletion": "rain"}.get(fault)
    one = replace(made.clogged(at_us), fault=fault, of=of, evidence={})
    shown = evidence(site, one, at_us)
    assert shown is not None
    drawing = draw(shown, site.plant.timezone)
    roles = {role for role, _ in drawing.paths}
    assert roles >= {"rule", "moment"}
    assert roles & {"trace", "dots"}
    numbers = [float(n) for _, d in drawing.paths for n in re.findall(r"-?\d+\.?\d*", d)]
    assert np.isfinite(numbers).all()
    assert all(0 <= label.x <= WIDTH for _, label in drawing.labels)
    assert len(shown.time_us) <= 2000


def test_the_drawing_is_told_by_what_it_did_before_and_since(at_us: int) -> None:
    hour = 3_600_000_000
    time_us = np.arange(at_us - 6 * hour, at_us, hour)
    values = np.array([9.0, 9.1, 9.2, 5.0, 5.5, 6.0])
    one = replace(made.clogged(at_us), onset_us=at_us - 3 * hour, raised_us=at_us - hour)
    runs = Evidence(
        "Delivery of each run", "gpm", time_us, values, values, values, True, (), moments(one)
    )  # fmt: skip
    said = caption(one, runs, at_us, "UTC")
    assert said.startswith(
        "Delivery of each run: about 9.1 gpm before, about 5.5 gpm since. The dashed lines: began"
    )
    frost = replace(runs, title="Air temperature", unit="°C", low=values - 10, high=values, dots=False)
    assert caption(one, frost, at_us, "UTC").startswith(
        "Air temperature: from −1 to 9.2 °C before, from −5 to 6 °C since."
    )
    over = replace(one, cleared_us=at_us - hour // 2)
    assert "about 5.5 gpm while it stood." in caption(
        over, replace(runs, moments=moments(over)), at_us, "UTC"
    )
    assert caption(one, None, at_us, "UTC").startswith("The dashed lines: began")


def test_a_gap_is_not_bridged(folder: Path, at_us: int) -> None:
    site = Site(made.juniper(), folder)
    shown = evidence(site, replace(made.clogged(at_us), fault="lost_prime"), at_us)
    assert shown is not None
    whole = [role for role, _ in draw(shown, "UTC").paths].count("trace")
    keep = np.ones(len(shown.time_us), bool)
    keep[len(keep) // 3 : len(keep) // 2] = False
    holed = replace(
        shown, time_us=shown.time_us[keep], low=shown.low[keep], mean=shown.mean[keep], high=shown.high[keep]
    )
    assert [role for role, _ in draw(holed, "UTC").paths].count("trace") == whole + 1


def test_words_of_moments_that_lie_together_do_not_run_into_each_other(folder: Path, at_us: int) -> None:
    site = Site(made.juniper(), folder)
    second = 1_000_000
    one = replace(
        made.clogged(at_us), fault="lost_prime", onset_us=at_us - 90 * second, raised_us=at_us - 60 * second,
        cleared_us=at_us - 30 * second,
    )  # fmt: skip
    shown = evidence(site, one, at_us)
    assert shown is not None
    words = [label for role, label in draw(shown, "UTC").labels if role == "moment"]
    assert [label.text for label in words] == ["began", "called", "over"]
    assert len({label.y for label in words}) == 3
    assert all(label.y > 10 for label in words)


def test_a_slow_fault_is_drawn_to_now_and_its_newest_runs_are_told(folder: Path, at_us: int) -> None:
    site, day = Site(made.juniper(), folder), 86_400_000_000
    slow = replace(made.clogged(at_us), onset_us=at_us - 2 * day, raised_us=at_us - 2 * day + day // 24)
    shown = evidence(site, slow, at_us)
    assert shown is not None
    assert shown.time_us[-1] > at_us - day // 24
    assert "in the newest runs" in caption(slow, shown, at_us, "UTC")
    over = evidence(site, replace(slow, cleared_us=at_us - day), at_us)
    assert over is not None
    assert "in the newest runs" not in caption(replace(slow, cleared_us=at_us - day), over, at_us, "UTC")
