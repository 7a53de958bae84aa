"""The invitation on paper or screen: one link, its QR code, and the code to type."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import segno

if TYPE_CHECKING:
    from dashboard.access.book import Book

#: The name of the first person, whom only the machine lets in.
FIRST = "Owner"


def link(address: str, code: str) -> str:
    """Where the code leads. It is good once and for minutes, so that it may stand in an address."""
    return f"{address.rstrip('/')}/pair?{urlencode({'code': code})}"


def terminal(text: str) -> str:
    """The QR code for a terminal."""
    drawn = io.StringIO()
    segno.make(text, error="l").terminal(drawn, compact=True, border=2)
    return drawn.getvalue()


def drawing(text: str) -> str:
    """The QR code as SVG, for a page."""
    return segno.make(text, error="m").svg_inline(border=0, omitsize=True, lineclass=None)


def keep_address(book: Book, address: str) -> None:
    """Note where the pages are served, so that `holdwater pair` can say it."""
    with book.changing() as change:
        change.execute("INSERT OR REPLACE INTO told VALUES ('address', ?)", (address,))


def kept_address(book: Book) -> str | None:
    rows = book.rows("SELECT value FROM told WHERE key = 'address'")
    return str(rows[0][0]) if rows else None
