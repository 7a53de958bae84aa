"""`python -m tests.fuzz [SECONDS]`: each target for so long under atheris (libFuzzer: guided by coverage).

A finding is written to artefacts/fuzz/, is to be mended, and then kept in tests/fuzz/cases/. Where
atheris has no wheel for this Python, that is said, and Hypothesis alone looks, for as long.
"""

from __future__ import annotations

import importlib.util
import os
import random
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.fuzz.seeds import WORDS, cases, seeds

FOUND = Path("artefacts") / "fuzz"
_SECONDS = 60


def main(words: list[str]) -> int:
    seconds = int(words[0]) if words else _SECONDS
    guided = importlib.util.find_spec("atheris") is not None
    if not guided:
        print("atheris is not installed (it has no wheel for every Python): examples are spoilt at random.")
    FOUND.mkdir(parents=True, exist_ok=True)
    results = [(_guided if guided else _unguided)(target, seconds) for target in sorted(WORDS)]
    return 0 if all(results) else 1


def _guided(target: str, seconds: int) -> bool:
    """One target in a process of its own, since libFuzzer ends the process. True where nothing was found."""
    with tempfile.TemporaryDirectory() as folder:
        corpus, words = Path(folder) / "corpus", Path(folder) / "words"
        corpus.mkdir()
        for number, seed in enumerate([*seeds(target), *(path.read_bytes() for path in cases(target))]):
            (corpus / str(number)).write_bytes(seed)
        words.write_text("".join(f'"{_escaped(word)}"\n' for word in WORDS[target].split()))
        flags = [f"-max_total_time={seconds}", f"-dict={words}", f"-artifact_prefix={FOUND}/{target}-"]
        flags += ["-max_len=4096", "-timeout=20", "-rss_limit_mb=2048", "-print_final_stats=1"]
        run = subprocess.run(
            [sys.executable, "-m", "tests.fuzz.guided", target, str(corpus), *flags],
            capture_output=True,
            text=True,
            timeout=seconds + 120,
            env=os.environ | {"TMPDIR": folder},
        )
    runs = re.search(r"number_of_executed_units: *(\d+)", run.stderr)
    reached = re.findall(r"cov: (\d+)", run.stderr)
    told = f"{int(runs[1]) if runs else 0:>10,} inputs, {reached[-1] if reached else '?'} places reached"
    print(f"{target:<9} {told}: {'nothing found' if run.returncode == 0 else 'FOUND'}", flush=True)
    if run.returncode != 0:
        print(run.stdout[-3000:] + run.stderr[-3000:])
    return run.returncode == 0


def _escaped(word: str) -> str:
    """A dictionary entry as libFuzzer reads it."""
    return word.replace('"', '\\"') if "\\x" in word else word.replace("\\", "\\\\").replace('"', '\\"')


def _unguided(target: str, seconds: int) -> bool:
    from tests.fuzz.targets import TARGETS

    chance, begun, tried = random.Random(time.time_ns()), time.monotonic(), 0
    held = seeds(target)
    while time.monotonic() - begun < seconds:
        data = bytearray(chance.choice(held))
        for _ in range(chance.randint(1, 8)):
            at = chance.randint(0, len(data))
            data[at : at + chance.randint(0, 9)] = chance.choice(
                [chance.randbytes(3), chance.choice(WORDS[target].split()).encode()]
            )
        tried += 1
        try:
            TARGETS[target](bytes(data))
        except BaseException:  # kept for whoever mends it, and let go on
            file = FOUND / f"{target}-{tried}"
            file.write_bytes(data)
            print(f"{target:<9} FOUND: {file}")
            raise
    print(f"{target:<9} {tried:>10,} inputs: nothing found", flush=True)
    return True


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
