"""The gate: nobody in without a paired phone, no change by a view-only person, on any route there is.

The checks go over the server's own table of routes, so that a route added tomorrow is held to them.
"""

from __future__ import annotations

import re
import time
from typing import TYPE_CHECKING

import pytest

from dashboard.access import cookies, phones
from dashboard.access.gate import FOR_ALL, OPEN, READING, Gate
from dashboard.web.app import make_app
from tests.dashboard import made
from tests.dashboard.paired import client_of, token_of

if TYPE_CHECKING:
    from pathlib import Path

    from flask import Flask
    from flask.testing import FlaskClient


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now_s = time.time()

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(wrong_folder: Path, clock: Clock) -> Flask:
    return make_app([made.juniper()], wrong_folder, "127.0.0.1:8050", clock=clock)


@pytest.fixture
def stranger(app: Flask) -> FlaskClient:
    client = app.test_client()
    client.environ_base["HTTP_ORIGIN"] = "http://localhost"
    return client


def every_route(app: Flask) -> list[tuple[str, str, str]]:
    """(endpoint, method, an address) of everything the server answers, OPTIONS aside."""
    named = {"name": "juniper-bench", "digest": "0", "room": "history"}
    found = []
    for rule in app.url_map.iter_rules():
        path = re.sub(r"<(?:\w+:)?(\w+)>", lambda part: named.get(part[1], "1"), rule.rule)
        found += [
            (rule.endpoint, method, path) for method in sorted((rule.methods or set()) - {"OPTIONS", "HEAD"})
        ]
    assert len(found) > 20
    return found


def test_nothing_but_the_doors_is_open(app: Flask, stranger: FlaskClient) -> None:
    for endpoint, method, path in every_route(app):
        if endpoint in OPEN:
            continue
        answer = stranger.open(path, method=method)
        assert answer.status_code in (303, 401), (endpoint, method, path)
        assert "Juniper" not in answer.text, (endpoint, method, path)


def test_what_is_open_says_nothing_of_the_plant(app: Flask, stranger: FlaskClient) -> None:
    for endpoint, method, path in every_route(app):
        if endpoint in OPEN:
            text = stranger.open(path, method=method).text.lower()
            assert "juniper" not in text, endpoint
            assert "psi" not in text, endpoint


def test_view_only_people_change_nothing(app: Flask) -> None:
    onlooker = client_of(app, "view-only")
    tried = 0
    for endpoint, method, path in every_route(app):
        if method not in READING and endpoint not in FOR_ALL | OPEN:
            assert onlooker.open(path, method=method).status_code == 403, (endpoint, path)
            tried += 1
    assert tried >= 4
    assert onlooker.get("/").status_code == 200
    for endpoint in FOR_ALL:  # what they may do is there: a route that was renamed must be named anew
        assert endpoint in app.view_functions, endpoint


def test_every_change_must_come_from_our_own_page(app: Flask) -> None:
    """Cross-site requests, also on the callback route (ASVS 5, 3.5)."""
    client = client_of(app)
    for headers in (
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"},
    ):
        for endpoint, method, path in every_route(app):
            if method not in READING:
                answer = client.open(path, method=method, headers=headers)
                assert answer.status_code == 403, (endpoint, headers)


def test_no_page_can_be_framed(app: Flask) -> None:
    client = client_of(app)
    for _, method, path in every_route(app):
        if method == "GET" and not path.endswith("/live"):
            answer = client.get(path)
            assert answer.headers["X-Frame-Options"] == "DENY"
            assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
            assert "script-src 'self';" in answer.headers["Content-Security-Policy"]


def test_the_event_stream_needs_a_phone(app: Flask, stranger: FlaskClient) -> None:
    assert stranger.get("/at/juniper-bench/live").status_code == 401
    answer = client_of(app).get("/at/juniper-bench/live", buffered=False)
    assert answer.status_code == 200
    answer.close()


def test_an_open_stream_ends_when_its_phone_is_forgotten(app: Flask, clock: Clock) -> None:
    client = client_of(app)
    gate = app.extensions["gate"]
    assert isinstance(gate, Gate)
    stream = client.get("/at/juniper-bench/live", buffered=False)
    parts = iter(stream.response)
    next(parts)
    for phone in phones.all_phones(gate.book, clock.now_s):
        phones.revoke(gate.book, phone.id)
    clock.now_s += 5
    assert list(parts) == []


def test_a_session_ends_by_itself(app: Flask, clock: Clock) -> None:
    client = client_of(app)
    assert client.get("/").status_code == 200
    clock.now_s += phones.IDLE_S + 1
    assert client.get("/").status_code == 401


@pytest.mark.parametrize("token", ["", "x", "0" * 43, "' OR 1=1 --", "\x00"])
def test_a_made_up_cookie_opens_nothing(app: Flask, token: str) -> None:
    client = app.test_client()
    client.set_cookie(cookies.name(False, "localhost"), token)
    assert client.get("/").status_code == 401


def test_a_page_is_led_to_the_door_and_back(stranger: FlaskClient) -> None:
    asked = "/at/juniper-bench/history?signal=pressure"
    answer = stranger.get(asked, headers={"Accept": "text/html,*/*;q=0.8"})
    assert answer.status_code == 303
    assert answer.location == "/sign-in?next=%2Fat%2Fjuniper-bench%2Fhistory%3Fsignal%3Dpressure"
    assert (
        stranger.get("/at/juniper-bench/history.csv", headers={"Sec-Fetch-Dest": "empty"}).status_code == 401
    )


def test_the_cookie_is_hardened(app: Flask, wrong_folder: Path, clock: Clock) -> None:
    """ASVS 5, 3.3: Secure and __Host- under TLS, HttpOnly, SameSite, Path=/, no Domain."""
    from dashboard.access import codes

    secure = make_app([made.juniper()], wrong_folder, secure=True, clock=clock)
    gate = secure.extensions["gate"]
    code = codes.new_code(gate.book, "Ana", "caretaker", clock.now_s)
    answer = secure.test_client().post(
        "/pair", data={"code": code}, headers={"Origin": "https://localhost"}, base_url="https://localhost"
    )
    said = answer.headers["Set-Cookie"]
    assert said.startswith("__Host-holdwater-443=")
    for attribute in ("Secure", "HttpOnly", "SameSite=Lax", "Path=/"):
        assert attribute in said
    assert "Domain" not in said
    code = codes.new_code(gate.book, "Ana", "caretaker", clock.now_s)
    plain = app.test_client().post("/pair", data={"code": code}, headers={"Origin": "http://localhost"})
    assert plain.headers["Set-Cookie"].startswith("holdwater-80=")


def test_a_cookie_over_plain_http_does_not_open_the_tls_pages(wrong_folder: Path, clock: Clock) -> None:
    secure = make_app([made.juniper()], wrong_folder, secure=True, clock=clock)
    client = secure.test_client()
    client.set_cookie("holdwater-443", token_of(secure.extensions["gate"].book, now_s=clock.now_s))
    assert client.get("/", base_url="https://localhost").status_code == 401


def test_pages_are_kept_in_no_cache(app: Flask) -> None:
    assert client_of(app).get("/").headers["Cache-Control"] == "no-store"


def test_a_huge_request_is_refused(app: Flask) -> None:
    answer = client_of(app).post("/dash/_dash-update-component", json="x" * 2_000_000)
    assert answer.status_code == 413
