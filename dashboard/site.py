"""One plant as the dashboard sees it: its history, read into facts. Thin shell; no words here."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING, Literal

import numpy as np

from analytics.plant.description import MOTOR_MEASURES, Measure
from collector.live.clock import AHEAD_US
from collector.live.pulse import SILENT_US, cannot_be_written, read_pulse
from collector.store.history import History
from dashboard.drawing.traces import DAY_US, LIVE_US
from dashboard.telling.facts import Facts, Reading, Trace

if TYPE_CHECKING:
    from pathlib import Path

    from analytics.plant.description import Plant, Signal
    from analytics.records import Cycle, Finding, Outlook
    from collector.store.shapes import Series

FORTNIGHT_US = 14 * DAY_US
#: How old the slow half (runs, levels by the hour) may be; a run that ends refreshes it at once.
SLOW_S = 60.0


def now_us() -> int:
    """The wall clock: read here, passed on as data."""
    return time.time_ns() // 1_000


def si_trace(signal: Signal, series: Series) -> Trace:
    """A stored series in SI."""
    return Trace(series.time_us, signal.to_si(series.value))


class Site:
    """One plant and its history, opened to read; safe to use from several threads."""

    def __init__(self, plant: Plant, data: Path) -> None:
        self.plant = plant
        self.data = data
        self.history = History(data, plant)
        self._lock = threading.Lock()
        self._slow: tuple[float, tuple[Cycle, ...], dict[str, Trace]] | None = None
        self._motion: tuple[int | None, ...] = ()
        self._drawn: dict[str, object] = {}

    def facts(self, at_us: int | None = None) -> Facts:
        """Everything the Water page needs, as of now (or of a moment, in tests)."""
        at = now_us() if at_us is None else at_us
        with self.history.at_once():
            return self._facts(at)

    def _facts(self, at: int) -> Facts:
        by_name = {signal.name: signal for signal in self.plant.signals}
        latest = {
            name: Reading(sample.time_us, float(by_name[name].to_si(sample.value)))
            for name, sample in self.history.latest(at + AHEAD_US).items()
        }
        cycles, levels = self._slow_half(at)
        collector, trouble = self._collector(at)
        return Facts(
            plant=self.plant,
            now_us=at,
            latest=latest,
            recent=self._recent(at),
            levels=levels,
            cycles=cycles,
            findings=self.open_findings(),
            alarms={alarm.place: alarm for alarm in self.history.alarms()},
            outlooks={(one.kind, one.of): one for one in self._outlooks()},
            set_aside=self.history.counts().get("set_aside", 0),
            collector=collector,
            trouble=trouble,
            drawn=self._drawn,
        )

    def _collector(self, at: int) -> tuple[Literal["alive", "cut off", "gone", "unknown"], str]:
        """How the daemon is, and what keeps it from writing this plant's history."""
        pulse = read_pulse(self.data)
        if pulse is None:
            return "unknown", ""
        if not pulse.running or at - pulse.time_us > SILENT_US:
            return "gone", cannot_be_written(self.data)
        return "alive" if pulse.connected else "cut off", pulse.trouble.get(self.plant.name, "")

    def open_findings(self) -> tuple[Finding, ...]:
        return tuple(self.history.findings(open_only=True))

    def _outlooks(self) -> list[Outlook]:
        return self.history.outlooks()

    def _recent(self, at: int) -> dict[str, Trace]:
        found = {}
        for position in self.plant.measuring(Measure.LINE_PRESSURE):
            signal = self.plant.signals[position]
            series = self.history.readings(signal.name, at - LIVE_US, at + DAY_US)
            found[signal.name] = si_trace(signal, series)
        return found

    def _slow_half(self, at: int) -> tuple[tuple[Cycle, ...], dict[str, Trace]]:
        with self._lock:
            held = self._slow
            if held is not None and time.monotonic() - held[0] < SLOW_S and self._motion == self._marks(at):
                return held[1], held[2]
            cycles = tuple(self.history.cycles(at - FORTNIGHT_US, at + DAY_US))
            self._slow = (time.monotonic(), cycles, self._levels(at))
            self._motion = self._marks(at)
            self._drawn = {}
            return self._slow[1], self._slow[2]

    def _marks(self, at: int) -> tuple[int | None, ...]:
        """Changes when a run ends: then the runs are read again."""
        newest = self.history.cycles(at - DAY_US // 8, at + DAY_US)
        return (newest[-1].start_us if newest else None, len(newest))

    def _levels(self, at: int) -> dict[str, Trace]:
        found = {}
        for position in self.plant.measuring(Measure.STORAGE_LEVEL):
            signal = self.plant.signals[position]
            hours = self.history.rollup(signal.name, at - FORTNIGHT_US, at + 1, "hour")
            keep = np.isfinite(hours.mean)
            found[signal.name] = Trace(hours.time_us[keep], signal.to_si(hours.mean[keep]))
        return found

    @property
    def motor(self) -> Signal | None:
        positions = self.plant.measuring(*MOTOR_MEASURES)
        return self.plant.signals[positions[0]] if positions else None
