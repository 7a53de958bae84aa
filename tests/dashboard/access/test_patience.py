"""No stranger holds the server's threads, by half a request, half a form or an answer not taken."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
import urllib.request
from typing import TYPE_CHECKING

import pytest

from dashboard.web import patience
from dashboard.web.serving import THREADS

if TYPE_CHECKING:
    from collections.abc import Iterator

#: A server of ours with another patience, so that nobody waits for a minute here.
_PROGRAM = """
import sys
from flask import Flask, request
from dashboard.web import patience, serving
patience.ASKED_WITHIN_S, patience.ANSWERED_WITHIN_S = 1.0, 2.0
if sys.argv[2] == "counted":
    patience._address = lambda client: client[0]
app = Flask("patience")
app.add_url_rule("/", "hello", lambda: "hello")
app.add_url_rule("/form", "form", lambda: str(len(request.form)), methods=["POST"])
app.add_url_rule("/big", "big", lambda: b"x" * 30_000_000)
app.add_url_rule("/live", "live", lambda: (b"tick " for _ in __import__("itertools").takewhile(
    lambda n: __import__("time").sleep(0.5) is None, range(9))))
serving.serve(lambda: app, "127.0.0.1", int(sys.argv[1]))
"""
FORM = b"POST /form HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-www-form-urlencoded\r\n"


def server(how: str) -> Iterator[int]:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = int(one.getsockname()[1])
    process = subprocess.Popen([sys.executable, "-c", _PROGRAM, str(port), how])
    until = time.monotonic() + 30
    while not hello(port, 1.0):
        assert process.poll() is None
        assert time.monotonic() < until
        time.sleep(0.1)
    yield port
    process.terminate()
    process.wait(20)


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    yield from server("uncounted")


@pytest.fixture(scope="module")
def counted_port() -> Iterator[int]:
    yield from server("counted")


def hello(port: int, patience_s: float) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=patience_s) as answer:
            return bool(answer.read() == b"hello")
    except OSError:
        return False


def crowd(port: int, words: bytes) -> list[socket.socket]:
    """More connections than there are threads, each saying the same."""
    held = []
    for _ in range(THREADS + 8):
        one = socket.create_connection(("127.0.0.1", port), 5)
        one.sendall(words)
        held.append(one)
    return held


@pytest.mark.parametrize(
    "words",
    [
        b"GET / HTTP/1.1\r\nHost: x\r\n",
        FORM + b"Content-Length: 1000\r\n\r\na=",
        b"GET /big HTTP/1.1\r\nHost: x\r\n\r\n",
    ],
    ids=["half a request", "half a form", "an answer not taken"],
)
def test_a_crowd_that_stalls_is_shut_out(port: int, words: bytes) -> None:
    held = crowd(port, words)
    assert hello(port, 15.0)
    for one in held:
        one.close()


def test_one_that_drips_is_not_waited_for(port: int) -> None:
    one = socket.create_connection(("127.0.0.1", port), 5)
    one.sendall(b"GET / HTTP/1.1\r\n")
    with pytest.raises(OSError, match=r"pipe|reset"):  # noqa: PT012 (the peer shuts between two drops)
        for _ in range(40):
            one.sendall(b"X")
            time.sleep(0.2)


def test_a_live_stream_is_let_be(port: int) -> None:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/live", timeout=10) as answer:
        assert answer.read() == b"tick " * 9


def test_one_address_has_its_share(counted_port: int) -> None:
    held = crowd(counted_port, b"")
    time.sleep(0.5)
    refused = 0
    for one in held:
        one.settimeout(0.05)
        try:
            refused += one.recv(1) == b""
        except TimeoutError:
            continue
    for one in held:
        one.close()
    assert len(held) - refused <= patience.MOST_OF_ONE
