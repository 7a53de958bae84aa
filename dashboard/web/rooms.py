"""The rooms: which there are, in which order, who draws them, and which are one thumb away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from dash import ClientsideFunction, Input, Output, State, dcc, html

from dashboard.pages import cycles, setup, storage
from dashboard.telling.waters import salty

if TYPE_CHECKING:
    from collections.abc import Callable

    import dash
    from dash.development.base_component import Component

    from analytics.plant.description import Plant
    from dashboard.site import Site


class Page(Protocol):
    """What a room's module has."""

    def layout(self, site: Site, rest: str, screen: dict[str, bool], listen: str) -> list[Component]: ...

    def register(self, app: dash.Dash, sites: dict[str, Site]) -> None: ...


def always(plant: Plant) -> bool:
    """For rooms that every plant has."""
    return True


@dataclass(frozen=True, slots=True)
class Room:
    """One room. `path` is its word in the address; `page` is None where it has a module in `web` of its own.

    near     stands in the bar at the thumb; the others unfold from its last word, "More"
    calls    whether its page calls back, so that Dash must fill it in the browser
    deeper   whether addresses go on below it
    shown    whether a plant has this room
    """

    path: str
    title: str
    page: Page | None
    near: bool = False
    calls: bool = False
    deeper: bool = False
    shown: Callable[[Plant], bool] = always


#: Downhill, then what looks back, then what is seldom wanted. The bar holds four and "More".
ROOMS = (
    Room("", "Water", None, near=True),
    Room("storage", "Storage", storage, near=True),
    Room("findings", "Findings", None, near=True),
    Room("history", "History", None, near=True),
    Room("cycles", "Cycles", cycles),
    Room("salt", "Salt", None, shown=salty),
    Room("logbook", "Logbook", None),
    Room("practice", "Practice", None),
    Room("set-up", "Set-up", setup, calls=True),
)


def room_of(path: str) -> Room | None:
    return next((room for room in ROOMS if room.path == path), None)


def register(app: dash.Dash, sites: dict[str, Site], listen: str) -> None:
    """Layout and callbacks of every room that calls back."""
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
        _, at, name, path, *rest = [*(pathname or "").split("/"), "", "", "", ""]
        room = room_of(path)
        if at != "at" or name not in sites or room is None or room.page is None or not room.calls:
            return html.P("There is no such page.")
        return room.page.layout(sites[name], "/".join(rest).strip("/"), screen or {}, listen)

    for room in ROOMS:
        if room.page is not None and room.calls:
            room.page.register(app, sites)
