"""One plant as the daemon holds it, when its history goes bad or full under its hands."""

from __future__ import annotations

from pathlib import Path

import pytest

from analytics.plant.parsing import parse_plant
from collector.live import site as live
from collector.live.site import Site
from collector.store import History
from tests.collector.live.conftest import PLANT_FILE

S = 1_000_000
BEGIN_US = 1_790_000_000 * S


def watched(folder: Path, kept_days: int | None = None) -> Site:
    return Site(parse_plant(PLANT_FILE, "bench"), PLANT_FILE, folder, BEGIN_US, kept_days)


def hear(site: Site, second: int, value: float) -> bool:
    now_us = BEGIN_US + second * S
    site.hear("bench/pressure", str(value).encode(), False, False, now_us)
    return site.commit(now_us)


def stored(folder: Path) -> list[float]:
    with History(folder, parse_plant(PLANT_FILE, "bench")) as history:
        return history.readings("pressure", 0, 2**62).value.tolist()


def test_a_history_damaged_under_way_is_set_aside_and_what_was_heard_is_kept(tmp_path: Path) -> None:
    site = watched(tmp_path)
    assert all(hear(site, i, 40 + i) for i in range(5))
    for name in ("history.sqlite", "history.sqlite-wal"):
        with (tmp_path / "bench" / name).open("r+b") as file:  # a card that lost all but a file's head
            size = file.seek(0, 2)
            file.seek(32)
            file.write(b"\xff" * (size - 32))
    site._history._write.execute("PRAGMA shrink_memory")
    assert not hear(site, 5, 45.0)  # the damage is met: nothing is acknowledged
    assert "damaged" in (site.trouble or "")
    assert hear(site, 6, 46.0)
    assert site.trouble is None
    site.close(BEGIN_US + 7 * S)
    assert stored(tmp_path)[-2:] == [45.0, 46.0]
    assert (tmp_path / "bench" / "history.damaged-1.sqlite").exists()
    with History(tmp_path, parse_plant(PLANT_FILE, "bench")) as history:
        (entry,) = history.logbook()  # the owner need not read the daemon's log to learn of it
    assert "history.damaged-1.sqlite" in entry.words
    assert entry.author == "Holdwater"


def test_a_full_disk_holds_back_acknowledgement_and_loses_only_beyond_a_bound(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = watched(tmp_path)
    monkeypatch.setattr(live, "MOST_UNSTORED", 3)
    (pages,) = site._history._write.execute("PRAGMA page_count").fetchone()
    site._history._write.execute(f"PRAGMA max_page_count = {pages}")
    full = next(i for i in range(1, 2000) if not hear(site, i, float(i)))
    for i in range(full + 1, full + 10):
        assert not hear(site, i, float(i))
    assert "full" in (site.trouble or "")
    site._history._write.execute("PRAGMA max_page_count = 1000000")
    site.close(BEGIN_US + (full + 20) * S)
    assert site.trouble is None
    # Stored: everything until it was full, and then as many as the bound allows to be held.
    assert stored(tmp_path) == [float(i) for i in range(1, full + 4)]


def test_readings_older_than_the_owner_keeps_go_and_their_minutes_stay(tmp_path: Path) -> None:
    site = watched(tmp_path, kept_days=30)
    for i in range(0, 4 * 3600, 60):
        assert hear(site, i, 40.0 + i % 7)
    site.close(BEGIN_US + 4 * 3600 * S)
    site = watched(tmp_path, kept_days=30)
    site.give_up_old(BEGIN_US + 30 * 86_400 * S + 2 * 3600 * S)
    site.close(BEGIN_US + 30 * 86_400 * S)
    with History(tmp_path, parse_plant(PLANT_FILE, "bench")) as history:
        left = history.readings("pressure", 0, 2**62).time_us
        minutes = history.rollup("pressure", 0, 2**62, step="minute")
    assert len(left)
    assert left.min() >= BEGIN_US + 3600 * S
    assert minutes.time_us.min() < BEGIN_US + 120 * S
