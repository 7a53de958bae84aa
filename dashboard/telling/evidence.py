"""The evidence of a finding: the rows that show it, and each of its numbers in words with units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import Measure
from dashboard.drawing.traces import DAY_US, HOUR_US, thin
from dashboard.telling import display
from dashboard.telling.names import CHANCES, EVIDENCE, SEEPS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Signal
    from analytics.records import Finding
    from dashboard.site import Site

#: Slow faults show in the course of one figure over runs, not in one stretch of pressure.
BY_RUNS: dict[str, tuple[str, str, str]] = {
    "clogged_filter": ("delivery_mid_m3_s", "flow", "Delivery of each run"),
    "pump_wear": ("delivery_mid_m3_s", "flow", "Delivery of each run"),
    "short_cycling": ("run_time_s", "seconds", "Length of each run"),
    "switch_drift": ("pressure_stop_pa", "pressure", "Pressure at which each run stopped"),
    "motor_overload": ("motor_level", "current", "Motor current of each run"),
}
MEASURE = {
    "storage_depletion": Measure.STORAGE_LEVEL,
    "storage_leak": Measure.STORAGE_LEVEL,
    "storage_overflow": Measure.STORAGE_LEVEL,
    "freeze_risk": Measure.AIR_TEMPERATURE,
    "salinity_high": Measure.SUPPLY_CONDUCTIVITY,
}
#: (ending, kind, factor to SI) of evidence names: the unit is the name's ending.
ENDINGS = (
    ("_m3_day", "volume_day"),
    ("_m3_s", "flow"),
    ("_m3", "volume"),
    ("_pa", "pressure"),
    ("_s", "seconds"),
    ("_m", "level"),
    ("_a", "current"),
    ("_w", "power"),
    ("_c", "temperature"),
    ("_s_m", "conductivity"),
    ("_days", "days"),
    ("_share_1", "share"),
    ("_1", "count"),
)
POINTS = 360  # one a pixel of a phone
#: Beyond so many runs since it began, the newest of them are told too: a slow fault grows.
MANY_RUNS, NEWEST_RUNS = 12, 6


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a finding was told from, in the owner's unit. Arrays (N,); `time_us` rising.

    low, mean, high  are the same where each point is one run (`dots`)
    marks            levels to compare with: (value, word)
    moments          when it began, was called, was over: (time_us, word)
    """

    title: str
    unit: str
    time_us: NDArray[np.int64]
    low: NDArray[np.float64]
    mean: NDArray[np.float64]
    high: NDArray[np.float64]
    dots: bool
    marks: tuple[tuple[float, str], ...]
    moments: tuple[tuple[int, str], ...]
    signal: str = ""  # whose readings these are; "" where each point is a run


def evidence_words(finding: Finding, units: display.Units) -> list[tuple[str, str]]:
    """Each number of the evidence with its name in words and the owner's unit."""
    return [worded(name, value, units) for name, value in finding.evidence.items()]


def worded(name: str, value: float, units: display.Units) -> tuple[str, str]:
    """One number's name in words and its value with the owner's unit; the unit is the name's ending."""
    if name.startswith("with_"):
        return "What follows from it", name.removeprefix("with_").replace("_", " ")
    named = EVIDENCE.get(name)
    if name in CHANCES:
        return EVIDENCE[name], _valued(value, "share", units)
    if name in SEEPS:
        return EVIDENCE[name], _valued(value * 86_400.0, "volume_day", units)
    for ending, kind in sorted(ENDINGS, key=lambda pair: -len(pair[0])):
        if name.lower().endswith(ending):
            kept = name[: -len(ending)] + ("_share" if kind == "share" else "")
            label = kept.replace("_", " ").capitalize()
            if kind == "seconds" and name.startswith("empty_") and value < 60.0:
                return named or label, "no time"
            return named or label, _valued(value, kind, units)
    return name.replace("_", " ").capitalize(), f"{value:,.3g}"


def _valued(value: float, kind: str, units: display.Units) -> str:
    if kind == "seconds":
        return display.duration(value)
    if kind == "share":
        # beyond three times nobody thinks in percent
        return f"{value:.0f} times" if value > 3.0 else f"{100 * value:.0f} %"
    if kind == "count":
        return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"
    if kind == "days":
        return display.duration(value * 86_400)
    if kind == "volume":
        return str(display.volume(value, units))
    if kind == "volume_day":
        return f"{display.volume(value, units)} a day"
    return str(display.show(value, kind, units, 1 if kind in ("pressure", "level") else 0))


def evidence(site: Site, finding: Finding, at_us: int) -> Evidence | None:
    """The rows that show a finding; None where nothing is kept of that time."""
    return _by_runs(site, finding, at_us) if finding.fault in BY_RUNS else _by_signal(site, finding, at_us)


def moments(finding: Finding) -> tuple[tuple[int, str], ...]:
    """Its instants, each with its word."""
    found = [(finding.onset_us, "began"), (finding.raised_us, "called")]
    if finding.cleared_us is not None:
        found.append((finding.cleared_us, "over"))
    return tuple(found)


def caption(finding: Finding, shown: Evidence | None, at_us: int, timezone: str) -> str:
    """The drawing in words: what the trace did before and since, and when that was."""
    told = [f"{word} {display.moment(time_us, at_us, timezone)}" for time_us, word in moments(finding)]
    trace = "" if shown is None else f"{_traced(shown)} "
    return f"{trace}The dashed lines: {', '.join(told)}."


