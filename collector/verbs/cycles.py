"""`holdwater cycles`: a recording's pump runs as CSV, one a row (contract, section 4)."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from collector.verbs import one_plant

if TYPE_CHECKING:
    import argparse

    from analytics.records import Cycle

HELP = "list a recording's pump runs as CSV"

#: The contract's columns that are numbers; each is a field of Cycle.
NUMBERS = (
    "run_time_s",
    "rest_before_s",
    "pressure_start_pa",
    "pressure_stop_pa",
    "drawdown_m3",
    "delivery_start_m3_s",
    "delivery_stop_m3_s",
    "demand_m3_s",
)


def arguments(parser: argparse.ArgumentParser) -> None:
    one_plant.words(parser)
    parser.add_argument("readings", metavar="READINGS", help="recording, .csv or .csv.gz")


@one_plant.told
def run(options: argparse.Namespace) -> int:
    from collector.plantfile import load_plant
    from collector.recording import outcomes

    plant = load_plant(options.plant)
    for number, outcome in enumerate(outcomes(Path(options.readings), plant)):
        if number == 0:  # not before it is known that there is a recording
            print("start,stop," + ",".join(NUMBERS))
        sys.stdout.writelines(_row(cycle) + "\n" for cycle in outcome.cycles)
    return 0


def _row(cycle: Cycle) -> str:
    from analytics.instants import rfc3339

    numbers = (getattr(cycle, name) for name in NUMBERS)
    told = ("" if number is None else f"{number:.6g}" for number in numbers)
    return ",".join((rfc3339(cycle.start_us), rfc3339(cycle.stop_us), *told))
