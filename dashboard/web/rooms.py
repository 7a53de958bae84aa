"""The rooms: which there are, in which order, who draws them, and which are one thumb away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from dashboard.pages import cycles, setup, storage
from dashboard.telling.waters import salty

if TYPE_CHECKING:
    from collections.abc import Callable

    from dash.development.base_component import Component

    from analytics.plant.description import Plant
    from dashboard.site import Site


class Page(Protocol):
    """What a room's module has."""

    def layout(self, site: Site, rest: str, screen: dict[str, bool], listen: str) -> list[Component]: ...


def always(plant: Plant) -> bool:
    """For rooms that every plant has."""
    return True


@dataclass(frozen=True, slots=True)
class Room:
    """One room. `path` is its word in the address; `page` is None where it has a module in `web` of its own.

    near     stands in the bar at the thumb; the others unfold from its last word, "More"
    script   the kept file of its own; charts are looked at with study.js
    calls    whether a part of its page calls back: Dash is fetched when that is unfolded
    deeper   whether addresses go on below it
    shown    whether a plant has this room
    """

    path: str
    title: str
    page: Page | None
    near: bool = False
    script: str = "study.js"
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
    Room("set-up", "Set-up", setup, script="setup.js", calls=True),
)


def room_of(path: str) -> Room | None:
    return next((room for room in ROOMS if room.path == path), None)
