"""Static files that a phone fetches once: named by the hash of what is in them, compressed once.

Several sources may make one file, so that a page costs few requests. Everything is read and
compressed at the first asking and kept in memory: one megabyte or two, and no build step.
"""

from __future__ import annotations

import gzip
import hashlib
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import dash
from flask import Response, abort, request

if TYPE_CHECKING:
    from flask import Flask

ASSETS = Path(__file__).parents[1] / "assets"
DASH = Path(dash.__file__).parent
FOR_GOOD = "public, max-age=31536000, immutable"

#: What Dash's part of a page needs, in the order in which it must run (table and charts are left out).
_DASH_PARTS = (
    "deps/polyfill@7.*.min.js",
    "deps/react@18.*.min.js",
    "deps/react-dom@18.*.min.js",
    "deps/prop-types@*.min.js",
    "dash-renderer/build/dash_renderer.min.js",
    "dcc/dash_core_components.js",
    "dcc/dash_core_components-shared.js",
    "html/dash_html_components.min.js",
)


def _dash_bundle() -> list[Path]:
    return [sorted(DASH.glob(pattern))[-1] for pattern in _DASH_PARTS]


_SOURCES = {
    "look.css": ("text/css", lambda: [ASSETS / "look.css"]),
    "doors.css": ("text/css", lambda: [ASSETS / "doors.css"]),
    "findings.css": ("text/css", lambda: [ASSETS / "findings.css"]),
    "findings.js": ("text/javascript", lambda: [ASSETS / "findings.js"]),
    "light.js": ("text/javascript", lambda: [ASSETS / "light.js"]),
    "study.js": ("text/javascript", lambda: [ASSETS / "study.js"]),
    "history.js": ("text/javascript", lambda: [ASSETS / "study.js", ASSETS / "history.js"]),
    "salt.css": ("text/css", lambda: [ASSETS / "salt.css"]),
    "salt.js": ("text/javascript", lambda: [ASSETS / "salt.js"]),
    "trial.js": ("text/javascript", lambda: [ASSETS / "trial.js"]),
    "practice.css": ("text/css", lambda: [ASSETS / "practice.css"]),
    "practice.js": ("text/javascript", lambda: [ASSETS / "practice.js"]),
    "water.js": ("text/javascript", lambda: [ASSETS / "water.js"]),
    "dash.js": ("text/javascript", lambda: [*_dash_bundle(), ASSETS / "dash.js"]),
    "setup.js": ("text/javascript", lambda: [ASSETS / "setup.js"]),
    "charts.js": ("text/javascript", lambda: [next(ASSETS.glob("plotly-basic-*.min.js"))]),
    "hyperlegible.woff2": ("font/woff2", lambda: [ASSETS / "hyperlegible.woff2"]),
    "icon.svg": ("image/svg+xml", lambda: [ASSETS / "icon.svg"]),
    "icon-192.png": ("image/png", lambda: [ASSETS / "icon-192.png"]),
    "icon-512.png": ("image/png", lambda: [ASSETS / "icon-512.png"]),
}
#: Already compressed by their own format.
_PACKED = {"font/woff2", "image/png"}


@dataclass(frozen=True, slots=True)
class File:
    kind: str
    body: bytes
    zipped: bytes | None
    digest: str


class Files:
    """The store of static files. `url` names a file; `serve` is mounted under /kept/."""

    def __init__(self) -> None:
        self._held: dict[str, File] = {}
        self._lock = threading.Lock()

    def file(self, name: str) -> File:
        """The file, made at the first asking. KeyError for a name that is not ours."""
        kind, sources = _SOURCES[name]
        with self._lock:
            if name not in self._held:
                self._held[name] = self._made(kind, sources())
            return self._held[name]

    def _made(self, kind: str, sources: list[Path]) -> File:
        parts = [path.read_bytes() for path in sources]
        body = b"\n;\n".join(parts) if kind == "text/javascript" else b"".join(parts)
        if kind == "text/css":
            font = self._url_of_file("hyperlegible.woff2", ASSETS / "hyperlegible.woff2")
            body = body.replace(b"HYPERLEGIBLE", font.encode())
        zipped = None if kind in _PACKED else gzip.compress(body, 9, mtime=0)
        return File(kind, body, zipped, hashlib.sha256(body).hexdigest()[:12])

    @staticmethod
    def _url_of_file(name: str, path: Path) -> str:
        return f"/kept/{hashlib.sha256(path.read_bytes()).hexdigest()[:12]}/{name}"

    def url(self, name: str) -> str:
        return f"/kept/{self.file(name).digest}/{name}"

    def serve(self, digest: str, name: str) -> Response:
        """The file if its content is still what the address says; 404 otherwise."""
        if name not in _SOURCES or (held := self.file(name)).digest != digest:
            abort(404)
        zipped = held.zipped if "gzip" in request.headers.get("Accept-Encoding", "") else None
        answer = Response(zipped or held.body, mimetype=held.kind)
        answer.headers["Cache-Control"] = FOR_GOOD
        answer.headers["Vary"] = "Accept-Encoding"
        if zipped:
            answer.headers["Content-Encoding"] = "gzip"
        return answer

    def mount(self, server: Flask) -> None:
        server.add_url_rule("/kept/<digest>/<name>", "kept", self.serve)

    def warm(self) -> None:
        """Make everything now, off the first visitor's path."""
        for name in _SOURCES:
            self.file(name)
