"""A recording through the engine: what `analyse` and `cycles` have in common."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

from analytics.engine import Engine
from analytics.instants import rfc3339
from collector.readings.file import ReadingsFile

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from analytics.plant.description import Plant
    from analytics.records import Outcome

#: A recording that takes longer than this to go through says how far it is.
PATIENCE_S = 1.0


def outcomes(path: Path, plant: Plant) -> Iterator[Outcome]:
    """What each stretch of the file brings, and at the end a word on what was not used.

    Progress and that word go to standard error. Raises ReadingsError where the file is none.
    """
    file, engine, progress = ReadingsFile(path, plant), Engine(plant), _Progress()
    count = 0
    for readings in file:
        outcome = engine.feed(readings)
        count += len(readings)
        progress.show(count, int(readings.time_us[-1]) if len(readings) else None)
        yield outcome
    yield engine.finish()
    progress.end()
    if file.malformed:
        _say_malformed(file)
    if engine.late:
        print(f"{engine.late} readings came too far out of order to be analysed", file=sys.stderr)


def _say_malformed(file: ReadingsFile) -> None:
    rows = "row" if file.malformed == 1 else "rows"
    print(f"{file.path}: {file.malformed} malformed {rows} left out", file=sys.stderr)
    for line, reason in file.named:
        print(f"  line {line}: {reason}", file=sys.stderr)
    if file.malformed > len(file.named):
        print(f"  and {file.malformed - len(file.named)} more", file=sys.stderr)


class _Progress:
    """One line that is written over, on a terminal and after a second only."""

    def __init__(self) -> None:
        self._shown = False
        self._begin_s = time.monotonic()

    def show(self, count: int, time_us: int | None) -> None:
        if time_us is None or not sys.stderr.isatty() or time.monotonic() - self._begin_s < PATIENCE_S:
            return
        self._shown = True
        print(f"\r{count:,} readings, to {rfc3339(time_us)} ", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        if self._shown:
            print("\r" + " " * 60 + "\r", end="", file=sys.stderr, flush=True)
