"""Frost, salt water, and sensors that go wrong by themselves."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator

from tests.examiner.case import Case
from tests.examiner.sensors import Trouble
from tests.examiner.truth import Truth


def freeze(case: Case, rng: Generator, a: float, b: float) -> None:
    """A cold night."""
    span = case.over(a, b)
    minutes = np.arange(case.air[span].size)
    dip = np.sin(np.pi * minutes / max(minutes.size, 1)) ** 0.5
    case.air[span] = case.air[span] * (1 - dip) - dip * float(rng.uniform(2, 8))
    below = np.flatnonzero(case.air[span] < 0)
    start = a + float(below[0]) * 60
    case.truths.append(
        Truth("freeze_risk", a - 3 * 3600, b + 3 * 3600, f"after:{start - a + 3 * 3600 + 1800:.0f}")
    )


def salinity(case: Case, rng: Generator, a: float, b: float) -> None:
    """Salt water comes in."""
    case.salt.append((a, b, float(rng.uniform(0.45, 0.8))))
    case.truths.append(Truth("salinity_high", a, b, "after:21600"))


def sensor(case: Case, rng: Generator, a: float, b: float) -> None:
    """A sensor goes wrong by itself."""
    choices = [("line_pressure", k) for k in ("silent", "stuck", "range", "wild")]
    for s in case.sensors:
        if s.measures in ("pump_current", "pump_power", "pump_running"):
            choices.append((s.name, "silent"))
        if s.measures in ("pump_current", "pump_power", "supply_flow", "discharge_pressure"):
            choices += [(s.name, "range"), (s.name, "stuck")]
        if s.measures == "storage_level":
            choices += [(s.name, k) for k in ("silent", "range", "leap", "wild")]
        if s.measures in ("air_temperature", "rainfall"):
            choices.append((s.name, "silent"))
    name, kind = choices[int(rng.integers(len(choices)))]
    s = next(x for x in case.sensors if x.name == name)
    every = s.heartbeat_s if s.on_change else s.every_s
    top = {
        "storage_level": 2.0 * max((x.full_m for x in case.plant.storages), default=1.0),
        "line_pressure": 1.6 * case.plant.cut_out_pa,
    }
    causes: tuple[str | None, ...] = ("stuck", "implausible")
    size, rule = float("nan"), "after:86400"
    if kind == "silent":
        rule, causes = (
            f"after:{max(120.0, 10 * every) + (600 if 'every' in case.plant.named else 3600):.0f}",
            ("silent",),
        )
    elif kind == "range":
        size = {
            "line_pressure": rng.choice([-1.5e5, 1.5e6]), "discharge_pressure": rng.choice([-1.5e5, 3e6]),
            "storage_level": rng.choice([-0.5, 8.0]), "pump_current": -5.0, "pump_power": -500.0,
            "supply_flow": -1e-3,
        }[s.measures]  # fmt: skip
        rule, causes = f"after:{1800 + 10 * every:.0f}", ("out_of_range",)
        causes = (*causes, "implausible")
    elif kind == "wild":
        size, rule, causes = (
            top.get(s.measures, 1.0),
            f"after:{3 * 3600 + 30 * every:.0f}",
            ("implausible", "out_of_range"),
        )
    elif kind == "leap":
        full = next(x.full_m for x in case.plant.storages if x.name == s.of)
        size, rule, causes = (
            float(rng.choice([-1, 1])) * 0.3 * full,
            f"after:{12 * 3600:.0f}",
            ("implausible",),
        )
    if s.measures == "pump_current" and kind == "stuck":
        size = float("nan")
    s.troubles.append(Trouble(kind, a, b, float(size)))
    case.truths.append(Truth("sensor_fault", a, b, rule, causes, of=s.name, note=f"{s.name} {kind}"))
