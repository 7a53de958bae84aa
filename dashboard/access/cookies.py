"""The cookie: a random token, for scripts unreadable, and sent to this host alone.

`__Host-` and Secure under TLS (RFC 6265bis). SameSite=Lax, not Strict: a link in a message about an
alarm must open the page, and nothing changes by a GET. The name holds the port, since cookies do not
know of ports: a demo beside the real one must not sign it out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from flask import request

from dashboard.access.phones import LONGEST_S

if TYPE_CHECKING:
    from flask import Response

#: Browsers keep no cookie longer than 400 days; ours ends with the session.
_AGE_S = int(LONGEST_S)


def name(secure: bool, host: str) -> str:
    """The cookie's name for a Host header."""
    port = urlsplit(f"//{host}").port or (443 if secure else 80)
    return f"{'__Host-' if secure else ''}holdwater-{port}"


def token(secure: bool) -> str | None:
    return request.cookies.get(name(secure, request.host))


def give(answer: Response, value: str, secure: bool) -> None:
    answer.set_cookie(
        name(secure, request.host),
        value,
        max_age=_AGE_S,
        path="/",
        secure=secure,
        httponly=True,
        samesite="Lax",
    )


def take_back(answer: Response, secure: bool) -> None:
    """Forget it, and whatever the phone has kept of our pages."""
    answer.delete_cookie(name(secure, request.host), path="/", secure=secure, httponly=True, samesite="Lax")
    answer.headers["Clear-Site-Data"] = '"cache", "storage"'
