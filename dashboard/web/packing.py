"""Pages are compressed as they go out: a third of the bytes over a weak connection, for half a millisecond.

Static files were compressed once (`files`). Streams are not: each message must leave at once. That
compressed length can betray a secret beside text of an attacker's choosing (BREACH) wants a page that has
both, and a browser that asks for it from elsewhere with our cookie, which is SameSite=Lax.
"""

from __future__ import annotations

import gzip
from typing import TYPE_CHECKING

from flask import request

if TYPE_CHECKING:
    from flask import Flask, Response

KINDS = frozenset({"text/html", "application/json"})
#: Bytes; below, a packet or two go out either way.
WORTH_IT = 2_000
#: The first level that comes close to the best; the best takes several times as long.
LEVEL = 3


def mount(server: Flask) -> None:
    @server.after_request
    def packed(answer: Response) -> Response:
        if answer.mimetype not in KINDS or answer.is_streamed or "Content-Encoding" in answer.headers:
            return answer
        answer.vary.add("Accept-Encoding")
        if "gzip" in request.headers.get("Accept-Encoding", "") and len(answer.data) >= WORTH_IT:
            answer.data = gzip.compress(answer.data, LEVEL, mtime=0)
            answer.headers["Content-Encoding"] = "gzip"
        return answer
