"""The access book: people, their phones, pairing codes not yet used. One small file in the data folder.

What lets somebody in is never in it: of a phone's cookie and of a pairing code it holds a hash, of a
passphrase an Argon2 hash. It is written at pairing and sign-in and at most every few minutes a phone,
so an ordinary rollback journal does, and `holdwater pair` run as root leaves no file that the daemon
could not open.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import threading
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

log = logging.getLogger("holdwater.access")

FILE = "access.sqlite"
_PATIENCE_S = 10.0
_SCHEMA = """
CREATE TABLE IF NOT EXISTS person (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE COLLATE NOCASE,
  role TEXT NOT NULL CHECK (role IN ('caretaker', 'view-only')),
  passphrase TEXT, since_s REAL NOT NULL);
CREATE TABLE IF NOT EXISTS phone (
  id INTEGER PRIMARY KEY, person INTEGER NOT NULL REFERENCES person ON DELETE CASCADE,
  token BLOB NOT NULL UNIQUE, label TEXT NOT NULL, address TEXT NOT NULL,
  paired_s REAL NOT NULL, seen_s REAL NOT NULL, proved_s REAL NOT NULL);
CREATE TABLE IF NOT EXISTS code (
  hash BLOB PRIMARY KEY, name TEXT NOT NULL COLLATE NOCASE, role TEXT NOT NULL, until_s REAL NOT NULL);
CREATE TABLE IF NOT EXISTS told (key TEXT PRIMARY KEY, value TEXT NOT NULL);
"""


class Book:
    """The open book; safe to use from several threads, and by several processes."""

    def __init__(self, data: Path) -> None:
        """Opens or makes it, for its owner alone. A broken one is set aside: then nobody is paired."""
        self.path = data / FILE
        _make(self.path)
        self._lock = threading.RLock()
        try:
            self._connection = _opened(self.path)
        except sqlite3.OperationalError:
            raise
        except sqlite3.DatabaseError as error:
            aside = self.path.with_name(f"{FILE}.broken-{time.time_ns() // 1_000_000_000}")
            log.error(
                "%s cannot be read (%s): kept as %s; pair the phones anew", self.path, error, aside.name
            )
            self.path.rename(aside)
            _make(self.path)
            self._connection = _opened(self.path)

    @contextmanager
    def changing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, alone among threads and processes."""
        with self._lock:
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")

    def rows(self, query: str, *values: object) -> list[sqlite3.Row]:
        """What a query finds."""
        with self._lock:
            return self._connection.execute(query, values).fetchall()

    def close(self) -> None:
        with self._lock:
            self._connection.close()


def _make(path: Path) -> None:
    """An empty file that its owner alone may read: the data folder's owner, also where root makes it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(path, os.O_CREAT | os.O_RDWR, 0o600)
    try:
        os.fchmod(handle, 0o600)
        folder = path.parent.stat()
        if os.geteuid() == 0 and folder.st_uid != 0:
            os.fchown(handle, folder.st_uid, folder.st_gid)
    finally:
        os.close(handle)


def _opened(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None, check_same_thread=False)
    connection.row_factory = sqlite3.Row
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA secure_delete = ON")
    connection.executescript(_SCHEMA)
    return connection
