"""The season on the Storage page: the store as a band over years of rain, and what would widen it.

The figures are the season's plan's (`telling.garden_plan`), so that this page, the printed plan and the
Salt page say the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import html

from analytics.plant.description import Measure
from dashboard.drawing import figures
from dashboard.pages.common import chart, pairs
from dashboard.telling import display
from dashboard.telling.garden_plan import house_m3_day, planned, rain_storage
from dashboard.telling.gauge import gauge
from dashboard.telling.salt import CROSSING, percent

if TYPE_CHECKING:
    from dash.development.base_component import Component

    from analytics.garden.plan import Plan
    from analytics.plant.description import Plant
    from dashboard.drawing.figures import Figure, Look
    from dashboard.site import Site
    from dashboard.telling.facts import Facts

_HEADING = "Through the season"


def season(site: Site, facts: Facts, look: Look, *, zoom: bool) -> list[Component]:
    """Band, need and changes; or what the plant file lacks for them."""
    told = planned(facts, None, gauge(site, facts.now_us))
    if told is None:
        return [html.H2(_HEADING), html.P(lacking(facts.plant))]
    named = rain_storage(facts)
    assert named is not None
    title = _HEADING if len(facts.plant.storages) == 1 else f"{_HEADING}: {named.name}"
    page = [html.H2(title), html.P(verdict(told)), chart(band(told, facts, look, zoom=zoom), words(told))]
    page += [pairs(needs(told, facts)), html.H2("What would change it"), _changes(told, facts)]
    page.append(html.P(_ROOM, className="quiet"))
    if told.rain_share < 1:
        page.append(html.P([html.B("Caution. "), CROSSING], className="caution"))
    link = f"/at/{facts.plant.name}/salt/plan"
    return [
        *page,
        html.P(html.A("The plan, week by week", href=link, className="button"), className="buttons"),
    ]


_ROOM = (
    "Where a larger roof leaves the dry years as they are, the store is too small to keep what falls; where "
    "a larger store does, there is nothing to put in it. A roof must be fit to catch from, and a full tank "
    "weighs a tonne a cubic metre: have its ground looked at."
)


def lacking(plant: Plant) -> str:
    """What the plant file would have to tell."""
    wants = [
        (plant.garden is None, "[garden]"),
        (plant.climate is None, "[climate] with rain and temperatures"),
        (plant.catchment is None, "[catchment]"),
        (not plant.storages, "a storage"),
    ]
    missing = [name for absent, name in wants if absent]
    asked = ", ".join(missing) or "rain and temperatures in [climate]"
    return f"How far the rain goes through the season cannot be told: the plant file lacks {asked}."


def verdict(told: Plan) -> str:
    weeks, dry = len(told.lines), told.course.dry_share
    if dry == 0:
        return f"In none of these years does the rain in store run out within {weeks} weeks."
    first = next((line for line in told.lines if line.held_m3[0] <= 0), None)
    soon = f" In one year of ten it is empty by {first.first.day} {first.first:%B}." if first else ""
    often = "every one" if dry >= 1 else percent(dry)
    return f"In {often} of these years the rain in store runs out within {weeks} weeks.{soon}"


def band(told: Plan, facts: Facts, look: Look, *, zoom: bool) -> Figure:
    """The 10th to 90th percentile of what is held above the outlet, week by week, and the middle."""
    units = facts.plant.display_units
    figure = figures.base(look, unit=display.unit_of("volume", units)[0], zoom=zoom)
    x = [line.first.isoformat() for line in told.lines]
    low, middle, high = (
        [round(display.in_unit(line.held_m3[at], "volume", units), 1) for line in told.lines]
        for at in range(3)
    )
    figures.band(figure, x, low, middle, high, look)
    storage = rain_storage(facts)
    if storage is not None:
        full = storage.volume_m3 - float(storage.volume_at(storage.outlet_level_m))
        figures.level_mark(figure, display.in_unit(full, "volume", units), "overflow", look)
    figure["layout"]["yaxis"]["rangemode"] = "tozero"
    return figure


def words(told: Plan) -> str:
    return (
        f"Water above the outlet at the end of each week. Line: the middle of {told.years}; band: eight of "
        f"ten years. {percent(told.rain_share)} rain in the mix."
    )


def needs(told: Plan, facts: Facts) -> list[tuple[str, str]]:
    """This week's, with the names of the methods."""
    units, week = facts.plant.display_units, told.lines[0]
    house, known = house_m3_day(facts)
    heard = not known.startswith("not known")
    drunk = f"{display.show(week.reference_m / 7, 'rain', units)} a day ({told.method})"
    poured = f"{display.volume(week.garden_m3 / 7, units)} a day in a mean year, crop factor {week.kc:.2f}, "
    poured += "what rain on the beds gives taken off"
    if told.leaching_share > 0:
        poured += f", {percent(told.leaching_share)} of it to carry salt away"
    if week.kc <= 0:
        poured = "nothing this week: out of its season"
    rows = [
        ("Reference grass drinks", drunk),
        ("The garden wants", poured),
        ("The house uses", f"{display.volume(house, units)} a day, {known}" if heard else known),
        ("Lost over the overflow", f"{display.volume(told.course.spilled_m3, units)} in a mean year"),
    ]
    if heard:
        rows.insert(
            -1, ("Of that from the rain in store", f"{display.volume(week.rain_m3 / 7, units)} a day")
        )
    if not facts.plant.measuring(Measure.RAINFALL):
        rows.append(("Rain", "no gauge fitted: your own years are not known"))
    return rows


def lasts(told: Plan, dry_week: int | None) -> str:
    """Until when the rain in store lasts."""
    if dry_week is None:
        return "to the end"
    first = told.lines[dry_week].first
    return f"to about {first.day} {first:%b}"


def _changes(told: Plan, facts: Facts) -> Component:
    units = facts.plant.display_units
    heads = ("", "A middle year lasts", "Years that run dry", "Missing in a mean year")
    body = [
        html.Tr(
            [
                html.Th(one.title, scope="row"),
                html.Td(lasts(told, one.dry_week)),
                html.Td(percent(one.dry_share)),
                html.Td(str(display.volume(one.short_m3, units))),
            ]
        )
        for one in told.changes
    ]
    head = html.Thead(html.Tr([html.Th(text, scope="col") if text else html.Td("") for text in heads]))
    table = html.Table([head, html.Tbody(body)])
    # wider than a phone in large text: then it is pushed sideways, also by keyboard
    named = {"role": "region", "aria-label": "What would change it", "tabIndex": "0"}
    return html.Div(table, className="sheet", **named)
