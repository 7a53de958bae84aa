"""Where messages can be brought: whatever Apprise knows, and our own topics at the broker.

A channel's `send` returns when the other side has taken the messages, and raises Undelivered otherwise.
It runs in a thread of its own and may take its time.
"""

from __future__ import annotations

import logging
import re
from typing import TYPE_CHECKING, Protocol
from urllib.parse import unquote

from collector.notify.words import worded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.notify.settings import To
    from collector.notify.words import Message


class Undelivered(Exception):
    """The world's: the messages did not arrive, for the reason said. No secret is in it."""


class Channel(Protocol):
    @property
    def name(self) -> str: ...
    def send(self, messages: Sequence[Message]) -> None: ...


class Elsewhere:
    """One Apprise URL: one message as it is, several as a digest."""

    def __init__(self, to: To, address: str = "") -> None:
        self.name = to.name
        self._to = to
        self._address = address

    def send(self, messages: Sequence[Message]) -> None:
        try:
            import apprise
        except ImportError as error:
            raise Undelivered("holdwater[notify] is not installed") from error
        try:
            url = self._to.url()
        except (OSError, UnicodeDecodeError) as error:
            raise Undelivered(f"{self._to.url_file} cannot be read") from error
        title, text = worded(messages, self._address)
        # Apprise speaks of what it does with the URL in its words: they are caught here, and what the
        # URL holds is taken out of them.
        with apprise.LogCapture(level=logging.WARNING, fmt="%(message)s") as said:  # type: ignore[no-untyped-call]
            service = apprise.Apprise()
            known = service.add(url)
            taken = known and service.notify(body=text, title=title, body_format=apprise.NotifyFormat.TEXT)
            why = said.getvalue()
        if not known:
            raise Undelivered(f"{self._to.url_file} holds no URL that Apprise understands")
        if not taken:
            raise Undelivered(scrubbed(why, url) or "it was not taken")


def scrubbed(words: str, url: str) -> str:
    """The first line of what a library said, without any part of a URL that may be a secret."""
    line = next(iter(words.strip().splitlines()), "")
    line = re.sub(r"\b[a-z][a-z0-9+.-]*://\S+", "(its URL)", line)
    _, _, rest = url.partition("://")
    for part in sorted(re.split(r"[/@:?&=,]", rest), key=len, reverse=True):
        for secret in {part, unquote(part)}:
            if len(secret) >= 4:
                line = line.replace(secret, "***")
    return line[:200]


def silence() -> None:
    """Keep Apprise's own words, which may hold parts of a URL, out of the log."""
    apprise = logging.getLogger("apprise")
    apprise.propagate = False
    apprise.addHandler(logging.NullHandler())
