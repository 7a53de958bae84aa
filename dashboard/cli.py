"""`holdwater dashboard`: the pages for one plant or several."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from collector.settings import LISTEN, data_folder
from dashboard.web.address import listening

if TYPE_CHECKING:
    import argparse

HELP = "show the plants on a phone: serves the pages"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plants", nargs="+", metavar="PLANT", help="plant file")
    parser.add_argument("--data", type=Path, metavar="FOLDER", help="where the histories are kept")
    parser.add_argument(
        "--listen", default=LISTEN, metavar="HOST:PORT", help=f"where to serve (default {LISTEN})"
    )
    parser.add_argument(
        "--with-parent", action="store_true", help="end when standard input ends (for the daemon)"
    )
    parser.add_argument(
        "--name", action="append", default=[], metavar="HOST", help="a further host name that is ours"
    )
    parser.add_argument(
        "--cert", type=Path, metavar="FILE", help="certificate, where you have one of your own"
    )
    parser.add_argument("--key", type=Path, metavar="FILE", help="its key")
    parser.add_argument(
        "--plain", action="store_true", help="without TLS beyond this machine (behind a proxy or tunnel)"
    )


def run(options: argparse.Namespace) -> int:
    from analytics.plant.mistakes import PlantErrors
    from collector.live import logs
    from collector.plantfile import load_plant

    try:
        host, port = listening(options.listen)
        plants = [load_plant(path) for path in options.plants]
    except PlantErrors as mistakes:
        print(mistakes, file=sys.stderr)
        return 2
    except ValueError:
        print(f"--listen {options.listen}: expected HOST:PORT, as in {LISTEN}", file=sys.stderr)
        return 2
    logs.begin()
    if options.with_parent:
        _end_with_parent()
    os.umask(0o077)  # what is kept here says when somebody is at home
    data = data_folder(options.data)
    from dashboard.access.certificate import machine_names
    from dashboard.access.opening import opened, tls_files
    from dashboard.web.app import make_app
    from dashboard.web.serving import serve

    try:
        tls = tls_files(options, data, host)
    except (OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return 2
    opened(data, host, port, tls)
    names = frozenset(machine_names(host, options.name))
    secure = tls is not None
    serve(lambda: make_app(plants, data, options.listen, names, secure=secure, ahead=True), host, port, tls)
    return 0


def _end_with_parent() -> None:
    """The daemon holds the other end of our standard input: when that ends, so do we."""
    import signal
    import threading

    def wait() -> None:
        while os.read(sys.stdin.fileno(), 1024):  # not through a buffer, whose lock would outlive us
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=wait, name="parent", daemon=True).start()
