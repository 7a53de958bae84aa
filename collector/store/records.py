"""Cycles, findings, outlooks and what was set aside: records into rows and back, exactly."""

from __future__ import annotations

import dataclasses
from math import nan
from typing import TYPE_CHECKING

import msgspec

from analytics.records import Cycle, Finding, Outlook
from collector.store import tallies
from collector.store.shapes import SetAside

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Sequence

DAY_US = 86_400_000_000
MOST_SET_ASIDE = 1000  # kept for inspection; the oldest give way
_EXCERPT = 200

_CYCLE = tuple(one.name for one in dataclasses.fields(Cycle))
_FINDING = (
    *("fault", "of", "raised_us", "onset_us", "priority"),
    *("confidence", "summary", "cause", "cleared_us", "evidence", "raised_priority", "raised_summary"),
)


def _replace(table: str, columns: tuple[str, ...]) -> str:
    return f"REPLACE INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"


def _plain(number: float | None) -> float | None:
    """NumPy's numbers are not SQLite's."""
    return None if number is None else float(number)


def write_cycles(connection: sqlite3.Connection, cycles: Iterable[Cycle]) -> None:
    rows = [
        (int(cycle.start_us), int(cycle.stop_us), *(_plain(getattr(cycle, name)) for name in _CYCLE[2:]))
        for cycle in cycles
    ]
    connection.executemany(_replace("cycle", _CYCLE), rows)


def read_cycles(connection: sqlite3.Connection, from_us: int, to_us: int) -> list[Cycle]:
    """Runs that began at or after `from_us` and before `to_us`, in order."""
    rows = connection.execute(
        f"SELECT {', '.join(_CYCLE)} FROM cycle WHERE start_us >= ? AND start_us < ? ORDER BY start_us",
        (from_us, to_us),
    )
    return [Cycle(*row) for row in rows]


def write_findings(connection: sqlite3.Connection, findings: Iterable[Finding]) -> None:
    """A later word on the same (fault, of, raised) takes the place of the earlier."""
    connection.executemany(
        _replace("finding", _FINDING),
        [
            (
                *(f.fault, f.of or "", int(f.raised_us), int(f.onset_us), f.priority, float(f.confidence)),
                *(f.summary, f.cause, None if f.cleared_us is None else int(f.cleared_us)),
                msgspec.json.encode({name: float(number) for name, number in f.evidence.items()}).decode(),
                *(f.raised_priority, f.raised_summary),
            )
            for f in findings
        ],
    )


def read_findings(connection: sqlite3.Connection, open_only: bool) -> list[Finding]:
    """In order of `raised`."""
    only = "WHERE cleared_us IS NULL" if open_only else ""
    rows = connection.execute(
        f"SELECT {', '.join(_FINDING)} FROM finding {only} ORDER BY raised_us, fault, of"
    )
    found = []
    for row in rows:
        words = dict(zip(_FINDING, row, strict=True))
        words["of"] = words["of"] or None
        evidence = msgspec.json.decode(words["evidence"], type=dict[str, float | None])
        words["evidence"] = {name: nan if number is None else number for name, number in evidence.items()}
        found.append(Finding(**words))
    return found


def write_outlooks(connection: sqlite3.Connection, outlooks: Iterable[Outlook]) -> None:
    """The newest of each day stays."""
    connection.executemany(
        "INSERT INTO outlook VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (kind, of, day) DO UPDATE SET"
        " time_us = excluded.time_us, p10 = excluded.p10, p50 = excluded.p50, p90 = excluded.p90"
        " WHERE excluded.time_us >= outlook.time_us",
        [
            (
                o.kind,
                o.of or "",
                int(o.time_us) // DAY_US,
                int(o.time_us),
                *map(_plain, (o.p10, o.p50, o.p90)),
            )
            for o in outlooks
        ],
    )


def read_outlooks(connection: sqlite3.Connection) -> list[Outlook]:
    """The newest of each kind and object."""
    rows = connection.execute(
        "SELECT kind, of, max(time_us), p10, p50, p90 FROM outlook GROUP BY kind, of ORDER BY kind, of"
    )
    return [Outlook(kind, of or None, *rest) for kind, of, *rest in rows]


def write_set_aside(connection: sqlite3.Connection, messages: Sequence[SetAside]) -> None:
    """Keep the newest of them; count them all."""
    if not messages:
        return
    tallies.add(connection, tallies.SET_ASIDE, len(messages))
    connection.executemany(
        "INSERT INTO set_aside (time_us, topic, reason, excerpt) VALUES (?, ?, ?, ?)",
        [(m.time_us, m.topic, m.reason, m.excerpt[:_EXCERPT]) for m in messages[-MOST_SET_ASIDE:]],
    )
    connection.execute(
        "DELETE FROM set_aside WHERE id <= (SELECT max(id) FROM set_aside) - ?", (MOST_SET_ASIDE,)
    )


def read_set_aside(connection: sqlite3.Connection, limit: int) -> list[SetAside]:
    """The newest, the newest first."""
    rows = connection.execute(
        "SELECT time_us, topic, reason, excerpt FROM set_aside ORDER BY id DESC LIMIT ?", (limit,)
    )
    return [SetAside(*row) for row in rows]
