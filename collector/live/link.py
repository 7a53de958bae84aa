"""The link to the broker: one persistent session, QoS 1, acknowledged only when we say so.

Runs in its caller's thread: `work` waits for the network and calls back for each message. Nothing
is acknowledged on receipt; the caller acknowledges after its commit. What was not acknowledged
when a connection ends is the broker's to send again, so those acknowledgements are forgotten.

What the broker kept for us while we were away comes first on a resumed session, and nothing in it
says so. So we send ourselves a mark behind it: until that comes back, messages have `waited`.
"""

from __future__ import annotations

import logging
import random
import ssl
import time
from typing import TYPE_CHECKING, Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from paho.mqtt.client import SocketLike

    from collector.settings import Broker

log = logging.getLogger("holdwater.link")

_KEEPALIVE_S = 30
_CONNECT_TIMEOUT_S = 5.0
#: A broker that takes the connection and says nothing to MQTT 5 is an old one.
_ANSWER_WITHIN_S = 10.0
_FIRST_WAIT_S = 1.0
_LONGEST_WAIT_S = 60.0
#: How long the broker keeps our place while we are away: a fortnight's power cut.
_SESSION_EXPIRY_S = 14 * 86_400
#: Messages the broker may send ahead of our acknowledgements (MQTT 5); a commit's worth and more.
_RECEIVE_MAXIMUM = 20_000
#: Packets read in one go, before anything else has its turn.
_AT_ONCE = 500
#: Where nothing waited there is no mark; the first messages come about so soon.
_SETTLED_S = 3.0
#: A broker that does not let us publish never sends the mark: then a pause this long ends the backlog.
_CAUGHT_UP_LULL_S = 2.0


