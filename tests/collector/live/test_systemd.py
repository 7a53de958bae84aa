"""What systemd hears of the real daemon: ready, alive, and stopping; and silence when it hangs."""

from __future__ import annotations

import os
import signal
import socket
import time
from typing import TYPE_CHECKING

import pytest

from tests.collector.live.conftest import until

if TYPE_CHECKING:
    from tests.collector.live.conftest import Running

pytestmark = pytest.mark.broker


def heard(ear: socket.socket, seconds: float) -> list[str]:
    """Every word that comes within so many seconds."""
    words, deadline = [], time.monotonic() + seconds
    while (left := deadline - time.monotonic()) > 0:
        ear.settimeout(left)
        try:
            words.append(ear.recv(4096).decode())
        except TimeoutError:
            break
    return words


def test_it_says_that_it_is_ready_alive_and_stopping(
    daemon: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As sd_notify(3) has it."""
    name = f"holdwater-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(f"\0{name}")
        monkeypatch.setenv("NOTIFY_SOCKET", f"@{name}")
        daemon.start()
        assert daemon.process is not None
        until(daemon.connected)
        words = heard(ear, 4.0)
        assert words[0] == "READY=1"
        assert words.count("WATCHDOG=1") >= 2
        assert set(words) == {"READY=1", "WATCHDOG=1"}
        daemon.process.send_signal(signal.SIGSTOP)  # it hangs
        heard(ear, 0.1)
        assert heard(ear, 3.0) == []
        daemon.process.send_signal(signal.SIGCONT)
        assert "WATCHDOG=1" in heard(ear, 3.0)
        assert daemon.stop() == 0
        assert heard(ear, 0.1)[-1] == "STOPPING=1"
