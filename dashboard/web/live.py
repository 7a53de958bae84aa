"""Live values: one watcher a plant, one message for all phones, over server-sent events.

Several times a second while somebody watches it is looked whether the history's file was written to; a
commit makes one message with what changed, and every stream writes the same bytes. A phone that
cannot keep up is let go and comes back by itself.
"""

from __future__ import annotations

import json
import queue
import threading
import time
from contextlib import suppress
from dataclasses import replace
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
#: Commits come about a second apart, so that the first look after one may wait.
REST_S = 0.5
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
        self._streams: set[queue.SimpleQueue[bytes | None]] = set()
        self._lock = threading.Lock()
        self._running = False
        self._slots: dict[str, str] = {}
        self._shapes: dict[str, str] = {}
        self._sent_ms = 0.0

    def stream(self, seen: str) -> Iterator[bytes]:
        """Everything first (without the bands where the phone has them), then every change."""
        mine: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
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
        facts = self.site.facts()
        told = status(replace(facts, since_us=int(self._sent_ms * 1000)))
        slots, shapes = water.slots(told), water.shapes(told)
        message = _heads(told)
        if new := {name: text for name, text in slots.items() if self._slots.get(name) != text}:
            message["slots"] = new
        message["points"] = self._points(told)
        if self._shapes and self._shapes != shapes:
            told = status(facts)
            html = {
                band.station.key: water.station(band, self.base)
                for band in told.bands
                if self._shapes.get(band.station.key) != shapes[band.station.key]
            }
            if self._shapes[""] != shapes[""]:
                html["first"] = water.first(told, self.base)
            message["html"], message["seen"] = html, water.seen(told)
        message["fill"] = _fills(told)
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
        """Until nobody has listened for a while. A mistake of ours ends the streams, not only the watch:
        phones come back by themselves, and find a new one."""
        try:
            self._look_on()
        finally:
            with self._lock:
                self._running = False
                for stream in self._streams:
                    stream.put(None)
                self._streams.clear()

    def _look_on(self) -> None:
        seen: tuple[int, ...] = (-1,)
        told_at = alone_since = 0.0
        while True:
            time.sleep(LOOK_S if time.monotonic() - told_at > REST_S else REST_S)
            now = time.monotonic()
            if self._streams:
                alone_since = now
            elif now - alone_since > LINGER_S:
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
                if stream.qsize() < BACKLOG:
                    stream.put(message)
                    continue
                self._streams.discard(stream)
                with suppress(queue.Empty):  # its reader may take one meanwhile
                    while True:
                        stream.get_nowait()
                stream.put(None)


def _heads(told: Status) -> dict[str, object]:
    newest = told.newest_us // 1000 if told.newest_us is not None else None
    return {"now": now_us() // 1000, "newest": newest, "flow": told.flow, "mood": told.mood}


def _fills(told: Status) -> dict[str, float]:
    return {
        band.station.key: round(band.station.fill, 3) for band in told.bands if band.station.fill is not None
    }
