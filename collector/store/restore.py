"""A copy put back in the place of a plant's history. What was there is set aside, not lost."""

from __future__ import annotations

import contextlib
import shutil
from typing import TYPE_CHECKING

from collector.store import connection as connections
from collector.store import schema
from collector.store.backup import back_up
from collector.store.errors import HistoryDamaged, HistoryForeign, HistoryReadOnly, translating
from collector.store.history import History
from collector.store.writing import held_folder

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

_FRESH = "restored"


def restore(
    copy: Path, folder: Path, say: Callable[[int, int], None] = lambda done, whole: None
) -> Path | None:
    """Put the plant's folder `copy` back as `folder`; where the replaced history went, None without one.

    The copy is read through before anything is changed. Raises HistoryError (HistoryTaken while the
    daemon runs), FileNotFoundError where there is no copy.
    """
    _sound(copy / History.FILE)
    with held_folder(folder):
        fresh = back_up(copy, folder / _FRESH, say)
        try:
            aside = _set_aside(folder / History.FILE)
            fresh.replace(folder / History.FILE)
            shutil.rmtree(folder / _FRESH)
        except OSError as error:
            raise HistoryReadOnly(folder, error.strerror or "") from error
    return aside


def _sound(file: Path) -> None:
    """Raises HistoryDamaged where the copy is not whole."""
    file.stat()
    with translating(file), contextlib.closing(connections.reading(file)) as read:
        if schema.version_of(read, file) == 0:
            raise HistoryForeign(file, "it holds nothing")
        (verdict,) = read.execute("PRAGMA quick_check(1)").fetchone()
    if verdict != "ok":
        raise HistoryDamaged(file, str(verdict))


def _set_aside(file: Path) -> Path | None:
    if not file.exists():
        return None
    number = 1
    while (aside := file.with_name(f"history.replaced-{number}.sqlite")).exists():
        number += 1
    for ending in ("-wal", "-shm", ""):
        part = file.with_name(file.name + ending)
        if part.exists():
            part.rename(aside.with_name(aside.name + ending))
    return aside
