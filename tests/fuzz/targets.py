"""Each target takes bytes, reads them as the product would, and says what must hold for any bytes.

Bad input is the owner's or the world's: it is told, never raised. So any exception out of a target is
a finding, and so is a failed assertion.
"""

from __future__ import annotations

import tempfile
from functools import cache
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.mistakes import PlantErrors
from analytics.plant.parsing import parse_plant
from analytics.plant.payload import MOST_REJECTS, Decoder
from collector.readings.blocks import BlockReader
from collector.readings.file import ReadingsError, ReadingsFile
from collector.readings.rows import Malformed, Rows

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.plant.description import Plant

_PLANTS = Path(__file__).parents[1] / "analytics" / "plant"
NOW_US = 1_800_000_000_000_000


@cache
def plant(name: str) -> Plant:
    return parse_plant((_PLANTS / name).read_text("utf-8"), name.removesuffix(".toml"))


@cache
def decoder() -> tuple[Decoder, list[str], int]:
    """(decoder, its topics, its number of signals) of a plant that knows every form of payload."""
    known = plant("payload_plant.toml")
    return Decoder(known), sorted({signal.topic for signal in known.signals}), len(known.signals)


def payload(data: bytes) -> None:
    """The first byte chooses the topic, the rest is the payload."""
    ours, topics, signals = decoder()
    topic, body = topics[data[0] % len(topics)] if data else topics[0], data[1:]
    got = ours.decode(topic, body, NOW_US)
    rows = got.readings
    assert len(rows.signal) == len(rows.time_us) == len(rows.value)
    assert all(0 <= at < signals for at in rows.signal)
    assert all(isinstance(at, int) and abs(at) < 2**63 for at in rows.time_us)
    assert all(isfinite(value) for value in rows.value)
    assert len(got.rejects) <= MOST_REJECTS + 1
    for one in got.rejects:
        assert one.topic == topic
        assert one.reason
        assert one.reason.isprintable()
        assert len(one.reason) < 400
        assert len(one.excerpt) < 400
    again = ours.decode(topic, body, NOW_US)
    assert (again.readings, again.rejects) == (rows, got.rejects)


def plant_file(data: bytes) -> None:
    """A plant, or mistakes each with its words, none of which could begin a line of its own."""
    text = data.decode("utf-8", "replace")
    try:
        found = parse_plant(text, "fuzzed")
    except PlantErrors as errors:
        lines = str(errors).split("\n")
    else:
        lines = ["fuzzed:"]
        assert found.signals
        assert parse_plant(text, "fuzzed") == found
    for line in lines:
        assert line.startswith("fuzzed:")
        assert line.isprintable()
        assert len(line) < 1000


def readings(data: bytes) -> None:
    """The fast reader gives what the exact one gives, row for row, wherever the stretch is cut."""
    known = plant("juniper.toml")
    text = data if data.endswith(b"\n") or not data else data + b"\n"
    good, bad = _exact(text, known)
    block = BlockReader(Rows(known)).read(text)
    assert block.lines == text.count(b"\n")
    assert block.malformed == bad
    assert _rows(block.signal, block.time_us, block.value) == good
    cut = text.rfind(b"\n", 0, max(len(text) // 2, 1)) + 1
    reader = BlockReader(Rows(known))
    parts = [reader.read(part) for part in (text[:cut], text[cut:]) if part]
    assert [row for one in parts for row in _rows(one.signal, one.time_us, one.value)] == good
    assert sum(one.malformed for one in parts) == bad


def _rows(signal: np.ndarray, time_us: np.ndarray, value: np.ndarray) -> list[tuple[int, int, float]]:
    assert np.isfinite(value).all()
    return list(zip(signal.tolist(), time_us.tolist(), value.tolist(), strict=True))


def _exact(text: bytes, known: Plant) -> tuple[list[tuple[int, int, float]], int]:
    """Every line by the reader that says what a row means; blank lines are none."""
    rows, good, bad = Rows(known), [], 0
    for line in text.split(b"\n")[:-1]:
        line = line.removesuffix(b"\r")
        if not line.strip():
            continue
        try:
            good.append(rows.read(line))
        except Malformed:
            bad += 1
    return good, bad


def recording(data: bytes) -> None:
    """A whole file, plain or gzipped (the first byte's lowest bit), perhaps damaged: told, never raised.

    What is read does not depend on how much is read at once, and is in order of time.
    """
    known = plant("juniper.toml")
    path = Path(_home().name) / ("fuzzed.csv.gz" if data[:1] and data[0] & 1 else "fuzzed.csv")
    path.write_bytes(data[1:])
    found = []
    for chunk in (1, 1_000_000):
        try:
            file = ReadingsFile(path, known, stored=True, chunk=chunk)
            parts = list(file)
        except ReadingsError as error:
            found.append((str(error), 0))
            continue
        rows = [row for one in parts for row in _rows(one.signal, one.time_us, one.value)]
        assert [row[1] for row in rows] == sorted(row[1] for row in rows) or file.late
        assert len(file.named) <= file.malformed
        assert all(reason.isprintable() for _, reason in file.named)
        found.append((sorted(rows), file.malformed))
    assert found[0] == found[1]


@cache
def _home() -> tempfile.TemporaryDirectory[str]:
    """A folder that goes when the process does, or, under a fuzzer that exits at once, with its parent's."""
    return tempfile.TemporaryDirectory()


TARGETS: dict[str, Callable[[bytes], None]] = {
    "payload": payload,
    "plant": plant_file,
    "readings": readings,
    "recording": recording,
}
