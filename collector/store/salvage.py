"""A damaged history: set aside under another name, what can be read of it saved into a new one.

Pages of a card go bad one by one, so most of a damaged file is good. Each table is read in order of
its key; where that fails, the next key from which it goes on is looked for in growing strides and
then by halving. Blocks are unpacked to see that they are whole, and their rollups are made anew.
"""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

from collector.store import connection as connections
from collector.store import journal, schema, tallies
from collector.store.blocks import HOUR_US, decode_readings
from collector.store.errors import BlockDamaged, HistoryDamaged, translating
from collector.store.history import History
from collector.store.sealing import store
from collector.store.writing import Writer, held_folder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from analytics.plant.description import Plant

_LOWEST, _HIGHEST = -(2**62), 2**62
#: (table, integer that orders it) of what is copied row by row
_TABLES = (
    *(("signal", "id"), ("cycle", "start_us"), ("finding", "raised_us"), ("outlook", "day")),
    *(("set_aside", "id"), ("engine", "id"), ("journal", "seq")),
    *(("alarm", "rowid"), ("alarm_change", "id"), ("logbook", "id"), ("outbox", "id"), ("command", "rowid")),
)
_AT_ONCE = 100
_FRESH = "history.new.sqlite"
_KINDS: dict[str, tuple[type, ...]] = {
    "INTEGER": (int,),
    "REAL": (int, float),
    "TEXT": (str,),
    "BLOB": (bytes,),
}


@dataclass(slots=True)
class Salvaged:
    """Where the damaged file went, and what was saved: rows by table, and readings."""

    aside: Path
    rows: dict[str, int] = field(default_factory=dict)
    readings: int = 0


def opened(data: Path, plant: Plant, damaged: bool = False) -> tuple[Writer, Salvaged | None]:
    """The plant's history for writing; a damaged one is set aside first, and what was saved said.

    `damaged` where that is known already. Raises any other HistoryError.
    """
    folder = data / plant.name
    fresh = folder / _FRESH
    if fresh.exists() and not (folder / History.FILE).exists():
        fresh.replace(folder / History.FILE)  # the power went between the last two steps of `salvage`
    if not damaged:
        try:
            return Writer(data, plant), None
        except HistoryDamaged:
            pass
    saved = salvage(folder)
    return Writer(data, plant), saved


def salvage(folder: Path) -> Salvaged:
    """Begin a new history from what can be read of a plant's damaged one, and set that aside.

    `folder` is the plant's own. The caller must have closed its Writer. Raises HistoryError, and has
    then changed nothing: it may be tried again when there is room, say.
    """
    path, fresh = folder / History.FILE, folder / _FRESH
    with held_folder(folder), translating(path):
        done = Salvaged(_free_name(path))
        _remove(fresh)
        with contextlib.closing(connections.writing(fresh)) as new:
            schema.migrate(new, fresh)
            _save(done, path, new)
        for ending in ("-wal", "-shm", ""):
            part = path.with_name(path.name + ending)
            if part.exists():
                part.rename(done.aside.with_name(done.aside.name + ending))
        fresh.replace(path)  # closed, and so without a log beside it
    return done


def _save(done: Salvaged, path: Path, new: sqlite3.Connection) -> None:
    """Everything that can be read, in one transaction; nothing where it is no database any more."""
    try:
        readable = connections.reading(path)
    except sqlite3.DatabaseError:
        return
    with contextlib.closing(readable) as old:
        new.execute("BEGIN IMMEDIATE")
        for table, key in _TABLES:
            done.rows[table] = sum(_insert(new, table, row) for row in _rows(old, table, key))
        hot = journal.span(new, _LOWEST)[1]
        done.readings = _save_sealed(old, new) + int((hot["signal"] >= 0).sum())
        _save_tallies(old, new)
        new.execute("COMMIT")


