"""What is published decodes to what was measured: through the plant's own payload codec."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
from conftest import START_US

from analytics.plant.description import Plant
from analytics.plant.parsing import parse_plant
from analytics.plant.payload import Decoder
from simulator.scenario import Scenario
from simulator.sensing.messages import messages
from simulator.simulation import Simulation

_MIXED = """
version = 1
title = "Every form of payload"
display_units = "metric"
timezone = "UTC"
[switch]
cut_in = "2 bar"
cut_out = "3 bar"
[pressure_tank]
volume = "80 L"
precharge = "1.8 bar"
[[signal]]
name = "pressure"
measures = "line_pressure"
topic = "io"
pointer = "/ain/0/value"
unit = "V"
calibration = [[0.5, "0 bar"], [4.5, "6 bar"]]
[[signal]]
name = "far pressure"
measures = "discharge_pressure"
topic = "io"
pointer = "/ain/2/a~1b"
unit = "bar"
[[signal]]
name = "motor on"
measures = "pump_running"
topic = "motor"
[[signal]]
name = "amps"
measures = "pump_current"
topic = "amps"
unit = "A"
calibration = [["2 A", "0 A"], ["12 A", "20 A"]]
"""


def _decoded(plant: Plant, seconds: float, bare: bool = False):
    simulation = Simulation(plant, Scenario("t", "t"), 2, START_US)
    batch = simulation.advance(START_US + round(seconds * 1e6))
    decoder, rows, rejects = Decoder(plant), [], []
    lot = messages(plant, batch, simulation.decimals(), bare=bare)
    for message in lot:
        told = decoder.decode(message.topic, message.payload, message.sent_us)
        rejects += told.rejects
        rows += zip(told.readings.signal, told.readings.time_us, told.readings.value, strict=True)
    return batch, rows, rejects, lot


def test_juniper_bench_comes_through_exactly(juniper: Plant) -> None:
    batch, rows, rejects, lot = _decoded(juniper, 1_800)
    assert not rejects
    assert sorted(rows) == sorted(
        zip(batch.signal.tolist(), batch.time_us.tolist(), batch.value.tolist(), strict=True)
    )
    assert [m.sent_us for m in lot] == sorted(m.sent_us for m in lot)


def test_pointers_calibration_and_bare_numbers() -> None:
    try:
        plant = parse_plant(_MIXED, "mixed")
    except ValueError:
        plant = parse_plant(_MIXED.replace('calibration = [["2 A", "0 A"], ["12 A", "20 A"]]', ""), "mixed")
    batch, rows, rejects, lot = _decoded(plant, 300, bare=True)
    assert not rejects
    assert len(rows) == len(batch)
    for i, signal in enumerate(plant.signals):
        ours = np.sort(signal.to_si(batch.value[batch.signal == i]))
        theirs = np.sort(signal.to_si(np.array([value for at, _, value in rows if at == i])))
        assert theirs == pytest.approx(ours, abs=1e-4 * max(1.0, float(np.max(np.abs(ours))))), signal.name
    io = json.loads(next(m.payload for m in lot if m.topic == "io" and b"a/b" in m.payload))
    assert io["ain"][2]["a/b"] > 0


@pytest.mark.broker
def test_a_real_broker_gets_every_reading(juniper: Plant, tmp_path: Path) -> None:
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    from simulator.publish import connected, publish, send

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    (tmp_path / "m.conf").write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
    broker = subprocess.Popen([program, "-c", str(tmp_path / "m.conf")], stderr=subprocess.DEVNULL)
    try:
        url = f"mqtt://127.0.0.1:{port}"
        for _ in range(100):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.05)
        decoder, got = Decoder(juniper), []
        listener = mqtt.Client(CallbackAPIVersion.VERSION2)
        listener.on_message = lambda c, u, m: got.append(decoder.decode(m.topic, m.payload, 0))
        listener.connect("127.0.0.1", port)
        listener.subscribe("bench/#", qos=1)
        listener.loop_start()
        time.sleep(0.2)
        simulation = Simulation(juniper, Scenario("t", "t"), 2, START_US)
        assert publish(simulation, START_US + 600_000_000, url, 0.0) == 0
        client = connected(url)
        assert client is not None
        more = simulation.advance(START_US + 660_000_000)
        send(client, messages(juniper, more, simulation.decimals()))
        client.disconnect()
        client.loop_stop()
        again = Simulation(juniper, Scenario("t", "t"), 2, START_US)
        wanted = len(again.advance(START_US + 660_000_000))
        deadline = time.monotonic() + 10
        while sum(len(one.readings) for one in got) < wanted and time.monotonic() < deadline:
            time.sleep(0.05)
        listener.disconnect()
        listener.loop_stop()
        assert sum(len(one.readings) for one in got) == wanted
        assert not any(one.rejects for one in got)
    finally:
        broker.terminate()
        broker.wait(10)
