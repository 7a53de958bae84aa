"""Running counts by name, in one small table. Written only where one changed, to spare the card."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3

SEALED_SEQ = "sealed_seq"  # the last journal row that was moved into `sealed`
SEALED_READINGS = "sealed_readings"
REPEATED = "repeated"  # came again with a (signal, time) that was stored already
TOO_OLD = "too_old"  # older than what the owner keeps
SET_ASIDE = "set_aside"

KEPT_FROM_HOUR = "kept_from_hour"  # readings before it were given up as the owner set

_INTERNAL = (SEALED_SEQ, SEALED_READINGS, KEPT_FROM_HOUR)


def find(connection: sqlite3.Connection, name: str) -> int | None:
    row = connection.execute("SELECT value FROM tally WHERE name = ?", (name,)).fetchone()
    return int(row[0]) if row else None


def get(connection: sqlite3.Connection, name: str) -> int:
    return find(connection, name) or 0


def add(connection: sqlite3.Connection, name: str, more: int) -> None:
    if more:
        connection.execute(
            "INSERT INTO tally VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = value + excluded.value",
            (name, more),
        )


def put(connection: sqlite3.Connection, name: str, value: int) -> None:
    connection.execute(
        "INSERT INTO tally VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        (name, value),
    )


def everything(connection: sqlite3.Connection) -> dict[str, int]:
    """All counts a person may want to see, by name."""
    rows = connection.execute("SELECT name, value FROM tally ORDER BY name")
    return {name: value for name, value in rows if name not in _INTERNAL}
