"""`make examine SEED=… CASES=…`: draw cases, let `holdwater analyse` read them, and score what it said."""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from tests.examiner.cutting import differs
from tests.examiner.drawing import case_of
from tests.examiner.recording import run
from tests.examiner.scoring import Line, Score, score


def analysed(command: str, folder: Path) -> list[dict[str, Any]]:
    """What one program says of one case."""
    call = [command, "analyse", str(folder / "plant.toml"), str(folder / "readings.csv.gz"), "--json"]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    if done.returncode:
        (folder / "error.txt").write_text(done.stderr)
        return []
    (folder / "findings.ndjson").write_text(done.stdout)
    return [json.loads(line) for line in done.stdout.splitlines()]


def _case(
    job: tuple[int, int, str, str, str, bool, int, Path | None],
) -> tuple[int, dict[str, Any], Score, str]:
    seed, index, mode, command, keep, again, cuts, homes = job
    folder = Path(keep) / f"{index:03d}"
    os.nice(5)
    began = time.perf_counter()
    try:
        if again and (folder / "truth.json").exists():
            told: dict[str, Any] = json.loads((folder / "truth.json").read_text())
        else:
            run(*case_of(seed, index, mode, homes), folder)
            told = json.loads((folder / "truth.json").read_text())
    except RuntimeError as fault:
        return index, {"faults": [], "days": 0, "slow_s": 0}, Score([Line("undrawn", "", "", str(fault))]), ""
    made = time.perf_counter()
    findings = analysed(command, folder)
    scored = score(told, findings)
    rng = np.random.default_rng([seed, index, 1])
    for _ in range(cuts):
        odd = differs(folder, told, findings, rng, lambda part: analysed(command, part))
        if odd:
            scored.lines.append(Line("acausal", "", "", odd))
    if (folder / "error.txt").exists():
        scored.lines.append(Line("error", "", "", (folder / "error.txt").read_text()[:300]))
    return index, told, scored, f"{made - began:.0f}+{time.perf_counter() - made:.0f} s"


def main(words: list[str]) -> int:
    """Run one set and print its lines and totals."""
    parser = argparse.ArgumentParser(prog="examine", description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--cases", type=int, default=30)
    parser.add_argument("--mode", choices=("single", "mixed", "healthy"), default="single")
    parser.add_argument("--command", default=str(Path(sys.executable).parent / "holdwater"))
    parser.add_argument("--keep", default="")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--cuts", type=int, default=0, help="how often each recording is cut and read again")
    parser.add_argument("--again", action="store_true", help="take the recordings that are there")
    parser.add_argument("--recorded", type=Path, help="folder of demand as it was measured (recorded.py)")
    given = parser.parse_args(words)
    keep = given.keep or f"artefacts/examined-{given.mode}-{given.seed}"
    jobs = [
        (given.seed, i, given.mode, given.command, keep, given.again, given.cuts, given.recorded)
        for i in range(given.cases)
    ]
    whole, years = Score(), 0.0
    with ProcessPoolExecutor(given.processes) as pool:
        for index, told, scored, took in pool.map(_case, jobs):
            whole.lines += scored.lines
            years += told["days"] / 365.25
            about = f"{told['days']} d, {told['slow_s']:.0f} s"
            print(f"{index:03d} {'+'.join(told['faults']) or 'healthy'} ({about}; {took})", flush=True)
            for line in scored.lines:
                wrong = " CAUSE" if line.cause == "wrong" else ""
                print(f"      {line.verdict}{wrong}: {line.text}", flush=True)
    print(whole.by_fault())
    print(whole.totals())
    if given.mode == "healthy":
        print(f"{whole.count('false', 'repeat')} false findings in {years:.2f} healthy plant-years")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
