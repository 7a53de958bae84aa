"""`holdwater findings`: stored findings as NDJSON (contract, section 3) on standard output."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.verbs import one_plant

if TYPE_CHECKING:
    import argparse

HELP = "write stored findings to standard output, one JSON object a line"


def arguments(parser: argparse.ArgumentParser) -> None:
    one_plant.words(parser, data="data folder")
    parser.add_argument("--open", action="store_true", help="only those that have not cleared")


@one_plant.told
def run(options: argparse.Namespace) -> int:
    from analytics.findings_json import finding_line
    from collector.plantfile import load_plant
    from collector.settings import data_folder
    from collector.store import History

    plant = load_plant(options.plant)
    with History(data_folder(options.data), plant) as history:
        for finding in history.findings(open_only=options.open):
            print(finding_line(finding))
    return 0
