"""Other roads than json://: mail, and what two messengers and two plain formats take over HTTP, each to a
server on loopback that refuses at first."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import parse_qs

import msgspec
import pytest

from collector.notify.channels import Elsewhere, Undelivered
from collector.notify.office import Office
from collector.notify.settings import To
from collector.notify.words import Message
from collector.store import Due
from tests.collector.live.conftest import until
from tests.collector.notify.post_office import PostOffice

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.collector.notify.receiver import Receiver

ONE = Message("bench", "Bench", "UTC", "raised", 0, "high", "It leaks", "burst_line", summary="Said.")
TITLE = "See to it now: It leaks (Bench)"


@pytest.fixture
def office_of_letters() -> Iterator[PostOffice]:
    made = PostOffice()
    yield made
    made.close()


def to(folder: Path, url: str) -> To:
    (folder / "url").write_text(url + "\n")
    (folder / "url").chmod(0o600)
    return To("phone", folder / "url")


def told(place: To, receiver: Receiver | PostOffice, monkeypatch: pytest.MonkeyPatch) -> None:
    """Turned away twice and said without the secret, it is tried until it is taken, once."""
    monkeypatch.setattr("collector.notify.office.wait_s", lambda failures: 0.05)
    receiver.refuses = True
    with pytest.raises(Undelivered) as caught:
        Elsewhere(place).send([ONE])
    assert "s3cret" not in str(caught.value)
    office = Office([(Elsewhere(place), "low")])
    office.begin()
    try:
        office.hand_over("bench", [Due(7, 0, "phone", msgspec.json.encode(ONE), "high")])
        until(lambda: receiver.offered >= 3)
        receiver.refuses = False
        until(lambda: any(due.done_us for due in office.reports.take("bench")))
    finally:
        office.end()


@pytest.mark.parametrize(
    ("scheme", "path"),
    [("xml", "/hook"), ("form", "/hook"), ("gotify", "/s3cretToken1234"), ("ntfy", "/s3cret-topic")],
)
def test_over_http(
    receiver: Receiver, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, scheme: str, path: str
) -> None:
    told(to(tmp_path, f"{scheme}://127.0.0.1:{receiver.port}{path}"), receiver, monkeypatch)
    (body,) = receiver.bodies
    text = " ".join(parse_qs(body.decode()).get("title", [])) if scheme == "form" else body.decode()
    assert TITLE in text
    assert "Said." in body.decode()


def test_as_a_letter(office_of_letters: PostOffice, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    where = f"mailto://127.0.0.1:{office_of_letters.port}"
    place = to(tmp_path, f"{where}?from=shed@bench.example&to=ann@bench.example&mode=insecure")
    told(place, office_of_letters, monkeypatch)
    (letter,) = office_of_letters.got
    assert letter["Subject"] == TITLE
    assert "ann@bench.example" in letter["To"]
    body = letter.get_body(("plain",))
    assert body is not None
    assert body.get_content().startswith("Said.")
