"""The daemon's sign of life, for whoever looks from outside: one small file in the data folder."""

from __future__ import annotations

import logging
import os
from pathlib import Path

import msgspec

log = logging.getLogger("holdwater.pulse")

_NAME = "daemon.json"
#: A block of the card each time (the history's own writing is some 20 MB an hour, this 0.5): so not each
#: second; but at once when something other than the time has changed.
RENEWED_S = 30.0
#: Two signs of life missed, and then some, are no accident.
SILENT_US = 75_000_000
#: The file has this length always and is written over in place: that needs no room on a full disk, which
#: is when there is most to say, and wears the card by one block.
_BYTES = 4096


class Pulse(msgspec.Struct, frozen=True):
    """How the daemon was at `time_us`."""

    time_us: int
    began_us: int
    running: bool
    broker: str
    connected: bool
    connections: int
    messages: int
    trouble: dict[str, str]  # plant -> why its history cannot be written


def write_pulse(data: Path, pulse: Pulse) -> None:
    """Write the sign of life over the last one. Where even that cannot be, it stays old."""
    try:
        data.mkdir(parents=True, exist_ok=True)
        file = os.open(data / _NAME, os.O_WRONLY | os.O_CREAT, 0o640)
        try:
            os.pwrite(file, _padded(pulse), 0)
            os.ftruncate(file, _BYTES)
        finally:
            os.close(file)
    except OSError as error:
        log.debug("no sign of life: %s", error)


def _padded(pulse: Pulse) -> bytes:
    """With blanks to the file's length; words of trouble give way where there are too many."""
    body = msgspec.json.encode(pulse)
    if len(body) > _BYTES:
        shorter = {name[:80]: why[:40] for name, why in list(pulse.trouble.items())[:20]}
        body = msgspec.json.encode(msgspec.structs.replace(pulse, trouble=shorter))
    return body.ljust(_BYTES)


def read_pulse(data: Path) -> Pulse | None:
    """The newest sign of life; None where the daemon never ran on this folder."""
    for _ in range(2):  # caught in the middle of being written: once more
        try:
            return msgspec.json.decode((data / _NAME).read_bytes(), type=Pulse)
        except OSError:
            return None
        except msgspec.MsgspecError:
            continue
    return None


def cannot_be_written(data: Path) -> str:
    """Why a daemon that lives may give no sign of life: the disk refuses it. Empty where it does not."""
    try:
        disk = os.statvfs(data)
    except OSError as error:
        return f"{data}: the disk does not answer ({error.strerror}); check the card or disk"
    if disk.f_flag & os.ST_RDONLY:
        return f"{data}: the disk cannot be written; check the card or disk, and mount it read-write"
    return ""
