"""How the file is opened: one writer, any number of readers in other processes.

Write-ahead log: readers never wait for the writer nor it for them. `synchronous=FULL`: a commit
that returned survives a power cut. Small pages, because a commit a second writes whole pages to
the log and the card wears by them. `secure_delete=OFF`, because zeroing what was moved on would
write it twice. A log of some 4 MB before it is worked into the file: a page that was changed a
hundred times in between is then written there once.
"""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING
from urllib.parse import quote

if TYPE_CHECKING:
    from pathlib import Path

PAGE_BYTES = 1024
LOG_BYTES = 4 * 1024 * 1024
_PATIENCE_S = 10.0
#: The one writer waits for nobody in the usual course; and all plants wait while it does.
_WRITER_PATIENCE_S = 2.0


def writing(path: Path) -> sqlite3.Connection:
    """A connection that writes; makes the file where there is none."""
    connection = sqlite3.connect(
        path, timeout=_WRITER_PATIENCE_S, isolation_level=None, check_same_thread=False
    )
    connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")  # only a new file heeds it
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA secure_delete = OFF")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA journal_size_limit = {2 * LOG_BYTES}")  # after an import's large commits
    (page_bytes,) = connection.execute("PRAGMA page_size").fetchone()
    connection.execute(f"PRAGMA wal_autocheckpoint = {LOG_BYTES // page_bytes}")
    return connection


def reading(path: Path) -> sqlite3.Connection:
    """A connection that only reads. The file must be there.

    Truly read-only, not merely well-behaved: the last connection of a file that could write would
    remove the log at its closing, by name, and if the file had been set aside meanwhile that would
    be another file's log. A copy on a read-only disk, with no log to mind, is taken as it is.
    """
    try:
        return _open(path, "mode=ro")
    except sqlite3.OperationalError:
        return _open(path, "mode=ro&immutable=1")


def _open(path: Path, mode: str) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"file:{quote(str(path))}?{mode}",
        uri=True,
        timeout=_PATIENCE_S,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        connection.execute("PRAGMA query_only = ON")
    except sqlite3.Error:
        connection.close()
        raise
    return connection
