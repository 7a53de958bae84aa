"""What the engine says: cycles, findings, outlooks. Plain data, with times as microseconds UTC."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from operator import attrgetter
from typing import Literal

Priority = Literal["high", "medium", "low"]


@dataclass(frozen=True, slots=True)
class Cycle:
    """One pump run and the rest before it. None where the fitted sensors cannot tell.

    Drawdown is the water that entered the tank between start and stop; delivery and demand are
    the flows told by the slope of tank water beside the start and the stop.
    """

    start_us: int
    stop_us: int
    run_time_s: float
    rest_before_s: float | None = None
    pressure_start_pa: float | None = None
    pressure_stop_pa: float | None = None
    drawdown_m3: float | None = None
    delivery_start_m3_s: float | None = None
    delivery_stop_m3_s: float | None = None
    demand_m3_s: float | None = None
    delivery_mid_m3_s: float | None = None
    motor_level: float | None = None  # A or W, median after run-up
    filter_drop_pa: float | None = None  # discharge less line, median while running

    def __reduce__(self) -> tuple[type[Cycle], tuple[float | None, ...]]:
        """Packed for another process at a third of what a dataclass costs that sees to itself."""
        return Cycle, _IN_ORDER(self)


_IN_ORDER = attrgetter(*(one.name for one in fields(Cycle)))


#: In the evidence of a finding that has gone for now.
GONE_FOR_NOW = "gone_for_now_1"


@dataclass(frozen=True, slots=True)
class Finding:
    """One physical fault, from its first evidence to its end. See the contract's section 3.

    (fault, of, raised_us) names a finding for good: later words on the same fault carry the same
    three and replace what was said before. `raised_priority` and `raised_summary` are the first words,
    which stay as they were (None: nothing else has been said since); people are shown the newest.
    """

    fault: str
    of: str | None
    raised_us: int
    onset_us: int
    priority: Priority
    confidence: float
    summary: str
    cause: str | None = None
    cleared_us: int | None = None
    evidence: dict[str, float] = field(default_factory=dict)
    raised_priority: Priority | None = None
    raised_summary: str | None = None

    @property
    def key(self) -> tuple[str, str, int]:
        return (self.fault, self.of or "", self.raised_us)

    @property
    def gone_for_now(self) -> bool:
        """Whether it is not there at the moment, but came back before (`analytics.judging.habits`)."""
        return self.cleared_us is None and GONE_FOR_NOW in self.evidence


@dataclass(frozen=True, slots=True)
class Outlook:
    """A forecast or an estimate with its band, as of one moment.

    `kind` says what: "days_to_empty" (of = storage), "days_to_flush_filter", "weeks_to_top_up_air",
    and estimates of the present: "delivery_cut_in_m3_s", "delivery_cut_out_m3_s", "drawdown_m3",
    "air_charge_pa", "demand_m3_day", "night_flow_m3_s". p50 None means: cannot be told yet.
    """

    kind: str
    of: str | None
    time_us: int
    p10: float | None
    p50: float | None
    p90: float | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one feed of the engine brought. Findings include those changed, not only those new."""

    cycles: tuple[Cycle, ...] = ()
    findings: tuple[Finding, ...] = ()
    outlooks: tuple[Outlook, ...] = ()
