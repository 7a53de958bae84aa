"""Reads a plant file from disk."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from analytics.plant.parsing import LONGEST_TEXT, Mistake, PlantErrors, parse_plant

if TYPE_CHECKING:
    from analytics.plant.description import Plant


def load_plant(path: str | Path) -> Plant:
    """The plant in the file at `path`, named after the file's stem.

    PlantErrors for everything that is the owner's to put right: a file that is not there, cannot
    be read or is not UTF-8 among them.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            content = file.read(4 * LONGEST_TEXT + 1)
        return parse_plant(content.decode("utf-8-sig"), path.stem)
    except OSError as error:
        raise _unreadable(path, f"cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        told = f"not UTF-8: byte 0x{error.object[error.start]:02x}; save the file as UTF-8"
        raise _unreadable(path, told, line) from error
    except PlantErrors as errors:
        errors.name = str(path)
        raise


def _unreadable(path: Path, message: str, line: int | None = None) -> PlantErrors:
    return PlantErrors(str(path), [Mistake(line, "", "", "", message)])
