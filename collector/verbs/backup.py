"""`holdwater backup`: a copy of a plant's history, also while the daemon writes it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from collector.verbs import one_plant
from collector.verbs.one_plant import with_pages

if TYPE_CHECKING:
    import argparse

HELP = "copy everything a plant has to another folder, while it is being watched"


def arguments(parser: argparse.ArgumentParser) -> None:
    one_plant.words(parser, data="data folder")
    parser.add_argument(
        "to", metavar="TO", type=Path, help="data folder to copy into; made if it is not there"
    )


@one_plant.told
def run(options: argparse.Namespace) -> int:
    from collector.plantfile import load_plant
    from collector.settings import data_folder
    from collector.store.backup import back_up

    plant = load_plant(options.plant)
    folder = data_folder(options.data) / plant.name
    try:
        copy = with_pages("Copying", lambda say: back_up(folder, options.to / plant.name, say))
    except FileNotFoundError:
        print(f"{folder}: there is no history here yet", file=sys.stderr)
        return 2
    print(f"Copied to {copy.parent}. To use the copy: --data {options.to}", file=sys.stderr)
    return 0
