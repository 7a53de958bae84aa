"""A fortnight of made-up history, filled once for all of these tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.dashboard import made

#: 2026-05-12 14:00 in Boise: an afternoon, so that "today" is not empty.
AT_S = 1_778_616_000


@pytest.fixture(scope="session")
def at_us() -> int:
    return AT_S * 1_000_000


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Data of a healthy plant with one past finding."""
    data = tmp_path_factory.mktemp("well")
    past = made.clogged(
        AT_S * 1_000_000 - 5 * 86_400_000_000, cleared_us=AT_S * 1_000_000 - 4 * 86_400_000_000
    )
    made.fill(data, AT_S, findings=(past,))
    return data


@pytest.fixture(scope="session")
def wrong_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Data of a plant with a clogged filter."""
    data = tmp_path_factory.mktemp("wrong")
    made.fill(data, AT_S, days=4, findings=(made.clogged(AT_S * 1_000_000),))
    return data
