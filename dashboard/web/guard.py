"""What every answer carries and every request must show, whoever sends it.

Host is checked so that a web page elsewhere cannot reach us by pointing its own name at our
address (DNS rebinding). A request that is not a mere look must show that a page of ours sent it,
by Sec-Fetch-Site or, where a browser has no such header (plain HTTP on a network), by Origin; one
that shows neither is refused. Who it is from is for `dashboard.access.gate` to ask.

No Strict-Transport-Security: it holds for every port of a host name, and would shut out whatever
else a small machine serves there, and us, once a certificate of our own making is renewed.
"""

from __future__ import annotations

import ipaddress
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from flask import Response, abort, request

if TYPE_CHECKING:
    from flask import Flask

#: Dash and Plotly write style elements; no script of theirs needs eval.
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # not "no-referrer": with that, browsers send "Origin: null" from our own forms
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


def host_allowed(host: str, names: frozenset[str]) -> bool:
    """Whether a Host header names us: a bare address, localhost, a .local name, or a given name."""
    name = urlsplit(f"//{host}").hostname or ""
    if name in names or name == "localhost" or name.endswith((".localhost", ".local", ".lan", ".home.arpa")):
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def from_ourselves() -> bool:
    """Whether a request that changes or computes something was sent by a page of ours."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        return site == "same-origin"
    origin = request.headers.get("Origin", "")
    return origin != "" and urlsplit(origin).netloc == request.host


def guard(server: Flask, names: frozenset[str] = frozenset()) -> None:
    """Put the checks before and the headers after every request of this server."""

    @server.before_request
    def check() -> None:
        if not host_allowed(request.host, names):
            abort(421, "This host name is not one of ours.")
        if request.method not in ("GET", "HEAD", "OPTIONS") and not from_ourselves():
            abort(403, "This was not sent by a page of ours.")

    @server.after_request
    def dress(answer: Response) -> Response:
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        answer.headers.setdefault("Cache-Control", "no-store")
        return answer
