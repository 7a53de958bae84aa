"""The Practice room over HTTP: what it shows, what it keeps, and that it never touches a history."""

from __future__ import annotations

import hashlib
import time
from typing import TYPE_CHECKING

import pytest

from dashboard.web.app import make_app
from tests.dashboard import made
from tests.dashboard.paired import client_of

if TYPE_CHECKING:
    from pathlib import Path

    from flask.testing import FlaskClient

ROOM = "/at/juniper-bench/practice"


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("practice")
    made.fill(folder, int(time.time()), days=2)
    return folder


@pytest.fixture(scope="module")
def client(data: Path) -> FlaskClient:
    return client_of(make_app([made.juniper()], data))


def begun(client: FlaskClient, **form: str) -> str:
    """The address of an exercise that can be watched."""
    answer = client.post(f"{ROOM}/new", data=form)
    assert answer.status_code == 303
    until = time.monotonic() + 60
    while b"Making a copy" in client.get(answer.location).data:
        assert time.monotonic() < until
        time.sleep(0.1)
    return str(answer.location)


def test_history_stays_as_it_is_to_the_byte(client: FlaskClient, data: Path) -> None:
    """Everything Practice does, and not a byte of the plant's files changes; only its own comes."""
    folder = data / "juniper-bench"

    def digests() -> dict[str, str]:
        return {
            path.name: hashlib.sha256(path.read_bytes()).hexdigest()
            for path in folder.iterdir()
            if not path.name.endswith(("-shm", "practice.json"))
        }

    client.get("/at/juniper-bench/")
    before = digests()
    assert "history.sqlite" in before
    here = begun(client, lesson="lost_prime", level="1")
    for what in ("moment?t=0", "overview?twin=1", "runs", "beside?span=six hours", "own"):
        assert client.get(f"{here}/{what}").status_code == 200, what
    blind = begun(client, blind="1")
    assert client.post(f"{blind}/answer", data={"answer": ""}).status_code == 303
    assert (folder / "practice.json").exists()
    assert digests() == before


def test_every_view_says_practice_and_none_listens_to_the_plant(client: FlaskClient) -> None:
    here = begun(client, lesson="burst_line", level="1")
    for address in (ROOM, here, begun(client, blind="1")):
        page = client.get(address).text
        assert "<b>Practice.</b> A copy of Juniper Bench. Nothing here is happening." in page
        assert 'class="practice"' in page
        assert "practice.css" in page
        assert "data-live=" not in page.split("<main")[0]
        assert "water.js" not in page
    for address in ("/at/juniper-bench/", "/at/juniper-bench/cycles"):
        page = client.get(address).text
        assert "practice.css" not in page
        assert 'class="practice"' not in page


def test_the_reason_is_told_with_its_evidence(client: FlaskClient) -> None:
    here = begun(client, lesson="burst_line", level="1")
    until = time.monotonic() + 60
    while not (overview := client.get(f"{here}/overview").json)["done"]:
        assert time.monotonic() < until
        time.sleep(0.1)
    called = next(mark for mark in overview["marks"] if mark["kind"] == "called")
    moment = client.get(f"{here}/moment?t={called['at'] + 2000}").json
    assert moment["mood"] == "wrong"
    html = "".join(moment["html"].values())
    address = html.split('class="way-to" href="')[1].split('"')[0]
    assert address.startswith(here)
    why = client.get(address)
    assert why.status_code == 200
    assert "Why Holdwater thinks so" in why.text
    assert "Practice." in why.text


def test_a_fault_is_mended_once_it_was_called_and_not_before(client: FlaskClient) -> None:
    here = begun(client, lesson="burst_line", level="2")
    until = time.monotonic() + 60
    while not (overview := client.get(f"{here}/overview").json)["done"]:
        assert time.monotonic() < until
        time.sleep(0.1)
    assert 'id="mend"' in client.get(here).text
    for asked in ("", "soon"):
        assert client.post(f"{here}/mend", data={"t": asked}).status_code == 400
    called = next(mark for mark in overview["marks"] if mark["kind"] == "called")
    answer = client.post(f"{here}/mend", data={"t": str(called["at"] + 60_000)})
    assert answer.status_code == 303
    again = answer.location
    assert again != here
    while b"Making a copy" in client.get(again).data:
        time.sleep(0.1)
    page = client.get(again).text
    assert f'data-from="{called["at"] + 60_000 - 300_000}"' in page
    assert 'id="mend"' not in page
    assert client.post(f"{again}/mend", data={"t": str(called["at"])}).status_code == 400
    blind = begun(client, blind="1")
    assert client.post(f"{blind}/mend", data={"t": "1"}).status_code == 400


def test_a_blind_answer_is_marked_and_explained(client: FlaskClient) -> None:
    here = begun(client, blind="1")
    assert client.get(here).text.count('name="answer"') >= 4
    assert client.post(f"{here}/answer", data={"answer": "no such"}).status_code == 400
    client.post(f"{here}/answer", data={"answer": ""})
    page = client.get(here).text
    assert "The tell-tale." in page
    assert "Right." in page or "Not this time." in page
    # a second answer to the same exercise changes nothing
    marks = client.get(ROOM).text.count("right</i>")
    client.post(f"{here}/answer", data={"answer": ""})
    assert client.get(ROOM).text.count("right</i>") == marks


def test_who_may_only_look_may_practise(data: Path) -> None:
    client = client_of(make_app([made.juniper()], data), "view-only")
    assert client.post(f"{ROOM}/new", data={"lesson": "lost_prime", "level": "0"}).status_code == 303


def test_what_is_no_exercise_is_refused(client: FlaskClient) -> None:
    assert client.post(f"{ROOM}/new", data={"lesson": "rain", "level": "1"}).status_code == 400
    assert client.post(f"{ROOM}/new", data={"lesson": "lost_prime", "level": "9"}).status_code == 400
    assert client.get(f"{ROOM}/gone").status_code == 303
    assert client.get(f"{ROOM}/gone/moment").status_code == 404
    assert client.get("/at/nobody/practice").status_code == 404
