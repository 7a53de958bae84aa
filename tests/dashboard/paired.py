"""Phones that are already paired, for tests of what lies behind the gate."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from dashboard.access import codes, cookies
from dashboard.access.book import Book
from dashboard.access.gate import Gate

if TYPE_CHECKING:
    from pathlib import Path

    from flask import Flask
    from flask.testing import FlaskClient

NAMES = {"caretaker": "Ana", "view-only": "Ben"}


def token_of(book: Book, role: str = "caretaker", now_s: float | None = None, name: str | None = None) -> str:
    """The token of a new phone of somebody of that role."""
    at_s = time.time() if now_s is None else now_s
    code = codes.new_code(book, name or NAMES[role], role, at_s)
    used = codes.redeem(book, code, "a test's phone", "127.0.0.1", at_s)
    assert used is not None
    return used[1]


def client_of(app: Flask, role: str = "caretaker") -> FlaskClient:
    """A client with a paired phone's cookie, whose posts say that a page of ours sends them."""
    gate = app.extensions["gate"]
    assert isinstance(gate, Gate)
    client = app.test_client()
    name = cookies.name(gate.secure, "localhost")
    client.set_cookie(name, token_of(gate.book, role, gate.clock()), secure=gate.secure)
    client.environ_base["HTTP_ORIGIN"] = "http://localhost"
    return client


def cookie_of(data: Path, port: int, role: str = "caretaker") -> dict[str, str]:
    """The same for a browser, as playwright's `add_cookies` takes it; over plain HTTP."""
    host = f"127.0.0.1:{port}"
    book = Book(data)
    try:
        return {"name": cookies.name(False, host), "value": token_of(book, role), "url": f"http://{host}"}
    finally:
        book.close()
