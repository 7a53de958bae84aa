"""The ways in and out, and who lets whom in: as a browser without script goes them."""

from __future__ import annotations

import re
import time
from typing import TYPE_CHECKING

import pytest
from argon2 import PasswordHasher

from dashboard.access import codes, passphrases, people, phones
from dashboard.access.doors import local
from dashboard.access.gate import Gate
from dashboard.web.app import make_app
from tests.dashboard import made
from tests.dashboard.paired import client_of

if TYPE_CHECKING:
    from pathlib import Path

    from flask import Flask
    from flask.testing import FlaskClient
    from werkzeug.test import TestResponse

GOOD, BETTER = "glacier lantern ninety", "tin roof sparrow ledger"


class House:
    """One server with a clock that stands, and browsers at addresses."""

    def __init__(self, data: Path) -> None:
        self.now_s = time.time()
        self.app: Flask = make_app([made.juniper()], data, clock=lambda: self.now_s)
        gate = self.app.extensions["gate"]
        assert isinstance(gate, Gate)
        self.book = gate.book

    def browser(self, address: str = "192.0.2.10") -> FlaskClient:
        client = self.app.test_client()
        client.environ_base |= {"HTTP_ORIGIN": "http://localhost", "REMOTE_ADDR": address}
        return client

    def code(self, name: str = "Ana", role: str = "caretaker") -> str:
        return codes.new_code(self.book, name, role, self.now_s)

    def paired(self, name: str = "Ana", role: str = "caretaker", **form: str) -> FlaskClient:
        client = self.browser()
        answer = client.post("/pair", data={"code": self.code(name, role), **form})
        assert answer.status_code == 303, answer.text
        return client


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    # the true parameters are held to in test_book; eighty hashes of 64 MiB would prove no more here
    monkeypatch.setattr(passphrases, "_hasher", PasswordHasher(time_cost=1, memory_cost=64))
    passphrases._nobodys.cache_clear()
    made.fill(tmp_path, int(time.time()), days=0.1)
    return House(tmp_path)


def sign_in(client: FlaskClient, name: str, passphrase: str) -> TestResponse:
    return client.post("/sign-in", data={"name": name, "passphrase": passphrase})


def test_first_start_says_how_to_get_in(house: House) -> None:
    page = house.browser().get("/sign-in").text
    assert "No phone is paired yet" in page
    assert "holdwater pair" in page


def test_looking_at_the_link_does_not_use_it_up(house: House) -> None:
    """A scanner's preview, or a browser that fetches ahead, must not spend the code."""
    code = house.code()
    for _ in range(3):
        assert "Ana" in house.browser().get(f"/pair?code={code}").text
    client = house.browser()
    assert client.post("/pair", data={"code": code}).status_code == 303
    assert client.get("/").status_code == 200
    assert house.browser().post("/pair", data={"code": code}).status_code == 401


def test_the_way_goes_on_to_where_it_was_going_and_nowhere_else(house: House) -> None:
    for wanted, led in (
        ("/at/juniper-bench/history", "/at/juniper-bench/history"),
        ("//elsewhere.example/", "/"),
        ("https://elsewhere.example/", "/"),
        ("/\\elsewhere.example", "/"),
        ("javascript:alert(1)", "/"),
    ):
        answer = house.browser().post("/pair", data={"code": house.code(), "next": wanted})
        assert answer.location == led
    assert local("/\r\nSet-Cookie: a=b") == ""


def test_codes_cannot_be_tried_out(house: House) -> None:
    client = house.browser()
    said = [client.post("/pair", data={"code": f"0000-0000-{n:04}"}).status_code for n in range(8)]
    assert said == [401] * 5 + [429] * 3
    refused = client.post("/pair", data={"code": house.code()})
    assert refused.status_code == 429
    assert 0 < int(refused.headers["Retry-After"]) <= 31
    assert house.browser("192.0.2.99").post("/pair", data={"code": house.code()}).status_code == 303
    house.now_s += 31  # the one who hammered gets in too, a little later
    assert client.post("/pair", data={"code": house.code()}).status_code == 303


def test_name_and_passphrase(house: House) -> None:
    house.paired(passphrase=GOOD)
    assert sign_in(house.browser(), "ana", GOOD).status_code == 303
    wrong = [sign_in(house.browser(), name, secret) for name, secret in (("Ana", BETTER), ("Nobody", GOOD))]
    assert [answer.status_code for answer in wrong] == [401, 401]
    shown = [re.sub(r'value="[^"]*"', "", answer.text) for answer in wrong]
    assert shown[0] == shown[1]  # a name cannot be found out


