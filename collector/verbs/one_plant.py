"""What the verbs about one plant have in common: their first words, and how they end where they must stop."""

from __future__ import annotations

import sys
from functools import wraps
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

T = TypeVar("T")


def words(parser: argparse.ArgumentParser, data: str | None = None) -> None:
    """The plant file; and --data, where `data` says what for."""
    parser.add_argument("plant", metavar="PLANT", help="plant file")
    if data is not None:
        parser.add_argument("--data", metavar="FOLDER", help=data)


def told(run: Callable[[argparse.Namespace], int]) -> Callable[[argparse.Namespace], int]:
    """A verb that says what stopped it, in the error's words, and ends with its status."""

    @wraps(run)
    def running(options: argparse.Namespace) -> int:
        try:
            return run(options)
        except Exception as error:
            status = _status(error)
            if status is None:
                raise
            print(error, file=sys.stderr)
            return status

    return running


def with_pages(title: str, work: Callable[[Callable[[int, int], None]], T]) -> T:
    """Do `work`, which is given what to call with pages done and pages in all, and show how far it is."""
    from rich.progress import Progress

    with Progress(transient=True) as progress:
        task = progress.add_task(title, total=None)
        return work(lambda done, whole: progress.update(task, completed=done, total=whole))


def _status(error: Exception) -> int | None:
    """2 for the owner's mistakes, 1 for what the world put in the way, None for a mistake of ours.

    Asked only when something went wrong, so that a verb need not load what it does not use.
    """
    from analytics.plant.mistakes import PlantErrors
    from collector.readings.file import ReadingsError
    from collector.store.errors import HistoryError

    if isinstance(error, PlantErrors | ReadingsError):
        return 2
    return 1 if isinstance(error, HistoryError) else None
