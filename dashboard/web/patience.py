"""gunicorn's threaded worker, with bounded patience: no stranger holds the threads.

Each connection that is read from or written to takes a thread. gunicorn waits for a request begun and
not ended, a handshake, a form, a reader of an answer for as long as they please, so that thirty-two
connections that say half a word would shut everybody out, before any sign-in. Here a request must have
come within ten seconds, be answered within a minute (live streams excepted), and one address holds no
more than sixteen connections; a browser opens six. Past that the socket is shut, which ends the
waiting thread as if the peer had left. Addresses of this machine are exempt from the count: behind a
proxy everybody has one of them.
"""

from __future__ import annotations

import ipaddress
import socket
import time
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

from gunicorn.workers.gthread import TConn, ThreadWorker

if TYPE_CHECKING:
    from gunicorn.http.message import Request

ASKED_WITHIN_S = 10.0
ANSWERED_WITHIN_S = 60.0
MOST_OF_ONE = 16


class PatientWorker(ThreadWorker):
    """Shuts what lasts too long, and refuses what is too many."""

    def __init__(self, *words: Any, **named: Any) -> None:
        super().__init__(*words, **named)
        self._until: dict[TConn, float] = {}  # what a thread works on now -> when that must be over
        self._of: WeakKeyDictionary[TConn, str] = WeakKeyDictionary()

    def enqueue_req(self, conn: TConn) -> None:
        """A connection to be worked on; refused where its address has too many."""
        if conn not in self._of:
            address = _address(conn.client)
            if address and sum(held == address for held in self._of.values()) >= MOST_OF_ONE:
                self.nr_conns -= 1
                conn.close()
                return
            self._of[conn] = address
        super().enqueue_req(conn)

    def finish_request(self, conn: TConn, fs: Any) -> None:
        super().finish_request(conn, fs)
        if conn.sock.fileno() < 0:
            self._of.pop(conn, None)

    def handle(self, conn: TConn) -> Any:
        self._until[conn] = time.monotonic() + ASKED_WITHIN_S
        try:
            return super().handle(conn)
        finally:
            self._until.pop(conn, None)

    def handle_request(self, req: Request, conn: TConn) -> bool:
        if req.method in ("GET", "HEAD"):  # a form is still to come in; nothing else is
            if req.path.endswith("/live"):
                self._until.pop(conn, None)
            else:
                self._until[conn] = time.monotonic() + ANSWERED_WITHIN_S
        return bool(super().handle_request(req, conn))

    def murder_pending(self) -> None:
        """Called by the main loop every second."""
        super().murder_pending()
        now = time.monotonic()
        for conn, until in list(self._until.items()):
            if now > until:
                _shut(conn)


def _shut(conn: TConn) -> None:
    """End the socket under the thread that waits for it, TLS or not; the thread closes it."""
    try:
        socket.socket.shutdown(conn.sock, socket.SHUT_RDWR)  # not SSLSocket's, which drops its state
    except OSError:
        return  # gone meanwhile


def _address(client: object) -> str:
    """Who it is counted as; empty for this machine and for sockets without an address."""
    try:
        one = ipaddress.ip_address(client[0]) if isinstance(client, tuple) else None
    except ValueError:
        return ""
    return "" if one is None or one.is_loopback else str(one)
