"""Readings and truths to disk."""

from __future__ import annotations

import csv
import gzip
import io
import json
from typing import TYPE_CHECKING, BinaryIO, Self

import numpy as np

from simulator.truth.labels import stamp, truths

if TYPE_CHECKING:
    from pathlib import Path

    from simulator.simulation import Batch, Simulation


class ReadingsFile:
    """A readings CSV being written, gzip by its name. The same readings give the same bytes."""

    def __init__(self, path: Path, simulation: Simulation) -> None:
        self._names = [_cell(signal.name) for signal in simulation.plant.signals]
        self._decimals = simulation.decimals()
        self._raw: BinaryIO = path.open("wb")
        # no name and no time in the gzip header: equal content, equal file
        self._out = (
            gzip.GzipFile("", "wb", compresslevel=4, fileobj=self._raw, mtime=0)
            if path.suffix == ".gz"
            else self._raw
        )
        self._out.write(b"time,signal,value\n")

    def write(self, batch: Batch) -> None:
        """Append readings in the order given."""
        if not len(batch):
            return
        times = np.datetime_as_string(batch.time_us.astype("datetime64[us]").astype("datetime64[ms]"))
        values = np.empty(len(batch), dtype=object)
        for i, decimals in enumerate(self._decimals):
            here = batch.signal == i
            values[here] = [f"{value:.{decimals}f}" for value in batch.value[here].tolist()]
        names = [self._names[i] for i in batch.signal.tolist()]
        rows = [
            f"{time}Z,{name},{value}" for time, name, value in zip(times.tolist(), names, values, strict=True)
        ]
        self._out.write(("\n".join(rows) + "\n").encode())

    def close(self) -> None:
        if self._out is not self._raw:
            self._out.close()
        self._raw.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _cell(text: str) -> str:
    """A name as a CSV cell, quoted where it has to be."""
    out = io.StringIO()
    csv.writer(out).writerow([text])
    return out.getvalue().rstrip("\r\n")


def truth_path(readings: Path) -> Path:
    """Where the truths of a readings file stand: readings.csv.gz -> readings.truth.json."""
    stem = readings.name.removesuffix(".gz").removesuffix(".csv")
    return readings.with_name(f"{stem}.truth.json")


def write_truths(path: Path, simulation: Simulation) -> int:
    """The truths as JSON: {"version": 1, "plant", "scenario", "seed", "from", "until", "faults": [...]}.

    Returns how many faults there are."""
    wrong = truths(simulation)
    content = {
        "version": 1,
        "plant": simulation.plant.name,
        "scenario": simulation.scenario.name,
        "seed": simulation.seed,
        "from": stamp(simulation.start_us),
        "until": stamp(simulation.now_us),
        "faults": [truth.as_json() for truth in wrong],
    }
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    return len(wrong)
