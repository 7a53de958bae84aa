"""Readings files: `time,signal,value` in CSV, gzipped by name; the contract's second format.

    file = ReadingsFile(path, plant)
    for readings in file:         # SI, in order of time, of bounded size
        ...
    file.malformed, file.late     # exact counts; file.named says the first malformed rows

or `read_readings(path, plant)` for a whole recording at once. Text is parsed in
a thread beside the caller's: NumPy lets go of the interpreter's lock.
"""

from __future__ import annotations

import gzip
import zlib
from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from typing import IO, TYPE_CHECKING, NamedTuple, cast

import numpy as np
from isal import igzip, igzip_lib

from analytics.readings import Readings
from collector.readings_blocks import MOST_NAMED, Block, BlockReader
from collector.readings_rows import LONGEST_LINE, Rows

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from analytics.plant.description import Plant

HEADER = "time,signal,value"

#: Rows may be out of order by this much; a row later than this is accepted and counted.
DISORDER_US = 60_000_000

#: A stretch of text that is parsed at once: its columns fit the processor's cache.
_STRETCH = 1 << 19
#: Stretches parsed ahead of the caller.
_AHEAD = 4
#: What a compressed file that was cut short or damaged raises.
_DAMAGED = (EOFError, zlib.error, gzip.BadGzipFile, cast("type[Exception]", igzip_lib.IsalError))
#: Readings handed over at once, about 40 MB with what it takes to sort them.
_CHUNK = 1_000_000


class ReadingsError(ValueError):
    """A file that is no readings file at all; the message is for its owner."""


class ReadingsFile:
    """Readings of a file in chunks. Iterate once; the counts grow as the file is read.

    `stored` leaves the values in the signals' declared units; otherwise they are SI. Raises
    ReadingsError where the file cannot be opened or does not begin with the header.
    """

    def __init__(self, path: Path, plant: Plant, *, stored: bool = False, chunk: int = _CHUNK) -> None:
        self.path = path
        self.malformed = 0
        #: (line number from 1, reason) of the first malformed rows
        self.named: list[tuple[int, str]] = []
        #: rows more than a minute behind a row before them
        self.late = 0
        self._plant = plant
        self._stored = stored
        self._chunk = chunk
        self._blocks = BlockReader(Rows(plant))
        self._line = 1
        self._damage = ""

    def __iter__(self) -> Iterator[Readings]:
        held = Readings.none()
        newest_us = np.iinfo(np.int64).min
        for readings in self._chunks():
            newest_before = np.maximum.accumulate(readings.time_us)
            newest_before = np.maximum(newest_before, newest_us)
            self.late += int(np.count_nonzero(readings.time_us < newest_before - DISORDER_US))
            newest_us = newest_before[-1]
            pending = _in_order(Readings.concatenate([held, readings]) if len(held) else readings)
            ready = int(np.searchsorted(pending.time_us, newest_us - DISORDER_US, side="right"))
            held = pending[ready:]
            if ready:
                yield pending[:ready]
        if len(held):
            yield held

    def _chunks(self) -> Iterator[Readings]:
        """Blocks in the file's order, joined into chunks, values as asked for."""
        waiting: list[Block] = []
        for block in self._parsed():
            self._account(block)
            if len(block.value):
                waiting.append(block)
            if sum(len(one.value) for one in waiting) >= self._chunk:
                yield self._joined(waiting)
                waiting = []
        if waiting:
            yield self._joined(waiting)
        if self._damage:
            self._account_damage()

    def _account(self, block: Block) -> None:
        self.malformed += block.malformed
        room = MOST_NAMED - len(self.named)
        self.named.extend((self._line + line, reason) for line, reason in block.named[:room])
        self._line += block.lines

    def _joined(self, blocks: list[Block]) -> Readings:
        readings = Readings(
            np.concatenate([block.signal for block in blocks]),
            np.concatenate([block.time_us for block in blocks]),
            np.concatenate([block.value for block in blocks]),
        )
        return readings if self._stored else _to_si(readings, self._plant)

    def _parsed(self) -> Iterator[Block]:
        """Parsed blocks in order, a few ahead of the caller."""
        pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="readings")
        ahead: deque[Future[Block]] = deque()
        try:
            for text in self._stretches():
                ahead.append(pool.submit(self._blocks.read, text))
                if len(ahead) > _AHEAD:
                    yield ahead.popleft().result()
            while ahead:
                yield ahead.popleft().result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)

    def _stretches(self) -> Iterator[bytes]:
        """The text below the header in stretches of whole lines."""
        with _opened(self.path) as file:
            rest = _after_header(file, self.path)
            while True:
                try:
                    more = file.read(_STRETCH)
                except _DAMAGED as error:
                    yield from _last(rest)
                    self._damage = str(error)
                    return
                if not more:
                    yield from _last(rest)
                    return
                cut = more.rfind(b"\n") + 1
                if cut:
                    yield rest + more[:cut]
                    rest = more[cut:]
                else:
                    # What cannot be a row is not kept, however long: enough to be refused by.
                    rest = (rest + more)[: LONGEST_LINE + 1]

    def _account_damage(self) -> None:
        """A recording that a power cut ended is good up to there; the end counts as one bad row."""
        self.malformed += 1
        if len(self.named) < MOST_NAMED:
            told = f"the compressed file breaks off or is damaged about here: {self._damage}"
            self.named.append((self._line, told))


