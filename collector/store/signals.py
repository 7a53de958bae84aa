"""Which stored stream belongs to which signal of the plant file, and in what unit it was stored.

A stream is one signal name under one measure and one unit. When the owner changes the unit a new
stream begins; reading by name joins them all, each turned into the unit declared now. A change of
measure under an old name is another quantity: its readings stay stored but are not this signal's.
"""

from __future__ import annotations

import dataclasses
import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.readings import TICK, Readings

if TYPE_CHECKING:
    import sqlite3

    from numpy.typing import NDArray

    from analytics.plant.description import Plant, Signal


class Scale(msgspec.Struct, frozen=True):
    """What makes a stored value SI: the parts of a Signal that its conversion needs."""

    si_factor: float
    si_offset: float
    raw: bool
    calibration: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, signal: Signal) -> Scale:
        calibration = signal.calibration if signal.raw else ()
        return cls(signal.si_factor, signal.si_offset, signal.raw, calibration)


@dataclass(frozen=True, slots=True)
class Stream:
    """One row of the table `signal`."""

    number: int
    name: str
    measures: str
    unit: str
    scale: Scale

    def holds(self, signal: Signal) -> bool:
        """Whether its readings are this signal's, in whatever unit."""
        return self.name == signal.name and self.measures == signal.measures.value

    def in_unit_of(self, signal: Signal, value: NDArray[np.float64]) -> NDArray[np.float64]:
        """Stored values as the signal would store them now; untouched where the unit is the same.

        A raw stream (volts) of the same unit stays as it is: `Signal.to_si` will apply the
        calibration of today, which is what an owner who corrects a calibration wants.
        """
        if self.unit == (signal.unit or ""):
            return value
        then = dataclasses.replace(
            signal,
            si_factor=self.scale.si_factor,
            si_offset=self.scale.si_offset,
            raw=self.scale.raw,
            calibration=self.scale.calibration or signal.calibration,
        )
        return signal.from_si(then.to_si(value))


class Streams:
    """All streams of a history, read from its table; the writer adds to it."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.all: dict[int, Stream] = {}
        self.current: list[int | None] = [None] * len(plant.signals)
        self._rows: list[tuple[int, str, str, str, str]] = []

    def load(self, connection: sqlite3.Connection) -> None:
        """Read the table anew: it is small, and another process may have added to it."""
        rows = connection.execute("SELECT id, name, measures, unit, scale FROM signal").fetchall()
        if rows == self._rows:
            return
        self._rows = rows
        self.all = {
            number: Stream(number, name, measures, unit, msgspec.json.decode(scale, type=Scale))
            for number, name, measures, unit, scale in rows
        }
        for position, signal in enumerate(self.plant.signals):
            self.current[position] = next(
                (s.number for s in self.all.values() if s.holds(signal) and s.unit == (signal.unit or "")),
                None,
            )

    def of(self, signal: Signal) -> list[Stream]:
        """Every stream that holds the signal's readings, the oldest first."""
        return sorted((s for s in self.all.values() if s.holds(signal)), key=lambda s: s.number)

    def number(self, connection: sqlite3.Connection, position: int, since_us: int) -> int:
        """The stream into which the plant's signal is written now; begun where there is none."""
        known = self.current[position]
        if known is not None:
            return known
        signal = self.plant.signals[position]
        row = (signal.name, signal.measures.value, signal.unit or "")
        scale = msgspec.json.encode(Scale.of(signal)).decode()
        added = connection.execute(
            "INSERT INTO signal (name, measures, unit, scale, since_us) VALUES (?, ?, ?, ?, ?)",
            (*row, scale, since_us),
        ).lastrowid
        assert added is not None
        self.all[added] = Stream(added, *row, Scale.of(signal))
        self.current[position] = added
        return added

    def positions(self) -> dict[int, int]:
        """Stream number to the plant's signal position, for the streams that have one."""
        return {
            stream.number: position
            for position, signal in enumerate(self.plant.signals)
            for stream in self.of(signal)
        }


def fingerprint(plant: Plant) -> bytes:
    """Differs where two plants' signals differ in what they are or in their order."""
    signals = [(signal.name, signal.measures.value, signal.of) for signal in plant.signals]
    return hashlib.sha256(msgspec.json.encode(signals)).digest()


def in_si(readings: Readings, plant: Plant) -> Readings:
    """Readings of stored values as the engine takes them. Ticks stay as they are."""
    value = readings.value.copy()
    for position in np.unique(readings.signal[readings.signal != TICK]).tolist():
        where = readings.signal == position
        value[where] = plant.signals[position].to_si(readings.value[where])
    return Readings(readings.signal, readings.time_us, value)
