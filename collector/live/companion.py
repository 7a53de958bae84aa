"""The dashboard as a companion: a process of its own, found by its verb, started again when it dies.

Nothing here imports it, so a collector alone never loads Dash, and neither can take the other down.
"""

from __future__ import annotations

import logging
import subprocess
import sys
import time
from importlib.metadata import entry_points
from importlib.util import find_spec

from collector.cli import GROUP

log = logging.getLogger("holdwater.companion")

_FIRST_WAIT_S = 1.0
_LONGEST_WAIT_S = 60.0
#: A companion that lived so long was well: the next wait is short again.
_WELL_AFTER_S = 60.0
_STOP_WITHIN_S = 10.0


def installed() -> bool:
    """Whether the dashboard can be started: its verb is known and Dash is there."""
    return bool(entry_points(group=GROUP, name="dashboard")) and find_spec("dash") is not None


class Companion:
    """Keeps one child process running. `tend` it about once a second."""

    def __init__(self, words: list[str]) -> None:
        """`words` follow `holdwater`; the verb must know --with-parent."""
        self._words = [sys.executable, "-m", "collector.cli", *words]
        self._process: subprocess.Popen[bytes] | None = None
        self._began = 0.0
        self._wait_s = _FIRST_WAIT_S
        self._next = 0.0

    def tend(self) -> None:
        """Start it where it does not run and the time has come."""
        now = time.monotonic()
        if self._process is not None:
            status = self._process.poll()
            if status is None:
                return
            self._process = None
            self._wait_s = _FIRST_WAIT_S if now - self._began > _WELL_AFTER_S else self._wait_s * 2
            self._wait_s = min(self._wait_s, _LONGEST_WAIT_S)
            self._next = now + self._wait_s
            log.warning(
                "the dashboard ended with status %d; starting it again in %.0f s", status, self._wait_s
            )
        if now >= self._next:
            self._began = now
            # A session of its own: a Ctrl-C meant for the daemon reaches it through `stop` alone. Its
            # standard input is a pipe from us: where we die without a word, it ends, and ends too.
            self._process = subprocess.Popen(self._words, start_new_session=True, stdin=subprocess.PIPE)

    def stop(self) -> None:
        """End it in order, and by force where it does not heed."""
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(_STOP_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
