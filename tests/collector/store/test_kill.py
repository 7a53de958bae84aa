"""A writer killed at any instant: what it had reported committed is there, once, and the file is sound.

HOLDWATER_KILLS sets how often (15 unless set).
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time

import pytest

from collector.store import History, Writer
from tests.collector.store.plants import SECOND_US, START_US, plant

KILLS = int(os.environ.get("HOLDWATER_KILLS", "15"))

#: Commits as fast as it can, 45 readings at a time, and says each number once it is durable. What
#: it writes follows from the commit's number alone, so that a test can tell what must be there.
#: Every fourth commit repeats what the one before it wrote; a snapshot comes every tenth.
WRITER = """
import sys
from pathlib import Path
from collector.store import Batch, Writer
from analytics.records import Cycle, Finding
from tests.collector.store.plants import SECOND_US, START_US, plant, seconds

with Writer(Path(sys.argv[1]), plant()) as history:
    sum(len(part) for part in history.resume().replay)
    number = history.seq()
    print("from", number, flush=True)
    while True:
        start_us = START_US + number * 15 * SECOND_US
        fresh = history.admit(seconds(start_us, 15, seed=number))
        assert len(fresh) == 45
        if number % 4 == 3:
            assert len(history.admit(fresh)) == 0
        number += 1
        said = Finding("supply_leak", None, START_US, START_US, "low", 0.5, str(number))
        made = history.commit(
            Batch(
                fresh,
                cycles=[Cycle(start_us, start_us + SECOND_US, 1.0)],
                findings=[said],
                snapshot=str(number).encode() if number % 10 == 0 else None,
            )
        )
        assert made == number
        print(number, flush=True)
"""


def killed(folder, wait_s: float) -> int:
    """Run the writer, kill it after a while; the last commit it reported."""
    command = [sys.executable, "-c", WRITER, str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline().startswith("from ")
        time.sleep(wait_s)
        process.send_signal(signal.SIGKILL)
        told = process.stdout.read().split("\n")[:-1]
    return int(told[-1]) if told else 0


@pytest.mark.timeout(60 + 5 * KILLS)
def test_nothing_is_lost_or_doubled_by_a_kill(tmp_path):
    chance = random.Random(11)
    reported = 0
    for _ in range(KILLS):
        reported = max(reported, killed(tmp_path, chance.uniform(0.0, 0.6)))
        with sqlite3.connect(tmp_path / "spring" / "history.sqlite") as raw:
            assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        with History(tmp_path, plant()) as history:
            commits = history.seq()
            # One commit may have become durable without the report getting out.
            assert reported <= commits <= reported + 1
            for name in ("pressure", "motor", "level, rain"):
                series = history.readings(name, 0, 2**62)
                steps = (series.time_us - START_US) // SECOND_US
                assert steps.tolist() == list(range(15 * commits))
            assert history.counts()["readings"] == 45 * commits
            assert [c.start_us for c in history.cycles()] == [
                START_US + k * 15 * SECOND_US for k in range(commits)
            ]
            if commits:
                assert [finding.summary for finding in history.findings()] == [str(commits)]
            if commits >= 10:
                assert history.engine_state() == str(commits // 10 * 10).encode()
    assert reported > 10 * KILLS  # it did write, and hours were sealed on the way
    with Writer(tmp_path, plant()) as history:
        assert history._sealed_seq > 0
