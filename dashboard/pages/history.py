"""History: any signal from a minute to years. The server thins; a closer look asks it again.

What is shown is in the address (signal, from, to), so it can be kept, sent and gone back to.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import numpy as np

from analytics.plant.description import MOTOR_MEASURES
from dashboard.drawing import figures
from dashboard.drawing.figures import look_of
from dashboard.drawing.traces import DAY_US, HOUR_US
from dashboard.site import now_us
from dashboard.telling import display

if TYPE_CHECKING:
    from collections.abc import Mapping

    from analytics.plant.description import Signal
    from collector.store.shapes import Bands
    from dashboard.site import Site

SPANS = {"hour": HOUR_US, "day": DAY_US, "week": 7 * DAY_US, "month": 30 * DAY_US, "year": 365 * DAY_US}
SHORTEST_US = 60_000_000
LONGEST_US = 40 * 365 * DAY_US
#: Steps across a chart: a band wants about two pixels a step, or its mean is a scribble.
STEPS, STEPS_WIDE = 150, 360
#: More strokes than this at the chart's foot are a solid bar and say nothing.
MOST_RUNS = 150
MOVES = (("earlier", "Earlier"), ("later", "Later"), ("closer", "Closer"), ("wider", "Wider"))


@dataclass(frozen=True, slots=True)
class View:
    """Which signal, between which instants; `span` names the window where it is one of SPANS up to now."""

    signal: Signal
    from_us: int
    to_us: int
    span: str = ""

    @property
    def window(self) -> list[int]:
        return [self.from_us, self.to_us]


def view_of(site: Site, asked: Mapping[str, str]) -> View:
    """What an address asks for: `signal`, and `from` and `to` [us], or `span`, or `x0` and `x1` (the
    owner's wall clock, drawn with a pointer); then `move`. KeyError or ValueError for what we never wrote."""
    signals = site.plant.signals
    signal = signals[site.plant.index(asked["signal"])] if "signal" in asked else signals[0]
    at = newest(site)
    if "x0" in asked:
        window = wall_window(asked["x0"], asked["x1"], site.plant.timezone)
    elif "from" in asked:
        window = [int(asked["from"]), int(asked["to"])]
    else:
        span = asked.get("span", "day")
        return View(signal, at - SPANS[span], at, span)
    if "move" in asked:
        window = moved(window, asked["move"], at)
    if not SHORTEST_US <= window[1] - window[0] <= LONGEST_US or window[0] < 0:
        raise ValueError(window)
    return View(signal, window[0], window[1])


def address(view: View, **more: str) -> str:
    """The query of an address that shows this view, or one step from it."""
    if view.span and not more:
        return urlencode({"signal": view.signal.name, "span": view.span})
    return urlencode({"signal": view.signal.name, "from": view.from_us, "to": view.to_us} | more)


def controls(site: Site, view: View) -> dict[str, object]:
    """Every way from this view to another, as (words, query, whether it is this one)."""
    spans = [(key, urlencode({"signal": view.signal.name, "span": key}), key == view.span) for key in SPANS]
    signals = []
    for one in site.plant.signals:
        other = View(one, view.from_us, view.to_us, view.span)
        signals.append((label(site, one), address(other), one is view.signal))
    moves = [(words, address(view, move=key)) for key, words in MOVES]
    csv = urlencode({"signal": view.signal.name, "from": view.from_us, "to": view.to_us})
    return {"spans": spans, "signals": signals, "moves": moves, "csv": csv}


def label(site: Site, signal: Signal) -> str:
    same = [other for other in site.plant.signals if other.measures is signal.measures]
    name = display.MEASURE_NAME[signal.measures]
    return f"{name} ({signal.name})" if len(same) > 1 else name


def dates(view: View, timezone: str) -> str:
    """The window as people say it: 24 November 2026 06:10 to 25 November 06:10."""
    begin, end = display.local(view.from_us, timezone), display.local(view.to_us, timezone)
    if view.to_us - view.from_us >= SPANS["month"]:
        return f"{begin.day} {begin:%B %Y} to {end.day} {end:%B %Y}"
    first = f"{begin.day} {begin:%B}" + (f" {begin.year}" if begin.year != end.year else "")
    if begin.date() == end.date():
        return f"{end.day} {end:%B %Y}, {begin:%H:%M} to {end:%H:%M}"
    return f"{first}, {begin:%H:%M}, to {end.day} {end:%B %Y}, {end:%H:%M}"


def newest(site: Site) -> int:
    """Now; or the newest reading, where the plant has long been silent."""
    span = site.history.span()
    at = now_us()
    return at if span is None or at - span[1] < HOUR_US else span[1] + 1


def moved(window: list[int], way: str, newest_us: int) -> list[int]:
    """The window, shifted by half, or scaled by two: about its middle, or about now where it ends there."""
    begin, end = window
    length = end - begin
    if way in ("earlier", "later"):
        step = length // 2 * (-1 if way == "earlier" else 1)
        return [begin + step, end + step]
    length = max(SHORTEST_US, length // 2) if way == "closer" else min(LONGEST_US, length * 2)
    if way == "closer" and end >= newest_us - (end - begin) // 20:
        return [end - length, end]
    middle = (begin + end) // 2
    return [middle - length // 2, middle + length // 2]


def wall_window(x0: str, x1: str, timezone: str) -> list[int]:
    """The stretch that was drawn with the pointer, as instants. ValueError for what is no time."""
    zone = display.zone(timezone)
    begin, end = sorted(
        int(datetime.fromisoformat(x).replace(tzinfo=zone).timestamp() * 1e6) for x in (x0, x1)
    )
    return [begin, max(end, begin + SHORTEST_US)]


def drawn(site: Site, name: str, begin: int, end: int, screen: dict[str, bool]) -> tuple[figures.Figure, str]:
    """One signal between two instants, with runs and findings marked, and the same in words."""
    plant = site.plant
    signal = plant.signals[plant.index(name)]
    bands = site.history.bands(name, begin, end, STEPS_WIDE if screen.get("wide") else STEPS)
    kind, units, zone = display.KIND[signal.measures], plant.display_units, plant.timezone
    look = look_of(screen)
    figure = figures.base(look, unit=display.unit_of(kind, units)[0], zoom=bool(screen.get("fine")))
    figure["layout"]["xaxis"]["range"] = figures.wall([begin, end], zone)
    if not len(bands):
        return figure, "No reading was kept between these times."
    x, low, mean, high = columns(signal, bands, zone, units)
    if bands.step_us == 0:
        shape = {
            "line": {
                "color": look.water,
                "width": 1.8,
                "shape": "hv" if signal.measures in MOTOR_MEASURES else "linear",
            }
        }
        figures.line(figure, x, mean, look, **shape)
    else:
        figures.band(figure, x, low, mean, high, look)
    found = [f for f in site.history.findings() if f.onset_us < end and (f.cleared_us or end) > begin]
    figures.finding_marks(figure, found, [begin, end], zone, look)
    runs = site.history.cycles(begin, end)
    if len(runs) <= MOST_RUNS:
        figures.run_marks(figure, runs, zone, look)
    counted = len(runs) if plant.measuring(*MOTOR_MEASURES) else None
    return figure, _words(signal, bands, counted, len(found), units)


def columns(
    signal: Signal, bands: Bands, zone: str, units: display.Units
) -> tuple[list[str], list[float | None], list[float | None], list[float | None]]:
    """Times and three columns in the owner's unit; a gap is a None, so that no line bridges it."""
    kind = display.KIND[signal.measures]
    time_us, columns = bands.time_us, (bands.minimum, bands.mean, bands.maximum)
    step = bands.step_us or (int(np.median(np.diff(time_us))) if len(time_us) > 2 else 0)
    holes = np.flatnonzero(np.diff(time_us) > max(10 * step, 120_000_000)) + 1 if step else []
    x = figures.wall(np.insert(time_us, holes, time_us[holes] - 1) if len(holes) else time_us, zone)
    out = []
    for values in columns:
        si = signal.to_si(values)
        si = np.insert(si, holes, np.nan) if len(holes) else si
        out.append([round(display.in_unit(float(v), kind, units), 4) if np.isfinite(v) else None for v in si])
    return x, out[0], out[1], out[2]


def _words(signal: Signal, bands: Bands, runs: int | None, found: int, units: display.Units) -> str:
    kind = display.KIND[signal.measures]
    ends = [float(signal.to_si(v)) for v in (np.nanmin(bands.minimum), np.nanmax(bands.maximum))]
    low, high = (display.show(v, kind, units, 1) for v in sorted(ends))
    words = f"{display.MEASURE_NAME[signal.measures]} between {low} and {high}"
    words += f"; {runs:,} run{'' if runs == 1 else 's'}." if runs is not None else "."
    if bands.step_us:
        step = display.duration(bands.step_us / 1e6).replace(".0 ", " ")
        words += f" Band: lowest to highest of each {step}; line: mean."
    if found:
        words += f" {found} finding{'s' if found > 1 else ''} marked."
    return words
