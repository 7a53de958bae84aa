"""Rows to the small traces of the Water page: SVG path data in a box of WIDTH by HEIGHT.

Each station draws what belongs to it: a level with its forecast, a comb of runs, a cloud of
deliveries, a saw-tooth, an hour-by-hour use. `words` says the same for who cannot see it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from tsdownsample import MinMaxDownsampler

from dashboard.telling import display

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Signal, Storage
    from analytics.records import Cycle, Outlook
    from dashboard.telling.facts import Facts

WIDTH, HEIGHT = 320.0, 56.0
HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
#: Window of the live saw-tooth: two or three cycles of a plant with a tap open.
LIVE_US = HOUR_US // 2
POINTS = 320  # one a pixel of the narrowest phone
_bins = MinMaxDownsampler()


@dataclass(frozen=True, slots=True)
class Small:
    """Path data by role; labels stand outside the drawing, as text."""

    kind: Literal["level", "runs", "cloud", "saw", "bars"]
    words: str
    paths: tuple[tuple[str, str], ...]  # (role, d): role is a CSS class
    left: str = ""  # label under the left end
    right: str = ""
    #: for the trace that moves: [[ms, value], ...] in the owner's unit, and the scale's two ends
    live: tuple[tuple[float, float], ...] = ()
    span: tuple[float, float] = (0.0, 1.0)


def _days(count: int) -> str:
    return f"{count} day{'s' if count != 1 else ''}"


def _ago(days: int) -> str:
    return f"{_days(days)} ago"


def _line(x: NDArray[np.float64], y: NDArray[np.float64]) -> str:
    if not len(x):
        return ""
    pairs = zip(x.tolist(), y.tolist(), strict=True)  # Python's own floats: formatted several times as fast
    return "M" + "L".join(map("%.1f %.1f".__mod__, pairs))


def _y(value: NDArray[np.float64] | float, low: float, high: float) -> NDArray[np.float64]:
    span = (high - low) or 1.0
    return np.clip(HEIGHT - 2 - (np.asarray(value) - low) / span * (HEIGHT - 4), 0, HEIGHT)


def thin(time_us: NDArray[np.int64], value: NDArray[np.float64], points: int) -> NDArray[np.intp]:
    """Positions that keep each stretch's lowest and highest, and both ends, so that no peak is lost."""
    if len(value) <= points:
        return np.arange(len(value))
    kept = _bins.downsample(
        np.ascontiguousarray(time_us), np.ascontiguousarray(value), n_out=points - points % 2
    )
    return np.unique(np.concatenate([[0], kept.astype(np.intp), [len(value) - 1]]))


def pressure(facts: Facts, signal: Signal) -> Small | None:
    """The last half hour of line pressure between cut-in and cut-out."""
    trace = facts.recent.get(signal.name)
    if trace is None or len(trace) < 2:
        return None
    good = np.isfinite(trace.value) & (trace.time_us > facts.now_us - LIVE_US)
    time_us, value = trace.time_us[good], trace.value[good]
    if len(value) < 2:
        return None
    units = facts.plant.display_units
    if facts.since_us is not None:
        new = time_us > facts.since_us
        return Small("saw", "", (), live=_points(time_us[new], value[new], units))
    kept = thin(time_us, value, POINTS)
    time_us, value = time_us[kept], value[kept]
    switch = facts.plant.switch
    low, high = float(value.min()), float(value.max())
    if switch is not None:
        low, high = min(low, switch.cut_in_pa), max(high, switch.cut_out_pa)
    pad = 0.06 * (high - low or 1.0)
    low, high = low - pad, high + pad
    x = WIDTH * (1 - (facts.now_us - time_us) / LIVE_US)
    paths = []
    if switch is not None:
        for level in (switch.cut_in_pa, switch.cut_out_pa):
            y = float(_y(level, low, high))
            paths.append(("mark", f"M0 {y:.1f}H{WIDTH:.0f}"))
    paths.append(("trace live", _line(x, _y(value, low, high))))
    ends = [display.in_unit(float(v), "pressure", units) for v in (value.min(), value.max())]
    unit = display.unit_of("pressure", units)[0]
    words = f"Line pressure over half an hour, between {ends[0]:.1f} and {ends[1]:.1f} {unit}."
    return Small(
        "saw",
        words,
        tuple(paths),
        "30 min ago",
        "now",
        _points(time_us, value, units),
        (display.in_unit(low, "pressure", units), display.in_unit(high, "pressure", units)),
    )


