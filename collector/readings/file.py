"""Readings files: `time,signal,value` in CSV, gzipped by name; the contract's second format.

    file = ReadingsFile(path, plant)
    for readings in file:         # SI, in order of time, of bounded size
        ...
    file.malformed, file.late     # exact counts; file.named says the first malformed rows

or `read_readings(path, plant)` for a whole recording at once.
"""

from __future__ import annotations

from typing import IO, TYPE_CHECKING, NamedTuple, cast

import numpy as np

from analytics.readings import Readings
from collector.readings.blocks import MOST_NAMED, Block, BlockReader
from collector.readings.rows import LONGEST_LINE, Rows

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from analytics.plant.description import Plant

HEADER = "time,signal,value"

#: Rows may be out of order by this much; a row later than this is accepted and counted.
DISORDER_US = 60_000_000
#: Rows that stay behind for so long, of their own time, are no disorder: a clock was set back. They are left
#: where they stand, for the engine to follow (`analytics.seeing.turning`, which says why so long).
TURNED_US = 600_000_000

#: A stretch of text that is parsed at once: its columns fit the processor's cache.
_STRETCH = 1 << 19
#: Readings handed over at once: some days of them.
_CHUNK = 250_000
#: The first stretch of text and the first chunk are so small, and each is twice the one before until it is
#: full-grown: whoever waits for the beginning of the file can set to work.
_FIRST_STRETCH, _FIRST_CHUNK = 1 << 16, 2_000


_NONE_YET = int(np.iinfo(np.int64).min)
#: More than this in one minute is a clock that stands still: order is given up, memory is not.
_MOST_HELD = 4_000_000


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
        self._factor = np.array([signal.si_factor for signal in plant.signals])
        self._offset = np.array([signal.si_offset for signal in plant.signals])
        self._raw = [at for at, signal in enumerate(plant.signals) if signal.raw]
        self._stored = stored
        self._chunk = chunk
        self._blocks = BlockReader(Rows(plant))
        self._line = 1
        self._damage = ""

    def __iter__(self) -> Iterator[Readings]:
        held = Readings.none()
        newest_us = _NONE_YET
        for readings, turned in self._by_clock():
            newest_us = max(_NONE_YET if turned else newest_us, int(readings.time_us.max()))
            readings = _in_order(readings)
            if len(held) and (turned or held.time_us[-1] < readings.time_us[0]):
                yield held  # as it mostly is: nothing to merge, nothing to copy
                held = Readings.none()
            pending = _in_order(Readings.concatenate([held, readings])) if len(held) else readings
            ready = int(np.searchsorted(pending.time_us, newest_us - DISORDER_US, side="right"))
            if len(pending) - ready > _MOST_HELD:
                ready = len(pending)
            held = pending[ready:]
            if ready:
                yield pending[:ready]
        if len(held):
            yield held

    def _by_clock(self) -> Iterator[tuple[Readings, bool]]:
        """Chunks, cut where a clock was set back; with each whether it begins there."""
        newest_us = latest_us = _NONE_YET
        waiting, turned = Readings.none(), False
        for chunk in self._chunks():
            self.late += _late(chunk.time_us, latest_us)
            latest_us = max(latest_us, int(chunk.time_us.max()))
            readings = Readings.concatenate([waiting, chunk]) if len(waiting) else chunk
            while True:
                turn, sure = _turn(readings.time_us, newest_us)
                if turn:
                    newest_us = max(newest_us, int(readings.time_us[:turn].max()))
                    yield readings[:turn], turned
                    turned = False
                waiting = readings[turn:]
                if not sure and len(waiting) <= _MOST_HELD:
                    break
                readings, newest_us, turned = waiting, _NONE_YET, True
        if len(waiting):
            yield waiting, True

    def _chunks(self) -> Iterator[Readings]:
        """Blocks in the file's order, joined into chunks."""
        waiting: list[Readings] = []
        count, enough = 0, min(_FIRST_CHUNK, self._chunk)
        for block in self._parsed():
            self._account(block)
            if len(block.value):
                waiting.append(Readings(block.signal, block.time_us, block.value))
                count += len(block.value)
            if count >= enough:
                yield Readings.concatenate(waiting)
                waiting, count, enough = [], 0, min(2 * enough, self._chunk)
        if waiting:
            yield Readings.concatenate(waiting)
        if self._damage:
            self._account_damage()

    def _account(self, block: Block) -> None:
        self.malformed += block.malformed
        room = MOST_NAMED - len(self.named)
        self.named.extend((self._line + line, reason) for line, reason in block.named[:room])
        self._line += block.lines

    def _parsed(self) -> Iterator[Block]:
        """Blocks in the file's order, values as asked for."""
        for text in self._stretches():
            block = self._blocks.read(text)
            if not self._stored:
                block.value = self._to_si(block)
            yield block

    def _to_si(self, block: Block) -> NDArray[np.float64]:
        factor, offset = self._factor.take(block.signal), self._offset.take(block.signal)
        si: NDArray[np.float64] = block.value * factor + offset
        for at in self._raw:
            its = block.signal == at
            si[its] = self._plant.signals[at].to_si(block.value[its])
        return si

    def _stretches(self) -> Generator[bytes]:
        """The text below the header in stretches of whole lines."""
        with _opened(self.path) as file:
            damaged = _damaged(self.path)
            rest, size = _after_header(file, self.path, damaged), _FIRST_STRETCH
            while True:
                try:
                    more = file.read(size)
                except damaged as error:
                    yield from _last(rest)
                    self._damage = str(error)
                    return
                if not more:
                    yield from _last(rest)
                    return
                size = min(2 * size, _STRETCH)
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
            from isal import igzip  # brings two other compressors with it

            return cast("IO[bytes]", igzip.open(path, "rb"))  # type: ignore[no-untyped-call]
        return path.open("rb")
    except OSError as error:
        raise ReadingsError(f"{path}: cannot be read: {error.strerror or error}") from error


