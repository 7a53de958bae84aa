"""`holdwater export`: stored readings as a readings file (contract, section 2) on standard output.

Full resolution, declared units, time order. Numbers are the shortest decimals that give the
stored value back exactly, so that export, import and export again give the same bytes.
"""

from __future__ import annotations

import csv
import io
import sys
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from collector.verbs import one_plant

if TYPE_CHECKING:
    import argparse

    import numpy as np
    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.readings import Readings

HELP = "write stored readings to standard output, in the form that analyse and import take"

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_ALL = 2**62


def arguments(parser: argparse.ArgumentParser) -> None:
    one_plant.words(parser, data="data folder")
    parser.add_argument(
        "--signal", metavar="NAME", action="append", help="only this signal; may be given again"
    )
    span = "date or time (2031-05-04T06:12:31Z); without an offset it is the plant's own time"
    parser.add_argument("--from", dest="start", metavar="T", help=f"from this {span}")
    parser.add_argument("--to", dest="stop", metavar="T", help="up to, and not including, this time")


@one_plant.told
def run(options: argparse.Namespace) -> int:
    from collector.plantfile import load_plant
    from collector.settings import data_folder
    from collector.store import History

    plant = load_plant(options.plant)
    mistakes: list[str] = []
    names = _signals(options.signal, plant, mistakes)
    start = _instant("--from", options.start, plant, -_ALL, mistakes)
    stop = _instant("--to", options.stop, plant, _ALL, mistakes)
    if mistakes:
        print("\n".join(mistakes), file=sys.stderr)
        return 2
    with History(data_folder(options.data), plant) as history:
        sys.stdout.write("time,signal,value\n")
        for part in history.recording(names, start, stop):
            sys.stdout.write(rows(part, plant))
    return 0


def rows(readings: Readings, plant: Plant) -> str:
    """Stored readings as CSV lines, each with its newline."""
    names = [_field(signal.name) for signal in plant.signals]
    return "".join(
        f"{time},{names[position]},{number(value)}\n"
        for time, position, value in zip(
            instants(readings.time_us), readings.signal.tolist(), readings.value.tolist(), strict=True
        )
    )


def instants(time_us: NDArray[np.int64]) -> list[str]:
    """RFC 3339 in UTC, with microseconds only where there are any."""
    import numpy as np

    texts = np.datetime_as_string(time_us.astype("datetime64[us]")).tolist()
    return [text[:-7] + "Z" if text.endswith(".000000") else text + "Z" for text in texts]


def number(value: float) -> str:
    """The shortest decimal that reads back as exactly this float64."""
    text = repr(value)
    return text[:-2] if text.endswith(".0") else text


def _field(name: str) -> str:
    """A name as a CSV field, quoted where it must be."""
    line = io.StringIO()
    csv.writer(line, lineterminator="").writerow([name])
    return line.getvalue()


def _signals(asked: list[str] | None, plant: Plant, mistakes: list[str]) -> list[str]:
    known = [signal.name for signal in plant.signals]
    accepted = ", ".join(known)
    mistakes += [
        f"--signal: found {name!r}; accepted are {accepted}" for name in asked or [] if name not in known
    ]
    return [name for name in known if not asked or name in asked]


def _instant(option: str, text: str | None, plant: Plant, otherwise: int, mistakes: list[str]) -> int:
    if text is None:
        return otherwise
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        mistakes.append(
            f"{option}: found {text!r}; accepted is a date or a time, such as 2031-05-04T06:12:31Z"
        )
        return otherwise
    if when.tzinfo is None:
        when = when.replace(tzinfo=ZoneInfo(plant.timezone))
    return (when - _EPOCH) // timedelta(microseconds=1)
