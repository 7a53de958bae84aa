"""What a table of the plant file is: its keys, and the part of the plant that it makes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from analytics.plant.fields import Reader
from analytics.plant.mistakes import Mistakes, Path

Fields = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its name in the file, the field it fills, how it is read."""

    name: str
    field: str
    read: Reader
    required: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """One table, or with `named` one table a name ([storage.rain]): its keys and what it makes."""

    name: str
    field: str  # of Plant
    makes: Callable[..., Any]
    keys: tuple[Key, ...]
    named: bool = False
    check: Callable[[Fields, Fields, Path, Mistakes], None] | None = None  # read, written, path
