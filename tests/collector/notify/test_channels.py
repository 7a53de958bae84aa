"""Apprise to a real HTTP server, topics to a real mosquitto; and what is said where they fail."""

from __future__ import annotations

import json
import logging
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from analytics.alarms.records import Alarm
from analytics.alarms.states import State
from collector.cli import main
from collector.notify.channels import Elsewhere, Undelivered, scrubbed
from collector.notify.office import Office
from collector.notify.settings import To
from collector.notify.topics import Topics, states
from collector.notify.words import Message
from collector.settings import Broker as Reached
from collector.store import Due
from tests.collector.live.conftest import Broker, until

if TYPE_CHECKING:
    from pathlib import Path

    from tests.collector.notify.receiver import Receiver

ONE = Message("bench", "Bench", "UTC", "raised", 0, "high", "It leaks", "burst_line", summary="Said.")
ALARM = Alarm("burst_line", None, State.UNACKNOWLEDGED, 0, 1_000_000, "high", standing=True, active=True)


def place(receiver: Receiver, folder: Path) -> To:
    receiver.settings(folder)
    return To("phone", folder / "phone-url")


def test_a_message_arrives_as_text(receiver: Receiver, tmp_path: Path) -> None:
    Elsewhere(place(receiver, tmp_path)).send([ONE])
    (got,) = receiver.got
    assert got["title"] == "See to it now: It leaks (Bench)"
    assert got["message"].startswith("Said.")


def test_a_refusal_is_said_without_the_secret(
    receiver: Receiver, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    receiver.refuses = True
    with caplog.at_level(logging.DEBUG), pytest.raises(Undelivered) as caught:
        Elsewhere(place(receiver, tmp_path)).send([ONE])
    assert "503" in str(caught.value)
    for secret in ("s3cretword", "t0kenvalue"):
        assert secret not in str(caught.value)


def test_what_is_scrubbed() -> None:
    url = "slack://bot@T1234567/A1234567/abcdef%20ghij"
    assert scrubbed(f"Failed {url} with A1234567 and abcdef ghij.\nMore", url) == (
        "Failed (its URL) with *** and ***."
    )
    assert scrubbed("", url) == ""


@pytest.mark.parametrize("text", ["nonsense", "unheardof://x", ""])
def test_a_url_that_nobody_understands(tmp_path: Path, text: str) -> None:
    (tmp_path / "u").write_text(text)
    with pytest.raises(Undelivered, match="no URL that Apprise understands"):
        Elsewhere(To("phone", tmp_path / "u")).send([ONE])


def test_notify_test_says_which_arrived(
    receiver: Receiver, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = receiver.settings(tmp_path)
    assert main(["notify", "test", "--settings", str(file)]) == 0
    assert "phone: taken in" in capsys.readouterr().out
    assert receiver.titles() == ["A test: messages arrive here (Holdwater)"]
    receiver.refuses = True
    assert main(["notify", "test", "--settings", str(file)]) == 1
    said = capsys.readouterr().err
    assert "phone: did not arrive" in said
    assert "s3cretword" not in said


def test_a_courier_tries_again_and_reports_once_it_arrived(
    receiver: Receiver, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.notify.office.wait_s", lambda failures: 0.05)
    receiver.refuses = True
    office = Office([(Elsewhere(place(receiver, tmp_path)), "low")])
    office.begin()
    try:
        import msgspec

        office.hand_over("bench", [Due(7, 0, "phone", msgspec.json.encode(ONE), "high")])
        until(lambda: receiver.offered >= 2)
        (tried,) = office.reports.take("bench")  # only the first failure is worth a write
        assert (tried.tries, tried.done_us) == (1, None)
        receiver.refuses = False
        until(lambda: office.reports.waiting("bench"))
        (done,) = office.reports.take("bench")
        assert done.id == 7
        assert done.done_us is not None
        assert receiver.titles() == ["See to it now: It leaks (Bench)"]
    finally:
        office.end()


def test_a_channel_that_hangs_holds_up_no_other(receiver: Receiver, tmp_path: Path) -> None:
    import msgspec

    class Hangs:
        name = "hangs"

        def send(self, messages: object) -> None:
            time.sleep(30)

    office = Office([(Hangs(), "low"), (Elsewhere(place(receiver, tmp_path)), "low")])
    office.begin()
    body = msgspec.json.encode(ONE)
    began = time.monotonic()
    office.hand_over("bench", [Due(1, 0, "hangs", body, "high"), Due(2, 0, "phone", body, "high")])
    assert time.monotonic() - began < 0.1
    until(lambda: bool(receiver.got), 10)
    office.end()  # does not wait for what hangs, but for a few seconds
    assert time.monotonic() - began < 15


@pytest.mark.broker
@pytest.mark.parametrize("protocol", ["auto", "5", "3.1.1"])
def test_topics_hold_the_state_now_and_after_the_broker_was_away(broker: Broker, protocol: str) -> None:
    topics = Topics(Reached("127.0.0.1", broker.port, False, client_id="me", protocol=protocol), "ours")
    seen: dict[str, bytes] = {}
    listener = broker.publisher()
    listener.on_message = lambda _, __, m: seen.__setitem__(m.topic, m.payload)
    listener.on_connect = lambda client, *_: client.subscribe("ours/#", qos=1)
    listener.reconnect_delay_set(1, 1)
    listener.subscribe("ours/#", qos=1)
    topics.show("bench", [])
    topics.begin()
    try:
        until(lambda: seen.get("ours/online") == b"true" and "ours/bench/alarms" in seen)
        topics.show("bench", [ALARM])
        until(lambda: "ours/bench/alarm/burst_line" in seen)
        told = json.loads(seen["ours/bench/alarm/burst_line"])
        assert (told["state"], told["active"], told["priority"]) == ("unacknowledged", True, "high")
        assert told["raised"] == "1970-01-01T00:00:01Z"
        topics.send([ONE])
        until(lambda: "ours/bench/message" in seen)
        broker.stop()
        until(lambda: not topics._client.is_connected())
        topics.show("bench", [replace(ALARM, state=State.ACKNOWLEDGED)])
        with pytest.raises(Undelivered):
            topics.send([ONE])
        broker.start()
        until(lambda: b'"acknowledged"' in seen["ours/bench/alarm/burst_line"], 30)
    finally:
        topics.close()
    until(lambda: seen["ours/online"] == b"false")
    listener.loop_stop()


def test_names_are_one_level_of_a_topic() -> None:
    found = states("h", "a/b", [replace(ALARM, fault="sensor_fault", of="rain+#/tank")])
    assert set(found) == {"h/a_b/alarms", "h/a_b/alarm/sensor_fault/rain___tank"}
    assert json.loads(found["h/a_b/alarms"]) == {"standing": 1, "unacknowledged": 1, "worst": "high"}
    shelved = states("h", "p", [replace(ALARM, state=State.SHELVED)])
    assert json.loads(shelved["h/p/alarms"])["standing"] == 0
