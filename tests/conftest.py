"""Which tests stay in one process, where there are several: those of a file, and those that share a
simulated plant, which is then made once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from xdist.scheduler import LoadScopeScheduling

# No test is timed: a machine that is busy with another process is slow, not wrong.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

#: Where a path begins so, its tests stay together.
SHARED = ("tests/analytics/contract/", "tests/analytics/test_")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> LoadScopeScheduling:
    from xdist.scheduler import LoadFileScheduling

    class Together(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return next((start for start in SHARED if nodeid.startswith(start)), super()._split_scope(nodeid))

    return Together(config, log)