def _damaged(path: Path) -> tuple[type[Exception], ...]:
    """What a compressed file that was cut short or damaged raises."""
    if not path.name.endswith(".gz"):
        return ()
    import gzip
    import zlib

    from isal import igzip_lib

    return EOFError, zlib.error, gzip.BadGzipFile, cast("type[Exception]", igzip_lib.IsalError)


def _after_header(file: IO[bytes], path: Path, damaged: tuple[type[Exception], ...]) -> bytes:
    """Reads the header away. Raises ReadingsError where it is another."""
    unread: tuple[type[Exception], ...] = (OSError, *damaged)
    try:
        line = file.readline(1000)
    except unread as error:
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


def _late(time_us: NDArray[np.int64], newest_us: int) -> int:
    """How many rows are more than the allowed disorder behind a row before them."""
    if time_us[0] >= newest_us and (time_us[1:] >= time_us[:-1]).all():
        return 0
    newest_before = np.maximum(np.maximum.accumulate(time_us), newest_us)
    return int(np.count_nonzero(time_us < newest_before - DISORDER_US))


def _turn(time_us: NDArray[np.int64], newest_us: int) -> tuple[int, bool]:
    """Position of the first of rows that stay behind those before them, and whether it is sure that a clock
    was set back; False: the rows end too soon to tell. The number of rows where there is none."""
    if len(time_us) and time_us[0] >= newest_us and (time_us[1:] >= time_us[:-1]).all():
        return len(time_us), False
    newest = np.maximum(np.maximum.accumulate(time_us), newest_us)
    behind = np.zeros(len(time_us) + 2, dtype=np.bool_)
    behind[1:-1] = time_us < newest - DISORDER_US
    edges = np.flatnonzero(np.diff(behind)).tolist()
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if int(time_us[start:end].max()) - int(time_us[start]) >= TURNED_US:
            return start, True
        if end == len(time_us):
            return start, False
    return len(time_us), False


def _in_order(readings: Readings) -> Readings:
    """Sorted by time, then signal; untouched where that is so already, as it mostly is."""
    time_us, signal = readings.time_us, readings.signal
    later = time_us[1:] > time_us[:-1]
    if (later | ((time_us[1:] == time_us[:-1]) & (signal[1:] >= signal[:-1]))).all():
        return readings
    return readings.in_time_order()
