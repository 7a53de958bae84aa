"""A practice run's history in memory: what was read and what the engine said, and when it was known.

One writer adds, any number of readers ask as of a moment, so that scrubbing back forgets what came
later. Values are kept in the signal's declared unit, as a stored history has them.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import Measure
from collector.store.queries import bands_of
from collector.store.rollups import Rollup
from collector.store.shapes import Bands, Series
from dashboard.drawing.traces import DAY_US, HOUR_US, LIVE_US
from dashboard.telling.facts import Facts, Reading, Trace

if TYPE_CHECKING:
    from collections.abc import Collection

    from analytics.plant.description import Plant
    from analytics.records import Cycle, Finding, Outcome, Outlook
    from simulator.simulation import Batch


class Tape:
    """A recording that grows. `keep`: names of the signals to hold on to; all where None."""

    def __init__(self, plant: Plant, keep: Collection[str] | None = None) -> None:
        self.plant = plant
        self._kept = [i for i, s in enumerate(plant.signals) if keep is None or s.name in keep]
        self._parts: dict[int, list[Series]] = {i: [Series.none()] for i in self._kept}
        self._runs: list[tuple[int, Cycle]] = []
        self._words: list[tuple[int, Finding]] = []
        self._outlooks: list[Outlook] = []
        self._lock = threading.Lock()
        self.until_us = 0

    def copy(self, keep: Collection[str] | None = None) -> Tape:
        """Another tape that begins with all this one holds; the arrays are shared."""
        other = Tape(self.plant, keep)
        with self._lock:
            for i in other._kept:
                other._parts[i] = list(self._parts[i])
            other._runs, other._words = list(self._runs), list(self._words)
            other._outlooks, other.until_us = list(self._outlooks), self.until_us
        return other

    @property
    def nbytes(self) -> int:
        """What the readings take."""
        with self._lock:
            return sum(p.time_us.nbytes + p.value.nbytes for parts in self._parts.values() for p in parts)

    def add(self, batch: Batch, said: Outcome, until_us: int) -> None:
        """Readings up to a moment and what the engine made of them."""
        with self._lock:
            for i in self._kept:
                here = batch.signal == i
                if here.any():
                    part = Series(batch.time_us[here], batch.value[here].astype(np.float32))
                    self._parts[i].append(part)
            self._runs += [(until_us, cycle) for cycle in said.cycles]
            self._words += [(_known_us(one, until_us), one) for one in said.findings]
            self._outlooks += said.outlooks
            self.until_us = until_us

    def forget(self, before_us: int) -> None:
        """Let go of readings older than this, but for signals that speak once a half minute or less."""
        with self._lock:
            for i in self._kept:
                whole = self._whole(i)
                if len(whole) > 1 and np.median(np.diff(whole.time_us)) < 30_000_000:
                    late = whole.time_us >= before_us
                    self._parts[i] = [Series(whole.time_us[late], whole.value[late])]

    def holds(self, name: str) -> bool:
        return self.plant.index(name) in self._parts

    def series(self, name: str, from_us: int, to_us: int) -> Series:
        """One signal, from_us <= time < to_us. KeyError for a signal that is not held."""
        with self._lock:
            whole = self._whole(self.plant.index(name))
        begin, end = np.searchsorted(whole.time_us, [from_us, to_us])
        return Series(whole.time_us[begin:end], whole.value[begin:end].astype(np.float64))

    def last(self, name: str, at_us: int) -> tuple[int, float] | None:
        """(time, stored value) of the newest reading of a moment."""
        with self._lock:
            whole = self._whole(self.plant.index(name))
        end = int(np.searchsorted(whole.time_us, at_us, side="right"))
        return (int(whole.time_us[end - 1]), float(whole.value[end - 1])) if end else None

    def _whole(self, i: int) -> Series:
        parts = self._parts[i]
        if len(parts) > 1:
            time_us = np.concatenate([part.time_us for part in parts])
            value = np.concatenate([part.value for part in parts])
            order = np.argsort(time_us, kind="stable")
            parts[:] = [Series(time_us[order], value[order])]
        return parts[0]

    def runs(self, at_us: int) -> list[Cycle]:
        """Runs known at a moment."""
        return [cycle for known_us, cycle in list(self._runs) if known_us <= at_us]

    def findings(self, at_us: int) -> list[Finding]:
        """Findings as they stood at a moment, by when they were raised."""
        found = {one.key: one for known_us, one in list(self._words) if known_us <= at_us}
        return sorted(found.values(), key=lambda one: one.raised_us)

    def outlooks(self, at_us: int) -> dict[tuple[str, str | None], Outlook]:
        """The newest outlooks of a moment."""
        return {(one.kind, one.of): one for one in list(self._outlooks) if one.time_us <= at_us}

    def facts(self, at_us: int) -> Facts:
        """What the Water page needs, as of a moment."""
        plant, latest, recent, levels = self.plant, {}, {}, {}
        for i in self._kept:
            signal = plant.signals[i]
            if (last := self.last(signal.name, at_us)) is not None:
                latest[signal.name] = Reading(last[0], float(signal.to_si(np.array([last[1]]))[0]))
            if signal.measures is Measure.LINE_PRESSURE:
                near = self.series(signal.name, at_us - LIVE_US, at_us + 1)
                recent[signal.name] = Trace(near.time_us, signal.to_si(near.value))
            if signal.measures is Measure.STORAGE_LEVEL:
                hours = _rolled(self.series(signal.name, at_us - 14 * DAY_US, at_us + 1), HOUR_US)
                levels[signal.name] = Trace(hours.time_us, signal.to_si(hours.mean))
        runs = tuple(cycle for cycle in self.runs(at_us) if cycle.start_us > at_us - 14 * DAY_US)
        open_ones = tuple(one for one in self.findings(at_us) if one.cleared_us is None)
        return Facts(
            plant=plant,
            now_us=at_us,
            latest=latest,
            recent=recent,
            levels=levels,
            cycles=runs,
            findings=open_ones,
            outlooks=self.outlooks(at_us),
            collector="alive",
        )


class Past:
    """A tape as of a moment, asked as the pages ask a history."""

    def __init__(self, tape: Tape, at_us: int) -> None:
        self._tape, self._at_us = tape, at_us

    def readings(self, signal: str, from_us: int, to_us: int) -> Series:
        return self._tape.series(signal, from_us, min(to_us, self._at_us + 1))

    def bands(self, signal: str, from_us: int, to_us: int, points: int) -> Bands:
        found = self.readings(signal, from_us, to_us)
        return (
            bands_of(found) if len(found) <= points else _rolled(found, max(1, (to_us - from_us) // points))
        )

    def cycles(self, from_us: int, to_us: int) -> list[Cycle]:
        return [one for one in self._tape.runs(self._at_us) if from_us <= one.start_us < to_us]

    def findings(self, open_only: bool = False) -> list[Finding]:
        found = self._tape.findings(self._at_us)
        return [one for one in found if one.cleared_us is None] if open_only else found


class PastSite:
    """What the pages take for a site: the plant and its history as of a moment."""

    def __init__(self, tape: Tape, at_us: int) -> None:
        self.plant, self.history = tape.plant, Past(tape, at_us)


def _known_us(one: Finding, until_us: int) -> int:
    """When the engine said this: as it was raised, as it was cleared, else by the end of the stretch."""
    for moment in (one.cleared_us, one.raised_us):
        if moment is not None and until_us - DAY_US // 24 <= moment <= until_us:
            return moment
    return until_us


def _rolled(series: Series, step_us: int) -> Bands:
    whole = Rollup.of(series.time_us, series.value, step_us)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = whole.total / whole.count
    return Bands(whole.time_us, whole.minimum, mean, whole.maximum, whole.count, step_us)
