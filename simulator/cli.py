"""`holdwater simulate`: readings of a plant that does not exist, and what was really wrong with it."""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

    from analytics.plant.description import Plant
    from simulator.scenario import Scenario
    from simulator.simulation import Simulation

HELP = "simulate a plant: make readings with known faults, to a file or to a broker"

_DEFAULT_START = "2026-06-01T00:00:00Z"
_WRITE_US = 6 * 3_600 * 1_000_000


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plant", nargs="?", metavar="PLANT", help="plant file (TOML)")
    parser.add_argument("--scenario", metavar="NAME", help="a scenario's name (see --list) or a TOML file")
    parser.add_argument(
        "--score",
        nargs=2,
        metavar=("TRUTH", "FINDINGS"),
        help="mark findings (NDJSON) against a recording's truth.json",
    )
    parser.add_argument("--list", action="store_true", help="list the scenarios and what each is about")
    parser.add_argument("--days", type=float, metavar="N", help="how long (default: as the scenario says)")
    parser.add_argument("--seed", type=int, default=1, metavar="S", help="same seed, same bytes (default 1)")
    parser.add_argument(
        "--start",
        metavar="TIME",
        help=f"RFC 3339 (default {_DEFAULT_START}; publishing: so that it ends now)",
    )
    parser.add_argument("--out", metavar="FILE", help="readings file: .csv or .csv.gz")
    parser.add_argument("--publish", metavar="URL", help="broker to publish to: mqtt://host:port")
    parser.add_argument(
        "--speed",
        type=float,
        default=1.0,
        metavar="X",
        help="simulated seconds a second; 0: no waiting",
    )


def run(options: argparse.Namespace) -> int:
    if options.list:
        return _list()
    if options.score:
        return _score(*map(Path, options.score))
    if not options.plant or not options.scenario or not (options.out or options.publish):
        return _mistake("give PLANT, --scenario NAME and --out FILE or --publish URL; or --list")
    made = _prepare(options)
    if made is None:
        return 2
    simulation, until_us = made
    if options.publish:
        from simulator.publish import publish

        return publish(simulation, until_us, options.publish, options.speed)
    return _write(simulation, until_us, Path(options.out))


def _prepare(options: argparse.Namespace) -> tuple[Simulation, int] | None:
    """The simulation asked for and its end; None after saying what is wrong."""
    from simulator.simulation import Simulation

    plant = _plant(Path(options.plant))
    if plant is None:
        return None
    scenario = _scenario(options.scenario, plant)
    if scenario is None:
        return None
    days = options.days if options.days is not None else scenario.days
    if options.speed < 0:
        _mistake(f"--speed {options.speed:g}: expected 0 or more")
        return None
    if not 0 < days <= 20_000:
        _mistake(f"--days {days:g}: expected more than 0 and at most 20000")
        return None
    if options.seed < 0:
        _mistake(f"--seed {options.seed}: expected 0 or more")
        return None
    start_us = _start(options, days)
    if start_us is None:
        return None
    return Simulation(plant, scenario, options.seed, start_us), start_us + round(days * 86_400e6)


def _list() -> int:
    import tomllib

    from simulator import library

    for name in library.names():
        data = tomllib.loads(library.text_of(name))
        print(f"{name:20} {data['title']}. {data.get('about', '')}")
    return 0


def _score(truth: Path, findings: Path) -> int:
    from rich.console import Console
    from rich.table import Table

    from simulator.truth.score import read_findings, read_truths, score

    try:
        marks = score(
            read_truths(truth.read_text(encoding="utf-8")),
            read_findings(findings.read_text(encoding="utf-8")),
        )
    except OSError as error:
        return _mistake(f"{error.filename}: cannot be read: {error.strerror}")
    except (ValueError, KeyError, TypeError) as error:
        return _mistake(f"{truth} or {findings} is not what it should be: {error!r}")
    table = Table("fault", "found", "missed", "false", "repeated", "median delay", "cause right")
    for row in marks.rows():
        table.add_row(*map(str, row))
    console = Console()
    console.print(table)
    for (fault, stood), count in sorted(marks.false.items()):
        console.print(f"false: {fault} x {count} while there was {stood}")
    return 0


def _plant(path: Path) -> Plant | None:
    from analytics.plant.mistakes import PlantErrors
    from analytics.plant.parsing import parse_plant

    try:
        return parse_plant(path.read_text(encoding="utf-8-sig"), path.stem)
    except OSError as error:
        _mistake(f"{path}: cannot be read: {error.strerror}")
    except UnicodeDecodeError:
        _mistake(f"{path}: not UTF-8")
    except PlantErrors as errors:
        _mistake(str(errors))
    return None


def _scenario(name: str, plant: Plant) -> Scenario | None:
    from simulator import library
    from simulator.scenario_file import ScenarioErrors

    try:
        return library.load_scenario(name, plant)
    except KeyError:
        _mistake(f"no scenario {name!r}; there are: {', '.join(library.names())}; or give a TOML file")
    except OSError as error:
        _mistake(f"{name}: cannot be read: {error.strerror}")
    except ScenarioErrors as errors:
        _mistake(str(errors))
    return None


def _start(options: argparse.Namespace, days: float) -> int | None:
    """When the simulation begins: as asked; else a fixed day for a file, and for a broker now, or so
    long ago that it ends now where it runs faster than the clock."""
    text = options.start
    if text is None and options.publish:
        now_us = time.time_ns() // 1_000_000_000 * 1_000_000
        return now_us if options.speed == 1.0 else now_us - round(days * 86_400e6)
    text = text or _DEFAULT_START
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        _mistake(f"--start {text}: expected a time with an offset, such as {_DEFAULT_START}")
        return None
    return round(moment.astimezone(UTC).timestamp() * 1e6)


def _write(simulation: Simulation, until_us: int, path: Path) -> int:
    from rich.console import Console
    from rich.progress import Progress

    from simulator.readings_file import ReadingsFile, truth_path, write_truths

    console = Console(stderr=True)
    count = 0
    try:
        with ReadingsFile(path, simulation) as file, Progress(console=console, transient=True) as progress:
            task = progress.add_task("simulating", total=until_us - simulation.start_us)
            while simulation.now_us < until_us:
                batch = simulation.advance(min(simulation.now_us + _WRITE_US, until_us))
                file.write(batch)
                count += len(batch)
                progress.update(task, completed=simulation.now_us - simulation.start_us)
        faults = write_truths(truth_path(path), simulation)
    except OSError as error:
        return _mistake(f"{path}: cannot be written: {error.strerror}")
    print(f"{count} readings in {path}, {faults} faults in {truth_path(path)}")
    return 0


def _mistake(text: str) -> int:
    print(text, file=sys.stderr)
    return 2
