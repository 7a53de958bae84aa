"""The tables, as a list of forward steps. A step that has been released is never edited.

Readings live in two forms. `journal` is the hot end: one row a commit, holding its readings in
order of arrival. `sealed` is for good: one row an hour and signal, time order, compressed, with
its rollups beside it. A reading is in exactly one of the two; `tally('sealed_seq')` is the last
journal row that was moved. What is in the journal has no stored rollups: readers add them up.
"""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from collector.store.errors import HistoryForeign, HistoryNewer, HistoryOlder

if TYPE_CHECKING:
    from pathlib import Path

#: "Hwtr": tells `file` and us that a SQLite file is a Holdwater history
APPLICATION_ID = 0x48777472

# Tables of blocks have row numbers: a block is too long for the pages of an index, which is what a
# table WITHOUT ROWID is, and new ones then stand together at the end, whichever signal they are of.
STEPS: tuple[tuple[str, ...], ...] = (
    (
        # Who said it: a new row begins when the owner changes a signal's measure or unit.
        """CREATE TABLE signal (
            id INTEGER PRIMARY KEY,
            name TEXT NOT NULL,
            measures TEXT NOT NULL,
            unit TEXT NOT NULL,
            scale TEXT NOT NULL,          -- JSON: what makes a stored value SI
            since_us INTEGER NOT NULL,    -- its first reading
            UNIQUE (name, measures, unit))""",
        "CREATE TABLE journal (seq INTEGER PRIMARY KEY, body BLOB NOT NULL)",
        """CREATE TABLE sealed (
            signal INTEGER NOT NULL, hour INTEGER NOT NULL, count INTEGER NOT NULL, body BLOB NOT NULL,
            PRIMARY KEY (signal, hour))""",
        """CREATE TABLE minutes (
            signal INTEGER NOT NULL, hour INTEGER NOT NULL, body BLOB NOT NULL,
            PRIMARY KEY (signal, hour))""",
        """CREATE TABLE hours (
            signal INTEGER NOT NULL, hour INTEGER NOT NULL, count INTEGER NOT NULL,
            minimum REAL, total REAL, maximum REAL,
            PRIMARY KEY (signal, hour)) WITHOUT ROWID""",
        """CREATE TABLE cycle (
            start_us INTEGER PRIMARY KEY, stop_us INTEGER NOT NULL, run_time_s REAL NOT NULL,
            rest_before_s REAL, pressure_start_pa REAL, pressure_stop_pa REAL, drawdown_m3 REAL,
            delivery_start_m3_s REAL, delivery_stop_m3_s REAL, demand_m3_s REAL,
            delivery_mid_m3_s REAL, motor_level REAL, filter_drop_pa REAL)""",
        """CREATE TABLE finding (
            fault TEXT NOT NULL, of TEXT NOT NULL, raised_us INTEGER NOT NULL, onset_us INTEGER NOT NULL,
            priority TEXT NOT NULL, confidence REAL NOT NULL, summary TEXT NOT NULL, cause TEXT,
            cleared_us INTEGER, evidence TEXT NOT NULL,
            PRIMARY KEY (raised_us, fault, of)) WITHOUT ROWID""",
        # The newest word of each day is kept, so that a forecast can be compared with what came.
        """CREATE TABLE outlook (
            kind TEXT NOT NULL, of TEXT NOT NULL, day INTEGER NOT NULL, time_us INTEGER NOT NULL,
            p10 REAL, p50 REAL, p90 REAL,
            PRIMARY KEY (kind, of, day)) WITHOUT ROWID""",
        """CREATE TABLE set_aside (
            id INTEGER PRIMARY KEY, time_us INTEGER NOT NULL, topic TEXT NOT NULL, reason TEXT NOT NULL,
            excerpt TEXT NOT NULL)""",
        """CREATE TABLE engine (
            id INTEGER PRIMARY KEY CHECK (id = 1), seq INTEGER NOT NULL, plant BLOB NOT NULL,
            state BLOB NOT NULL)""",
        "CREATE TABLE tally (name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID",
    ),
    (
        # One row a fault and object: where it is in its life cycle.
        """CREATE TABLE alarm (
            fault TEXT NOT NULL, of TEXT NOT NULL, state TEXT NOT NULL, since_us INTEGER NOT NULL,
            raised_us INTEGER NOT NULL, priority TEXT NOT NULL, cause TEXT, standing INTEGER NOT NULL,
            turned_us INTEGER NOT NULL, active INTEGER NOT NULL, announced_us INTEGER,
            acknowledged_us INTEGER, cleared_us INTEGER, until_us INTEGER, reason TEXT NOT NULL,
            "by" TEXT NOT NULL, times_us TEXT NOT NULL, chattering INTEGER NOT NULL,
            PRIMARY KEY (fault, of))""",
        """CREATE TABLE alarm_change (
            id INTEGER PRIMARY KEY, time_us INTEGER NOT NULL, fault TEXT NOT NULL, of TEXT,
            raised_us INTEGER NOT NULL, event TEXT NOT NULL, before TEXT NOT NULL, after TEXT NOT NULL,
            priority TEXT NOT NULL, active INTEGER NOT NULL, "by" TEXT NOT NULL, reason TEXT NOT NULL,
            chattering INTEGER NOT NULL)""",
        """CREATE TABLE logbook (
            id INTEGER PRIMARY KEY, time_us INTEGER NOT NULL, author TEXT NOT NULL, station TEXT NOT NULL,
            kind TEXT NOT NULL, words TEXT NOT NULL, figures TEXT NOT NULL, fault TEXT, of TEXT,
            raised_us INTEGER, answers INTEGER, watching INTEGER NOT NULL)""",
        # One row a message and channel; kept for a while after it was delivered.
        """CREATE TABLE outbox (
            id INTEGER PRIMARY KEY, time_us INTEGER NOT NULL, channel TEXT NOT NULL, body BLOB NOT NULL,
            priority TEXT NOT NULL, tries INTEGER NOT NULL, done_us INTEGER)""",
        "CREATE INDEX outbox_due ON outbox (channel, id) WHERE done_us IS NULL",
        # Commands of the pages that were carried out, so that each is carried out once.
        "CREATE TABLE command (id TEXT PRIMARY KEY, time_us INTEGER NOT NULL, answer TEXT NOT NULL)",
    ),
    ("ALTER TABLE alarm ADD COLUMN onset_us INTEGER NOT NULL DEFAULT 0",),
    (
        # The words with which it was raised, where later ones took their place.
        "ALTER TABLE finding ADD COLUMN raised_priority TEXT",
        "ALTER TABLE finding ADD COLUMN raised_summary TEXT",
    ),
)
VERSION = len(STEPS)


def version_of(connection: sqlite3.Connection, path: Path) -> int:
    """The file's version; 0 for an empty one. Refuses what is not ours and what is newer."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if tables and application != APPLICATION_ID:
        raise HistoryForeign(path)
    if version > VERSION:
        raise HistoryNewer(path, f"its version is {version}, the newest known here is {VERSION}")
    return int(version)


def migrate(connection: sqlite3.Connection, path: Path) -> None:
    """Bring the file to VERSION, step by step, each step a transaction of its own."""
    for number in range(version_of(connection, path), VERSION):
        connection.execute("BEGIN IMMEDIATE")
        try:
            for statement in STEPS[number]:
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {number + 1}")
            connection.execute("COMMIT")
        except sqlite3.Error:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def require_current(connection: sqlite3.Connection, path: Path) -> bool:
    """For readers: False where nothing was written yet; refuses a file they cannot read."""
    version = version_of(connection, path)
    if 0 < version < VERSION:
        raise HistoryOlder(path, f"its version is {version}, this one reads {VERSION}")
    return version == VERSION
