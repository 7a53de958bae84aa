"""What goes into a history and what comes out of it. Values are in the signal's declared unit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from analytics.readings import Readings
from collector.store.response import Response

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from analytics.records import Cycle, Finding, Outlook


@dataclass(frozen=True, slots=True)
class SetAside:
    """A message that could not be used: kept for inspection, up to a bound."""

    time_us: int  # when it came
    topic: str
    reason: str
    excerpt: str  # the beginning of its payload


@dataclass(frozen=True, slots=True)
class Batch:
    """What one commit makes durable, all of it or nothing.

    readings  what `History.admit` let through since the last commit, ticks among them, in order of
              arrival; `value` is the stored value (declared unit), not SI
    cycles, findings, outlooks  what the engine said when it was fed exactly these readings
    set_aside messages that did not decode
    counted   further tallies to add to `History.counts()`, by name
    snapshot  `Engine.snapshot()` after these readings were fed, every few minutes and at a clean
              stop; None between
    response  alarms, messages due, logbook and commands that follow from it
    """

    readings: Readings = field(default_factory=Readings.none)
    cycles: Sequence[Cycle] = ()
    findings: Sequence[Finding] = ()
    outlooks: Sequence[Outlook] = ()
    set_aside: Sequence[SetAside] = ()
    counted: dict[str, int] = field(default_factory=dict)
    snapshot: bytes | None = None
    response: Response = field(default_factory=Response)


class Sample(NamedTuple):
    """One reading."""

    time_us: int
    value: float


@dataclass(frozen=True, slots=True)
class Series:
    """One signal's readings by time: time_us int64 (N,) strictly rising, value float64 (N,)."""

    time_us: NDArray[np.int64]
    value: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time_us)

    @classmethod
    def none(cls) -> Series:
        return cls(np.empty(0, np.int64), np.empty(0))


@dataclass(frozen=True, slots=True)
class Bands:
    """One signal by steps of time. All arrays (N,); `time_us` is each step's beginning, rising.

    Steps without a reading are absent. `count` counts numbers: NaN and infinities are stored but
    do not enter; a step that held nothing else has count 0 and NaN in the other three.
    """

    time_us: NDArray[np.int64]
    minimum: NDArray[np.float64]
    mean: NDArray[np.float64]
    maximum: NDArray[np.float64]
    count: NDArray[np.int64]
    step_us: int  # 0: each step is one reading

    def __len__(self) -> int:
        return len(self.time_us)


@dataclass(frozen=True, slots=True)
class Resumption:
    """Where the engine stood: restore `state`, then feed `replay` and all is as if never stopped.

    replay  the readings stored since that state was taken, SI, in order of arrival, ticks too
    fits    False where the plant's signals are not those that the state was taken with: it speaks
            of them by position
    """

    state: bytes | None
    replay: Iterator[Readings]
    fits: bool