class Link:
    """A connection that mends itself. `hear(topic, payload, retained, waited)` is called for each message."""

    def __init__(
        self, broker: Broker, topics: Sequence[str], hear: Callable[[str, bytes, bool, bool], None]
    ) -> None:
        self._broker = broker
        self._five = broker.protocol != "3.1.1"
        self._topics = sorted(set(topics))
        plain = "".join(c if c.isalnum() or c in "-_" else "-" for c in broker.client_id or "")
        self._mark = f"holdwater/{plain}/mark"
        self._hear = hear
        self._client = self._new_client()
        self._owed: list[tuple[int, int]] = []  # (message id, QoS) heard, not acknowledged
        self._refused: str | None = None
        self._asked_at = 0.0
        self._connected_at = 0.0
        self._failures = 0
        self._next_try = 0.0
        self._heard = 0
        self._heard_at = 0.0
        self._backlog = False
        self._resumed = False
        self.connected = False
        self.connections = 0

    def _new_client(self) -> mqtt.Client:
        broker = self._broker
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=broker.client_id,
            clean_session=None if self._five else False,
            protocol=mqtt.MQTTv5 if self._five else mqtt.MQTTv311,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        client.connect_timeout = _CONNECT_TIMEOUT_S
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password())
        if broker.tls:
            context = ssl.create_default_context(cafile=broker.ca_file)
            if broker.cert_file is not None:
                context.load_cert_chain(broker.cert_file, broker.key_file)
            client.tls_set_context(context)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_subscribe = self._on_subscribe
        return client

    # -- what the caller does ------------------------------------------------------------------

    def work(self, wait_s: float) -> None:
        """Wait up to `wait_s` for the network and handle what came; connect again when it is time."""
        if self._client.socket() is None:
            pause = self._next_try - time.monotonic()
            if pause > 0:
                time.sleep(min(pause, wait_s))
                return
            self._connect()
        elif not self.connected and time.monotonic() - self._asked_at > _ANSWER_WITHIN_S:
            self._client.on_disconnect = None
            self._client.disconnect()
            self._other_protocol()
            self._gone("it gives no answer")
            return
        self._client.loop(timeout=wait_s)
        for _ in range(_AT_ONCE):
            heard = self._heard
            if not self.connected or self._client.loop_read() or self._heard == heard:
                break

    @property
    def socket(self) -> SocketLike | None:
        """What to wait for, None while there is no connection."""
        return self._client.socket()

    @property
    def sending(self) -> bool:
        """Whether something is still to be sent."""
        return bool(self._client.want_write())

    def settled(self) -> bool:
        """Connected for a while, and what the broker kept for us is through: silence is the sensors' now."""
        return self.connected and not self._behind() and time.monotonic() - self._connected_at >= _SETTLED_S

    def _behind(self) -> bool:
        """Whether what comes may have waited at the broker."""
        self._backlog = self._backlog and time.monotonic() - self._heard_at < _CAUGHT_UP_LULL_S
        return self._backlog

    @property
    def owed(self) -> int:
        """Messages heard and not yet acknowledged."""
        return len(self._owed)

    def acknowledge(self) -> None:
        """Acknowledge what was heard on this connection: it is stored."""
        owed, self._owed = self._owed, []
        for message_id, qos in owed:
            self._client.ack(message_id, qos)

    def close(self) -> None:
        """Say goodbye; the session stays, and the broker keeps what comes for us."""
        self._client.on_disconnect = None
        self._client.disconnect()
        for _ in range(10):
            if self._client.loop(timeout=0.1) != mqtt.MQTT_ERR_SUCCESS:
                break

    # -- what the network does -----------------------------------------------------------------

    def _connect(self) -> None:
        self._owed.clear()
        self._refused = None
        self._asked_at = time.monotonic()
        options: dict[str, Any] = {}
        if self._five:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = _SESSION_EXPIRY_S
            properties.ReceiveMaximum = _RECEIVE_MAXIMUM
            options = {"clean_start": False, "properties": properties}
        try:
            self._client.connect(self._broker.host, self._broker.port, _KEEPALIVE_S, **options)
        except (OSError, ValueError) as error:
            self._gone(str(error) or type(error).__name__)

    def _on_connect(self, client: mqtt.Client, _: Any, flags: Any, reason: Any, __: Any = None) -> None:
        if reason.is_failure:
            self._refused = str(reason)
            client.disconnect()
            return
        self.connected = True
        self._connected_at = time.monotonic()
        self.connections += 1
        self._failures = 0
        self._resumed = bool(flags.session_present)
        # Also on a resumed session: the plant files may name other topics than last time. With MQTT 5
        # retained values then are not sent again; with 3.1.1 they are, and are known by their flag.
        if self._topics:
            quality = self._quality(flags.session_present)
            client.subscribe([(topic, quality) for topic in (*self._topics, self._mark)])
        self._backlog = self._resumed
        self._heard_at = time.monotonic()
        if self._backlog:
            client.publish(self._mark, str(self.connections), qos=1)

    def _on_subscribe(self, _: Any, __: Any, ___: Any, reasons: Sequence[Any], ____: Any = None) -> None:
        """Only now does the broker send what is published."""
        session = "session resumed" if self._resumed else "new session"
        log.info("connected to %s:%d, %s", self._broker.host, self._broker.port, session)
        answers = zip(self._topics, reasons, strict=False)  # the last answer is the mark's
        refused = [topic for topic, reason in answers if reason.is_failure]
        if refused:
            log.error("the broker does not let us hear %s; see its access rules", ", ".join(refused))

    def _quality(self, resumed: bool) -> Any:
        if not self._five:
            return 1
        return SubscribeOptions(qos=1, retainHandling=1 if resumed else 0)

    def _on_disconnect(self, _: Any, __: Any, ___: Any, reason: Any, ____: Any = None) -> None:
        if not self.connected:
            self._other_protocol()
        self._gone(self._refused or str(reason))

    def _other_protocol(self) -> None:
        """Where nothing else was asked for: MQTT 5, and 3.1.1 for a broker that ends or ignores that."""
        if self._broker.protocol == "auto":
            self._five = not self._five
        self._client = self._new_client()

    def _gone(self, why: str) -> None:
        """Plan the next try; say so once, not for every attempt."""
        self._owed.clear()
        if self.connected or self._failures == 0:
            log.warning("no broker at %s:%d: %s; trying again", self._broker.host, self._broker.port, why)
        self.connected = False
        longest = min(_FIRST_WAIT_S * 2 ** min(self._failures, 10), _LONGEST_WAIT_S)
        share = random.uniform(0.5, 1.0)  # so that many do not come at once
        self._next_try = time.monotonic() + longest * share
        self._failures += 1

    def _on_message(self, _: Any, __: Any, message: mqtt.MQTTMessage) -> None:
        self._heard += 1
        topic, payload = message.topic, bytes(message.payload)
        if message.qos > 0:
            self._owed.append((message.mid, message.qos))
        if topic == self._mark:
            self._backlog = self._backlog and payload != str(self.connections).encode()
            return
        waited = self._behind()
        if waited:
            self._heard_at = time.monotonic()
        self._hear(topic, payload, message.retain, waited)
