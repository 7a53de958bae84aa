"""`holdwater import`: a readings file (contract, section 2) through the engine into a history."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from collector.verbs import one_plant

if TYPE_CHECKING:
    import argparse

    from collector.backfill import Backfilled
    from collector.readings.file import ReadingsFile
    from collector.store import Writer

HELP = "examine a readings file and add it, with what was found, to a plant's history"


def arguments(parser: argparse.ArgumentParser) -> None:
    one_plant.words(parser, data="data folder")
    parser.add_argument("readings", metavar="READINGS", type=Path, help="readings file (.csv or .csv.gz)")


@one_plant.told
def run(options: argparse.Namespace) -> int:
    from collector.plantfile import load_plant
    from collector.readings.file import ReadingsFile
    from collector.settings import data_folder
    from collector.store import Writer

    plant = load_plant(options.plant)
    file = ReadingsFile(options.readings, plant, stored=True)
    with Writer(data_folder(options.data), plant) as history:
        history.keep_plant_file(Path(options.plant).read_text("utf-8"))
        done = _with_progress(history, file)
    print(summary(done, file), file=sys.stderr)
    return 0


def summary(done: Backfilled, file: ReadingsFile) -> str:
    """What came of it, in words."""
    lines = [f"{done.stored:,} readings stored, {len(done.findings):,} findings."]
    if done.repeated:
        lines.append(f"{done.repeated:,} readings were stored already.")
    if done.not_examined:
        lines.append(f"{done.not_examined:,} readings lie before what was examined: stored, not examined.")
    if file.malformed:
        lines.append(f"{file.malformed:,} rows could not be read, the first of them:")
        lines += [f"  line {line}: {reason}" for line, reason in file.named[:10]]
    return "\n".join(lines)


def _with_progress(history: Writer, file: ReadingsFile) -> Backfilled:
    from rich.console import Console

    from analytics.instants import rfc3339
    from collector.backfill import backfill

    with Console(stderr=True).status("Reading …") as status:

        def say(done: Backfilled) -> None:
            reached = (
                ""
                if done.newest_us is None
                else f", up to {rfc3339(done.newest_us // 1_000_000 * 1_000_000)}"
            )
            status.update(f"{done.stored + done.repeated:,} readings{reached}, {len(done.findings)} findings")

        return backfill(history, file, say)
