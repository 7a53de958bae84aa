"""The evidence of a finding, drawn on the trace itself and put in words with units."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import Measure
from dashboard.drawing import figures
from dashboard.drawing.traces import DAY_US, HOUR_US
from dashboard.telling import display

if TYPE_CHECKING:
    from analytics.plant.description import Signal
    from analytics.records import Cycle, Finding
    from dashboard.drawing.figures import Figure, Look
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
    ("_degc", "temperature"),
    ("_s_m", "conductivity"),
    ("_days", "days"),
)
POINTS = 900


def evidence_words(finding: Finding, units: display.Units) -> list[tuple[str, str]]:
    """Each number of the evidence with its name in words and the owner's unit."""
    return [_worded(name, value, units) for name, value in finding.evidence.items()]


def _worded(name: str, value: float, units: display.Units) -> tuple[str, str]:
    for ending, kind in sorted(ENDINGS, key=lambda pair: -len(pair[0])):
        if name.lower().endswith(ending):
            label = name[: -len(ending)].replace("_", " ").capitalize()
            return label, _valued(value, kind, units)
    return name.replace("_", " ").capitalize(), f"{value:,.3g}"


def _valued(value: float, kind: str, units: display.Units) -> str:
    if kind == "seconds":
        return display.duration(value)
    if kind == "days":
        return display.duration(value * 86_400)
    if kind == "volume":
        return str(display.volume(value, units))
    if kind == "volume_day":
        return f"{display.volume(value, units)} a day"
    return str(display.show(value, kind, units, 1 if kind in ("pressure", "level") else 0))


def drawn(site: Site, finding: Finding, at_us: int, look: Look, *, zoom: bool) -> tuple[Figure | None, str]:
    """A figure of the evidence and what it shows in words; None where nothing is kept of that time."""
    if finding.fault in BY_RUNS:
        figure = _by_runs(site, finding, at_us, look, zoom=zoom)
    else:
        figure = _by_signal(site, finding, at_us, look, zoom=zoom)
    if figure is None:
        return None, ""
    _moments(figure, finding, site.plant.timezone, look)
    zone = site.plant.timezone
    began, called = (display.moment(t, at_us, zone) for t in (finding.onset_us, finding.raised_us))
    words = f"The dashed lines: began {began}, called {called}"
    if finding.cleared_us is not None:
        words += f", over {display.moment(finding.cleared_us, at_us, zone)}"
    return figure, words + "."


def _moments(figure: Figure, finding: Finding, zone: str, look: Look) -> None:
    marks = [(finding.onset_us, "began"), (finding.raised_us, "called")]
    if finding.cleared_us is not None:
        marks.append((finding.cleared_us, "over"))
    begin, end = figures.wall([finding.onset_us, finding.cleared_us or finding.raised_us], zone)
    figures.span(figure, begin, end, look.warm)
    for slot, (time_us, word) in enumerate(marks):
        figures.when(figure, figures.wall([time_us], zone)[0], word, look, slot)


def _window(finding: Finding, at_us: int, margin_us: int) -> tuple[int, int]:
    """The fault with a healthy stretch before it, and no more after the call than is needed."""
    length = max(finding.raised_us - finding.onset_us, margin_us)
    end = finding.raised_us + margin_us if finding.cleared_us is None else finding.cleared_us + margin_us
    return finding.onset_us - 2 * length, min(end, at_us, finding.raised_us + 6 * length)


def _signal(site: Site, finding: Finding) -> Signal | None:
    if finding.fault == "sensor_fault":
        return next((s for s in site.plant.signals if s.name == finding.of), None)
    wanted = MEASURE.get(finding.fault, Measure.LINE_PRESSURE)
    at = [site.plant.signals[position] for position in site.plant.measuring(wanted)]
    return next((s for s in at if s.of == finding.of), at[0] if at else None)


def _by_signal(site: Site, finding: Finding, at_us: int, look: Look, *, zoom: bool) -> Figure | None:
    signal = _signal(site, finding)
    if signal is None:
        return None
    slow = signal.measures is Measure.STORAGE_LEVEL
    begin, end = _window(finding, at_us, 2 * DAY_US if slow else HOUR_US // 4)
    bands = site.history.bands(signal.name, begin, end, POINTS)
    if not len(bands):
        return None
    units, kind = site.plant.display_units, display.KIND[signal.measures]
    figure = figures.base(look, unit=display.unit_of(kind, units)[0], zoom=zoom)
    x = figures.wall(bands.time_us, site.plant.timezone)
    low, mean, high = (
        _owners(signal, values, kind, units) for values in (bands.minimum, bands.mean, bands.maximum)
    )
    figures.band(figure, x, low, mean, high, look)
    _expected_levels(figure, site, signal, look)
    return figure


def _owners(signal: Signal, stored: np.ndarray, kind: str, units: display.Units) -> list[float | None]:
    values = [display.in_unit(float(v), kind, units) for v in signal.to_si(stored)]
    return [round(v, 3) if np.isfinite(v) else None for v in values]


def _expected_levels(figure: Figure, site: Site, signal: Signal, look: Look) -> None:
    plant, units = site.plant, site.plant.display_units
    if signal.measures is Measure.LINE_PRESSURE and plant.switch is not None:
        for value, word in ((plant.switch.cut_in_pa, "cut-in"), (plant.switch.cut_out_pa, "cut-out")):
            figures.level_mark(figure, display.in_unit(value, "pressure", units), word, look)
    for storage in plant.storages if signal.measures is Measure.STORAGE_LEVEL else ():
        if signal.of in (storage.name, None):
            figures.level_mark(
                figure, display.in_unit(storage.outlet_level_m, "level", units), "outlet", look
            )


def _by_runs(site: Site, finding: Finding, at_us: int, look: Look, *, zoom: bool) -> Figure | None:
    name, kind, title = BY_RUNS[finding.fault]
    begin, end = _window(finding, at_us, DAY_US)
    told = [cycle for cycle in site.history.cycles(begin, end) if getattr(cycle, name) is not None]
    if not told:
        return None
    units = site.plant.display_units
    unit = "s" if kind == "seconds" else display.unit_of(kind, units)[0]
    figure = figures.base(look, unit=f"{title}, {unit}", zoom=zoom)
    figures.line(
        figure,
        figures.wall([cycle.start_us for cycle in told], site.plant.timezone),
        [_figure(cycle, name, kind, units) for cycle in told],
        look,
        mode="markers",
        marker={"color": look.water, "size": 6, "opacity": 0.7},
    )
    figure["layout"]["yaxis"]["rangemode"] = "tozero"
    for evidence, value in finding.evidence.items():
        if evidence == f"expected_{name}":
            y = value if kind == "seconds" else display.in_unit(value, kind, units)
            figures.level_mark(figure, y, "expected", look)
    return figure


def _figure(cycle: Cycle, name: str, kind: str, units: display.Units) -> float:
    value = float(getattr(cycle, name))
    return round(value if kind == "seconds" else display.in_unit(value, kind, units), 3)
