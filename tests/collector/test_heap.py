"""Memory that was freed is used again without the system's having to blank it."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

GROWS = """
import resource, sys
import numpy as np
from collector.heap import keep_freed
if sys.argv[1] == "kept":
    keep_freed()
faults = []
for turn in range(60):
    arrays = [np.ones(100_000 + 10_000 * (turn % 7)) for _ in range(6)]
    del arrays
    faults.append(resource.getrusage(resource.RUSAGE_SELF).ru_minflt)
print(faults[-1] - faults[len(faults) // 2])
"""


def faults(how: str) -> int:
    done = subprocess.run([sys.executable, "-c", GROWS, how], capture_output=True, text=True, check=True)
    return int(done.stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="the thresholds are glibc's")
def test_freed_arrays_are_not_given_back_and_fetched_again() -> None:
    assert faults("kept") < 100 < faults("as it is")