def _save_sealed(old: sqlite3.Connection, new: sqlite3.Connection) -> int:
    """Hours that are whole, and the rollups of those that are not or were given up; how many readings."""
    count = 0
    for stream, hour, _, body in _rows(old, "sealed", "rowid"):
        with contextlib.suppress(BlockDamaged):
            time_us, value = decode_readings(body)
            if isinstance(stream, int) and len(time_us) and (time_us // HOUR_US == hour).all():
                store(new, stream, hour, time_us, value)
                count += len(time_us)
    for row in _rows(old, "minutes", "rowid"):
        _insert(new, "minutes", row)
    for (stream,) in new.execute("SELECT id FROM signal").fetchall():
        for row in _rows(old, "hours", "hour", f"signal = {stream}"):
            _insert(new, "hours", row)
    tallies.put(new, tallies.SEALED_READINGS, count)
    return count


def _insert(new: sqlite3.Connection, table: str, row: tuple[Any, ...]) -> int:
    """1 where the row went in; 0 where it is there already or is not what the table holds."""
    declared = new.execute('SELECT type, "notnull", name FROM pragma_table_info(?)', (table,)).fetchall()
    declared = declared[: len(row)]  # an older file lacks the columns that were added at the end
    for value, (kind, required, _) in zip(row, declared, strict=True):
        if not isinstance(value, _KINDS[kind]) and (required or value is not None):
            return 0
    if table == "journal" and len(row[1]) % journal.RECORD.itemsize:
        return 0
    names, marks = ", ".join(f'"{name}"' for _, _, name in declared), ", ".join("?" * len(row))
    return new.execute(f"INSERT OR IGNORE INTO {table} ({names}) VALUES ({marks})", row).rowcount


def _save_tallies(old: sqlite3.Connection, new: sqlite3.Connection) -> None:
    """Counts as they were; and the numbering of commits goes on above anything that was used."""
    counts: list[tuple[str, int]] = []
    with contextlib.suppress(sqlite3.DatabaseError):
        counts = old.execute("SELECT name, value FROM tally").fetchall()
    for name, value in counts:
        if name != tallies.SEALED_READINGS and isinstance(name, str) and isinstance(value, int):
            tallies.put(new, name, value)
    if tallies.find(new, tallies.SEALED_SEQ) is None:
        (first,) = new.execute("SELECT min(seq) FROM journal").fetchone()
        (covered,) = new.execute("SELECT max(seq) FROM engine").fetchone()
        tallies.put(new, tallies.SEALED_SEQ, (first - 1) if first is not None else (covered or 0))


def _rows(old: sqlite3.Connection, table: str, key: str, where: str = "1") -> Iterator[tuple[Any, ...]]:
    """Rows of a table in order of its integer key; stretches that cannot be read are left out."""
    read = partial(_read, old, f"SELECT {key}, * FROM {table} WHERE {where} AND {key} >= ? ORDER BY {key}")
    start: int | None = _LOWEST
    had: list[tuple[Any, ...]] = []
    while start is not None:
        found = read(start, _AT_ONCE)
        if found is not None:
            yield from (row[1:] for row in found if row not in had)
            # Rows may share a key: so the last one's is asked for again.
            had = [row for row in found if row[0] == found[-1][0]]
            start = None if len(found) < _AT_ONCE else max(found[-1][0], start + 1)
            continue
        found = read(start, 1)
        if found is None:
            start = _beyond(read, start)
            continue
        yield from (row[1:] for row in found if row not in had)
        start = found[0][0] + 1 if found else None


def _read(old: sqlite3.Connection, query: str, start: int, count: int) -> list[tuple[Any, ...]] | None:
    """Up to `count` rows from a key on; None where they cannot be read or lead back (a broken page
    may send one anywhere). One row is read without looking at the next."""
    try:
        found = old.execute(f"{query} LIMIT {count}", (start,)).fetchall()
    except sqlite3.DatabaseError:
        return None
    keys = [row[0] for row in found]
    sound = (
        all(isinstance(key, int) for key in keys) and keys == sorted(keys) and (not keys or keys[0] >= start)
    )
    return found if sound else None


def _beyond(read: Callable[[int, int], list[tuple[Any, ...]] | None], start: int) -> int | None:
    """About the first key after `start` from which reading goes on; None where there is none."""
    bad, step = start, 1
    while read(good := min(bad + step, _HIGHEST), 1) is None:
        if good == _HIGHEST:
            return None
        bad, step = good, 2 * step
    while good - bad > 1:
        middle = (good + bad) // 2
        good, bad = (good, middle) if read(middle, 1) is None else (middle, bad)
    return good


def _free_name(path: Path) -> Path:
    """The first name of the kind that no damaged file has yet."""
    number = 1
    while (aside := path.with_name(f"history.damaged-{number}.sqlite")).exists():
        number += 1
    return aside


def _remove(path: Path) -> None:
    for ending in ("-wal", "-shm", ""):
        path.with_name(path.name + ending).unlink(missing_ok=True)
