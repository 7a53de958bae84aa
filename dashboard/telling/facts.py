"""What the pages are told from: plain rows of one plant as of one moment, in SI and microseconds."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from operator import attrgetter
from statistics import median
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import numpy as np

from dashboard.telling.expected import expected

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from analytics.alarms.records import Alarm
    from analytics.plant.description import Measure, Plant, Signal
    from analytics.records import Cycle, Finding, Outlook
    from dashboard.telling.expected import Expected

T = TypeVar("T")
#: A sensor that says nothing for this long is silent (contract, `every`); ten intervals if longer.
SILENT_AFTER_S = 120.0
_start_us = attrgetter("start_us")


@dataclass(frozen=True, slots=True)
class Reading:
    time_us: int
    value: float  # SI


@dataclass(frozen=True, slots=True)
class Trace:
    """One signal over a while: time_us int64 (N,), value float64 (N,) SI."""

    time_us: NDArray[np.int64]
    value: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time_us)

    @classmethod
    def none(cls) -> Trace:
        return cls(np.empty(0, np.int64), np.empty(0))


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything the Water page needs. `latest` and `recent` are by signal name."""

    plant: Plant
    now_us: int
    latest: dict[str, Reading] = field(default_factory=dict)
    recent: dict[str, Trace] = field(default_factory=dict)  # half an hour of line pressure and motor
    levels: dict[str, Trace] = field(default_factory=dict)  # a fortnight of each storage level, by the hour
    cycles: tuple[Cycle, ...] = ()  # of the last fortnight, oldest first
    findings: tuple[Finding, ...] = ()  # open ones
    alarms: dict[tuple[str, str], Alarm] = field(default_factory=dict)  # by (fault, of or "")
    outlooks: dict[tuple[str, str | None], Outlook] = field(default_factory=dict)
    set_aside: int = 0
    collector: Literal["alive", "cut off", "gone", "unknown"] = "unknown"
    trouble: str = ""  # why the history cannot be written, in words
    since_us: int | None = None  # for a page that has the trace that moves up to here: only what came after
    #: drawings and figures of what changes by the run and the hour, kept by whoever gathers facts each second
    drawn: dict[str, Any] = field(default_factory=dict, compare=False)

    def __post_init__(self) -> None:
        if self.drawn.setdefault("of", self.cycles) is not self.cycles:  # a copy with other runs
            object.__setattr__(self, "drawn", {"of": self.cycles})

    def kept(self, name: str, draw: Callable[[], T]) -> T:
        """A drawing or figure as it was made of these runs and levels, made now where it was not."""
        if name not in self.drawn:
            self.drawn[name] = draw()
        return self.drawn[name]  # type: ignore[no-any-return]

    def cycles_since(self, time_us: int) -> tuple[Cycle, ...]:
        """The runs that began after a moment."""
        return self.cycles[bisect_right(self.cycles, time_us, key=_start_us) :]

    @property
    def should(self) -> Expected:
        """What the plant file says a healthy plant does."""
        return self.kept("expected", lambda: expected(self.plant))

    @property
    def newest_us(self) -> int | None:
        return max((reading.time_us for reading in self.latest.values()), default=None)

    def signal(self, *measures: Measure, of: str | None = None) -> Signal | None:
        """The first signal that measures any of these (of that storage, if named)."""
        for position in self.plant.measuring(*measures):
            signal = self.plant.signals[position]
            if of is None or signal.of in (of, None):
                return signal
        return None

    def reading(self, signal: Signal | None) -> Reading | None:
        return self.latest.get(signal.name) if signal else None

    def age_s(self, reading: Reading) -> float:
        return max(0.0, (self.now_us - reading.time_us) / 1e6)

    def fresh(self, signal: Signal | None) -> bool:
        """Whether the sensor has spoken lately enough to be believed about now."""
        reading = self.reading(signal)
        if signal is None or reading is None or not np.isfinite(reading.value):
            return False
        return self.age_s(reading) <= max(SILENT_AFTER_S, 10.0 * (signal.every_s or 0.0))

    def outlook(self, kind: str, of: str | None = None) -> Outlook | None:
        """The newest outlook of a kind that can be told; None where it cannot yet."""
        found = self.outlooks.get((kind, of))
        return found if found is not None and found.p50 is not None else None

    def median(self, name: str, last: int = 12) -> float | None:
        """Median of one figure over the last few cycles that have it."""

        def middle() -> float | None:
            values = [v for cycle in self.cycles[-60:] if (v := getattr(cycle, name)) is not None][-last:]
            return float(median(values)) if values else None

        return self.kept(f"median of {name}, {last}", middle)
