"""What people ask for on a page, on its way to the daemon, which alone writes a plant's history.

A small file of its own, `<data>/<plant>/commands.sqlite`: a page puts a command in, durably; the daemon
carries it out in the transaction of its next commit, notes its key there, and then takes it out. So a
command is carried out once, however often it was sent and whoever was killed when. While the daemon is
down commands wait, and the pages say so.
"""

from __future__ import annotations

import contextlib
import sqlite3
import uuid
from contextlib import closing
from typing import TYPE_CHECKING, NamedTuple

import msgspec

from collector.store.errors import HistoryDamaged, HistoryError, translating

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

FILE = "commands.sqlite"
#: While the daemon is down: more than anybody taps; what comes beyond is refused.
MOST_WAITING = 500
_PATIENCE_S = 5.0
#: Two changes within one tick of a file's clock look like one.
_JUST_NOW_US = 3_000_000


class OfAlarm(msgspec.Struct, frozen=True, tag_field="do", omit_defaults=True):
    """A command to one alarm: of a fault and, where it has one, its object."""

    fault: str
    of: str | None = None


class Acknowledge(OfAlarm, frozen=True, tag="acknowledge"):
    """Seen, and being seen to."""


class Shelve(OfAlarm, frozen=True, tag="shelve", kw_only=True):
    """Put aside for a time, with a reason."""

    hours: float
    reason: str


class Unshelve(OfAlarm, frozen=True, tag="unshelve"):
    """Take it up again."""


class OutOfService(OfAlarm, frozen=True, tag="out of service", kw_only=True):
    """Until it is taken back into service by hand."""

    reason: str


class InService(OfAlarm, frozen=True, tag="in service"):
    """Back into service."""


class Hold(msgspec.Struct, frozen=True, tag_field="do", tag="hold", omit_defaults=True):
    """Suppress alarms by design while a guided test runs; 0 minutes ends it."""

    faults: tuple[str, ...]
    minutes: float
    reason: str = "a guided test"


class Log(msgspec.Struct, frozen=True, tag_field="do", tag="log", omit_defaults=True, kw_only=True):
    """An entry of the logbook; see collector.store.Entry. `time_us` None: when the command was given."""

    kind: str
    words: str
    station: str = ""
    figures: dict[str, float | str] = {}
    fault: str | None = None
    of: str | None = None
    raised_us: int | None = None
    time_us: int | None = None


Command = Acknowledge | Shelve | Unshelve | OutOfService | InService | Hold | Log
#: What people and other parts of the tool may write; "confirmation" is the daemon's own.
KINDS = ("repair", "observation", "soil test", "test result")


class Asked(NamedTuple):
    """A command, who gave it and when, and its key."""

    key: str
    time_us: int
    by: str
    command: Command


class CommandsFull(Exception):
    """So many commands wait that no more are taken."""


def new_key() -> str:
    return uuid.uuid4().hex


class Commands:
    """One plant's waiting commands. Any process may put; the daemon takes. Raises HistoryError where the
    disk is in the way."""

    def __init__(self, data: Path, plant: str) -> None:
        self.path = data / plant / FILE
        self._decoder = msgspec.json.Decoder(Command)
        self._looked: tuple[int, int] | None = None

    def put(self, command: Command, *, by: str, now_us: int, key: str | None = None) -> str:
        """Keep a command for the daemon; a key that waits already is the same command. Returns the key."""
        key = key or new_key()
        with translating(self.path), closing(self._connected()) as connection, connection:
            (waiting,) = connection.execute("SELECT count(*) FROM waiting").fetchone()
            if waiting >= MOST_WAITING:
                raise CommandsFull
            connection.execute(
                "INSERT OR IGNORE INTO waiting (key, time_us, by, body) VALUES (?, ?, ?, ?)",
                (key, now_us, by[:80], msgspec.json.encode(command)),
            )
        return key

    def waiting(self) -> list[Asked]:
        """In order of their coming. What cannot be read (a newer version's) is left out."""
        if not self.path.exists():
            return []
        try:
            with translating(self.path), closing(self._connected()) as connection:
                rows = connection.execute("SELECT key, time_us, by, body FROM waiting ORDER BY id").fetchall()
        except HistoryDamaged:
            self._set_aside()
            raise
        return list(self._read(rows))

    def _set_aside(self) -> None:
        """A damaged queue goes under another name, so that commands can be given again."""
        with contextlib.suppress(OSError):
            self.path.replace(self.path.with_name("commands.damaged.sqlite"))

    def changed(self, now_us: int) -> bool:
        """Whether it is worth looking again: the file changed since the last look, or just now."""
        try:
            status = self.path.stat()
        except OSError:
            return False
        before, self._looked = self._looked, (status.st_mtime_ns, status.st_size)
        return before != self._looked or abs(now_us - status.st_mtime_ns // 1000) < _JUST_NOW_US

    def look_again(self) -> None:
        """What was looked at was not taken."""
        self._looked = None

    def done(self, keys: Sequence[str]) -> None:
        """Take out what was carried out."""
        with translating(self.path), closing(self._connected()) as connection, connection:
            connection.executemany("DELETE FROM waiting WHERE key = ?", [(key,) for key in keys])

    def _read(self, rows: Sequence[tuple[str, int, str, bytes]]) -> Iterator[Asked]:
        for key, time_us, by, body in rows:
            try:
                yield Asked(key, time_us, by, self._decoder.decode(body))
            except msgspec.MsgspecError:
                continue

    def _connected(self) -> sqlite3.Connection:
        self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
        connection = sqlite3.connect(self.path, timeout=_PATIENCE_S)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(
            "CREATE TABLE IF NOT EXISTS waiting (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE,"
            " time_us INTEGER NOT NULL, by TEXT NOT NULL, body BLOB NOT NULL)"
        )
        return connection


__all__ = ["KINDS", "Acknowledge", "Asked", "Command", "Commands", "CommandsFull", "HistoryError", "Hold"]
__all__ += ["InService", "Log", "OutOfService", "Shelve", "Unshelve", "new_key"]
