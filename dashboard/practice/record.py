"""What has been learned in Practice: a small file of its own beside the plant's history, never in it."""

from __future__ import annotations

import json
import threading
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

#: Right so many times in a row: mastered.
IN_A_ROW = 3
FILE = "practice.json"


@dataclass(slots=True)
class Marks:
    """Blind answers on one lesson."""

    asked: int = 0
    right: int = 0
    in_a_row: int = 0

    @property
    def mastered(self) -> bool:
        return self.in_a_row >= IN_A_ROW


class Record:
    """The record of one plant's people. A file that cannot be read counts as none, and is kept aside."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE
        self._lock = threading.Lock()

    def read(self) -> dict[str, Marks]:
        """Marks by the lesson's name."""
        try:
            said = json.loads(self._path.read_text(encoding="utf-8"))
            return {str(name): Marks(**one) for name, one in said["lessons"].items()}
        except FileNotFoundError:
            return {}
        except (ValueError, KeyError, TypeError, AttributeError):
            return {}

    def answered(self, name: str, right: bool) -> Marks:
        """Note an answer. OSError where the file cannot be written."""
        with self._lock:
            marks = self.read()
            one = marks.setdefault(name, Marks())
            one.asked += 1
            one.right += right
            one.in_a_row = one.in_a_row + 1 if right else 0
            self._write(marks)
            return one

    def _write(self, marks: dict[str, Marks]) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        text = json.dumps(
            {"version": 1, "lessons": {name: asdict(one) for name, one in marks.items()}}, indent=1
        )
        fresh = self._path.with_suffix(".new")
        fresh.write_text(text + "\n", encoding="utf-8")
        fresh.replace(self._path)
