"""`holdwater check`: a plant file read back, with what follows from it and what it leaves unseen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.verbs import one_plant

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from rich.console import Console

    from analytics.appraisal import Row
    from analytics.plant.description import Plant

HELP = "say what a plant file means, and every mistake in it"


def arguments(parser: argparse.ArgumentParser) -> None:
    one_plant.words(parser)


@one_plant.told
def run(options: argparse.Namespace) -> int:
    from collector.plantfile import load_plant

    report(load_plant(options.plant))
    return 0


def report(plant: Plant) -> None:
    """Prints everything there is to say of a sound plant file."""
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False)
    # Wide terminals do not make it easier to read.
    console.width = min(console.width, 100)
    with console.capture() as printed:
        _print(console, plant)
    # The columns are padded with blanks that a pipe or a pager has no use for.
    print("\n".join(line.rstrip() for line in printed.get().splitlines()))


def _print(console: Console, plant: Plant) -> None:
    from analytics import appraisal

    units = "US units" if plant.display_units == "us" else "metric units"
    console.print(f"{plant.title} ({plant.name}, version {plant.version}, {units})", style="bold")
    _section(console, "What was understood", appraisal.understood(plant))
    _section(console, "Signals", appraisal.signals(plant))
    _section(console, "What follows from it", appraisal.figures(plant))
    for remark in plant.remarks:
        console.print(f"\nNote: {remark}", style="bold")
    shown = appraisal.shows(plant)
    _section(console, "What these sensors show", [row for can, row in shown if can])
    _section(console, "What they cannot show", [row for can, row in shown if not can])
    _section(console, "What it foretells", appraisal.foretells(plant))
    _section(console, "What one more sensor would add", appraisal.one_more_sensor(plant))


def _section(console: Console, heading: str, rows: Sequence[Row]) -> None:
    """A heading and its rows in two columns; nothing where there are none."""
    if not rows:
        return
    from rich.table import Table

    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True, max_width=24, overflow="ellipsis")
    table.add_column(overflow="fold")
    for row in rows:
        table.add_row(f"  {row.label}", row.words)
    console.print(f"\n{heading}", style="bold")
    console.print(table)
