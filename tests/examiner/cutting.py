"""Causality: a recording cut short tells the same of what was raised before the cut (contract, section 3)."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path
from typing import Any

from numpy.random import Generator

from tests.examiner.scoring import Finding, seconds

# What may still change of a finding once it was raised.
LATER = ("cleared", "confidence", "cause", "evidence")


def cut(folder: Path, into: Path, at_epoch: float) -> None:
    """Copy a case with its readings before a time."""
    into.mkdir(parents=True, exist_ok=True)
    (into / "plant.toml").write_text((folder / "plant.toml").read_text())
    with gzip.open(folder / "readings.csv.gz", "rt") as whole:
        head = next(whole)
        kept = [line for line in whole if float(line[: line.index(",")]) < at_epoch]
    with gzip.open(into / "readings.csv.gz", "wt", compresslevel=1) as part:
        part.write(head + "".join(kept))


def fixed(findings: list[Finding], epoch: float, before_s: float) -> list[dict[str, Any]]:
    """What must not depend on anything after a time."""
    early = [f for f in findings if seconds(f["raised"], epoch) < before_s]
    return [{k: v for k, v in f.items() if k not in LATER} for f in early]


def differs(
    folder: Path,
    told: dict[str, Any],
    whole: list[Finding],
    rng: Generator,
    analyse: Callable[[Path], list[Finding]],
) -> str:  # fmt: skip
    """Cut at a random time; what differs, or nothing."""
    # Half of the cuts fall within an hour after a finding: there it would show.
    at = float(rng.uniform(1, told["days"])) * 86400
    if whole and rng.random() < 0.5:
        at = seconds(whole[int(rng.integers(len(whole)))]["raised"], told["epoch"]) + float(
            rng.uniform(1, 3600)
        )
    into = folder / "cut"
    cut(folder, into, told["epoch"] + at)
    ours, theirs = fixed(whole, told["epoch"], at), fixed(analyse(into), told["epoch"], at)
    if ours == theirs:
        return ""
    odd = [f for f in ours + theirs if (f in ours) != (f in theirs)]
    return f"cut at {at / 86400:.3f} d: {', '.join(f['fault'] + ' ' + f['raised'] for f in odd)}"
