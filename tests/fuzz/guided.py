"""One target under atheris: `python -m tests.fuzz.guided TARGET CORPUS FLAGS...`, a process of its own."""

from __future__ import annotations

import sys

import atheris

# before anything else imports them: what is to be guided by must be instrumented as it is loaded
with atheris.instrument_imports(include=["analytics.plant", "collector.readings"]):
    from tests.fuzz.targets import TARGETS

if __name__ == "__main__":
    atheris.Setup([sys.argv[0], *sys.argv[2:]], TARGETS[sys.argv[1]])
    atheris.Fuzz()
