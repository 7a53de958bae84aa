"""`holdwater backup`: a copy of a plant's history, also while the daemon writes it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

HELP = "copy everything a plant has to another folder, while it is being watched"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plant", metavar="PLANT", help="plant file")
    parser.add_argument(
        "to", metavar="TO", type=Path, help="data folder to copy into; made if it is not there"
    )
    parser.add_argument("--data", metavar="FOLDER", help="data folder")


def run(options: argparse.Namespace) -> int:
    from rich.progress import Progress

    from analytics.plant.mistakes import PlantErrors
    from collector.plantfile import load_plant
    from collector.settings import data_folder
    from collector.store import HistoryError
    from collector.store.backup import back_up

    try:
        plant = load_plant(options.plant)
        folder = data_folder(options.data) / plant.name
        with Progress(transient=True) as progress:
            task = progress.add_task("Copying", total=None)
            copy = back_up(
                folder,
                options.to / plant.name,
                lambda done, whole: progress.update(task, completed=done, total=whole),
            )
    except PlantErrors as errors:
        print(errors, file=sys.stderr)
        return 2
    except FileNotFoundError:
        print(f"{folder}: there is no history here yet", file=sys.stderr)
        return 2
    except HistoryError as error:
        print(error, file=sys.stderr)
        return 1
    print(f"Copied to {copy.parent}. To use the copy: --data {options.to}", file=sys.stderr)
    return 0
