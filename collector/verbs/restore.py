"""`holdwater restore`: put a copy back in the place of a plant's history."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from collector.verbs import one_plant
from collector.verbs.one_plant import with_pages

if TYPE_CHECKING:
    import argparse

HELP = "put a copy that backup made back in its place"


def arguments(parser: argparse.ArgumentParser) -> None:
    one_plant.words(parser, data="data folder to put it back into")
    parser.add_argument("copy", metavar="FROM", type=Path, help="data folder that backup copied into")


@one_plant.told
def run(options: argparse.Namespace) -> int:
    from collector.plantfile import load_plant
    from collector.settings import data_folder
    from collector.store.restore import restore

    plant = load_plant(options.plant)
    folder, copy = data_folder(options.data) / plant.name, options.copy / plant.name
    try:
        aside = with_pages("Putting back", lambda say: restore(copy, folder, say))
    except FileNotFoundError:
        print(f"{copy}: there is no copy here", file=sys.stderr)
        return 2
    print(f"Put back into {folder}.", file=sys.stderr)
    if aside is not None:
        print(f"What was there before is kept as {aside}; remove it when all is well.", file=sys.stderr)
    return 0
