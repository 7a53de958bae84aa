"""The owner's mistakes in a plant file, each with its place, what was found and what is accepted."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

#: How much of a wrong value is shown.
_EXCERPT = 60


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing wrong. `line` counts from 1; `key_path` is like `switch.cut_in` or `signal[2].unit`,
    the signals counted from 1; `found` and `accepted` are "" where they would say nothing."""

    line: int | None
    key_path: str
    found: str
    accepted: str
    message: str

    def __str__(self) -> str:
        place = ": ".join(part for part in (f"line {self.line}" if self.line else "", self.key_path) if part)
        said = f"{place}: {self.message}" if place else self.message
        if self.found:
            said += f"; found {self.found}"
        if self.accepted:
            said += f"; accepted: {self.accepted}"
        return said


class PlantErrors(ValueError):
    """Every mistake of one plant file. `str` gives one line for each."""

    def __init__(self, name: str, mistakes: list[Mistake]) -> None:
        self.name = name
        self.mistakes = mistakes
        super().__init__(name, mistakes)

    def __str__(self) -> str:
        return "\n".join(f"{self.name}: {mistake}" for mistake in self.mistakes)


Path = tuple[str | int, ...]


@dataclass
class Mistakes:
    """Where the parser writes down what is wrong, by path; lines are looked up at the end."""

    found: list[tuple[Path, Mistake]] = field(default_factory=list)

    def add(self, path: Path, message: str, *, value: Any = None, accepted: str = "") -> None:
        """One mistake at `path`; `value` is what stood there, if anything did."""
        shown = "" if value is None else as_written(value)
        self.found.append((path, Mistake(None, key_path(path), shown, accepted, message)))

    def told_of(self, path: Path) -> bool:
        """Whether a mistake was written down at just this path."""
        return any(told == path for told, _ in self.found)


def key_path(path: Path) -> str:
    """A path in words: ("signal", 1, "unit") is `signal[2].unit`."""
    said = ""
    for part in path:
        said += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if said else part
    return _one_line(said)


def as_written(value: Any) -> str:
    """A value much as the owner wrote it, in one line, cut where it is long."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + _one_line(value) + '"'
    if isinstance(value, dict):
        return "a table"
    try:
        return _one_line(str(value))
    except ValueError:  # an integer of thousands of digits
        return "a number of thousands of digits"


def _one_line(text: str) -> str:
    clean = "".join(char if char.isprintable() else "?" for char in text[: _EXCERPT + 1])
    return clean[:_EXCERPT] + "…" if len(clean) > _EXCERPT else clean
