"""On which line of a TOML text a key stands.

No kept library gives positions, so the text is cut into statements: the fewest lines that tomllib
takes on their own. What each statement sets is then tomllib's answer too; there is no second
grammar here. Used only once there is a mistake to place.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analytics.plant.mistakes import Path

#: A value that spans more lines than this is not looked for, nor is anything once so many lines
#: have been tried in all: no text may keep the search busy.
_LONGEST_STATEMENT = 200
_MOST_TRIED = 200_000


def lines_of_keys(text: str) -> dict[Path, int]:
    """Path of every table and key to its line, counted from 1. Array elements count from 0."""
    lines = text.replace("\r\n", "\n").split("\n")
    found: dict[Path, int] = {}
    table: Path = ()
    elements: dict[Path, int] = {}
    at = tried = 0
    while at < len(lines) and tried < _MOST_TRIED:
        size, setting, cost = _statement(lines, at)
        tried += cost
        if lines[at].lstrip().startswith("["):
            table = _table(setting, elements) if setting else ("?",)
            found.setdefault(table, at + 1)
        else:
            for path in _paths(setting):
                found.setdefault(table + path, at + 1)
        at += size
    return found


def line_of(path: Path, lines: dict[Path, int]) -> int | None:
    """The line of `path`, or of the nearest of its parents that has one."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


def _statement(lines: list[str], at: int) -> tuple[int, dict[str, Any], int]:
    """Lines taken by the statement that begins at `at` (one if it cannot be read), what it sets,
    and how many lines were tried for it."""
    cost = 0
    for size in range(1, min(_LONGEST_STATEMENT, len(lines) - at) + 1):
        cost += size
        try:
            return size, tomllib.loads("\n".join(lines[at : at + size])), cost
        except (ValueError, RecursionError):
            continue
    return 1, {}, cost


def _table(setting: dict[str, Any], elements: dict[Path, int]) -> Path:
    """The table that a header opens; `elements` counts arrays of tables so far."""
    path: Path = ()
    inner: Any = setting
    while isinstance(inner, dict) and inner:
        key, inner = next(iter(inner.items()))
        path += (key,)
        if isinstance(inner, list):
            elements[path] = elements.get(path, -1) + 1
        if path in elements:
            path += (elements[path],)
        if isinstance(inner, list):
            return path
    return path


def _paths(setting: dict[str, Any]) -> list[Path]:
    """Every path that a statement sets, tables on the way and inside inline tables included."""
    paths: list[Path] = []
    waiting: list[tuple[Path, Any]] = [((), setting)]
    while waiting:
        path, value = waiting.pop()
        if path:
            paths.append(path)
        if isinstance(value, dict):
            waiting.extend(((*path, key), inner) for key, inner in value.items())
    return paths
