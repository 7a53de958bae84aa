"""Live values: one watcher a plant, one message for all phones, over server-sent events.

Ten times a second while somebody watches it is looked whether the history's file was written to; a
commit makes one message with what changed, and every stream writes the same bytes. A phone that
cannot keep up is let go and comes back by itself.
"""

from __future__ import annotations

import json
import queue
import threading
import time
from typing import TYPE_CHECKING

from collector.store.errors import HistoryError
from dashboard.drawing import water
from dashboard.site import now_us
from dashboard.telling.status import status

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dashboard.site import Site
    from dashboard.telling.status import Status

LOOK_S = 0.1
#: Ages and "rests for" grow without a commit; and a stream must speak now and then to be known alive.
AT_LEAST_S = 5.0
BACKLOG = 32
LINGER_S = 15.0


def event(payload: dict[str, object]) -> bytes:
    return b"data: " + json.dumps(payload, separators=(",", ":"), ensure_ascii=False).encode() + b"\n\n"


class Watcher:
    """Watches one site while at least one stream listens."""

    def __init__(self, site: Site, base: str) -> None:
        self.site, self.base = site, base
        self._streams: set[queue.Queue[bytes | None]] = set()
        self._lock = threading.Lock()
        self._running = False
        self._slots: dict[str, str] = {}
        self._shapes: dict[str, str] = {}
        self._sent_ms = 0.0

    def stream(self, seen: str) -> Iterator[bytes]:
        """Everything first (without the bands where the phone has them), then every change."""
        mine: queue.Queue[bytes | None] = queue.Queue(BACKLOG)
        with self._lock:
            self._streams.add(mine)
            if not self._running:
                self._running = True
                threading.Thread(target=self._watch, name=f"watch {self.base}", daemon=True).start()
        try:
            yield b"retry: 2000\n\n"
            yield event(self.whole(seen))
            while (message := mine.get()) is not None:
                yield message
        finally:
            with self._lock:
                self._streams.discard(mine)

    @property
    def listeners(self) -> int:
        return len(self._streams)

    def whole(self, seen: str = "") -> dict[str, object]:
        told = status(self.site.facts())
        message = _heads(told) | {"slots": water.slots(told), "fill": _fills(told), "seen": water.seen(told)}
        if message["seen"] != seen:
            message["html"] = {band.station.key: water.station(band, self.base) for band in told.bands} | {
                "first": water.first(told, self.base)
            }
        return message

    def change(self) -> dict[str, object]:
        """What is different since the last call."""
        told = status(self.site.facts())
        slots, shapes = water.slots(told), water.shapes(told)
        message = _heads(told)
        if new := {name: text for name, text in slots.items() if self._slots.get(name) != text}:
            message["slots"] = new
        if self._shapes:
            html = {
                band.station.key: water.station(band, self.base)
                for band in told.bands
                if self._shapes.get(band.station.key) != shapes[band.station.key]
            }
            if self._shapes[""] != shapes[""]:
                html["first"] = water.first(told, self.base)
            if html:
                message["html"], message["seen"] = html, water.seen(told)
        message["fill"] = _fills(told)
        message["points"] = self._points(told)
        self._slots, self._shapes = slots, shapes
        return message

    def _points(self, told: Status) -> list[tuple[float, float]]:
        """The live trace's points that were not sent yet."""
        live = [point for band in told.bands if band.station.trace for point in band.station.trace.live]
        new = [point for point in live if point[0] > self._sent_ms]
        if live:
            self._sent_ms = live[-1][0]
        return new[-60:]

    def _watch(self) -> None:
        seen: tuple[int, ...] = (-1,)
        told_at = alone_since = 0.0
        while True:
            time.sleep(LOOK_S)
            now = time.monotonic()
            if self._streams:
                alone_since = now
            elif now - alone_since > LINGER_S:
                with self._lock:
                    if not self._streams:
                        self._running = False
                        return
            stamp = self.site.history.stamp()
            if stamp == seen and now - told_at < AT_LEAST_S:
                continue
            seen, told_at = stamp, now
            try:
                message = event(self.change())
            except HistoryError as error:
                message = event({"now": now_us() // 1000, "trouble": str(error)})
            self._send(message)

    def _send(self, message: bytes) -> None:
        with self._lock:
            for stream in list(self._streams):
                try:
                    stream.put_nowait(message)
                except queue.Full:
                    self._streams.discard(stream)
                    while not stream.empty():
                        stream.get_nowait()
                    stream.put_nowait(None)


def _heads(told: Status) -> dict[str, object]:
    newest = told.newest_us // 1000 if told.newest_us is not None else None
    return {"now": now_us() // 1000, "newest": newest, "flow": told.flow, "mood": told.mood}


def _fills(told: Status) -> dict[str, float]:
    return {
        band.station.key: round(band.station.fill, 3) for band in told.bands if band.station.fill is not None
    }
