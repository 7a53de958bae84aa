"""Runs every bench, or those named: `python -m tests.bench engine`."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

HERE = Path(__file__).parent


def main() -> int:
    """A bench is a module of this folder with `run() -> None`, which prints its own lines."""
    known = sorted(path.stem for path in HERE.glob("*.py") if not path.stem.startswith("_"))
    wanted = sys.argv[1:] or known
    for name in wanted:
        if name not in known:
            print(f"{name}: no such bench; known: {', '.join(known)}", file=sys.stderr)
            return 2
        print(f"== {name}", flush=True)
        import_module(f"tests.bench.{name}").run()
    return 0


if __name__ == "__main__":
    sys.exit(main())
