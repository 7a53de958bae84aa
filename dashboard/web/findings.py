"""The addresses of findings and logbook. With `X-Part: 1` a page's own content alone is sent, for the
script that renews it; with `?seen=VERSION` nothing where nothing is new."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Response, abort, request

from dashboard.access.gate import who
from dashboard.pages import findings
from dashboard.site import now_us
from dashboard.web.shell import shell

if TYPE_CHECKING:
    from flask import Flask

    from dashboard.web.files import Files
    from dashboard.web.sites import Sites


def mount(server: Flask, sites: Sites, files: Files) -> None:
    @server.get("/at/<name>/findings")
    def findings_page(name: str) -> str | Response:
        return _answer(name, "Findings", findings.listed(sites[name], now_us(), who().may_act))

    @server.get("/at/<name>/findings/<identity>")
    def finding_page(name: str, identity: str) -> str | Response:
        site = sites[name]
        if request.args.get("seen") == findings.version(site):
            return Response(status=204)
        found = findings.find(site, identity)
        if found is None:
            abort(404)
        content = findings.one(site, found, now_us(), who().may_act, request.args.get("done", ""))
        return _answer(name, "Findings", content)

    @server.get("/at/<name>/logbook")
    def logbook_page(name: str) -> str | Response:
        content = findings.book(sites[name], now_us(), who().may_act, request.args.get("done", ""))
        return _answer(name, "Logbook", content)

    def _answer(name: str, room: str, content: str) -> str | Response:
        if request.headers.get("X-Part"):
            return Response(content, mimetype="text/html")
        return shell(sites, files, name, room, content, ("findings.js",), ("findings.css",))
