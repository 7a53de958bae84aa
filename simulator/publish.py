"""A simulation on a broker: at the pace of the clock, faster, or as fast as it will take it."""

from __future__ import annotations

import os
import sys
import time
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from simulator.sensing.messages import Message, messages

if TYPE_CHECKING:
    from paho.mqtt.client import Client

    from simulator.simulation import Simulation

_CHUNK_S = 0.5  # of the clock, between two lots
_LARGEST_LOT_US = 600 * 1_000_000
_IN_FLIGHT = 200
_CONNECT_WITHIN_S = 10.0


def publish(simulation: Simulation, until_us: int, url: str, speed: float) -> int:
    """Publish everything up to `until_us`, `speed` simulated seconds a second (0: without waiting).

    Times in the payloads are the simulated ones. User and password come from HOLDWATER_MQTT_USER and
    HOLDWATER_MQTT_PASSWORD. Returns the exit status.
    """
    from rich.console import Console
    from rich.progress import Progress

    client = connected(url)
    if client is None:
        return 2
    console = Console(stderr=True)
    if speed != 1.0 and any(signal.pointer is not None for signal in simulation.plant.signals):
        console.print("signals with a pointer speak JSON, which carries no time: stamped on arrival")
    sent = 0
    began, from_us = time.monotonic(), simulation.now_us
    with Progress(console=console, transient=True) as progress:
        task = progress.add_task("publishing", total=until_us - from_us)
        while simulation.now_us < until_us:
            lot_us = min(round(speed * _CHUNK_S * 1e6) or _LARGEST_LOT_US, _LARGEST_LOT_US)
            batch = simulation.advance(min(simulation.now_us + lot_us, until_us))
            sent += send(client, messages(simulation.plant, batch, simulation.decimals()))
            progress.update(task, completed=simulation.now_us - from_us)
            if speed > 0:
                due = began + (simulation.now_us - from_us) / 1e6 / speed
                time.sleep(max(due - time.monotonic(), 0.0))
    client.disconnect()
    client.loop_stop()
    print(f"{sent} messages published to {url}")
    return 0


def send(client: Client, lot: list[Message]) -> int:
    """Publish a lot at QoS 1 and wait until the broker has taken it. Returns how many."""
    taken = []
    for message in lot:
        taken.append(client.publish(message.topic, message.payload, qos=1))
        if len(taken) >= _IN_FLIGHT:
            taken.pop(0).wait_for_publish(60.0)
    for one in taken:
        one.wait_for_publish(60.0)
    return len(lot)


def connected(url: str) -> Client | None:
    """A client connected to a broker's URL; None after saying why not."""
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    parts = urlsplit(url)
    try:
        port = parts.port
    except ValueError:
        port = -1
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or port == -1:
        print(f"{url}: expected mqtt://host:port or mqtts://host:port", file=sys.stderr)
        return None
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.max_queued_messages_set(0)
    client.max_inflight_messages_set(_IN_FLIGHT)
    user = os.environ.get("HOLDWATER_MQTT_USER")
    if user:
        client.username_pw_set(user, os.environ.get("HOLDWATER_MQTT_PASSWORD"))
    if parts.scheme == "mqtts":
        client.tls_set()
    try:
        client.connect(parts.hostname, port or (8883 if parts.scheme == "mqtts" else 1883))
    except OSError as error:
        print(f"{url}: {error}", file=sys.stderr)
        return None
    client.loop_start()
    for _ in range(round(_CONNECT_WITHIN_S / 0.05)):
        if client.is_connected():
            return client
        time.sleep(0.05)
    client.loop_stop()
    print(f"{url}: the broker did not accept the connection", file=sys.stderr)
    return None
