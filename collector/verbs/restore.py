"""`holdwater restore`: put a copy back in the place of a plant's history."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

HELP = "put a copy that backup made back in its place"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plant", metavar="PLANT", help="plant file")
    parser.add_argument("copy", metavar="FROM", type=Path, help="data folder that backup copied into")
    parser.add_argument("--data", metavar="FOLDER", help="data folder to put it back into")


def run(options: argparse.Namespace) -> int:
    from rich.progress import Progress

    from analytics.plant.mistakes import PlantErrors
    from collector.plantfile import load_plant
    from collector.settings import data_folder
    from collector.store import HistoryError
    from collector.store.restore import restore

    try:
        plant = load_plant(options.plant)
        folder = data_folder(options.data) / plant.name
        with Progress(transient=True) as progress:
            task = progress.add_task("Putting back", total=None)
            aside = restore(
                options.copy / plant.name,
                folder,
                lambda done, whole: progress.update(task, completed=done, total=whole),
            )
    except PlantErrors as errors:
        print(errors, file=sys.stderr)
        return 2
    except FileNotFoundError:
        print(f"{options.copy / plant.name}: there is no copy here", file=sys.stderr)
        return 2
    except HistoryError as error:
        print(error, file=sys.stderr)
        return 1
    print(f"Put back into {folder}.", file=sys.stderr)
    if aside is not None:
        print(f"What was there before is kept as {aside}; remove it when all is well.", file=sys.stderr)
    return 0
