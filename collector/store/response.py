"""Alarms, the logbook, messages due and commands carried out: records into rows and back, exactly."""

from __future__ import annotations

from dataclasses import astuple, dataclass, field, fields
from typing import TYPE_CHECKING, Any

import msgspec

from analytics.alarms.records import Alarm, Change
from analytics.alarms.states import Event, State

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

Figure = float | str
MOST_WORDS = 2000


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the logbook.

    kind     "repair", "observation", "soil test", "test result", or, written by the tool, "confirmation"
    station  where on the water's way, or ""
    figures  {name: number or text}, SI, the unit last in the name
    fault, of, raised_us  the finding it is about, or None
    answers  the repair that a confirmation is about
    watching whether the tool still watches for the signature's return after this repair
    """

    id: int
    time_us: int
    author: str
    station: str
    kind: str
    words: str
    figures: dict[str, Figure] = field(default_factory=dict)
    fault: str | None = None
    of: str | None = None
    raised_us: int | None = None
    answers: int | None = None
    watching: bool = False

    @property
    def finding(self) -> str | None:
        """The finding as the pages name it in an address."""
        return None if self.fault is None else f"{self.fault}.{self.of or '-'}.{self.raised_us}"


@dataclass(frozen=True, slots=True)
class Due:
    """One message for one channel, until it is delivered (`done_us`) or given up."""

    id: int
    time_us: int
    channel: str
    body: bytes  # a Message as JSON
    priority: str
    tries: int = 0
    done_us: int | None = None


@dataclass(frozen=True, slots=True)
class Carried:
    """A command that was carried out, or refused for the reason in `answer`."""

    id: str
    time_us: int
    answer: str = ""


@dataclass(frozen=True, slots=True)
class Response:
    """What one commit makes durable beside the readings; a later record of the same key wins."""

    alarms: Sequence[Alarm] = ()
    changes: Sequence[Change] = ()
    entries: Sequence[Entry] = ()
    due: Sequence[Due] = ()
    carried: Sequence[Carried] = ()

    def __bool__(self) -> bool:
        return any(getattr(self, one.name) for one in fields(self))

    def joined(self, later: Response) -> Response:
        pairs = ((getattr(self, one.name), getattr(later, one.name)) for one in fields(self))
        return Response(*((*before, *after) for before, after in pairs))


_ALARM = tuple(one.name for one in fields(Alarm))
_CHANGE = tuple(one.name for one in fields(Change))
_ENTRY = tuple(one.name for one in fields(Entry))
_DUE = tuple(one.name for one in fields(Due))


def _put(
    connection: sqlite3.Connection, table: str, columns: Sequence[str], rows: list[tuple[Any, ...]]
) -> None:
    names, marks = ", ".join(_quoted(columns)), ", ".join("?" * len(columns))
    connection.executemany(f"REPLACE INTO {table} ({names}) VALUES ({marks})", rows)


def _quoted(columns: Sequence[str]) -> list[str]:
    return [f'"{name}"' for name in columns]


def write(connection: sqlite3.Connection, response: Response) -> None:
    """Inside the caller's transaction."""
    _put(connection, "alarm", _ALARM, [_of_alarm(alarm) for alarm in response.alarms])
    _put(connection, "alarm_change", _CHANGE, [astuple(change) for change in response.changes])
    _put(connection, "logbook", _ENTRY, [_of_entry(entry) for entry in response.entries])
    _put(connection, "outbox", _DUE, [astuple(due) for due in response.due])
    carried = [(one.id, one.time_us, one.answer) for one in response.carried]
    _put(connection, "command", ("id", "time_us", "answer"), carried)
    if response.due:
        _forget_delivered(connection, max(due.time_us for due in response.due))


#: Delivered messages are kept for looking into for a month.
_DELIVERED_US = 30 * 86_400 * 1_000_000


def _forget_delivered(connection: sqlite3.Connection, now_us: int) -> None:
    connection.execute("DELETE FROM outbox WHERE done_us < ?", (now_us - _DELIVERED_US,))


