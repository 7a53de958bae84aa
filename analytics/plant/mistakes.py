"""What is wrong with a plant file, said so that its owner can mend it."""

from __future__ import annotations

import re
from dataclasses import dataclass

_TABLE = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(
    r"\s*((?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'))*)\s*="
)


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake: where (key path, and line where it can be told), what was found, what would do."""

    key_path: str
    found: str
    accepted: str
    line: int | None = None

    def __str__(self) -> str:
        place = f"line {self.line}, {self.key_path}" if self.line else self.key_path
        return f"{place}: found {self.found}; {self.accepted}"


class PlantErrors(ValueError):
    """Every mistake of one plant file."""

    def __init__(self, name: str, mistakes: list[Mistake]) -> None:
        self.name = name
        self.mistakes = tuple(sorted(mistakes, key=lambda one: (one.line or 0, one.key_path)))
        super().__init__("\n".join(f"{name}: {mistake}" for mistake in self.mistakes))


def lines_of_keys(text: str) -> dict[str, int]:
    """Line number of each key path and table of a TOML text, `signal[0].unit` style.

    TOML parsers keep no positions, so this reads the text a second time by lines: tables, keys and
    dotted keys, which is all that a plant file has. A key it does not find simply has no line.
    """
    found: dict[str, int] = {}
    counts: dict[str, int] = {}
    prefix = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if table := _TABLE.match(line):
            prefix = _plain(table[2])
            if table[1] == "[[":
                counts[prefix] = counts.get(prefix, -1) + 1
                prefix = f"{prefix}[{counts[prefix]}]"
            found.setdefault(prefix, number)
        elif key := _KEY.match(line):
            path = _plain(key[1])
            found.setdefault(f"{prefix}.{path}" if prefix else path, number)
    return found


def _plain(path: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in path.split("."))