class Recording(NamedTuple):
    """A whole readings file: SI readings in order of time, and what was wrong with it."""

    readings: Readings
    malformed: int
    named: list[tuple[int, str]]
    late: int


def read_readings(path: Path, plant: Plant, *, stored: bool = False) -> Recording:
    """Everything in a readings file, in order of time. Raises ReadingsError."""
    file = ReadingsFile(path, plant, stored=stored)
    readings = _in_order(Readings.concatenate(list(file)))
    return Recording(readings, file.malformed, file.named, file.late)


def _opened(path: Path) -> IO[bytes]:
    try:
        if path.name.endswith(".gz"):
            return cast("IO[bytes]", igzip.open(path, "rb"))  # type: ignore[no-untyped-call]
        return path.open("rb")
    except OSError as error:
        raise ReadingsError(f"{path}: cannot be read: {error.strerror or error}") from error


def _after_header(file: IO[bytes], path: Path) -> bytes:
    """Reads the header away. Raises ReadingsError where it is another."""
    try:
        line = file.readline(1000)
    except (OSError, *_DAMAGED) as error:
        raise ReadingsError(f"{path}: cannot be read: {error}") from error
    header = line.decode("utf-8-sig", "replace").strip()
    if header.replace('"', "").replace(" ", "") != HEADER:
        found = f'found "{header[:60]}"' if line else "the file is empty"
        raise ReadingsError(f'{path}: line 1: the header "{HEADER}" is wanted; {found}')
    return b""


def _last(rest: bytes) -> Iterator[bytes]:
    """A last line without its line feed is a line too."""
    if rest:
        yield rest + b"\n"


def _in_order(readings: Readings) -> Readings:
    """Sorted by time, then signal; untouched where that is so already, as it mostly is."""
    steps = np.diff(readings.time_us)
    if (steps > 0).all() or ((steps >= 0).all() and _instants_in_order(steps, readings)):
        return readings
    return readings.in_time_order()


def _instants_in_order(steps: np.ndarray[tuple[int], np.dtype[np.int64]], readings: Readings) -> bool:
    return bool(((steps > 0) | (np.diff(readings.signal) >= 0)).all())


def _to_si(readings: Readings, plant: Plant) -> Readings:
    value = readings.value
    if all(
        signal.si_factor == 1.0 and signal.si_offset == 0.0 and not signal.raw for signal in plant.signals
    ):
        return readings
    if not any(signal.raw for signal in plant.signals):
        factor = np.array([signal.si_factor for signal in plant.signals])[readings.signal]
        offset = np.array([signal.si_offset for signal in plant.signals])[readings.signal]
        return Readings(readings.signal, readings.time_us, value * factor + offset)
    si = value.copy()
    for at, signal in enumerate(plant.signals):
        its = readings.signal == at
        si[its] = signal.to_si(value[its])
    return Readings(readings.signal, readings.time_us, si)
