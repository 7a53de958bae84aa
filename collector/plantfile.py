"""Reads a plant file from disk; the parsing itself is `analytics.plant.parsing`."""

from __future__ import annotations

from pathlib import Path

from analytics.plant.description import Plant
from analytics.plant.mistakes import Mistake, PlantErrors
from analytics.plant.parsing import parse_plant


def load_plant(path: str | Path) -> Plant:
    """The plant of one file; its short name is the file's stem. Raises PlantErrors."""
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"a byte that is not UTF-8 at position {error.start}"
        raise PlantErrors(str(path), [Mistake("the file", found, "save it as UTF-8 text")]) from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise PlantErrors(str(path), [Mistake("the file", reason, "a plant file is wanted")]) from error
    return parse_plant(text, path.stem)
