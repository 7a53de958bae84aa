"""The rooms that Dash fills: which there are, and which of them draws now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import ClientsideFunction, Input, Output, State, dcc, html

from dashboard.pages import cycles, findings, history, setup, storage

if TYPE_CHECKING:
    import dash

    from dashboard.site import Site

_PAGES = {
    "cycles": cycles,
    "storage": storage,
    "findings": findings,
    "history": history,
    "set-up": setup,
}


def deeper(room: str) -> bool:
    """Whether a room has pages below it."""
    return room == "findings"


def charted(room: str, rest: str) -> bool:
    """Whether a page needs the chart library."""
    return room in ("cycles", "storage", "history") or (room == "findings" and bool(rest))


def register(app: dash.Dash, sites: dict[str, Site], listen: str) -> None:
    """Layout and callbacks of every room."""
    app.layout = html.Div(
        [
            dcc.Location(id="place", refresh=False),
            dcc.Store(id="screen"),
            html.Main(id="content", className="room", **{"aria-live": "polite"}),
        ]
    )
    app.clientside_callback(
        ClientsideFunction("screen", "told"), Output("screen", "data"), Input("place", "pathname")
    )

    @app.callback(Output("content", "children"), Input("screen", "data"), State("place", "pathname"))
    def fill(screen: dict[str, bool] | None, pathname: str | None) -> object:
        _, at, name, room, *rest = [*(pathname or "").split("/"), "", "", "", ""]
        if at != "at" or name not in sites or room not in _PAGES:
            return html.P("There is no such page.")
        return _PAGES[room].layout(sites[name], "/".join(rest).strip("/"), screen or {}, listen)

    for page in _PAGES.values():
        page.register(app, sites)
