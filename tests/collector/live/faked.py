"""`holdwater`, with a wall clock that is off by what a file says: `faked.py FILE WORDS...`."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from collector import cli
from collector.live import clock


def main() -> int:
    """FILE: seconds to add to the true time, read anew at each question."""
    file = Path(sys.argv[1])

    def now_us() -> int:
        return (time.time_ns() // 1_000_000 + round(float(file.read_text()) * 1000)) * 1000

    clock.now_us = now_us
    return cli.main(sys.argv[2:])


if __name__ == "__main__":
    sys.exit(main())