def _of_alarm(alarm: Alarm) -> tuple[Any, ...]:
    named = {name: getattr(alarm, name) for name in _ALARM}
    named |= {"of": alarm.of or "", "times_us": msgspec.json.encode(alarm.times_us).decode()}
    return tuple(named.values())


def _of_entry(entry: Entry) -> tuple[Any, ...]:
    named = {name: getattr(entry, name) for name in _ENTRY}
    named |= {"words": entry.words[:MOST_WORDS], "figures": msgspec.json.encode(entry.figures).decode()}
    return tuple(named.values())


def read_alarms(connection: sqlite3.Connection) -> list[Alarm]:
    """All alarms that ever were, by fault and object."""
    rows = connection.execute(f"SELECT {', '.join(_quoted(_ALARM))} FROM alarm ORDER BY fault, of")
    return [_alarm(dict(zip(_ALARM, row, strict=True))) for row in rows]


def _alarm(row: dict[str, Any]) -> Alarm:
    flags = {name: bool(row[name]) for name in ("standing", "active", "chattering")}
    times_us = tuple(msgspec.json.decode(row["times_us"], type=list[int]))
    return Alarm(
        **(row | flags | {"of": row["of"] or None, "state": State(row["state"]), "times_us": times_us})
    )


def read_changes(connection: sqlite3.Connection, limit: int, fault: str | None = None) -> list[Change]:
    """The newest, the newest first; of one fault, if named."""
    where, given = ("WHERE fault = ?", (fault,)) if fault else ("", ())
    rows = connection.execute(
        f"SELECT {', '.join(_quoted(_CHANGE))} FROM alarm_change {where} ORDER BY id DESC LIMIT ?",
        (*given, limit),
    )
    found = []
    for row in rows:
        named = dict(zip(_CHANGE, row, strict=True))
        named |= {name: State(named[name]) for name in ("before", "after")}
        named |= {name: bool(named[name]) for name in ("active", "chattering")}
        found.append(Change(**(named | {"event": Event(named["event"])})))
    return found


def read_logbook(
    connection: sqlite3.Connection, limit: int, kind: str | None = None, watching: bool = False
) -> list[Entry]:
    """The newest, the newest first."""
    where = [*(["kind = ?"] if kind else []), *(["watching"] if watching else [])]
    rows = connection.execute(
        f"SELECT {', '.join(_quoted(_ENTRY))} FROM logbook"
        f" {'WHERE ' + ' AND '.join(where) if where else ''} ORDER BY time_us DESC, id DESC LIMIT ?",
        (*((kind,) if kind else ()), limit),
    )
    found = []
    for row in rows:
        named = dict(zip(_ENTRY, row, strict=True))
        named["figures"] = msgspec.json.decode(named["figures"], type=dict[str, Figure])
        found.append(Entry(**(named | {"watching": bool(named["watching"])})))
    return found


def read_due(connection: sqlite3.Connection, channel: str | None, limit: int) -> list[Due]:
    """What is not delivered yet, in order; of every channel where None is named."""
    where, given = ("AND channel = ?", (channel,)) if channel else ("", ())
    rows = connection.execute(
        f"SELECT {', '.join(_quoted(_DUE))} FROM outbox WHERE done_us IS NULL {where} ORDER BY id LIMIT ?",
        (*given, limit),
    )
    return [Due(*row) for row in rows]


def read_carried(connection: sqlite3.Connection, key: str) -> Carried | None:
    """What became of a command; None where it was not carried out yet."""
    row = connection.execute("SELECT id, time_us, answer FROM command WHERE id = ?", (key,)).fetchone()
    return None if row is None else Carried(*row)


def last_id(connection: sqlite3.Connection, table: str) -> int:
    """The highest id of the logbook or the outbox; 0 for none."""
    assert table in ("logbook", "outbox"), table
    (last,) = connection.execute(f"SELECT max(id) FROM {table}").fetchone()
    return int(last or 0)
