"""`holdwater analyse` on a CSV recording: plant-days a second, beside a bare pass over the same file.

The recording is DAYS days of Juniper Bench with pressure and motor current at 1 Hz, as the contract
writes it, plain and gzipped. Start-up is timed apart: the same command on a recording of no rows. The
command works in two processes: what it takes by the clock wants two processors that nobody else uses.
"""

from __future__ import annotations

import gzip
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import NamedTuple

from isal import igzip

from analytics.instants import rfc3339
from tests.bench.engine import PLANT, recording, two_signals

DAYS = 15
TURNS = 3
STRETCH = 1 << 20


def run() -> None:
    """Prints plant-days a second, with and without start-up, and the ratio to the bare pass."""
    with tempfile.TemporaryDirectory() as folder:
        plain = _written(Path(folder))
        packed = plain.with_name("readings.csv.gz")
        packed.write_bytes(gzip.compress(plain.read_bytes(), 6))
        empty = plain.with_name("empty.csv")
        empty.write_text("time,signal,value\n")
        start = _least(lambda: _analyse(empty))
        print(f"start-up: {start.clock_s:.2f} s ({start.own_s:.2f} s of processor time)")
        for path in (plain, packed):
            bare, took = _least(partial(_bare, path)), _least(partial(_analyse, path))
            print(f"{path.name}, {DAYS} days, start-up included:")
            print(f"  {DAYS / took.clock_s:.0f} plant-days a second by the clock (target: 30, goal: 100)")
            print(f"  {DAYS / took.own_s:.0f} a second of processor time, of both processes together")
            print(f"  {(took.own_s - start.own_s) / bare.own_s:.0f} times a bare pass, start-up apart")


def _written(folder: Path) -> Path:
    whole, plant = two_signals()
    readings = recording(whole, plant, DAYS)
    times = [rfc3339(at_us) for at_us in readings.time_us.tolist()]
    path = folder / "readings.csv"
    with path.open("w", encoding="utf-8") as file:
        file.write("time,signal,value\n")
        for signal, at, value in zip(readings.signal.tolist(), times, readings.value.tolist(), strict=True):
            one = plant.signals[signal]
            file.write(f"{at},{one.name},{(value - one.si_offset) / one.si_factor:.6g}\n")
    return path


class Took(NamedTuple):
    """Time by the clock, and processor time of this process and those it started."""

    clock_s: float
    own_s: float


def _least(work: Callable[[], object]) -> Took:
    """The least of some turns, each figure for itself: neighbours on the machine only add."""
    turns = [_timed(work) for _ in range(TURNS)]
    return Took(min(turn.clock_s for turn in turns), min(turn.own_s for turn in turns))


def _timed(work: Callable[[], object]) -> Took:
    before_s, begin = _own_s(), time.perf_counter()
    work()
    clock_s = time.perf_counter() - begin
    return Took(clock_s, _own_s() - before_s)


def _own_s() -> float:
    """Processor time so far of this process and of those it started and has waited for.

    To the microsecond: `os.times` counts in hundredths of a second, of which a bare pass takes none.
    """
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in used)


def _bare(path: Path) -> None:
    """Reading the file, unpacked where it is packed, and nothing else."""
    with igzip.open(path) if path.suffix == ".gz" else path.open("rb") as file:
        while file.read(STRETCH):
            pass


def _analyse(path: Path) -> None:
    command = [sys.executable, "-m", "collector.cli", "analyse", str(PLANT), str(path), "--json"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
