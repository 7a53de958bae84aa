"""A book of this test's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from dashboard.access.book import Book

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NOW_S = 1_800_000_000.0


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    opened = Book(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def now_s() -> float:
    return NOW_S