def _points(
    time_us: NDArray[np.int64], pressure_pa: NDArray[np.float64], units: display.Units
) -> tuple[tuple[float, float], ...]:
    """[[ms, owner's unit], ...]"""
    _, factor, zero, _ = display.unit_of("pressure", units)
    shown = ((pressure_pa - zero) / factor).round(2)
    return tuple(zip((time_us // 1000).tolist(), shown.tolist(), strict=True))


def runs(facts: Facts) -> Small | None:
    """A comb of the day's runs: where each stands is when, how tall it is says how long it ran."""
    day = facts.cycles_since(facts.now_us - DAY_US)
    if not day:
        return None
    longest = max(cycle.run_time_s for cycle in day)
    teeth = []
    for cycle in day:
        x = WIDTH * (1 - (facts.now_us - cycle.start_us) / DAY_US)
        tall = 4 + (HEIGHT - 6) * cycle.run_time_s / longest
        teeth.append(f"M{x:.1f} {HEIGHT:.0f}V{HEIGHT - tall:.1f}")
    words = f"{len(day)} runs in 24 hours, the longest {display.duration(longest)}."
    count = f"{len(day)} run{'' if len(day) == 1 else 's'}"
    left = f"24 h ago; {count}, the longest {display.duration(longest)}"
    return Small("runs", words, (("teeth", "".join(teeth)),), left, "now")


def delivery(facts: Facts) -> Small | None:
    """What each run delivered over the fortnight, against what the pump gave when new."""
    told = [(c.start_us, c.delivery_mid_m3_s) for c in facts.cycles if c.delivery_mid_m3_s is not None]
    if len(told) < 4:
        return None
    time_us = np.array([t for t, _ in told])
    value = np.array([v for _, v in told], dtype=float)
    high = max(float(np.quantile(value, 0.98)) * 1.15, facts.plant.pump.rated_flow_m3_s or 0.0)
    begin = min(int(time_us[0]), facts.now_us - DAY_US)
    x = WIDTH * (time_us - begin) / (facts.now_us - begin)
    y = _y(value, 0.0, high)
    kept = thin(time_us, value, POINTS)
    dots = "".join(f"M{a:.1f} {b:.1f}h0" for a, b in zip(x[kept], y[kept], strict=True))
    paths = []
    if (rated := facts.plant.pump.rated_flow_m3_s) is not None:
        paths.append(("mark", f"M0 {float(_y(rated, 0.0, high)):.1f}H{WIDTH:.0f}"))
    days = max(1, round((facts.now_us - begin) / DAY_US))
    units = facts.plant.display_units
    median = display.show(float(np.median(value)), "flow", units)
    words = f"Delivery of {len(told)} runs over {days} days, half of them above {median}."
    return Small("cloud", words, (*paths, ("dots", dots)), _ago(days), "line: when new" if paths else "now")


def storage(facts: Facts, tank: Storage, days: Outlook | None) -> Small | None:
    """A fortnight of level and, to its right, the days until empty as a fan."""
    signal = next(
        (s for s in facts.plant.signals if s.of in (tank.name, None) and s.name in facts.levels), None
    )
    trace = facts.levels.get(signal.name) if signal else None
    if trace is None or len(trace) < 2:
        return None
    good = np.isfinite(trace.value)
    time_us, level = trace.time_us[good], trace.value[good]
    if len(level) < 2:
        return None
    past = max(facts.now_us - int(time_us[0]), DAY_US)
    ahead = past // 2 if days is not None and days.p50 is not None else 0
    begin, whole = facts.now_us - past, past + ahead
    x = WIDTH * (time_us - begin) / whole
    y = _y(level, 0.0, tank.full_level_m)
    base = HEIGHT
    area = f"{_line(x, y)}L{x[-1]:.1f} {base}L{x[0]:.1f} {base}Z"
    outlet = float(_y(tank.outlet_level_m, 0.0, tank.full_level_m))
    paths = [("water", area), ("trace", _line(x, y)), ("mark", f"M0 {outlet:.1f}H{WIDTH:.0f}")]
    words = f"Level over {past // DAY_US} days"
    if ahead and days is not None and days.p10 is not None and days.p90 is not None:
        fan = [_fan_end(p, x[-1], y[-1], outlet, whole) for p in (days.p10, days.p90)]
        (ax, ay), (bx, by) = fan
        corner = f"L{WIDTH:.1f} {outlet:.1f}" if ax < WIDTH <= bx else ""
        paths.append(("fan", f"M{x[-1]:.1f} {y[-1]:.1f}L{ax:.1f} {ay:.1f}{corner}L{bx:.1f} {by:.1f}Z"))
        words += f", then down to the outlet in {days.p10:.0f} to {days.p90:.0f} days"
    right = f"next {_days(max(1, round(ahead / DAY_US)))}" if ahead else "now"
    return Small("level", words + ".", tuple(paths), _ago(round(past / DAY_US)), right)


def _fan_end(days: float, x0: float, y0: float, outlet: float, whole_us: int) -> tuple[float, float]:
    """Where the straight way down to the outlet ends, cut at the drawing's edge."""
    dx = WIDTH * max(days, 0.05) * DAY_US / whole_us
    share = min(1.0, (WIDTH - x0) / dx)
    return x0 + share * dx, y0 + share * (outlet - y0)


def _flow(cycle: Cycle) -> float | None:
    return cycle.delivery_mid_m3_s or cycle.delivery_start_m3_s


def _moved(facts: Facts, since_us: int) -> list[tuple[int, float]]:
    """(start, water moved) of each run since then that tells its delivery."""
    return [
        (cycle.start_us, cycle.run_time_s * flow)
        for cycle in facts.cycles_since(since_us)
        if (flow := _flow(cycle)) is not None
    ]


def used_today(facts: Facts) -> float | None:
    """Water pumped since local midnight; what left the tank, to within one drawdown."""
    if all(_flow(cycle) is None for cycle in facts.cycles):
        return None
    midnight = display.local(facts.now_us, facts.plant.timezone).replace(
        hour=0, minute=0, second=0, microsecond=0
    )
    since = int(midnight.timestamp() * 1e6)
    return float(sum(water for _, water in _moved(facts, since - 1)))


def use(facts: Facts) -> Small | None:
    """Water pumped in each of the last 24 hours."""
    moved = _moved(facts, facts.now_us - DAY_US)
    if not moved:
        return None
    hours = np.zeros(24)
    for start, water in moved:
        hours[min(23, int(24 - (facts.now_us - start) / HOUR_US))] += water
    top = float(hours.max()) or 1.0
    step = WIDTH / 24
    bars = "".join(
        f"M{i * step + 2:.1f} {HEIGHT:.0f}v{-(HEIGHT - 4) * h / top:.1f}h{step - 4:.1f}V{HEIGHT:.0f}z"
        for i, h in enumerate(hours)
        if h > 0
    )
    base = f"M0 {HEIGHT - 0.5:.1f}H{WIDTH:.0f}"
    units = facts.plant.display_units
    all_day, most = display.volume(float(hours.sum()), units), display.volume(top, units)
    words = f"{all_day} in 24 hours, at most {most} in one."
    left = f"24 h ago; at most {most} an hour"
    return Small("bars", words, (("mark", base), ("bars", bars)), left, "now")
