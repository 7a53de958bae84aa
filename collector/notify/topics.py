"""Alarms as MQTT topics of ours, so that the owner's own automation can act on them.

    <prefix>/online                          "true" or, by the broker's last will, "false"; retained
    <prefix>/<plant>/alarms                  how many stand, and the most urgent; retained
    <prefix>/<plant>/alarm/<fault>[/<of>]    one alarm as it is now; retained
    <prefix>/<plant>/message                 each message as it is sent to people; not retained

The retained ones are always published whole when the broker is reached, and again when one changes, so
they are right in the end whatever was lost between.
"""

from __future__ import annotations

import contextlib
import json
import logging
import re
import ssl
import threading
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import msgspec
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from analytics.advice import advice
from analytics.alarms.states import SILENT, State
from collector.notify.channels import Undelivered
from collector.notify.settings import MQTT

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from analytics.alarms.records import Alarm
    from collector.notify.words import Message
    from collector.settings import Broker

log = logging.getLogger("holdwater.notify")

_WITHIN_S = 10.0


class Topics:
    """A connection of its own, in a thread of its own, that mends itself."""

    name = MQTT

    def __init__(self, broker: Broker, prefix: str) -> None:
        self._broker, self._prefix = broker, prefix
        self._retained: dict[str, str] = {}
        self._lock = threading.Lock()
        self._client = self._new_client()
        self._began = False

    def _new_client(self) -> mqtt.Client:
        broker = self._broker
        # Nothing here needs MQTT 5, and every broker speaks 3.1.1: but where the owner asks for 5, it may
        # be that this broker is set to take nothing else.
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"{broker.client_id}-alarms",
            protocol=mqtt.MQTTv5 if broker.protocol == "5" else mqtt.MQTTv311,
        )
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password())
        if broker.tls:
            context = ssl.create_default_context(cafile=broker.ca_file)
            if broker.cert_file is not None:
                context.load_cert_chain(broker.cert_file, broker.key_file)
            client.tls_set_context(context)
        client.will_set(f"{self._prefix}/online", "false", qos=1, retain=True)
        client.reconnect_delay_set(1, 60)
        client.on_connect = self._on_connect
        return client

    def begin(self) -> None:
        """Connect when it can be."""
        self._client.connect_async(self._broker.host, self._broker.port, 30)
        self._client.loop_start()
        self._began = True

    def close(self) -> None:
        """Say that we are gone; what is retained stays as it was."""
        if not self._began:
            return
        if self._client.is_connected():
            with contextlib.suppress(ValueError, RuntimeError):
                self._client.publish(f"{self._prefix}/online", "false", 1, True).wait_for_publish(2.0)
        self._client.disconnect()
        self._client.loop_stop()

    def show(self, plant: str, alarms: Sequence[Alarm]) -> None:
        """What is to stand at the broker of a plant's alarms. Returns at once."""
        fresh = states(self._prefix, plant, alarms)
        with self._lock:
            changed = {topic: text for topic, text in fresh.items() if self._retained.get(topic) != text}
            self._retained |= changed
            if self._client.is_connected():
                for topic, text in changed.items():
                    self._client.publish(topic, text, qos=1, retain=True)

    def send(self, messages: Sequence[Message]) -> None:
        """Publish each, and wait until the broker has said that it has it."""
        if not self._client.is_connected():
            raise Undelivered("the broker cannot be reached")
        for message in messages:
            topic = f"{self._prefix}/{_level(message.plant)}/message"
            sent = self._client.publish(topic, msgspec.json.encode(message), qos=1)
            try:
                sent.wait_for_publish(_WITHIN_S)
            except (ValueError, RuntimeError) as error:
                raise Undelivered(str(error)) from error
            if not sent.is_published():
                raise Undelivered("the broker did not acknowledge")

    def _on_connect(self, client: mqtt.Client, _: Any, __: Any, reason: Any, ___: Any = None) -> None:
        if reason.is_failure:
            log.warning("alarms are not published: the broker says %s", reason)
            return
        with self._lock:
            for topic, text in [(f"{self._prefix}/online", "true"), *self._retained.items()]:
                client.publish(topic, text, qos=1, retain=True)


def states(prefix: str, plant: str, alarms: Iterable[Alarm]) -> dict[str, str]:
    """Topics and what is retained there."""
    alarms = list(alarms)
    base = f"{prefix}/{_level(plant)}"
    standing = [alarm for alarm in alarms if alarm.active and alarm.state not in SILENT]
    worst = min((alarm.priority for alarm in standing), key=("high", "medium", "low").index, default=None)
    waiting = [alarm for alarm in alarms if alarm.state in (State.UNACKNOWLEDGED, State.RETURNED)]
    whole = {"standing": len(standing), "unacknowledged": len(waiting), "worst": worst}
    found = {f"{base}/alarms": json.dumps(whole)}
    for alarm in alarms:
        of = f"/{_level(alarm.of)}" if alarm.of else ""
        found[f"{base}/alarm/{alarm.fault}{of}"] = json.dumps(_state(alarm))
    return found


def _state(alarm: Alarm) -> dict[str, object]:
    return {
        "state": alarm.state.value,
        "active": alarm.active,
        "priority": alarm.priority,
        "fault": alarm.fault,
        "of": alarm.of,
        "cause": alarm.cause,
        "headline": advice(alarm.fault, alarm.cause).title,
        "since": _time(alarm.since_us),
        "raised": _time(alarm.raised_us) if alarm.raised_us else None,
        "until": _time(alarm.until_us) if alarm.until_us else None,
        "reason": alarm.reason,
    }


def _time(time_us: int) -> str:
    return datetime.fromtimestamp(time_us / 1e6, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _level(name: str) -> str:
    """A name as one level of a topic."""
    return re.sub(r"[+#/\x00]", "_", name)
