"""Freed memory stays with the process, for whoever goes through much of it in pieces of one size.

By itself glibc asks the system for each array of some size and gives it back when it is freed, or gives back
the heap's top: pages that the system must blank each time anew, which takes a quarter of the time in which a
recording is read and seen. The thresholds are mallopt(3)'s; above 32 MB it takes no notice of the first.
"""

from __future__ import annotations

import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
_KEPT_BYTES, _LARGEST_BYTES = 1 << 28, 1 << 25


def keep_freed() -> None:
    """From now on, and in processes that are forked. Where the C library is another nothing changes."""
    if not sys.platform.startswith("linux"):
        return
    import ctypes

    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(_TRIM_THRESHOLD, _KEPT_BYTES)
        mallopt(_MMAP_THRESHOLD, _LARGEST_BYTES)
