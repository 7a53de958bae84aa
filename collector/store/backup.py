"""A copy of a plant's history while it is being written: one consistent moment of it."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
from typing import TYPE_CHECKING

from collector.store import connection as connections
from collector.store.errors import HistoryReadOnly, translating
from collector.store.history import History

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_PAGES = 4096  # a step of the copy, 4 MB


def back_up(folder: Path, target: Path, say: Callable[[int, int], None] = lambda done, whole: None) -> Path:
    """Copy a plant's folder, as of now, to `target`; returns the copied history's path.

    The writer goes on undisturbed: the copy reads from one snapshot, so that it need not begin
    again at each commit. `say` hears pages done and pages in all. To restore, put the folder back
    where it was. Raises HistoryError, FileNotFoundError where there is no history.
    """
    source, copy = folder / History.FILE, target / History.FILE
    partial = copy.with_name(copy.name + ".partial")
    source.stat()
    try:
        target.mkdir(parents=True, exist_ok=True)
        partial.unlink(missing_ok=True)
    except OSError as error:
        raise HistoryReadOnly(target, error.strerror or "") from error
    with translating(source), contextlib.closing(connections.reading(source)) as old:
        old.execute("BEGIN")
        old.execute("SELECT count(*) FROM sqlite_master").fetchone()
        with translating(partial), contextlib.closing(sqlite3.connect(partial)) as new:
            old.backup(new, pages=_PAGES, progress=lambda _, left, whole: say(whole - left, whole), sleep=0)
    _flush(partial)
    partial.replace(copy)
    if (folder / "plant.toml").exists():
        shutil.copyfile(folder / "plant.toml", target / "plant.toml")
    return copy


def _flush(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())
