"""Cycles: what the pump's run looks like, laid over the shape that the plant file leads one to expect."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from dash import html

from analytics.physics import hydraulics
from analytics.plant.description import MOTOR_MEASURES, Measure
from dashboard.drawing import figures
from dashboard.drawing.figures import look_of
from dashboard.drawing.traces import DAY_US
from dashboard.pages.common import chart
from dashboard.site import now_us, si_trace
from dashboard.telling import display
from dashboard.telling.expected import expected

if TYPE_CHECKING:
    from dash.development.base_component import Component

    from analytics.plant.description import Plant
    from analytics.records import Cycle
    from dashboard.drawing.figures import Figure, Look
    from dashboard.site import Site

#: Runs laid over each other: enough to show scatter, few enough to tell apart.
OVERLAID = 12
DAYS = 30
LEAD_US = 30_000_000

_HEADINGS = {1: html.H1, 2: html.H2, 3: html.H3}
#: (figure of a cycle, kind, title)
COURSES = (
    ("run_time_s", "seconds", "Run time"),
    ("rest_before_s", "seconds", "Rest before the run"),
    ("drawdown_m3", "volume", "Water that entered the tank"),
    ("delivery_start_m3_s", "flow", "Delivery at the start"),
    ("delivery_stop_m3_s", "flow", "Delivery at the stop"),
)


def layout(site: Site, rest: str, screen: dict[str, bool], listen: str) -> list[Component]:
    at = now_us()
    runs = site.history.cycles(at - DAYS * DAY_US, at + DAY_US)
    if not runs:
        words = "No run of the pump has been seen in the last month."
        if not site.plant.measuring(*MOTOR_MEASURES):
            words += " Nothing fitted tells when the motor runs: a clamp on its supply wire would."
        return [html.H1("Cycles"), html.P(words)]
    page: list[Component] = []
    for heading, level, figure, words in drawn(site, runs, look_of(screen), zoom=bool(screen.get("fine"))):
        page += [_HEADINGS[level](heading)] if heading else []
        page += [chart(figure, words)] if figure is not None else []
    return page


def drawn(
    site: Site, runs: list[Cycle], look: Look, *, zoom: bool
) -> list[tuple[str, int, Figure | None, str]]:
    """(heading, its level, figure, the figure in words) of everything this page shows of these runs.

    Practice shows the same of a plant's copy: of `site` only its plant and history are asked.
    """
    found: list[tuple[str, int, Figure | None, str]] = []
    shape = overlaid(site, runs[-OVERLAID:], look)
    words = f"Line pressure in the last {min(OVERLAID, len(runs))} runs, each from its start. "
    if expected(site.plant).run_time_s:
        words += "Dashed: what the plant file leads one to expect with nothing drawn."
    found.append(("The shape of a run", 1, shape, words))
    found.append(("Day by day", 2, None, ""))
    for name, kind, title in COURSES:
        told = course(site.plant, runs, name, kind, look, zoom=zoom)
        if told is not None:
            found.append((title, 3, *told))
    return found


def overlaid(site: Site, runs: list[Cycle], look: Look) -> Figure | None:
    """Pressure against seconds since the start, newest run strongest."""
    positions = site.plant.measuring(Measure.LINE_PRESSURE)
    if not positions:
        return None
    signal, units = site.plant.signals[positions[0]], site.plant.display_units
    figure = figures.base(look, unit=display.unit_of("pressure", units)[0])
    for age, run in enumerate(reversed(runs)):
        stored = site.history.readings(signal.name, run.start_us - LEAD_US, run.stop_us + LEAD_US)
        trace = si_trace(signal, stored)
        x = [round(float(t - run.start_us) / 1e6, 2) for t in trace.time_us]
        y = [
            round(display.in_unit(float(v), "pressure", units), 2) if np.isfinite(v) else None
            for v in trace.value
        ]
        figures.line(
            figure,
            x,
            y,
            look,
            opacity=1.0 if age == 0 else max(0.12, 0.5 - age * 0.04),
            name=_name(site.plant, run),
        )
    if (curve := ideal(site.plant)) is not None:
        seconds, pressure = curve
        y = [round(display.in_unit(float(p), "pressure", units), 2) for p in pressure]
        figures.line(
            figure,
            seconds.round(2).tolist(),
            y,
            look,
            name="expected",
            line={"color": look.ink, "width": 2, "dash": "dash"},
        )
    figure["layout"]["xaxis"]["ticksuffix"] = " s"
    return figure


def _name(plant: Plant, run: Cycle) -> str:
    return f"{display.local(run.start_us, plant.timezone):%d %b %H:%M}"


def ideal(plant: Plant) -> tuple[np.ndarray, np.ndarray] | None:
    """Seconds and pressure [Pa] of a run at rated flow with nothing drawn; None if not known."""
    told = expected(plant)
    if (
        told.run_time_s is None
        or plant.switch is None
        or plant.pressure_tank is None
        or told.drawdown_m3 is None
    ):
        return None
    tank, atmosphere = plant.pressure_tank, hydraulics.atmosphere_pa_abs(plant.altitude_m)
    start = hydraulics.tank_water_m3(plant.switch.cut_in_pa, tank.volume_m3, tank.precharge_pa, atmosphere)
    seconds = np.linspace(0.0, told.run_time_s, 40)
    water = start + told.drawdown_m3 * seconds / told.run_time_s
    return seconds, hydraulics.tank_pressure_pa(water, tank.volume_m3, tank.precharge_pa, atmosphere)


def course(
    plant: Plant, runs: list[Cycle], name: str, kind: str, look: Look, *, zoom: bool
) -> tuple[Figure, str] | None:
    """One figure of every run and its median day by day."""
    told = [(run.start_us, float(value)) for run in runs if (value := getattr(run, name)) is not None]
    if len(told) < 2:
        return None
    units, zone = plant.display_units, plant.timezone
    if kind == "seconds":
        longest = float(np.median([v for _, v in told]))
        size, unit = (60.0, "min") if longest > 300 else (1.0, "s")
        values = [v / size for _, v in told]
    else:
        unit = display.unit_of(kind, units)[0]
        values = [display.in_unit(v, kind, units) for _, v in told]
    figure = figures.base(look, unit=unit, zoom=zoom, height=220)
    top = float(np.quantile(values, 0.99)) * 1.15  # one endless run must not flatten all others
    figure["layout"]["yaxis"]["range"] = [0, top or 1]
    dots = {"color": look.water, "size": 5, "opacity": 0.35}
    figures.line(
        figure,
        figures.wall([t for t, _ in told], zone),
        [round(v, 3) for v in values],
        look,
        mode="markers",
        marker=dots,
    )
    days, medians = daily([t for t, _ in told], values, zone)
    figures.line(figure, days, medians, look, line={"color": look.water, "width": 2.2, "shape": "hvh"})
    usual, newest = _read(float(np.median(values))), _read(medians[-1])
    lately = "" if newest == usual else f", on the newest day {newest} {unit}"
    words = f"{len(told):,} runs, the middle one {usual} {unit}{lately}. Line: each day's middle."
    return figure, words


def _read(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.1f}"


def daily(times_us: list[int], values: list[float], zone: str) -> tuple[list[str], list[float]]:
    """The median of each of the owner's days, placed at noon."""
    by_day: dict[str, list[float]] = {}
    for time_us, value in zip(times_us, values, strict=True):
        by_day.setdefault(f"{display.local(time_us, zone):%Y-%m-%d} 12:00:00", []).append(value)
    return list(by_day), [round(float(np.median(one)), 3) for one in by_day.values()]
