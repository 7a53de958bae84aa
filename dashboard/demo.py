"""`holdwater demo`: Juniper Bench, a simulated plant, with everything that is real around it.

Two weeks of history are simulated and examined first; then the simulator goes on from that very
moment, through a real broker, to the same collector and dashboard that watch a real plant.
"""

from __future__ import annotations

import shutil
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

HELP = "show Juniper Bench, a simulated plant, with a broker, the collector and the dashboard"

_DAYS = 14
#: Stands in a data folder that the demo made, so that it deletes no other.
_MARK = "this-folder-is-the-demo's"


def arguments(parser: argparse.ArgumentParser) -> None:
    from collector.settings import LISTEN

    parser.add_argument(
        "--data", type=Path, default=Path("demo-data"), metavar="FOLDER", help="where to keep it (demo-data)"
    )
    parser.add_argument("--listen", default=LISTEN, metavar="HOST:PORT", help=f"where to serve ({LISTEN})")
    parser.add_argument("--days", type=int, default=_DAYS, metavar="N", help=f"of history ({_DAYS})")


def run(options: argparse.Namespace) -> int:
    # A shell without job control starts its children deaf to Ctrl-C, which here must be heard.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    from dashboard.demo_stage import perform

    if not cleared(options.data):
        print(
            f"{options.data}: holds something that the demo did not make; name another folder with --data",
            file=sys.stderr,
        )
        return 2
    return perform(options.data, options.listen, options.days)


def cleared(folder: Path) -> bool:
    """Whether `folder` is now empty and ours: one of an earlier demo is emptied, any other is let be."""
    if folder.exists() and any(folder.iterdir()):
        if not (folder / _MARK).exists():
            return False
        shutil.rmtree(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / _MARK).touch()
    return True
