"""History: any signal from an hour to years. The server thins; a closer look asks it again."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import numpy as np
from dash import Input, Output, State, ctx, dcc, html, no_update

from analytics.plant.description import MOTOR_MEASURES
from dashboard.drawing import figures
from dashboard.drawing.figures import look_of
from dashboard.drawing.traces import DAY_US, HOUR_US
from dashboard.pages.common import chart, picks, register_picks
from dashboard.site import now_us
from dashboard.telling import display

if TYPE_CHECKING:
    import dash
    from dash.development.base_component import Component

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


def layout(site: Site, rest: str, screen: dict[str, bool], listen: str) -> list[Component]:
    signals = [(signal.name, _label(site, signal)) for signal in site.plant.signals]
    span = [(key, key) for key in SPANS]
    return [
        html.H1(signals[0][1], id="history-title"),
        picks("history-span", "The last", span, "day"),
        dcc.Store(id="history-window"),
        dcc.Store(id="history-plant", data=site.plant.name),
        chart(
            figures.base(look_of(screen), zoom=bool(screen.get("fine"))),
            "Fetching the readings…",
            "history-chart",
        ),
        html.Div(
            [
                html.Button(text, id=f"history-{key}", className="button", n_clicks=0)
                for key, text in (
                    ("earlier", "Earlier"),
                    ("later", "Later"),
                    ("closer", "Closer"),
                    ("wider", "Wider"),
                )
            ]
            + [html.A("CSV of what is shown", id="history-csv", className="button", href="#")],
            className="buttons",
        ),
        picks("history-signal", "Show", signals, signals[0][0]),
    ]


def _label(site: Site, signal: Signal) -> str:
    same = [other for other in site.plant.signals if other.measures is signal.measures]
    name = display.MEASURE_NAME[signal.measures]
    return f"{name} ({signal.name})" if len(same) > 1 else name


def register(app: dash.Dash, sites: dict[str, Site]) -> None:
    register_picks(app, "history-span")
    register_picks(app, "history-signal")

    @app.callback(
        Output("history-window", "data"),
        Input("history-span", "data"),
        Input("history-chart", "relayoutData"),
        *(Input(f"history-{key}", "n_clicks") for key in ("earlier", "later", "closer", "wider")),
        State("history-window", "data"),
        State("history-plant", "data"),
    )
    def move(span: str, relayout: dict[str, Any] | None, *rest: Any) -> Any:
        window, plant = rest[-2:]
        if ctx.triggered_id == "history-chart":
            zoomed = zoom_of(relayout or {}, sites[plant].plant.timezone)
            return zoomed or no_update
        if ctx.triggered_id in (None, "history-span") or window is None:
            at = newest(sites[plant])
            return [at - SPANS[span], at]
        return moved(window, ctx.triggered_id.removeprefix("history-"), newest(sites[plant]))

    @app.callback(
        Output("history-chart", "figure"),
        Output("history-chart-words", "children"),
        Output("history-csv", "href"),
        Output("history-title", "children"),
        Input("history-signal", "data"),
        Input("history-window", "data"),
        State("history-plant", "data"),
        State("screen", "data"),
        prevent_initial_call=True,
    )
    def draw(name: str, window: list[int] | None, plant: str, screen: dict[str, bool]) -> Any:
        if window is None:
            return no_update, no_update, no_update, no_update
        site = sites[plant]
        figure, words = drawn(site, name, window[0], window[1], screen or {})
        asked = urlencode({"signal": name, "from": window[0], "to": window[1]})
        title = _label(site, site.plant.signals[site.plant.index(name)])
        return figure, words, f"/at/{plant}/history.csv?{asked}", title


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


def zoom_of(relayout: dict[str, Any], timezone: str) -> list[int] | None:
    """The stretch that was drawn with the pointer, as instants; None for any other event."""
    ends = [relayout.get(f"xaxis.range[{i}]") for i in (0, 1)]
    if not all(isinstance(end, str) for end in ends):
        return None
    zone = display.zone(timezone)
    begin, end = (int(datetime.fromisoformat(e).replace(tzinfo=zone).timestamp() * 1e6) for e in ends)
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
    figures.finding_marks(figure, found, end, zone, look)
    runs = site.history.cycles(begin, end)
    if len(runs) <= MOST_RUNS:
        figures.run_marks(figure, runs, zone, look)
    return figure, _words(signal, bands, len(runs), len(found), units)


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


def _words(signal: Signal, bands: Bands, runs: int, found: int, units: display.Units) -> str:
    kind = display.KIND[signal.measures]
    ends = [float(signal.to_si(v)) for v in (np.nanmin(bands.minimum), np.nanmax(bands.maximum))]
    low, high = (display.show(v, kind, units, 1) for v in sorted(ends))
    words = f"{display.MEASURE_NAME[signal.measures]} between {low} and {high}; {runs} runs."
    if bands.step_us:
        words += f" Band: lowest to highest of each {display.duration(bands.step_us / 1e6)}; line: mean."
    if found:
        words += f" {found} finding{'s' if found > 1 else ''} marked."
    return words
