"""Live values: what a stream says first, what it says on a commit, and that a slow phone is let go."""

from __future__ import annotations

import json
import re
import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from collector.store.shapes import Batch
from collector.store.writing import Writer
from dashboard.site import Site
from dashboard.web import live
from dashboard.web.live import BACKLOG, Watcher, event
from tests.dashboard import made

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from collector.store.shapes import Sample


@pytest.fixture
def fresh(tmp_path: Path) -> tuple[Path, Watcher, int]:
    """A plant heard until this minute, and its watcher."""
    now_s = int(time.time())
    plant = made.juniper()
    made.commit(tmp_path, plant, made.readings(plant, now_s - 600, now_s))
    return tmp_path, Watcher(Site(plant, tmp_path), "/at/juniper-bench"), now_s


def message(raw: bytes) -> dict[str, Any]:
    assert raw.startswith(b"data: ")
    assert raw.endswith(b"\n\n")
    return dict(json.loads(raw[6:]))


def test_a_stream_begins_with_everything_unless_the_phone_has_it(fresh: tuple[Path, Watcher, int]) -> None:
    _, watcher, now_s = fresh
    whole = watcher.whole()
    assert set(whole["html"]) == {"first", "storage-rain", "pump", "filter", "tank", "line"}  # type: ignore[call-overload]
    assert whole["newest"] == (now_s - 1) * 1000
    again = watcher.whole(str(whole["seen"]))
    assert "html" not in again
    assert again["slots"]["verdict"] == "All is well."  # type: ignore[index]


def test_a_commit_reaches_an_open_stream(fresh: tuple[Path, Watcher, int]) -> None:
    folder, watcher, now_s = fresh
    stream = watcher.stream("")
    assert next(stream) == b"retry: 2000\n\n"
    message(next(stream))
    message(next(stream))  # the watcher's own first look
    plant = watcher.site.plant
    second = made.readings(plant, now_s, now_s + 1)
    # an ordinary second: the sensors that speak by the minute are silent in it
    second = second[np.isin(second.signal, [plant.index("pressure"), plant.index("motor")])]
    later = threading.Timer(0.2, made.commit, (folder, plant, second))
    later.start()
    told = message(next(stream))
    later.join()
    assert told["newest"] == now_s * 1000
    pressure = float(made.saw(np.array([now_s]))[0][0])
    assert told["points"][-1] == [now_s * 1000, pytest.approx(pressure, abs=0.01)]
    assert len(event(told)) < 600
    stream.close()
    assert watcher.listeners == 0


def test_a_finding_draws_its_station_anew(fresh: tuple[Path, Watcher, int]) -> None:
    folder, watcher, now_s = fresh
    watcher.change()
    assert "html" not in watcher.change()
    plant = watcher.site.plant
    one = made.clogged(now_s * 1_000_000)
    made.commit(folder, plant, made.readings(plant, now_s, now_s + 1), findings=[one])
    told = watcher.change()
    assert told["mood"] == "wrong"
    assert "Why we think so" in told["html"]["filter"]  # type: ignore[index]
    assert "storage-rain" not in told["html"]  # type: ignore[operator]


def test_a_phone_that_cannot_keep_up_is_let_go(fresh: tuple[Path, Watcher, int]) -> None:
    _, watcher, _ = fresh
    watcher._running = True  # no thread: the test sends
    stream = watcher.stream("")
    next(stream), next(stream)
    for _ in range(BACKLOG + 1):
        watcher._send(b"data: {}\n\n")
    assert watcher.listeners == 0
    assert list(_rest(stream)) == []


def _rest(stream: Iterator[bytes]) -> Iterator[bytes]:
    yield from stream


def test_a_history_in_trouble_is_said_and_the_watcher_lives(
    fresh: tuple[Path, Watcher, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    from collector.store.errors import HistoryError

    _, watcher, _ = fresh
    stream = watcher.stream("")
    next(stream), next(stream), next(stream)
    good = watcher.site.history.latest
    monkeypatch.setattr(live, "AT_LEAST_S", 0.0)

    def broken(*_: int) -> dict[str, Sample]:
        raise HistoryError("the card is full")

    monkeypatch.setattr(watcher.site.history, "latest", broken)
    told = next(m for raw in stream if "trouble" in (m := message(raw)))
    assert told["trouble"].startswith("the card is full")
    monkeypatch.setattr(watcher.site.history, "latest", good)
    heard = next(m for raw in stream if "newest" in (m := message(raw)))
    assert heard["flow"] in ("still", "moving")
    stream.close()


def test_no_stream_is_left_waiting_where_the_watcher_fails(
    fresh: tuple[Path, Watcher, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    _, watcher, _ = fresh
    stream = watcher.stream("")
    next(stream), next(stream), next(stream)

    def failing() -> dict[str, object]:
        raise RuntimeError("a mistake of ours")

    monkeypatch.setattr(threading, "excepthook", lambda failed: None)
    monkeypatch.setattr(live, "AT_LEAST_S", 0.0)
    with monkeypatch.context() as broken:
        broken.setattr(watcher, "change", failing)
        assert list(stream) == []  # it ends, so that the phone asks again
    again = watcher.stream("")
    next(again), next(again)
    assert "newest" in message(next(again))
    again.close()


def test_a_commit_is_seen_from_outside_the_file(fresh: tuple[Path, Watcher, int]) -> None:
    folder, watcher, now_s = fresh
    plant, history = watcher.site.plant, watcher.site.history
    with Writer(folder, plant) as writer:
        stamps = [history.stamp(), history.stamp()]
        for k in range(3):
            time.sleep(0.02)  # the file system's clock ticks every few milliseconds
            writer.commit(Batch(writer.admit(made.readings(plant, now_s + k, now_s + k + 1))))
            stamps.append(history.stamp())
    assert stamps[0] == stamps[1]
    assert len(set(stamps)) == 4


def test_points_that_move_are_sent_once_and_the_trace_is_whole_where_a_station_is_drawn_anew(
    fresh: tuple[Path, Watcher, int],
) -> None:
    folder, watcher, now_s = fresh
    first = watcher.change()
    assert watcher.change()["points"] == []
    plant = watcher.site.plant
    made.commit(folder, plant, made.readings(plant, now_s, now_s + 3))
    assert [ms for ms, _ in watcher.change()["points"]] == [(now_s + k) * 1000 for k in range(3)]  # type: ignore[attr-defined]
    assert first["points"]

    one = made.clogged(now_s * 1_000_000)
    made.commit(folder, plant, made.readings(plant, now_s + 3, now_s + 23), findings=[one])
    beside = watcher.change()
    assert "filter" in beside["html"]  # type: ignore[operator]
    assert [ms for ms, _ in beside["points"]] == [(now_s + k) * 1000 for k in range(3, 23)]  # type: ignore[attr-defined]

    low_air = replace(made.clogged(now_s * 1_000_000), fault="short_cycling", cause="lost_air_charge")
    made.commit(folder, plant, made.readings(plant, now_s + 23, now_s + 24), findings=[low_air])
    html = watcher.change()["html"]["tank"]  # type: ignore[index]
    live = re.search(r"data-live='([^']+)'", html)
    assert live is not None
    points = json.loads(live[1])["points"]
    assert [points[0][0], points[-1][0]] == [(now_s - 600) * 1000, (now_s + 23) * 1000]
    assert len(points) > 100
