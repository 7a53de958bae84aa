"""`holdwater analyse`: the findings of a recording, as NDJSON (contract, section 3) or for reading."""

from __future__ import annotations

import sys
from pathlib import Path
from shutil import get_terminal_size
from textwrap import fill
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from analytics.plant.description import Plant
    from analytics.records import Finding

#: Characters a line: longer ones are hard to find the beginning of the next from. Common practice, no source.
WIDEST = 96

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
        _print_story(found, plant)
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


def _print_story(found: Sequence[Finding], plant: Plant) -> None:
    """For a person, a paragraph a finding: when, in the plant's own time, what and why; and of what is still
    there the first thing to do, with its caution."""
    from analytics.advice import advice
    from collector.notify.words import NO_DEVICE

    if not found:
        print("No fault found.")
        return
    for finding in found:
        told = advice(finding.fault, finding.cause)
        cleared = "still there" if finding.cleared_us is None else f"over {_local(finding.cleared_us, plant)}"
        of = f" ({finding.of})" if finding.of else ""
        _say(f"{_local(finding.raised_us, plant)}, {cleared}: {told.title.rstrip('.')}{of}.", indent=0)
        named = f"{finding.fault}, {finding.cause}" if finding.cause else finding.fault
        _say(f"{finding.summary} [{named}; {finding.priority}]")
        if finding.cleared_us is None:
            _say(f"First: {told.steps[0].do}")
            if told.steps[0].caution:
                _say(f"Caution: {told.steps[0].caution}")
        print()
    _say(NO_DEVICE, indent=0)


def _say(text: str, indent: int = 4) -> None:
    """One paragraph, as wide as the terminal and no wider than is read with ease."""
    width = min(get_terminal_size().columns, WIDEST)
    print(
        fill(text, width, initial_indent=" " * indent, subsequent_indent=" " * indent, break_on_hyphens=False)
    )


def _local(time_us: int, plant: Plant) -> str:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    return datetime.fromtimestamp(time_us // 1_000_000, ZoneInfo(plant.timezone)).strftime("%Y-%m-%d %H:%M")
