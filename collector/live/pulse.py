"""The daemon's sign of life, for whoever looks from outside: one small file in the data folder."""

from __future__ import annotations

import logging
import os
from pathlib import Path

import msgspec

log = logging.getLogger("holdwater.pulse")

_NAME = "daemon.json"


class Pulse(msgspec.Struct, frozen=True):
    """How the daemon was at `time_us`, which it renews about every ten seconds."""

    time_us: int
    began_us: int
    running: bool
    broker: str
    connected: bool
    connections: int
    messages: int
    trouble: dict[str, str]  # plant -> why its history cannot be written


def write_pulse(data: Path, pulse: Pulse) -> None:
    """Replace the sign of life in one step. A full disk must not stop the daemon: then it stays old."""
    new = data / f"{_NAME}.new"
    try:
        data.mkdir(parents=True, exist_ok=True)
        new.write_bytes(msgspec.json.encode(pulse))
        os.replace(new, data / _NAME)  # noqa: PTH105 (atomic on every system)
    except OSError as error:
        log.debug("no sign of life: %s", error)


def read_pulse(data: Path) -> Pulse | None:
    """The newest sign of life; None where the daemon never ran on this folder."""
    try:
        return msgspec.json.decode((data / _NAME).read_bytes(), type=Pulse)
    except (OSError, msgspec.MsgspecError):
        return None
