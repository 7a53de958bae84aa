"""The gate before every request: no paired phone, no answer; no caretaker, no change.

What is open is named here, all else is shut, so that a route added elsewhere is guarded without its
author thinking of it.
"""

from __future__ import annotations

import logging
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from flask import Response, abort, current_app, g, redirect, request

from dashboard.access import cookies, phones

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator

    from flask import Flask

    from dashboard.access.book import Book

log = logging.getLogger("holdwater.access")

#: Endpoints without sign-in: nothing of a plant is in them.
OPEN = frozenset({"kept", "health", "worker", "doors.sign_in", "doors.pair"})
#: What view-only people may send: callbacks that draw, practice, and what concerns their own phone.
FOR_ALL = frozenset(
    {
        "/dash/_dash-update-component",
        "doors.sign_out",
        "household.prove",
        "household.passphrase",
        "household.forget",
        "practice_new",
        "practice_answer",
    }
)
READING = frozenset({"GET", "HEAD", "OPTIONS"})
#: How often an open stream asks whether its phone may still look.
LOOK_AGAIN_S = 4.0


class Gate:
    """The gate of one server: its book, its clock, and whether it speaks TLS."""

    def __init__(self, book: Book, secure: bool, clock: Callable[[], float]) -> None:
        self.book, self.secure, self.clock = book, secure, clock

    def mount(self, server: Flask) -> None:
        server.extensions["gate"] = self
        server.before_request(self.check)
        server.register_error_handler(sqlite3.Error, _trouble)

    def check(self) -> Response | None:
        """Let the request through, turn it away, or show it to the door."""
        g.phone = self._phone()
        if request.endpoint in OPEN:
            return None
        if g.phone is None:
            return _to_the_door()
        g.person = g.phone.name
        if request.method not in READING and request.endpoint not in FOR_ALL:
            require_caretaker()
        return None

    def _phone(self) -> phones.Phone | None:
        token = cookies.token(self.secure)
        if token is None:
            return None
        now_s = self.clock()
        phone = phones.of_token(self.book, token, now_s)
        if phone is not None:
            try:
                phones.touch(self.book, phone, now_s)
            except sqlite3.OperationalError as error:  # a full disk: looking needs no writing
                log.debug("not noted as seen: %s", error)
        return phone

    def while_paired(self, phone: phones.Phone, stream: Generator[bytes]) -> Iterator[bytes]:
        """A stream that ends when its phone is revoked or its time is over."""
        asked_s = self.clock()
        with closing(stream) as messages:
            for message in messages:
                now_s = self.clock()
                if abs(now_s - asked_s) >= LOOK_AGAIN_S:
                    if not phones.alive(self.book, phone.id, now_s):
                        return
                    asked_s = now_s
                yield message


def of_server() -> Gate:
    """The gate of the server that answers now."""
    found = current_app.extensions["gate"]
    assert isinstance(found, Gate)
    return found


def who() -> phones.Phone:
    """The phone that asks. Behind the gate there always is one."""
    phone = g.phone
    assert isinstance(phone, phones.Phone)
    return phone


def require_caretaker() -> None:
    """Answer 403 unless a caretaker asks."""
    if not who().may_act:
        abort(403, "This phone may look and not change anything: a caretaker can.")


def _to_the_door() -> Response:
    """A page is shown the way in; whatever a script asks for is told no."""
    # by Accept, since over plain HTTP browsers do not say Sec-Fetch-Dest
    if request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
        here = request.full_path.rstrip("?")
        return redirect("/sign-in" + ("" if here == "/" else f"?{urlencode({'next': here})}"), 303)
    return Response("This phone is not signed in.\n", 401, mimetype="text/plain")


def _trouble(error: Exception) -> Response:
    log.error("the access book cannot be used: %s", error)
    return Response("Who may look cannot be read or written now: is the disk full?\n", 503)
