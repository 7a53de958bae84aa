"""What the world can do to a history, as exceptions that say what, where and what would help.

None of these is our mistake: the daemon catches `HistoryError`, says it once, keeps what it holds
and tries again. Anything else that comes out of the store is a bug and may crash.
"""

from __future__ import annotations

import sqlite3
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class HistoryError(Exception):
    """The world's error about one history: `what` happened, `where`, and what `would_help`."""

    what = "the history cannot be used"
    would_help = "see the log"

    def __init__(self, where: Path, detail: str = "") -> None:
        self.where = where
        self.detail = detail
        said = f" ({detail})" if detail else ""
        super().__init__(f"{where}: {self.what}{said}; {self.would_help}")


class HistoryDamaged(HistoryError):
    what = "the file is damaged"
    would_help = "it will be set aside, what can be read saved from it, and a new one begun"


class HistoryFull(HistoryError):
    what = "the disk is full"
    would_help = "make room; writing resumes by itself, and nothing was acknowledged that is not stored"


class HistoryReadOnly(HistoryError):
    what = "the folder or the file cannot be written"
    would_help = "give the user that runs holdwater leave to write there, or mount the disk read-write"


class HistoryUnreachable(HistoryError):
    what = "the disk does not answer"
    would_help = "check the card or disk; writing resumes by itself"


class HistoryTaken(HistoryError):
    what = "another process is writing this history"
    would_help = "stop it first, or give this one another data folder with --data"


class HistoryBusy(HistoryError):
    what = "another process holds the history locked"
    would_help = "it is tried again; if it lasts, see which other program has the file open"


class HistoryNewer(HistoryError):
    what = "the file was written by a newer holdwater"
    would_help = "install that version or a later one, or give another data folder with --data"


class HistoryOlder(HistoryError):
    what = "the file is of an older version and this reader may not change it"
    would_help = "start `holdwater run` once; it brings the file up to date"


class HistoryForeign(HistoryError):
    what = "the file is not a holdwater history"
    would_help = "move it away, or give another data folder with --data"


class BlockDamaged(Exception):
    """A stored block is not what was written: bits have changed on the card."""


#: SQLite's primary result codes (https://www.sqlite.org/rescode.html)
_BY_CODE: dict[int, type[HistoryError]] = {
    sqlite3.SQLITE_CORRUPT: HistoryDamaged,
    sqlite3.SQLITE_NOTADB: HistoryDamaged,
    sqlite3.SQLITE_FULL: HistoryFull,
    sqlite3.SQLITE_READONLY: HistoryReadOnly,
    sqlite3.SQLITE_PERM: HistoryReadOnly,
    sqlite3.SQLITE_CANTOPEN: HistoryReadOnly,
    sqlite3.SQLITE_IOERR: HistoryUnreachable,
    sqlite3.SQLITE_BUSY: HistoryBusy,
    sqlite3.SQLITE_LOCKED: HistoryBusy,
    sqlite3.SQLITE_PROTOCOL: HistoryBusy,
}


@contextmanager
def translating(where: Path) -> Iterator[None]:
    """SQLite's errors and damaged blocks, in here, come out as a HistoryError."""
    try:
        yield
    except BlockDamaged as error:
        raise HistoryDamaged(where, str(error)) from error
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", None)
        kind = _BY_CODE.get(code & 0xFF) if code is not None else None
        if kind is None:
            raise  # a mistake of ours: wrong SQL, a closed connection
        raise kind(where, str(error)) from error
