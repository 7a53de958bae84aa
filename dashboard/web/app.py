"""The web application: pages as text and pictures, live streams, and Dash for what calls back."""

from __future__ import annotations

import json
import logging
import re
import threading
import time
from typing import TYPE_CHECKING

import dash
from flask import Flask, Response, abort, jsonify, redirect, request
from markupsafe import Markup

from collector.store.errors import HistoryError
from dashboard.access.book import Book
from dashboard.access.doors import doors
from dashboard.access.gate import Gate, who
from dashboard.access.household import household
from dashboard.drawing import water
from dashboard.drawing.ready import ready
from dashboard.pages import otherwise
from dashboard.telling.status import status
from dashboard.web import actions, findings, history, packing, practice, rooms, salt, trials, worker
from dashboard.web.files import Files
from dashboard.web.guard import guard
from dashboard.web.health import health
from dashboard.web.shell import shell
from dashboard.web.sites import Sites
from dashboard.web.study import about, data_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from analytics.plant.description import Plant

log = logging.getLogger("holdwater.dashboard")

#: Streams may hold no more than this many of the server's threads; the rest answer requests.
MOST_STREAMS = 24
#: Bytes; a chart's callback sends the most, and that is a few kilobytes.
LARGEST_REQUEST = 1_000_000


def make_app(
    plants: Iterable[Plant],
    data: Path,
    listen: str = "",
    names: frozenset[str] = frozenset(),
    *,
    secure: bool = False,
    ahead: bool = False,
    clock: Callable[[], float] = time.time,
) -> Flask:
    """The WSGI application for these plants.

    `listen` is told on Set-up, `names` are further host names, `secure` is whether TLS carries it,
    `ahead` whether files are compressed and pages drawn once before anybody asks, and `clock` [s] is what
    sessions and pairing codes expire by.
    """
    server = Flask("dashboard", static_folder=None)
    server.config["MAX_FORM_MEMORY_SIZE"] = server.config["MAX_CONTENT_LENGTH"] = LARGEST_REQUEST
    sites, files, gate = Sites(plants, data), Files(), Gate(Book(data), secure, clock)
    guard(server, names)
    packing.mount(server)
    gate.mount(server)
    files.mount(server)
    server.register_blueprint(doors(files))
    server.register_blueprint(household(files))
    _pages(server, sites, files, _dash(server, sites), listen)
    history.mount(server, sites, files)
    trials.mount(server, sites, files)
    practice.mount(server, sites, files)
    findings.mount(server, sites, files)
    salt.mount(server, sites, files)
    actions.mount(server, sites)
    worker.mount(server, files)
    _streams(server, sites, gate)
    server.register_error_handler(HistoryError, lambda error: _trouble(error, files))
    server.add_url_rule("/health", "health", lambda: health(sites.by_name.values(), data))
    if ahead:
        threading.Thread(target=_draw_ahead, args=(sites, files), name="ahead", daemon=True).start()
    return server


def _draw_ahead(sites: Sites, files: Files) -> None:
    """So that the first visitor waits for nothing that could be done before."""
    for name in sites.by_name:
        try:
            shell(sites, files, name)
        except HistoryError:
            continue  # the visitor is told
    files.warm()


def _trouble(error: HistoryError, files: Files) -> Response:
    """A history that cannot be read: what is in the way, and what would help."""
    log.error("%s", error)
    words = water.partial("trouble.html", error=error, kept=files.url)
    return Response(words, 503, {"Retry-After": "30"}, mimetype="text/html")


def _dash(server: Flask, sites: Sites) -> dash.Dash:
    app = dash.Dash(
        "dashboard",
        server=server,
        url_base_pathname="/dash/",
        assets_folder="no-assets",
        suppress_callback_exceptions=True,
        update_title="",
        serve_locally=True,
    )
    app.enable_dev_tools(debug=False)
    otherwise.register(app, sites.by_name)
    return app


def _pages(server: Flask, sites: Sites, files: Files, app: dash.Dash, listen: str) -> None:
    @server.get("/")
    def entry() -> str | Response:
        if not sites.many:
            return water_page(next(iter(sites.by_name)))
        entries = [
            (site.plant, status(site.facts()), sites.base(name)) for name, site in sites.by_name.items()
        ]
        return water.chooser(entries, files)

    @server.get("/at/<name>")
    def bare(name: str) -> Response:
        return redirect(f"{sites.base(sites[name].plant.name)}/")

    @server.get("/at/<name>/")
    def water_page(name: str) -> str:
        return shell(sites, files, name)

    @server.get("/at/<name>/<path>")
    @server.get("/at/<name>/<path>/<path:rest>")
    def room_page(name: str, path: str, rest: str = "") -> str | Response:
        site, room = sites[name], rooms.room_of(path)
        if room is None or room.page is None or not room.shown(site.plant) or (rest and not room.deeper):
            abort(404)
        found = ready(room.page.layout(site, rest, {}, listen))
        if request.args.get("figures"):
            return jsonify(found.figures)
        brought = _config(app, files) if room.calls else about(files)
        content = water.partial("ready.html", page=found, brought=brought)
        return shell(sites, files, name, room.title, content, (room.script,))

    @server.get("/at/<name>/manifest.json")
    def manifest(name: str) -> Response:
        title, base = sites[name].plant.title, sites.base(name)
        icons = [
            {"src": files.url(f"icon-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png"}
            for size in (192, 512)
        ]
        about = {
            "name": f"{title} water",
            "short_name": _short(title),
            "start_url": f"{base}/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#f7f9f8",
            "theme_color": "#d9e7ee",
            "icons": icons,
        }
        return Response(json.dumps(about), mimetype="application/manifest+json")


def _short(title: str, most: int = 12) -> str:
    """What fits below a symbol on a home screen: as many whole words as do, or the first one's beginning."""
    words = title.split()
    fits = [" ".join(words[:n]) for n in range(len(words), 0, -1) if len(" ".join(words[:n])) <= most]
    return fits[0] if fits else title.strip()[:most]


def _config(app: dash.Dash, files: Files) -> Markup:
    """Dash's settings for its part of a page, as data and not as a script; and where its own script is."""
    with app.server.app_context():
        text = app._generate_config_html()
    assert re.match(r'<script id="_dash-config" type="application/json">', text), text[:80]
    where = data_of({"script": files.url("dash.js")})
    return Markup(text) + Markup('<script type="application/json" id="dash">{}</script>').format(where)


def _streams(server: Flask, sites: Sites, gate: Gate) -> None:
    @server.get("/at/<name>/live")
    def live(name: str) -> Response:
        sites[name]
        if sum(watcher.listeners for watcher in sites.watchers.values()) >= MOST_STREAMS:
            return Response("too many phones at once\n", 503, {"Retry-After": "10"})
        stream = sites.watchers[name].stream(request.args.get("seen", ""))
        watched = gate.while_paired(who(), stream)
        return Response(watched, mimetype="text/event-stream", headers={"X-Accel-Buffering": "no"})
