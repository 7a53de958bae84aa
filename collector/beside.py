"""Work in a process of its own, beside ours: what it brings forth is handed over as it comes.

Processes, since Python's threads take turns. The other is forked, so that it knows all that we know
and has nothing to import again; it may have one beside it in its turn. Where that cannot be had (not on
Linux, one processor alone, threads already under way) the work is done here, when it is asked for, with
the same result.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
from collections import deque
from itertools import islice
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

T = TypeVar("T")

#: Things that wait for us to take them, at most: then the other process waits.
AHEAD = 8
_SIZE = 8
_PIPE_BYTES = 1 << 20
#: Pieces of memory that the system takes in one go (POSIX promises sixteen; Linux takes 1024).
_AT_ONCE = 1024


def beside(work: Callable[[], Iterable[T]]) -> Iterator[T]:
    """What `work()` yields, in order; what it raises is raised here. All of it must be picklable.

    The other process begins at once.
    """
    if not _worth_it():
        return iter(work())
    ours, its = os.pipe()
    process = os.fork()
    if process == 0:
        os.close(ours)
        _bring_forth(work, its)
    os.close(its)
    return _taken(process, ours)


def _worth_it() -> bool:
    """Whether a second process can be had and would find a processor."""
    if not sys.platform.startswith("linux") or threading.active_count() > 1:
        return False
    return len(os.sched_getaffinity(0)) > 1


def _taken(process: int, pipe: int) -> Iterator[Any]:
    arrivals = _Arrivals(pipe)
    try:
        while (parts := arrivals.next()) is not None:
            kind, thing = pickle.loads(parts[0], buffers=parts[1:])
            if kind == "raised":
                raise thing
            if kind == "end":
                return
            yield thing
        raise ChildProcessError("a process of ours ended before it had done its work")
    finally:
        os.kill(process, signal.SIGKILL)  # where it has not ended, nobody wants the rest
        arrivals.stop()
        os.waitpid(process, 0)


def _bring_forth(work: Callable[[], Iterable[object]], pipe: int) -> NoReturn:
    """The other process's whole life. It says nothing by itself and runs none of our clean-up."""
    try:
        _widen(pipe)
        try:
            for thing in work():
                _send(pipe, ("thing", thing))
        except Exception as error:  # noqa: BLE001 - it is raised where the work was asked for
            _send(pipe, ("raised", error))
        else:
            _send(pipe, ("end", None))
    finally:  # also where nobody listens any more, or at Ctrl-C: whoever forked us says what there is to say
        os._exit(0)


def _widen(pipe: int) -> None:
    """More may lie in the pipe than its usual 64 kB; where that is not granted it goes on without."""
    import fcntl

    try:
        fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
    except OSError:
        return


def _send(to: int, thing: object) -> None:
    """The thing packed, its arrays as they lie in memory: how many parts, the size of each, and these."""
    arrays: list[pickle.PickleBuffer] = []
    packed = pickle.dumps(thing, protocol=5, buffer_callback=arrays.append)
    parts = [memoryview(packed), *(array.raw() for array in arrays)]
    sizes = b"".join(size.to_bytes(_SIZE, "little") for size in (len(parts), *map(len, parts)))
    _write(to, deque([memoryview(sizes), *parts]))


def _write(to: int, parts: deque[memoryview]) -> None:
    while parts:
        written = os.writev(to, list(islice(parts, _AT_ONCE)))
        while parts and written >= len(parts[0]):
            written -= len(parts.popleft())
        if written:
            parts[0] = parts[0][written:]


class _Arrivals:
    """Packed things as they come, taken off the pipe by a thread so that the other need not wait."""

    def __init__(self, pipe: int) -> None:
        self._pipe = os.fdopen(pipe, "rb", buffering=0)
        self._waiting: deque[list[Any] | None] = deque()
        self._there, self._room = threading.Semaphore(0), threading.Semaphore(AHEAD)
        self._stopped = False
        self._thread = threading.Thread(target=self._take, name="arrivals", daemon=True)
        self._thread.start()

    def next(self) -> list[Any] | None:
        """The parts of the next, or None after the last."""
        self._there.acquire()
        self._room.release()
        return self._waiting.popleft()

    def stop(self) -> None:
        """Once the other process has ended: what still lies in the pipe is left there."""
        self._stopped = True
        self._room.release()
        self._thread.join()

    def _take(self) -> None:
        with self._pipe:
            parts: list[Any] | None = []
            while parts is not None:
                self._room.acquire()
                if self._stopped:
                    return
                parts = self._parts()
                self._waiting.append(parts)
                self._there.release()

    def _parts(self) -> list[Any] | None:
        count = self._whole(_SIZE)
        sizes = self._whole(_SIZE * int.from_bytes(count, "little")) if count is not None else None
        if sizes is None:
            return None
        parts = [self._whole(size) for size in np.frombuffer(sizes, np.int64).tolist()]
        return None if any(part is None for part in parts) else parts

    def _whole(self, size: int) -> NDArray[np.uint8] | None:
        """So many bytes, or None where the pipe ends before. In an array, which nobody blanks first."""
        whole = np.empty(size, np.uint8)
        rest = whole.data
        while rest:
            count = self._pipe.readinto(rest)
            if not count:
                return None
            rest = rest[count:]
        return whole
