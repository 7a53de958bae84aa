"""`holdwater run`: the daemon."""

from __future__ import annotations

import logging
import os
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from collector.settings import BROKER, LISTEN

if TYPE_CHECKING:
    import argparse

    from analytics.plant.description import Plant
    from collector.live.companion import Companion

HELP = "the daemon: listen to the broker, keep history, find faults, serve the dashboard"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plants", nargs="+", type=Path, metavar="PLANT", help="plant file")
    parser.add_argument("--broker", metavar="URL", help=f"mqtt://host:port or mqtts://host:port ({BROKER})")
    parser.add_argument("--data", metavar="FOLDER", help="where the histories are kept")
    parser.add_argument("--settings", metavar="FILE", help="settings file (user, password file, TLS)")
    parser.add_argument(
        "--listen", default=LISTEN, metavar="HOST:PORT", help=f"where the dashboard is served ({LISTEN})"
    )
    parser.add_argument("--cert", type=Path, metavar="FILE", help="the dashboard's certificate; else its own")
    parser.add_argument("--key", type=Path, metavar="FILE", help="the certificate's key")
    parser.add_argument("--plain", action="store_true", help="the dashboard without TLS beyond this machine")
    parser.add_argument(
        "--name", action="append", default=[], metavar="HOST", help="a host name that is ours"
    )
    parser.add_argument("--no-dashboard", action="store_true", help="collect only")


def run(options: argparse.Namespace) -> int:
    from analytics.plant.mistakes import PlantErrors
    from collector.live import logs
    from collector.live.daemon import Daemon, stop_on_signals
    from collector.live.opening import opened
    from collector.live.site import Site
    from collector.notify.office import Office
    from collector.notify.settings import notify, warnings
    from collector.plantfile import load_plant
    from collector.settings import SettingsError, broker, data_folder, kept_days, own_client_id
    from collector.store import HistoryError

    os.umask(0o077)  # what is stored says when somebody is at home: for its owner's eyes
    logs.begin()
    mistakes: list[str] = []
    plants: list[tuple[Plant, str]] = []
    for path in options.plants:
        try:
            plants.append((load_plant(path), path.read_text("utf-8-sig")))
        except PlantErrors as errors:
            mistakes.append(str(errors))
    mistakes += _same_names([plant for plant, _ in plants])
    try:
        reached = broker(options.broker, options.settings)
        kept = kept_days(options.settings)
        told = notify(options.settings)
    except SettingsError as error:
        mistakes.append(str(error))
    if mistakes:
        print("\n".join(mistakes), file=sys.stderr)
        return 2
    for warning in filter(None, [reached.loose(), *warnings(told)]):
        logging.getLogger("holdwater").warning(warning)
    data = data_folder(options.data)
    try:
        reached = replace(reached, client_id=reached.client_id or own_client_id(data))
        office = Office.of(told, reached)
        companion = _companion(options, data)
        sites = opened(
            [partial(Site, plant, text, data, kept_days=kept, office=office) for plant, text in plants],
            [plant.name for plant, _ in plants],
            data,
            companion,
        )
        daemon = Daemon(sites, reached, data, companion, office)
    except HistoryError as error:
        print(error, file=sys.stderr)
        return 2
    except OSError as error:  # a password, certificate or key that cannot be read
        print(f"the broker's settings: {error}", file=sys.stderr)
        return 2
    stop_on_signals(daemon)
    daemon.run()
    return 0


def _same_names(plants: list[Plant]) -> list[str]:
    names = [plant.name for plant in plants]
    return [
        f"{name}.toml: two plant files bear that name; a plant's history is kept by it, so rename one"
        for name in sorted({name for name in names if names.count(name) > 1})
    ]


def _companion(options: argparse.Namespace, data: Path) -> Companion | None:
    from collector.live.companion import Companion, installed

    if options.no_dashboard:
        return None
    if not installed():
        logging.getLogger("holdwater").warning(
            "no dashboard: install holdwater[dashboard], or say --no-dashboard"
        )
        return None
    return Companion(
        [
            "dashboard",
            *map(str, options.plants),
            "--data",
            str(data),
            "--listen",
            options.listen,
            "--with-parent",
            *_passed_on(options),
        ]
    )


def _passed_on(options: argparse.Namespace) -> list[str]:
    """What is said here for the dashboard."""
    files = [(word, getattr(options, word)) for word in ("cert", "key")]
    words = [part for word, file in files if file is not None for part in (f"--{word}", str(file))]
    words += [part for name in options.name for part in ("--name", name)]
    return [*words, "--plain"] if options.plain else words
