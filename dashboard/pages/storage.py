"""Storage: how long will it last? Level, days to empty as a band, what rain would add."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from dash import html

from analytics.garden.roof import of_catchment
from analytics.plant.description import Measure
from dashboard.drawing import figures
from dashboard.drawing.figures import look_of
from dashboard.drawing.traces import DAY_US
from dashboard.pages.common import chart, pairs
from dashboard.pages.season import season
from dashboard.site import now_us
from dashboard.telling import display

if TYPE_CHECKING:
    from dash.development.base_component import Component

    from analytics.plant.description import Plant, Signal, Storage
    from analytics.records import Outlook
    from dashboard.drawing.figures import Figure, Look
    from dashboard.site import Site
    from dashboard.telling.facts import Facts

PAST_DAYS = 30
_YEAR = 365.0
#: Rain depths that people know from a forecast.
RAINS_M = {"us": (0.25 * 0.0254, 0.0254, 3 * 0.0254), "metric": (0.005, 0.02, 0.05)}


def layout(site: Site, rest: str, screen: dict[str, bool], listen: str) -> list[Component]:
    facts = site.facts(now_us())
    if not site.plant.storages:
        words = (
            "The plant file names no storage. With one, and a sensor of its level, this page says how long "
        )
        return [html.H1("Storage"), html.P(f"{words}the water lasts.")]
    page: list[Component] = []
    for storage in site.plant.storages:
        page += _one(site, facts, storage, look_of(screen), zoom=bool(screen.get("fine")))
    page += season(site, facts, look_of(screen), zoom=bool(screen.get("fine")))
    return page + _rain(site.plant)


def _one(site: Site, facts: Facts, storage: Storage, look: Look, *, zoom: bool) -> list[Component]:
    units = site.plant.display_units
    title = "Storage" if len(site.plant.storages) == 1 else f"Storage: {storage.name}"
    signal = facts.signal(Measure.STORAGE_LEVEL, of=storage.name)
    reading = facts.reading(signal)
    if signal is None or reading is None:
        return [html.H1(title), html.P("No level has been heard, so how long it lasts cannot be told.")]
    held = float(storage.volume_at(reading.value))
    days = facts.outlook("days_to_empty", storage.name)
    figure = level(site, storage, signal, facts.now_us, days, look, zoom=zoom)
    demand = facts.outlook("demand_m3_day")
    rows = [
        ("Held now", f"{display.volume(held, units)} of {display.volume(storage.volume_m3, units)}"),
        ("Level", f"{display.show(reading.value, 'level', units)}, {display.ago(facts.age_s(reading))}"),
    ]
    if demand is not None:
        rows.append(("Usual use", f"{display.volume(demand.p50, units)} a day"))
    rows.append(("You are told ahead by", display.duration(storage.warn_ahead_s)))
    words = f"Level over {PAST_DAYS} days."
    if days is not None and days.p10 is not None:
        words = f"{words[:-1]}; to the right of today the days until it is empty, if no rain falls."
    return [html.H1(title), *_headline(days), chart(figure, words), pairs(rows)]


def _headline(days: Outlook | None) -> list[Component]:
    """The one figure that the page is opened for."""
    if days is None or days.p50 is None:
        return [html.P("How long it lasts is not known yet: it takes a day or two of use to tell.")]
    if days.p50 <= 0:
        return [html.P(html.B("empty", className="words"), className="figure"), html.P("At its outlet.")]
    if days.p50 > _YEAR:
        return [
            html.P(html.B("over a year", className="words"), className="figure"),
            html.P("If no rain falls."),
        ]
    band = "if no rain falls"
    if days.p10 is not None and days.p90 is not None:
        late = f"{days.p90:.0f}" if days.p90 <= _YEAR else f"{_YEAR:.0f} or more"
        band = f"likely {days.p10:.0f} to {late}, if no rain falls"
    figure = [
        html.B(f"{days.p50:.0f}"),
        html.Span("day" if round(days.p50) == 1 else "days", className="unit"),
        html.Span(band, className="note"),
    ]
    return [html.P(figure, className="figure")]


def level(
    site: Site, storage: Storage, signal: Signal, at: int, days: Outlook | None, look: Look, *, zoom: bool
) -> Figure:
    """A month of level and the fan of what is to come."""
    plant = site.plant
    units, zone = plant.display_units, plant.timezone
    hours = site.history.bands(signal.name, at - PAST_DAYS * DAY_US, at, 720)
    keep = np.isfinite(hours.mean)
    si = signal.to_si(hours.mean[keep])
    y = [round(display.in_unit(float(v), "level", units), 3) for v in si]
    figure = figures.base(look, unit=display.unit_of("level", units)[0], zoom=zoom)
    figures.line(
        figure, figures.wall(hours.time_us[keep], zone), y, look, fill="tozeroy", fillcolor=look.band
    )
    outlet = display.in_unit(storage.outlet_level_m, "level", units)
    figures.level_mark(figure, outlet, "outlet", look)
    figures.level_mark(figure, display.in_unit(storage.full_level_m, "level", units), "overflow", look)
    if y and days is not None and days.p10 is not None and days.p90 is not None:
        now, soon, late = figures.wall(
            [at, at + int(days.p10 * DAY_US), at + int(min(days.p90, 365) * DAY_US)], zone
        )
        clear = {"width": 0}
        figures.line(figure, [now, soon, late], [y[-1], outlet, outlet], look, line=clear, hoverinfo="skip")
        figures.line(
            figure,
            [now, late],
            [y[-1], outlet],
            look,
            line=clear,
            fill="tonexty",
            fillcolor=look.band,
            hoverinfo="skip",
        )
    figure["layout"]["yaxis"]["rangemode"] = "tozero"
    return figure


def _rain(plant: Plant) -> list[Component]:
    """What rain adds: depth times area times runoff, less the first flush."""
    roof = plant.catchment
    if roof is None:
        return [
            html.H2("What rain would add"),
            html.P("The plant file names no catchment, so this cannot be told."),
        ]
    units = plant.display_units
    rows = []
    for depth in RAINS_M[units]:
        water = float(of_catchment(depth, roof)[0])
        rows.append((f"{display.show(depth, 'rain', units)} of rain", str(display.volume(water, units))))
    return [html.H2("What rain would add"), pairs(rows)]
