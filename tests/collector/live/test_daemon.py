"""The daemon against a real broker: every form of payload, rubbish, restarts of either side."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from collector.live.link import Link
from collector.settings import Broker as Reached
from tests.collector.live.conftest import Broker, Running, until

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = pytest.mark.broker

RUBBISH = [b"", b"\xff\xfe\x00", b"{", b"[[[[", b"NaN", b"1e999", b"four", b'{"ain": []}', b"[" * 5000]


def senml(begin_s: float, values: list[float]) -> bytes:
    """A pack as RFC 8428 has it: base name, base time, base unit and a record that overrides it."""
    pack: list[dict[str, object]] = [
        {"bn": "urn:dev:bench:", "bt": begin_s, "bu": "Pa", "n": "outlet", "v": values[0]}
    ]
    pack += [{"n": "outlet", "t": i, "v": value} for i, value in enumerate(values[1:], start=1)]
    return json.dumps(pack).encode()


def test_three_forms_of_payload_land_and_rubbish_is_counted(broker: Broker, daemon: Running) -> None:
    daemon.start()
    until(daemon.connected)
    out = broker.publisher()
    begin_s = round(time.time()) - 100
    for i in range(50):
        out.publish("bench/pressure", f"{40 + i / 10:.1f}", qos=1)
        out.publish("bench/motor", json.dumps({"ain": [i / 10, 7]}), qos=1)
        out.publish("bench/nobody", "1", qos=1)
        if i < len(RUBBISH):
            out.publish("bench/pressure", RUBBISH[i], qos=1)
            out.publish("bench/motor", RUBBISH[i], qos=1)
    out.publish("bench/outlet", senml(begin_s, [100_000.0 + i for i in range(30)]), qos=1).wait_for_publish(5)
    out.disconnect()
    until(lambda: daemon.stored() >= 130)
    assert daemon.stop() == 0
    with daemon.history() as history:
        everything = {name: history.readings(name, 0, 2**62) for name in ("pressure", "motor", "outlet")}
        counts = history.counts()
        aside = history.set_aside(100)
    assert everything["pressure"].value.tolist() == pytest.approx([40 + i / 10 for i in range(50)])
    assert everything["motor"].value.tolist() == pytest.approx([i / 10 for i in range(50)])
    assert everything["outlet"].value.tolist() == pytest.approx([100 + i / 1000 for i in range(30)])  # kPa
    assert everything["outlet"].time_us.tolist() == [(begin_s + i) * 1_000_000 for i in range(30)]
    assert counts["rejected"] >= 2 * len(RUBBISH) - 1
    assert {one.topic for one in aside} == {"bench/pressure", "bench/motor"}
    assert all(one.reason for one in aside)


def test_retained_values_are_not_fresh_and_the_future_is_set_aside(broker: Broker, daemon: Running) -> None:
    out = broker.publisher()
    out.publish("bench/pressure", "12.5", qos=1, retain=True).wait_for_publish(5)
    now_s = round(time.time())
    daemon.start()
    until(daemon.connected)
    out.publish("bench/outlet", senml(now_s + 86_400, [100_000.0]), qos=1).wait_for_publish(5)
    out.publish("bench/pressure", "40.5", qos=1).wait_for_publish(5)
    out.disconnect()
    until(lambda: daemon.stored() >= 1)
    assert daemon.stop() == 0
    with daemon.history() as history:
        assert history.readings("pressure", 0, 2**62).value.tolist() == [40.5]
        assert len(history.readings("outlet", 0, 2**62)) == 0
        assert history.counts()["retained"] == 1
        assert [one.reason for one in history.set_aside(10)] == ["its time lies in the future"]


def test_what_comes_while_it_is_down_is_not_lost_and_a_broker_may_restart(
    broker: Broker, daemon: Running
) -> None:
    daemon.start()
    until(daemon.connected)
    assert daemon.stop() == 0
    out = broker.publisher()
    begin_s = round(time.time()) - 3600
    for i in range(20):
        out.publish("bench/outlet", senml(begin_s + 10 * i, [1000.0 * i]), qos=1).wait_for_publish(5)
    out.disconnect()
    broker.stop()
    daemon.start()  # before the broker: it has to wait for it
    until(lambda: "no broker at" in daemon.log.read_text())
    time.sleep(3.0)  # several attempts' worth
    broker.start()
    until(lambda: daemon.stored() == 20)
    assert daemon.log.read_text().count("no broker at") == 1  # said once, not at every attempt
    assert daemon.stop() == 0


def test_bare_values_that_waited_are_kept_and_not_taken_for_now(tmp_path: Path) -> None:
    """Ten minutes of starts and stops, come in one burst, must not look like ten minutes in a second."""
    heard = tmp_path / "broker.log"
    rules = f"allow_anonymous true\nlog_dest file {heard}\nlog_type debug\n"
    with come_back(tmp_path, rules, 600) as (broker, daemon):
        # a value without a time that is killed between commit and acknowledgement comes again, as a new one
        until(lambda: heard.read_text().count("Received PUBACK") >= 1200)
        daemon.kill()  # what was not examined is not examined after a restart either
        daemon.start()
        until(lambda: daemon.connected(3))
        time.sleep(0.5)
        out = broker.publisher()
        for i in range(5):
            out.publish("bench/pressure", f"{40 + i}", qos=1).wait_for_publish(5)
        until(lambda: daemon.stored() == 1205)
        assert daemon.stop() == 0
        out.disconnect()
        with daemon.history() as history:
            assert history.counts()["waited"] == 1200
            assert history.cycles(0, 2**62) == []


def test_a_broker_that_lets_us_publish_nothing_is_caught_up_with_after_a_lull(tmp_path: Path) -> None:
    rules = tmp_path / "rules"
    rules.write_text("topic readwrite bench/#\n")
    with come_back(tmp_path, f"allow_anonymous true\nacl_file {rules}\n", 10) as (broker, daemon):
        time.sleep(2.5)
        _saw_tooth(broker, 5)
        until(lambda: daemon.stored() == 30)
        assert daemon.stop() == 0
        with daemon.history() as history:
            assert history.counts()["waited"] == 20


@contextmanager
def come_back(folder: Path, configuration: str, seconds: int) -> Iterator[tuple[Broker, Running]]:
    """A broker and a daemon that was away for so long, and has stored what waited."""
    broker = Broker(folder, configuration)
    broker.start()
    try:
        daemon = Running(broker, folder)
        daemon.start()
        until(daemon.connected)
        assert daemon.stop() == 0
        _saw_tooth(broker, seconds)
        daemon.start()
        until(lambda: daemon.stored() == 2 * seconds)
        yield broker, daemon
    finally:
        broker.stop()


def test_a_topic_that_the_broker_keeps_from_us_is_named_in_the_log(caplog: pytest.LogCaptureFixture) -> None:
    """mosquitto grants and sends nothing; others say so, as MQTT 5 has it (3.9.3)."""
    link = Link(Reached("127.0.0.1", 1, False, client_id="me"), ["bench/motor", "bench/a"], lambda *_: None)
    granted, refused = (ReasonCode(PacketTypes.SUBACK, name) for name in ("Granted QoS 1", "Not authorized"))
    with caplog.at_level("INFO"):
        link._on_subscribe(None, None, 1, [granted, refused, granted])
    assert [line for line in caplog.messages if "does not let us hear bench/motor;" in line]
    assert "bench/a" not in caplog.text


def _saw_tooth(broker: Broker, seconds: int) -> None:
    out = broker.publisher()
    for i in range(seconds):
        out.publish("bench/pressure", f"{30 + i % 20}", qos=1)
        last = out.publish("bench/motor", json.dumps({"ain": [6 * (i // 20 % 2)]}), qos=1)
    last.wait_for_publish(10)
    out.disconnect()


def test_a_collector_alone_never_loads_the_dashboard(daemon: Running) -> None:
    program = (
        "import sys, threading\n"
        "from collector import cli\n"
        "from collector.live import daemon\n"
        "daemon.Daemon.run = lambda self: print(*sorted(sys.modules))\n"
        f"words = ['run', {str(daemon.file)!r}, '--no-dashboard', '--data', {str(daemon.data)!r}]\n"
        "sys.exit(cli.main(words))\n"
    )
    shown = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert shown.returncode == 0, shown.stderr
    modules = set(shown.stdout.split())
    assert "collector.live.site" in modules
    assert not {"dash", "flask", "plotly", "dashboard", "simulator", "amqtt"} & modules


def test_a_damaged_history_is_set_aside_and_listening_goes_on(broker: Broker, daemon: Running) -> None:
    folder = daemon.data / "bench"
    folder.mkdir(parents=True)
    (folder / "history.sqlite").write_bytes(b"no database " * 1000)
    daemon.start()
    until(daemon.connected)
    out = broker.publisher()
    out.publish("bench/pressure", "40.5", qos=1).wait_for_publish(5)
    out.disconnect()
    until(lambda: daemon.stored() == 1)
    assert daemon.stop() == 0
    assert "set aside as" in daemon.log.read_text()
    assert (folder / "history.damaged-1.sqlite").read_bytes().startswith(b"no database")
    with daemon.history() as history:
        assert ["0 readings could be saved" in entry.words for entry in history.logbook()] == [True]


def test_two_daemons_on_one_machine_let_each_other_be(
    broker: Broker, daemon: Running, tmp_path_factory: pytest.TempPathFactory
) -> None:
    other = Running(broker, tmp_path_factory.mktemp("other"))
    daemon.start()
    other.start()
    try:
        until(daemon.connected)
        until(other.connected)
        out = broker.publisher()
        for i in range(20):
            out.publish("bench/pressure", f"{40 + i / 10:.1f}", qos=1).wait_for_publish(5)
        out.disconnect()
        until(lambda: daemon.stored() == 20)
        until(lambda: other.stored() == 20)
    finally:
        assert daemon.stop() == 0
        assert other.stop() == 0
    for one in (daemon, other):
        assert one.log.read_text().count("connected to") == 1