def _traced(shown: Evidence) -> str:
    """What the trace did before the fault began and while it stood: the range of a signal ("Line pressure:
    from 30 to 50 psi before, from 5 to 34 psi since."), the middle of a figure that each run has one of."""
    began = shown.moments[0][0]
    over = next((at for at, word in shown.moments if word == "over"), None)
    since = (shown.time_us >= began) & ((shown.time_us < over) if over is not None else True)
    parts = []
    for here, word in (
        (shown.time_us < began, "before"),
        (since, "since" if over is None else "while it stood"),
    ):
        if not here.any():
            continue
        if shown.dots:
            parts.append(f"about {_read(float(np.median(shown.mean[here])), shown.unit)} {word}")
            if word == "since" and np.count_nonzero(here) > MANY_RUNS:
                newest = _read(float(np.median(shown.mean[here][-NEWEST_RUNS:])), shown.unit)
                parts.append(f"{newest} in the newest runs")
        else:
            low, high = float(shown.low[here].min()), float(shown.high[here].max())
            parts.append(f"from {_read(low)} to {_read(high, shown.unit)} {word}")
    return f"{shown.title}: {', '.join(parts)}."


def _read(value: float, unit: str = "") -> str:
    text = f"{value:,.0f}" if abs(value) >= 100 else f"{value:.2g}"
    return f"{'−' if text.startswith('-') else ''}{text.removeprefix('-')} {unit}".strip()


def _window(finding: Finding, at_us: int, margin_us: int, *, slow: bool) -> tuple[int, int]:
    """The fault with a healthy stretch before it. Of what comes in a moment no more after the call than is
    needed to see it; what is slow goes on growing, and is shown to its end, or to now."""
    length = max(finding.raised_us - finding.onset_us, margin_us)
    begin, over = finding.onset_us - 2 * length, finding.cleared_us
    if slow:
        return begin, at_us if over is None else min(over + margin_us, at_us)
    end = (finding.raised_us if over is None else over) + margin_us
    return begin, min(end, at_us, finding.raised_us + 6 * length)


def _signal(site: Site, finding: Finding) -> Signal | None:
    if finding.fault == "sensor_fault":
        return next((s for s in site.plant.signals if s.name == finding.of), None)
    wanted = MEASURE.get(finding.fault, Measure.LINE_PRESSURE)
    at = [site.plant.signals[position] for position in site.plant.measuring(wanted)]
    return next((s for s in at if s.of == finding.of), at[0] if at else None)


def _by_signal(site: Site, finding: Finding, at_us: int) -> Evidence | None:
    signal = _signal(site, finding)
    if signal is None:
        return None
    slow = finding.fault in MEASURE
    margin_us = 2 * DAY_US if signal.measures is Measure.STORAGE_LEVEL else HOUR_US // 4
    begin, end = _window(finding, at_us, margin_us, slow=slow)
    bands = site.history.bands(signal.name, begin, end, POINTS)
    keep = np.isfinite(bands.mean)
    if not keep.any():
        return None
    units, kind = site.plant.display_units, display.KIND[signal.measures]
    low, mean, high = (
        np.array([display.in_unit(float(v), kind, units) for v in signal.to_si(values[keep])])
        for values in (bands.minimum, bands.mean, bands.maximum)
    )
    return Evidence(
        display.MEASURE_NAME[signal.measures],
        display.unit_of(kind, units)[0],
        bands.time_us[keep],
        np.fmin(low, high),
        mean,
        np.fmax(low, high),
        False,
        tuple(_expected_levels(site, signal)),
        moments(finding),
        signal.name,
    )


def _expected_levels(site: Site, signal: Signal) -> list[tuple[float, str]]:
    plant, units = site.plant, site.plant.display_units
    if signal.measures is Measure.LINE_PRESSURE and plant.switch is not None:
        levels = ((plant.switch.cut_in_pa, "cut-in"), (plant.switch.cut_out_pa, "cut-out"))
        return [(display.in_unit(value, "pressure", units), word) for value, word in levels]
    if signal.measures is Measure.STORAGE_LEVEL:
        return [
            (display.in_unit(storage.outlet_level_m, "level", units), "outlet")
            for storage in plant.storages
            if signal.of in (storage.name, None)
        ]
    return []


def _by_runs(site: Site, finding: Finding, at_us: int) -> Evidence | None:
    name, kind, title = BY_RUNS[finding.fault]
    begin, end = _window(finding, at_us, DAY_US, slow=True)
    told = [cycle for cycle in site.history.cycles(begin, end) if getattr(cycle, name) is not None]
    if not told:
        return None
    units = site.plant.display_units
    value = np.array([_figure(getattr(cycle, name), kind, units) for cycle in told])
    kept = thin(np.array([cycle.start_us for cycle in told], np.int64), value, 2 * POINTS)
    told, value = [told[k] for k in kept], value[kept]
    expected = finding.evidence.get(f"expected_{name}")
    return Evidence(
        title,
        "s" if kind == "seconds" else display.unit_of(kind, units)[0],
        np.array([cycle.start_us for cycle in told], np.int64),
        value,
        value,
        value,
        True,
        () if expected is None else ((_figure(expected, kind, units), "expected"),),
        moments(finding),
    )


def _figure(value: float, kind: str, units: display.Units) -> float:
    return float(value) if kind == "seconds" else display.in_unit(float(value), kind, units)
