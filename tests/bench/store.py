"""The history against a plain table: bytes written to the card, bytes kept, time to read.

Ten signals at 1 Hz, two decimals, stamped to the millisecond; one commit a second, durable, with
an engine state of 40 kB every five minutes, and the daemon's sign of life as often as it is written.
The plain table has one row a reading and the primary key (signal, time), as one would begin. Bytes
written are the kernel's count of 4 KiB blocks made dirty by this process (/proc/self/io); a
journaling file system writes more than that.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from collector.live.pulse import RENEWED_S, Pulse, write_pulse
from collector.store import Batch, History, Writer

if TYPE_CHECKING:
    from collections.abc import Callable

SIGNALS = 10
HOURS = 2
START_US = 1_935_532_800_000_000
DAY_US = 86_400_000_000
PLANT = parse_plant(
    'version = 1\ntitle = "Bench"\ndisplay_units = "metric"\ntimezone = "UTC"\n'
    '[switch]\ncut_in = "2 bar"\ncut_out = "3 bar"\n'
    + "".join(
        f'[[signal]]\nname = "s{k}"\nmeasures = "line_pressure"\ntopic = "t/{k}"\nunit = "psi"\n'
        for k in range(SIGNALS)
    ),
    "bench",
)


def seconds(first: int, count: int) -> Readings:
    """`count` seconds of all signals."""
    random = np.random.default_rng(first)
    n = SIGNALS * count
    time_us = START_US + np.repeat(np.arange(first, first + count), SIGNALS) * 1_000_000
    value = np.round(40 + 5 * np.sin(time_us / 5e7) + random.normal(0, 0.1, n), 2)
    return Readings.of(np.tile(np.arange(SIGNALS), count), time_us + random.integers(0, 40, n) * 1000, value)


def written() -> int:
    """Bytes that this process has caused to be written so far."""
    lines = Path("/proc/self/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("write_bytes"))


def live_history(folder: Path) -> tuple[float, float]:
    """MB an hour and median ms a commit, a commit a second."""
    took, before, state = [], written(), os.urandom(40_000)
    with Writer(folder, PLANT) as history:
        for second in range(HOURS * 3600):
            fresh = history.admit(seconds(second, 1))
            begin = time.perf_counter()
            history.commit(Batch(fresh, snapshot=state if second % 300 == 299 else None))
            took.append(time.perf_counter() - begin)
            if second % RENEWED_S == 0:
                _sign_of_life(folder, second)
    return (written() - before) / HOURS / 1e6, float(np.median(took)) * 1e3


def _sign_of_life(folder: Path, second: int) -> None:
    """Brought to the card at once, as half a minute would: a block made dirty twice counts once."""
    write_pulse(folder, Pulse(second, 0, True, "127.0.0.1:1883", True, 1, second, {}))
    for file in folder.glob("*.json"):
        with file.open("rb") as open_file:
            os.fsync(open_file.fileno())


def plain(folder: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(folder / "plain.sqlite", isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(
        "CREATE TABLE IF NOT EXISTS reading (signal INTEGER, time_us INTEGER, value REAL,"
        " PRIMARY KEY (signal, time_us)) WITHOUT ROWID"
    )
    return connection


def insert(connection: sqlite3.Connection, found: Readings) -> None:
    rows = zip(found.signal.tolist(), found.time_us.tolist(), found.value.tolist(), strict=True)
    connection.execute("BEGIN")
    connection.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?)", rows)
    connection.execute("COMMIT")


def live_plain(folder: Path) -> tuple[float, float]:
    took, before, connection = [], written(), plain(folder)
    for second in range(HOURS * 3600):
        found = seconds(second, 1)
        begin = time.perf_counter()
        insert(connection, found)
        took.append(time.perf_counter() - begin)
    connection.close()
    return (written() - before) / HOURS / 1e6, float(np.median(took)) * 1e3


def median_ms(what: Callable[[], object], times: int = 9) -> float:
    took = []
    for _ in range(times):
        begin = time.perf_counter()
        what()
        took.append(time.perf_counter() - begin)
    return float(np.median(took)) * 1e3


def report() -> str:
    """The figures, one a line."""
    lines = []
    with tempfile.TemporaryDirectory(dir=Path.home()) as name:
        ours, theirs = Path(name) / "a", Path(name) / "b"
        theirs.mkdir()
        (wear, commit), (plain_wear, plain_commit) = live_history(ours), live_plain(theirs)
        lines.append(
            f"written, a commit a second: {wear:.1f} MB/h (aim 25), plain table {plain_wear:.1f} MB/h"
        )
        lines.append(f"a commit, median: {commit:.2f} ms, plain table {plain_commit:.2f} ms")
        days, full = 5, Path(name) / "c"
        with Writer(full, PLANT) as history, plain(Path(name)) as table:
            for day in range(days):
                found = seconds(day * 86_400, 86_400)
                history.commit(Batch(history.admit(found), snapshot=b"state"))
                insert(table, found)
            file = history.path
        per_reading = file.stat().st_size / (days * SIGNALS * 86_400)
        plain_size = (Path(name) / "plain.sqlite").stat().st_size / (days * SIGNALS * 86_400)
        a_year = per_reading * SIGNALS * 86_400 * 365 / 1e6
        lines.append(
            f"kept, rollups included: {per_reading:.2f} bytes a reading, {a_year:.0f} MB a year;"
            f" plain table without rollups {plain_size:.1f}"
        )
        with History(full, PLANT) as reader:
            span = (START_US + 2 * DAY_US, START_US + 3 * DAY_US)
            day_ms = median_ms(lambda: reader.readings("s3", *span))
            query = "SELECT time_us, value FROM reading WHERE signal = 3 AND time_us >= ? AND time_us < ?"
            plain_ms = median_ms(lambda: np.array(table.execute(query, span).fetchall()))
            bands_ms = median_ms(lambda: reader.bands("s3", *span, 400))
            tail_ms = median_ms(lambda: reader.tail(reader.seq()))
        table.close()
        lines.append(
            f"a day of one signal, every reading: {plain_ms / day_ms:.0f} times as fast as the plain table;"
            f" as 400 bands {plain_ms / bands_ms:.0f} times; what is new since a moment ago {tail_ms:.2f} ms"
        )
    return "\n".join(lines)


def run() -> None:
    """For `python -m tests.bench`."""
    print(report())