def test_who_has_no_passphrase_cannot_sign_in_by_one(house: House) -> None:
    house.paired()
    assert sign_in(house.browser(), "Ana", "").status_code == 401


def test_a_weak_passphrase_uses_no_code_up(house: House) -> None:
    client, code = house.browser(), house.code()
    answer = client.post("/pair", data={"code": code, "passphrase": "password1234"})
    assert answer.status_code == 400
    assert "Too easy" in answer.text
    assert client.post("/pair", data={"code": code, "passphrase": GOOD}).status_code == 303


def test_pairing_again_does_not_change_a_passphrase(house: House) -> None:
    house.paired(passphrase=GOOD)
    house.paired(passphrase=BETTER)
    assert sign_in(house.browser(), "Ana", GOOD).status_code == 303
    assert sign_in(house.browser(), "Ana", BETTER).status_code == 401


def test_signing_in_is_braked_by_place(house: House) -> None:
    house.paired(passphrase=GOOD)
    client = house.browser("192.0.2.66")
    said = [sign_in(client, "Ana", f"guess number {n}").status_code for n in range(7)]
    assert said == [401] * 5 + [429] * 2


def test_a_stranger_cannot_lock_the_owner_out(house: House) -> None:
    """Guessing from everywhere slows guessing from everywhere, and nobody who was here before."""
    client = house.paired(passphrase=GOOD)  # at 192.0.2.10
    said = [
        sign_in(house.browser(f"198.51.100.{n}"), "Ana", f"guess number {n}").status_code for n in range(40)
    ]
    assert said.count(429) == 30  # ten tries at one name, from wherever
    assert client.get("/").status_code == 200  # a paired phone notices nothing
    assert sign_in(house.browser("192.0.2.10"), "Ana", GOOD).status_code == 303  # nor a known place
    new = house.browser("203.0.113.5")
    assert sign_in(new, "Ana", GOOD).status_code == 429  # a new place waits a minute
    assert new.post("/pair", data={"code": house.code()}).status_code == 303  # or is let in at the machine
    house.now_s += 61
    assert sign_in(house.browser("203.0.113.6"), "Ana", GOOD).status_code == 303


def test_a_new_sign_in_has_a_new_token(house: House) -> None:
    house.paired(passphrase=GOOD)
    client = house.browser()
    tokens = set()
    for _ in range(3):
        tokens.add(sign_in(client, "Ana", GOOD).headers["Set-Cookie"].split(";")[0])
    assert len(tokens) == 3


def test_signing_out_ends_the_session_on_the_server(house: House) -> None:
    client = house.paired()
    held = client.get_cookie("holdwater-80")
    assert held is not None
    answer = client.post("/sign-out")
    assert "Clear-Site-Data" in answer.headers
    thief = house.browser()
    thief.set_cookie("holdwater-80", held.value)
    assert thief.get("/").status_code == 401


def test_a_caretaker_lets_somebody_in(house: House) -> None:
    client = house.paired()
    page = client.post("/people/invite", data={"name": "Ben", "role": "view-only"}).text
    code = re.search(r"<code>([0-9A-Z-]{14})</code>", page)
    assert code is not None
    assert "<svg" in page
    ben = house.browser()
    assert ben.post("/pair", data={"code": code[1]}).status_code == 303
    assert ben.get("/").status_code == 200
    assert ben.post("/people/invite", data={"name": "Cid", "role": "caretaker"}).status_code == 403


def test_letting_in_asks_for_the_passphrase_after_a_while(house: House) -> None:
    """ASVS 5, 7.5: what changes who may look asks again who is there."""
    client = house.paired(passphrase=GOOD)
    house.now_s += phones.PROOF_LASTS_S
    asks = [
        ("/people/invite", {"name": "Ben", "role": "caretaker"}),
        ("/people/passphrase", {"new": BETTER}),
        ("/people/remove", {"person": "1"}),
    ]
    for path, form in asks:
        assert client.post(path, data=form).status_code == 403
    assert client.post("/people/prove", data={"passphrase": BETTER}).status_code == 401
    assert client.post("/people/prove", data={"passphrase": GOOD}).status_code == 303
    assert client.post("/people/invite", data=asks[0][1]).status_code == 200


