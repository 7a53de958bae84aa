"""The daemon's log: one line a word, times in UTC, and nothing in it that a stranger could have put there."""

from __future__ import annotations

import logging
import sys
import time


class OneLine(logging.Formatter):
    """Topics, broker's reasons and payloads come from outside: what is not printable is spelt out, so
    that nobody can begin a line of their own or speak to the terminal."""

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802 (the library's name)
        line = super().formatMessage(record)
        return "".join(
            sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in line
        )


def begin() -> None:
    """Log to standard error from here on."""
    handler = logging.StreamHandler(sys.stderr)
    line = OneLine("%(asctime)sZ %(levelname)s %(name)s: %(message)s")
    line.converter = time.gmtime
    handler.setFormatter(line)
    logging.basicConfig(level=logging.INFO, handlers=[handler])
