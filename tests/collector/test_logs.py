"""A log line stays one line, whatever is put into it."""

from __future__ import annotations

import logging

import pytest

from collector.live.logs import OneLine


@pytest.mark.parametrize(
    ("word", "shown"),
    [
        ("bench/pressure", "bench/pressure"),
        ("a\n2026-11-25 ERROR all is lost", r"a\n2026-11-25 ERROR all is lost"),
        ("\x1b[2J", r"\x1b[2J"),
        ("\u2028", r"\u2028"),
        ("Brunnenschacht für Gemüse", "Brunnenschacht für Gemüse"),
    ],
)
def test_what_is_not_printable_is_spelt_out(word: str, shown: str) -> None:
    record = logging.LogRecord("holdwater", logging.WARNING, "", 0, "heard on %s", (word,), None)
    assert OneLine("%(message)s").format(record) == f"heard on {shown}"
