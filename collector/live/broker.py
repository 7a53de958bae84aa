"""An MQTT broker of our own, in a thread, on loopback: for the demo alone.

It holds sessions in memory, speaks MQTT 3.1.1 and asks nobody who they are; a plant that is real
wants a broker that keeps what it was given (collector/deploy has a configuration for mosquitto).
"""

from __future__ import annotations

import asyncio
import logging
import socket
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

log = logging.getLogger("holdwater.broker")

_UP_WITHIN_S = 20.0


def free_port() -> int:
    """A loopback port that nobody holds at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def embedded_broker() -> Iterator[str]:
    """The URL of a broker that runs while the block does. RuntimeError where it does not come up."""
    from amqtt.broker import Broker

    for name in ("amqtt", "transitions", "asyncio"):
        logging.getLogger(name).setLevel(logging.ERROR)
    port = free_port()
    up = threading.Event()
    loop = asyncio.new_event_loop()
    loop.set_exception_handler(lambda _, context: log.debug("demo broker: %s", context.get("message")))
    held: dict[str, Any] = {}

    async def begin() -> None:
        held["broker"] = Broker(_configuration(port))
        await held["broker"].start()
        up.set()

    def turn() -> None:
        asyncio.set_event_loop(loop)
        held["task"] = loop.create_task(begin())
        loop.run_forever()

    thread = threading.Thread(target=turn, name="broker", daemon=True)
    thread.start()
    try:
        if not up.wait(_UP_WITHIN_S):
            raise RuntimeError("the demo's broker did not come up")
        yield f"mqtt://127.0.0.1:{port}"
    finally:
        if up.is_set():
            asyncio.run_coroutine_threadsafe(held["broker"].shutdown(), loop).result(_UP_WITHIN_S)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(_UP_WITHIN_S)


def _configuration(port: int) -> dict[str, Any]:
    return {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}", "max_connections": 20}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }
