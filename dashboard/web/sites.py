"""The plants that are served, by name, each with its watcher and its base address."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import abort

from dashboard.site import Site
from dashboard.web.live import Watcher

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from analytics.plant.description import Plant


class Sites:
    """The plants by name, each with its watcher and its base address."""

    def __init__(self, plants: Iterable[Plant], data: Path) -> None:
        self.by_name = {plant.name: Site(plant, data) for plant in plants}
        self.watchers = {name: Watcher(site, self.base(name)) for name, site in self.by_name.items()}

    @staticmethod
    def base(name: str) -> str:
        return f"/at/{name}"

    def __getitem__(self, name: str) -> Site:
        if name not in self.by_name:
            abort(404)
        return self.by_name[name]

    @property
    def many(self) -> bool:
        return len(self.by_name) > 1
