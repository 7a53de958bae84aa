"""The service worker: what a phone shows when the server cannot be reached.

It keeps the last Water page of each plant and the files that page needs, and nothing else of a
plant. Browsers run it only where the address is secure (TLS with a certificate they trust, or this
machine itself); elsewhere all else works the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Response

from dashboard.web.files import ASSETS

if TYPE_CHECKING:
    from flask import Flask

    from dashboard.web.files import Files


def mount(server: Flask, files: Files) -> None:
    @server.get("/worker.js")
    def worker() -> Response:
        answer = Response((ASSETS / "worker.js").read_bytes(), mimetype="text/javascript")
        answer.headers["Cache-Control"] = "no-cache"
        return answer
