"""History's addresses: the page with its picture, the same in parts for a step from it, and CSV."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from flask import Response, abort, jsonify, request

from dashboard.drawing import still, water
from dashboard.drawing.export import csv_of
from dashboard.pages import history
from dashboard.web.shell import shell
from dashboard.web.study import about, data_of

if TYPE_CHECKING:
    from flask import Flask
    from markupsafe import Markup

    from dashboard.site import Site
    from dashboard.web.files import Files
    from dashboard.web.sites import Sites


def mount(server: Flask, sites: Sites, files: Files) -> None:
    @server.get("/at/<name>/history")
    def history_page(name: str) -> str | Response:
        site = sites[name]
        told = _told(site, _asked(site))
        if request.args.get("part"):
            return jsonify(told)
        content = water.partial("history.html", told=told, data=_data(told), study=about(files))
        return shell(sites, files, name, "History", content, ("history.js",))

    @server.get("/at/<name>/history.csv")
    def history_csv(name: str) -> Response:
        site = sites[name]
        if "from" not in request.args:
            abort(400)
        view = _asked(site)
        file = re.sub(r"[^A-Za-z0-9._-]", "_", f"{site.plant.name}-{view.signal.name}.csv")
        headers = {"Content-Disposition": f'attachment; filename="{file}"'}
        return Response(csv_of(site, view.signal, *view.window), mimetype="text/csv", headers=headers)


def _asked(site: Site) -> history.View:
    try:
        return history.view_of(site, request.args)
    except (KeyError, ValueError, OverflowError):
        abort(400)


def _told(site: Site, view: history.View) -> dict[str, object]:
    """Everything that one view says: its picture, or the figure for a light chart where that is asked
    for; its words, and the ways from here."""
    screen = {"wide": bool(request.args.get("wide"))}
    figure, words = history.drawn(site, view.signal.name, view.from_us, view.to_us, screen)
    title = history.label(site, view.signal)
    dates = history.dates(view, site.plant.timezone)
    ways = water.partial("history-ways.html", **history.controls(site, view))
    shown: dict[str, object] = {"still": still.html(figure)}
    if request.args.get("figure"):
        figure["layout"]["yaxis"]["range"] = still.limits(figure)  # so that nothing jumps
        shown = {"figure": figure}
    return shown | {
        "title": title,
        "dates": dates,
        "words": words,
        "ways": ways,
        "here": history.address(view),
        "picture": f"{site.plant.title}: {title.lower()}. {dates}. {words}",
    }


def _data(told: dict[str, object]) -> Markup:
    """What the script needs, as data inside the page."""
    return data_of({name: told[name] for name in ("title", "dates", "picture", "here")})
