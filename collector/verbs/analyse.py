"""`holdwater analyse`: the findings of a recording, as NDJSON (contract, section 3) or for reading."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from analytics.plant.description import Plant
    from analytics.records import Finding

HELP = "find the faults in a recording"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plant", metavar="PLANT", help="plant file")
    parser.add_argument("readings", metavar="READINGS", help="recording, .csv or .csv.gz")
    parser.add_argument("--json", action="store_true", help="one JSON object a line, for scripts")


def run(options: argparse.Namespace) -> int:
    from analytics.plant.mistakes import PlantErrors
    from collector.plantfile import load_plant
    from collector.readings.file import ReadingsError

    try:
        plant = load_plant(options.plant)
        found = findings(Path(options.readings), plant)
    except (PlantErrors, ReadingsError) as error:
        print(error, file=sys.stderr)
        return 2
    if options.json:
        _print_json(found)
    else:
        _print_table(found, plant)
    return 0


def findings(path: Path, plant: Plant) -> list[Finding]:
    """The findings of a recording in their last words, in order of `raised`."""
    from analytics.faults import FAULTS
    from collector.recording import outcomes

    last: dict[tuple[str, str, int], Finding] = {}
    for outcome in outcomes(path, plant):
        for finding in outcome.findings:
            last[finding.key] = finding
    return sorted(last.values(), key=lambda one: (one.raised_us, FAULTS.index(one.fault), one.of or ""))


def _print_json(found: Sequence[Finding]) -> None:
    from analytics.findings_json import finding_line

    sys.stdout.writelines(finding_line(finding) + "\n" for finding in found)


def _print_table(found: Sequence[Finding], plant: Plant) -> None:
    """For a person: when, how urgent, what, and the sentence, in the plant's own time."""
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    if not found:
        console.print("No fault found.")
        return
    table = Table("raised", "cleared", "priority", "fault", "what", box=None, pad_edge=False)
    for finding in found:
        name = finding.fault if finding.of is None else f"{finding.fault} ({finding.of})"
        cause = f", {finding.cause}" if finding.cause else ""
        cleared = "still there" if finding.cleared_us is None else _local(finding.cleared_us, plant)
        table.add_row(
            _local(finding.raised_us, plant), cleared, finding.priority, name + cause, finding.summary
        )
    console.print(table)


def _local(time_us: int, plant: Plant) -> str:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    return datetime.fromtimestamp(time_us // 1_000_000, ZoneInfo(plant.timezone)).strftime("%Y-%m-%d %H:%M")
