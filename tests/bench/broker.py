"""From a real mosquitto to durable store with live analytics, against bare subscribers in the same run.

Two of them, each with a persistent session at QoS 1: one that speaks MQTT 5, as the collector does,
and one that speaks 3.1.1, which costs paho less since it has no properties to take apart.
"""

from __future__ import annotations

import json
import resource
import subprocess
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from tests.collector.live.conftest import Broker, Running, until

COUNT = 100_000


def bare(broker: Broker, five: bool) -> float:
    """Messages a second that a bare subscriber takes at QoS 1, from a backlog of COUNT."""
    options: dict[str, Any] = {}
    if five:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="bare5", protocol=mqtt.MQTTv5)
        kept = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        kept.SessionExpiryInterval = 3600
        options = {"clean_start": False, "properties": kept}
    else:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="bare", clean_session=False)
    heard = threading.Event()
    count = 0

    def on_message(*_: object) -> None:
        nonlocal count
        count += 1
        if count == COUNT:
            heard.set()

    client.connect("127.0.0.1", broker.port, **options)
    client.subscribe("bench/pressure", qos=1)
    client.loop_start()
    time.sleep(0.5)
    client.disconnect()
    client.loop_stop()
    _fill(broker)
    client.on_message = on_message
    begin = time.perf_counter()
    client.connect("127.0.0.1", broker.port, **options)
    client.loop_start()
    heard.wait(120)
    took = time.perf_counter() - begin
    client.unsubscribe("bench/pressure")
    time.sleep(0.5)
    client.disconnect()
    client.loop_stop()
    return count / took


def _fill(broker: Broker) -> None:
    out = broker.publisher()
    begin_s = round(time.time()) - COUNT - 100
    for i in range(COUNT):
        record = [{"n": "pressure", "u": "Pa", "t": begin_s + i, "v": 250_000 + i % 1000}]
        last = out.publish("bench/pressure", json.dumps(record), qos=1)
        if i % 5000 == 4999:
            last.wait_for_publish(60)
    last.wait_for_publish(60)
    out.disconnect()


def _resident_mb(process: subprocess.Popen[bytes]) -> float:
    lines = Path(f"/proc/{process.pid}/status").read_text("ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024


def ours(broker: Broker, folder: Path) -> tuple[float, int, list[float]]:
    """Messages a second from a backlog of COUNT into the store; how many are there in the end; and the
    daemon's memory in MB at its start, at each tenth of the backlog, and ten seconds after it."""
    daemon = Running(broker, folder)
    daemon.start()
    until(daemon.connected)
    daemon.stop()
    _fill(broker)
    daemon.start()
    until(lambda: daemon.connected(2))
    assert daemon.process is not None
    memory = [_resident_mb(daemon.process)]
    begin = time.perf_counter()
    for tenth in range(1, 11):
        until(lambda tenth=tenth: daemon.stored() >= COUNT * tenth // 10, 300)  # type: ignore[misc]
        memory.append(_resident_mb(daemon.process))
    took = time.perf_counter() - begin
    stored = daemon.stored()
    time.sleep(10)
    memory.append(_resident_mb(daemon.process))
    daemon.stop()
    return COUNT / took, stored, memory


def run() -> None:
    """Prints both rates, their ratio, what is stored, and CPU a message."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "broker").mkdir()
        (folder / "ours").mkdir()
        broker = Broker(folder / "broker")
        broker.start()
        try:
            older, theirs = bare(broker, five=False), bare(broker, five=True)
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            rate, stored, memory = ours(broker, folder / "ours")
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
        finally:
            broker.stop()
    cpu_us = (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / COUNT * 1e6
    print(f"a backlog of {COUNT:,} messages at QoS 1 into the store: {rate:,.0f} a second")
    for protocol, bare_rate in (("5", theirs), ("3.1.1", older)):
        ratio = f"{rate / bare_rate:.2f} (target 0.8)"
        print(f"bare paho, MQTT {protocol}, in the same run: {bare_rate:,.0f} a second; ratio {ratio}")
    print(f"{stored:,} stored; {cpu_us:.0f} us of CPU a message, start-up included")
    first, *during, after_mb = memory
    print(f"daemon's memory: {first:.0f} MB at start, at most {max(during):.0f}, {after_mb:.0f} afterwards")
