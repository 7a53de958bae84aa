"""What if it were set otherwise? The part of Set-up that calls back: Dash is fetched when it is unfolded."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import Input, Output, dcc, html

from analytics.advice.shapes import AIR, MAINS
from dashboard.pages.common import pairs, picks, register_picks
from dashboard.telling.otherwise import TANKS, can, otherwise, pressures

if TYPE_CHECKING:
    import dash
    from dash.development.base_component import Component

    from analytics.plant.description import Plant
    from dashboard.site import Site

TITLE = "What if it were set otherwise?"
#: A pump that never reaches cut-out never stops: the commonest harm of a setting that is too high.
HIGH = "Keep cut-out below what the pump can reach, or it never stops, and below what tank and pipe can bear."


def closed(plant: Plant) -> list[Component]:
    """The panel before anybody opens it; nothing where the plant file does not say enough."""
    if not can(plant):
        return []
    waiting = html.P("Opening…", className="quiet")
    inside = html.Div(waiting, id="react-entry-point")
    shut = html.Summary(TITLE, className="button")
    return [html.Details([shut, inside], className="unfold", id="calls")]


def register(app: dash.Dash, sites: dict[str, Site]) -> None:
    app.layout = html.Div([dcc.Location(id="place", refresh=False), html.Div(id="otherwise")])
    register_picks(app, "setting")
    register_picks(app, "tank")

    @app.callback(Output("otherwise", "children"), Input("place", "pathname"))
    def fill(pathname: str | None) -> list[Component]:
        return choices(_plant(sites, pathname))

    @app.callback(
        Output("then", "children"),
        Input("setting", "data"),
        Input("tank", "data"),
        Input("place", "pathname"),
    )
    def then(setting: str, tank: str, pathname: str | None) -> list[Component]:
        return answer(_plant(sites, pathname), setting, tank)


def _plant(sites: dict[str, Site], pathname: str | None) -> Plant | None:
    _, at, name, *_ = [*(pathname or "").split("/"), "", ""]
    plant = sites[name].plant if at == "at" and name in sites else None
    return plant if plant is not None and can(plant) else None


def choices(plant: Plant | None) -> list[Component]:
    if plant is None:
        return [html.P("There is no such plant.")]
    tanks = [(key, words) for key, (words, _) in TANKS.items()]
    return [
        picks("setting", "Pump starts and stops at", list(pressures(plant).items()), "now"),
        picks("tank", "Pressure tank", tanks, "now"),
        html.Div(id="then", role="status"),
    ]


def answer(plant: Plant | None, setting: str, tank: str) -> list[Component]:
    if plant is None or setting not in pressures(plant) or tank not in TANKS:
        return [html.P("That is no setting to choose from.")]
    told = otherwise(plant, setting, tank)
    same = setting == tank == "now"
    rows = [(name, now if same or now == then else f"{then} (now {now})") for name, now, then in told.rows]
    page: list[Component] = [pairs(rows), *(html.P(words) for words in told.words)]
    if setting != "now":
        page += [html.P([html.B("Take care. "), words], className="caution") for words in (MAINS, AIR, HIGH)]
    return page
