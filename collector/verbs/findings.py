"""`holdwater findings`: stored findings as NDJSON (contract, section 3) on standard output."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

HELP = "write stored findings to standard output, one JSON object a line"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plant", metavar="PLANT", help="plant file")
    parser.add_argument("--data", metavar="FOLDER", help="data folder")
    parser.add_argument("--open", action="store_true", help="only those that have not cleared")


def run(options: argparse.Namespace) -> int:
    from analytics.findings_json import finding_line
    from analytics.plant.mistakes import PlantErrors
    from collector.plantfile import load_plant
    from collector.settings import data_folder
    from collector.store import History, HistoryError

    try:
        plant = load_plant(options.plant)
        with History.open(data_folder(options.data), plant, read_only=True) as history:
            for finding in history.findings(open_only=options.open):
                print(finding_line(finding))
    except PlantErrors as errors:
        print(errors, file=sys.stderr)
        return 2
    except HistoryError as error:
        print(error, file=sys.stderr)
        return 1
    return 0
