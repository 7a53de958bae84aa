from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.collector.live.conftest import broker, daemon
from tests.collector.notify.receiver import Receiver

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["broker", "daemon", "receiver"]


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    made = Receiver()
    yield made
    made.close()
