"""What is kept of a run that can be learned from: entire, measured, and ended by the switch.

Parameters: SANK 0.3 of its rise: a run in which pressure fell so far below its start did not go as usual.
STEADY 0.35: demand before and after may differ by so much of delivery: beyond, neither is the run's.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

if TYPE_CHECKING:
    from analytics.seeing.events import Run

SANK = 0.3
STEADY = 0.35


class Brief(msgspec.Struct):
    """What is kept of one usable run."""

    at_us: int
    kink_m3_s: float | None  # mean of the kinks at start and stop: free of demand
    delivery_m3_s: float | None  # mid-run, where demand before and after agree
    delivery_start_m3_s: float | None
    delivery_stop_m3_s: float | None
    drawdown_m3: float
    run_time_s: float
    demand_m3_s: float
    start_pa: float
    stop_pa: float
    motor_level: float | None
    filter_drop_pa: float | None
    metered_m3_s: float | None = None  # what the tank took and what a flow meter behind it saw
    leap_pa: float | None = None  # of a line whose tank was empty, as of a run

    @property
    def whole_m3_s(self) -> float:
        """What it brought in all, over its length: draws that come or go within it spoil it a little."""
        return self.drawdown_m3 / self.run_time_s + self.demand_m3_s


def usable(run: Run) -> Brief | None:
    """The run as one that can be learned from: entire, measured, and ended by the switch."""
    c = run.cycle
    low, high = c.pressure_start_pa, c.pressure_stop_pa
    if not run.entire or low is None or high is None or high <= low or c.demand_m3_s is None:
        return None
    if c.delivery_mid_m3_s is None or c.delivery_mid_m3_s <= 0.0:
        return None
    if run.pressure_low_pa is not None and run.pressure_low_pa < low - SANK * (high - low):
        return None
    down, up = run.slope_before_m3_s, run.slope_after_m3_s
    steady = down is not None and up is not None and abs(up - down) < STEADY * c.delivery_mid_m3_s
    filled = (run.slope_run_m3_s or 0.0) * c.run_time_s
    metered = None
    if run.slope_run_m3_s is not None and run.flow_m3_s is not None:
        metered = run.slope_run_m3_s + run.flow_m3_s
    return Brief(
        c.stop_us, kink(run), c.delivery_mid_m3_s if steady else None, c.delivery_start_m3_s,
        c.delivery_stop_m3_s, c.drawdown_m3 if c.drawdown_m3 is not None else filled, c.run_time_s,
        c.demand_m3_s, low, high, c.motor_level, c.filter_drop_pa, metered, run.leap_pa,
    )  # fmt: skip


def kink(run: Run) -> float | None:
    """Delivery by the kinks at both ends, or None."""
    start, stop = run.cycle.delivery_start_m3_s, run.cycle.delivery_stop_m3_s
    if start is None or stop is None or start <= 0.0 or stop <= 0.0:
        return None
    return 0.5 * (start + stop)
