"""Work in a process beside ours comes over whole, in order, with its mistakes; and ends when we do."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from collector import beside as module
from collector.beside import AHEAD, beside

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="processes are forked on Linux only"
)


@pytest.fixture(params=["forked", "here"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setattr(module, "_worth_it", lambda: request.param == "forked")
    return str(request.param)


def children() -> set[str]:
    return set(Path(f"/proc/self/task/{os.getpid()}/children").read_text().split())


def test_all_comes_over_in_order_and_from_where_it_should(way: str) -> None:
    def work() -> Iterator[object]:
        yield os.getpid()
        for size in range(3 * AHEAD):
            yield np.arange(size)
        yield {"large": b"x" * 5_000_000}

    first, *arrays, last = beside(work)
    assert (first == os.getpid()) == (way == "here")
    assert [a.tolist() for a in arrays] == [list(range(size)) for size in range(3 * AHEAD)]
    assert last == {"large": b"x" * 5_000_000}


def test_arrays_come_over_as_they_were_however_many(way: str) -> None:
    """More of them than the system takes in one go, empty ones and every second element among them."""
    sent = [np.arange(size, dtype=np.int16) for size in range(2000)]
    sent += [np.arange(9.0)[::2], np.asfortranarray(np.arange(6.0).reshape(2, 3))]
    ((numbers, same),) = beside(lambda: [(sent, sent[-1])])
    assert [one.dtype for one in numbers] == [one.dtype for one in sent]
    assert all(np.array_equal(one, other) for one, other in zip(numbers, sent, strict=True))
    assert same is numbers[-1]
    numbers[7][0] = 1  # whoever is given an array may write to it


def test_a_process_may_have_one_beside_it(way: str) -> None:
    us = os.getpid()

    def work() -> Iterator[tuple[int, int]]:
        for number, process in beside(lambda: ((n, os.getpid()) for n in range(3 * AHEAD))):
            yield number, len({process, os.getpid(), us})

    came = list(beside(work))
    assert came == [(number, 1 if way == "here" else 3) for number in range(3 * AHEAD)]


def test_what_it_raises_is_raised_here_after_what_came_before(way: str) -> None:
    def work() -> Iterator[int]:
        yield 1
        raise ValueError("no such thing")

    got: list[int] = []
    with pytest.raises(ValueError, match="no such thing"):
        got.extend(beside(work))
    assert got == [1]


def test_a_process_that_is_killed_is_no_end_of_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_worth_it", lambda: True)

    def work() -> Iterator[int]:
        yield os.getpid()
        os.kill(os.getpid(), signal.SIGKILL)
        yield 2

    things = beside(work)
    assert next(things) != os.getpid()
    with pytest.raises(ChildProcessError, match="ended before"):
        next(things)


def test_nobody_is_left_behind_who_wants_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_worth_it", lambda: True)

    def work() -> Iterator[bytes]:
        while True:
            yield b"x" * 100_000

    before = children()
    things = beside(work)
    next(things)
    things.close()  # type: ignore[attr-defined]
    assert children() == before


def test_it_ends_when_whoever_forked_it_is_killed(tmp_path: Path) -> None:
    """Otherwise each interrupted analysis would leave a reader of the file behind."""
    program = (
        "import os, time\n"
        "from collector import beside\n"
        "beside._worth_it = lambda: True\n"
        "def work():\n"
        "    yield os.getpid()\n"
        "    while True: yield b'x' * 100_000\n"
        "things = beside.beside(work)\n"
        "print(next(things), flush=True)\n"
        "time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        other = int(process.stdout.readline())
        assert Path(f"/proc/{other}").exists()
        process.kill()
    until = time.monotonic() + 30.0
    while _lives(other) and time.monotonic() < until:
        time.sleep(0.02)
    assert not _lives(other)


def _lives(process: int) -> bool:
    """Whether it runs; one that is over and not waited for does not."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rsplit(") ", 1)[1][0] != "Z"
    except OSError:
        return False