def test_proving_is_braked(house: House) -> None:
    client = house.paired(passphrase=GOOD)
    said = [client.post("/people/prove", data={"passphrase": f"guess {n}"}).status_code for n in range(7)]
    assert said == [401] * 5 + [429] * 2


def test_a_phone_is_forgotten_by_a_caretaker_or_its_own_person(house: House) -> None:
    ana, ben, cid = house.paired(), house.paired("Ben", "view-only"), house.paired("Cid", "view-only")
    number = {phone.name: str(phone.id) for phone in phones.all_phones(house.book, house.now_s)}
    assert ben.post("/people/forget", data={"phone": number["Ana"]}).status_code == 403
    assert ben.post("/people/forget", data={"phone": number["Cid"]}).status_code == 403
    assert ben.post("/people/forget", data={"phone": number["Ben"]}).status_code == 303
    assert ben.get("/").status_code == 401
    assert ana.post("/people/forget", data={"phone": number["Cid"]}).status_code == 303
    assert cid.get("/").status_code == 401
    assert ana.get("/").status_code == 200


def test_view_only_people_see_only_their_own_phones(house: House) -> None:
    house.paired(label="barn tablet")
    assert "barn tablet" not in house.paired("Ben", "view-only").get("/people").text


def test_the_last_caretaker_cannot_be_taken_out(house: House) -> None:
    client = house.paired()
    ana = people.named(house.book, "Ana")
    assert ana is not None
    assert client.post("/people/remove", data={"person": str(ana.id)}).status_code == 409


def test_a_role_cannot_be_raised_by_an_invitation(house: House) -> None:
    client = house.paired()
    house.paired("Ben", "view-only")
    assert client.post("/people/invite", data={"name": "ben", "role": "caretaker"}).status_code == 409


def test_names_and_labels_are_text(house: House) -> None:
    client = house.paired("<img src=x>", label="<script>alert(1)</script>")
    page = client.get("/people").text
    assert "<script>alert" not in page
    assert "<img" not in page
    assert "&lt;img src=x&gt;" in page


def test_a_full_disk_does_not_keep_a_phone_from_looking(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sqlite3

    client = house.paired()

    def full() -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(house.book, "changing", full)
    house.now_s += 2 * phones.SEEN_EVERY_S
    assert client.get("/").status_code == 200
    refused = house.browser().post("/pair", data={"code": "0000-0000-0000"})
    assert refused.status_code in (401, 503)
    assert client.post("/people/forget", data={"phone": "1"}).status_code == 503


def test_no_secret_reaches_the_log(house: House, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level("DEBUG"):
        code = house.code()
        client = house.browser()
        client.post("/pair", data={"code": code, "passphrase": GOOD})
        client.get("/")
        sign_in(house.browser(), "Ana", BETTER)
        sign_in(house.browser(), "Ana", GOOD)
        client.post("/people/passphrase", data={"new": BETTER})
        sign_in(house.browser(), GOOD, "typed into the wrong field")
        house.browser().post("/pair", data={"code": "0000-0000-0000"})
    held = client.get_cookie("holdwater-80")
    assert held is not None
    for secret in (code, GOOD, BETTER, held.value):
        assert secret not in caplog.text
    # what happened is in it (ASVS 5, 16.3): who came in, who was refused, from where
    for told in (
        "paired a phone of Ana (caretaker), at 192.0.2.10",
        "refused a passphrase for Ana, at 192.0.2.10",
        "Ana signed in, at 192.0.2.10",
        "Ana has a new passphrase",
        "refused a passphrase for nobody known",
        "refused a pairing code",
    ):
        assert told in caplog.text


def test_hashing_is_done_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each hash takes 64 MiB: a crowd at the door must not take the machine's memory."""
    import threading

    running, most = [0], [0]

    class Slow:
        def verify(self, *_: str) -> bool:
            running[0] += 1
            most[0] = max(most[0], running[0])
            time.sleep(0.02)
            running[0] -= 1
            return True

    monkeypatch.setattr(passphrases, "_hasher", Slow())
    crowd = [threading.Thread(target=passphrases.matches, args=("hash", "guess")) for _ in range(8)]
    for one in crowd:
        one.start()
    for one in crowd:
        one.join()
    assert most == [1]


def test_a_client_of_the_tests_is_no_back_door(house: House) -> None:
    assert client_of(house.app).get("/").status_code == 200
    assert house.browser().get("/").status_code == 401
