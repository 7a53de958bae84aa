"""The companion process: started, started again when it dies, and ended with its keeper."""

from __future__ import annotations

import os
import subprocess
import sys
import time

import pytest

from collector.live import companion
from collector.live.companion import Companion


def child(one: Companion) -> subprocess.Popen[bytes]:
    assert one._process is not None
    return one._process


@pytest.fixture
def idle(monkeypatch: pytest.MonkeyPatch) -> Companion:
    """A companion that does nothing until its standard input ends."""
    made = Companion([])
    made._words = [sys.executable, "-c", "import os\nwhile os.read(0, 100): pass"]
    monkeypatch.setattr(companion, "_FIRST_WAIT_S", 0.05)
    made._wait_s = 0.05
    return made


def test_it_is_started_again_and_waits_longer_each_time(idle: Companion) -> None:
    idle.tend()
    first = child(idle).pid
    waits = []
    for _ in range(3):
        child(idle).kill()
        child(idle).wait()
        idle.tend()
        waits.append(idle._wait_s)
        while idle._process is None:
            time.sleep(0.02)
            idle.tend()
    assert child(idle).pid != first
    assert waits == sorted(waits)
    assert waits[-1] > waits[0]
    idle.stop()
    assert child(idle).poll() is not None


def test_it_ends_where_its_keeper_dies_without_a_word() -> None:
    program = (
        "import sys, os, time\n"
        "from collector.live.companion import Companion\n"
        "one = Companion([])\n"
        "one._words = [sys.executable, '-c', 'import os\\nwhile os.read(0, 100): pass']\n"
        "one.tend()\n"
        "print(one._process.pid, flush=True)\n"
        "os.kill(os.getpid(), 9)\n"
    )
    shown = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=30)
    pid = int(shown.stdout)
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return
        if "Z" in _state(pid):
            return
        time.sleep(0.05)
    pytest.fail("it lives on")


def _state(pid: int) -> str:
    try:
        with open(f"/proc/{pid}/stat") as file:  # noqa: PTH123
            return file.read().split()[2]
    except OSError:
        return "Z"
