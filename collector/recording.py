"""A recording through the engine: what `analyse` and `cycles` have in common."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING, NamedTuple

from analytics.instants import rfc3339
from collector.beside import beside
from collector.heap import keep_freed

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from analytics.plant.description import Plant
    from analytics.readings import Readings
    from analytics.records import Outcome
    from analytics.seeing.sight import Seen

#: A recording that takes longer than this to go through says how far it is.
PATIENCE_S = 1.0
#: Readings seen before they are handed on to be judged: few, so that neither process waits long at the
#: beginning or the end, and enough for arrays to be worth while.
STRETCH = 100_000


class _Stretch(NamedTuple):
    """What was seen in one stretch of the file; readings in it, and the time of its last."""

    seen: Seen
    readings: int = 0
    last_us: int | None = None


class _Unused(NamedTuple):
    """What of the file was left out."""

    malformed: int
    named: list[tuple[int, str]]
    late: int = 0


def outcomes(path: Path, plant: Plant) -> Iterator[Outcome]:
    """What each stretch of the file brings, and at the end a word on what was not used.

    Progress and that word go to standard error. Raises ReadingsError where the file is none.
    """
    keep_freed()
    stretches = beside(lambda: _seen(path, plant))
    from analytics.judge import Judge  # while the file is begun

    judge, progress = Judge(plant), _Progress()
    count = 0
    for stretch in stretches:
        if isinstance(stretch, _Unused):
            progress.end()
            _say_unused(path, stretch)
            continue
        outcome = judge.hear(stretch.seen)
        count += stretch.readings
        progress.show(count, stretch.last_us)
        yield outcome


def _seen(path: Path, plant: Plant) -> Iterator[_Stretch | _Unused]:
    """What is seen in the file, which a third process reads meanwhile."""
    parts = beside(lambda: _read(path, plant))
    from analytics.seeing.sight import Sight  # while the file is begun

    sight = Sight(plant)
    for part in parts:
        if isinstance(part, _Unused):
            yield _Stretch(rest := sight.finish())
            yield part._replace(late=rest.late)
        else:
            yield _Stretch(sight.feed(part), len(part), int(part.time_us[-1]))


def _read(path: Path, plant: Plant) -> Iterator[Readings | _Unused]:
    """The file's readings, and what of it was none."""
    from collector.readings.file import ReadingsFile

    file = ReadingsFile(path, plant, chunk=STRETCH)
    yield from file
    yield _Unused(file.malformed, file.named)


def _say_unused(path: Path, unused: _Unused) -> None:
    if unused.malformed:
        rows = "row" if unused.malformed == 1 else "rows"
        print(f"{path}: {unused.malformed} malformed {rows} left out", file=sys.stderr)
        for line, reason in unused.named:
            print(f"  line {line}: {reason}", file=sys.stderr)
        if unused.malformed > len(unused.named):
            print(f"  and {unused.malformed - len(unused.named)} more", file=sys.stderr)
    if unused.late:
        readings = "reading" if unused.late == 1 else "readings"
        print(f"{unused.late} {readings} came too far out of order to be analysed", file=sys.stderr)


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
