"""A drawn case simulated, sampled and written in the contract's formats."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import IO, cast

import numpy as np
from isal import igzip
from numpy.random import Generator

from tests.examiner import physics as ph
from tests.examiner import plants, sensors
from tests.examiner.case import Case
from tests.examiner.truth import Seen, alone, resolve

DAY_S = 86400
COARSE_S = 5.0  # truths are read off the record at this step


def _truth_of(
    case: Case, s: sensors.Sensor, record: ph.Array, start_s: float, step_s: float, rain: ph.Array
) -> ph.Array:
    minute = np.minimum(((start_s + np.arange(len(record)) * step_s) // 60).astype(int), case.days * 1440 - 1)
    if s.measures in sensors.FROM_RECORD:
        return np.asarray(record[:, sensors.FROM_RECORD[s.measures]])
    if s.measures == "storage_level":
        j = next(i for i, x in enumerate(case.plant.storages) if x.name == s.of)
        return np.asarray(record[:, ph.R_LEVEL_A + j])
    if s.measures == "air_temperature":
        return np.asarray(case.air[minute])
    if s.measures == "rainfall":
        return np.asarray(rain[minute] * step_s / 60)
    salt = np.full(len(record), 0.055)
    for a, b, high in case.salt:
        when = start_s + np.arange(len(record)) * step_s
        salt = np.where((when >= a) & (when < b), high, salt)
    return salt


def rows(parts: list[tuple[str, ph.Array, ph.Array, ph.Array]], epoch: float) -> bytes:
    """Readings of several signals as lines, in the order in which they arrive."""
    lines, order = [], []
    for name, times, values, arrive in parts:
        # Few values are unlike: each is written out once.
        unlike, which = np.unique(values, return_inverse=True)
        ends = np.array([f",{name},{v!r}\n" for v in unlike.tolist()], dtype=object)
        starts = np.array([f"{t:.0f}" for t in (times + epoch).tolist()], dtype=object)
        lines.append(starts + ends[which] if len(which) else starts)
        order.append(arrive)
    arrived = np.argsort(np.concatenate(order), kind="stable")
    return "".join(np.concatenate(lines)[arrived].tolist()).encode()


def run(case: Case, rng: Generator, folder: Path) -> dict[str, object]:
    """Simulate, sample, write `plant.toml`, `readings.csv.gz` and `truth.json`; returns the last."""
    plant = case.plant
    stores = np.array([[s.area_m2, s.full_m, s.outlet_m, s.share] for s in plant.storages]).reshape(-1, 4)
    wall = 273.15 + 12 + 0.5 * (case.air - 12)
    case.controls[:, ph.AMBIENT] = np.convolve(
        np.pad(wall, (240, 0), mode="edge"), np.ones(241) / 241, "valid"
    )
    rain = case.rain_m
    seed = int(rng.integers(1, 2**31 - 2))
    state = ph.at_rest(
        plant.vector, case.controls, case.levels, 0.5 * (plant.cut_in_pa + plant.cut_out_pa), seed
    )
    step_s = min(COARSE_S, min(s.every_s for s in case.sensors))
    step_s = 1.0 if step_s < 5 else 5.0
    every = int(step_s / ph.STEP_S)
    noise = {s.name: np.random.default_rng([seed, i]) for i, s in enumerate(case.sensors)}
    runs, coarse = [], []
    folder.mkdir(parents=True, exist_ok=True)
    opened = igzip.open(folder / "readings.csv.gz", "wb", compresslevel=1)  # type: ignore[no-untyped-call]
    with cast("IO[bytes]", opened) as out:
        out.write(b"time,signal,value\n")
        for day in range(case.days):
            start = day * float(DAY_S)
            record = np.zeros((int(DAY_S / step_s), ph.RECORDED))
            log = np.zeros((20000, ph.RUN_COLUMNS))
            asked = case.demand.between(start, DAY_S, 0.97 * plant.q_out)
            chunk = case.controls[day * 1440 : (day + 1) * 1440]
            ended = ph.advance(plant.vector, stores, chunk, asked, state, start, every, record, log)
            runs.append(log[:ended])
            coarse.append(
                record[:: int(COARSE_S / step_s)].astype(np.float32)
                if step_s < COARSE_S
                else record.astype(np.float32)
            )
            parts = []
            for s in case.sensors:
                true = _truth_of(case, s, record, start, step_s, rain)
                parts.append((s.name, *s.read(noise[s.name], true, start, step_s)))
            for at, by in case.steps:
                parts = [(n, np.where(t >= at, t + by, t), v, arrive) for n, t, v, arrive in parts]
            out.write(rows(parts, case.start_epoch))
    (folder / "plant.toml").write_text(plants.text(plant, [s.lines(plant) for s in case.sensors]))
    pair = [s for s in case.sensors if s.measures == "line_pressure"]
    pair += [s for s in case.sensors if s.measures.startswith("pump_")][:1]
    paces = [5.0 if s.on_change and s.measures != "pump_running" else s.every_s for s in pair]
    slow = max(paces, default=60.0)
    seen = Seen(
        np.concatenate(runs), np.concatenate(coarse), COARSE_S, slow, case.days, case.midnight_s,
        plant.min_run_s,
        plant.drawdown_m3() / plant.q_mid, plant.cut_in_pa, plant.cut_out_pa,
        tuple(s.outlet_m for s in plant.storages), plants.WARN_AHEAD_S,
        tuple((t.start_s, t.end_s) for s in pair for t in s.troubles),
    )  # fmt: skip
    for truth in case.truths:
        resolve(truth, seen)
    alone(case.truths)
    told = {
        "epoch": case.start_epoch, "days": case.days, "faults": case.faults, "habits": case.demand.habits,
        "wrong": plant.wrong, "steps": case.steps, "slow_s": slow, "runs": len(seen.runs),
        "about": {
            "run_s": round(seen.clean_run_s, 1), "min_run_s": plant.min_run_s, "filter": plant.filtered,
            "q_in_lpm": round(plant.q_in * 6e4, 1), "q_out_lpm": round(plant.q_out * 6e4, 1),
            "tank_l": round(float(plant.vector[ph.VOLUME]) * 1e3, 1), "storages": len(plant.storages),
            "sensors": {s.name: ("change" if s.on_change else s.every_s) for s in case.sensors},
        },
        "truths": [asdict(t) for t in case.truths],
        "possible": possible(case, seen),
    }  # fmt: skip
    (folder / "truth.json").write_text(json.dumps(told, indent=1, default=float))
    return told


def possible(case: Case, seen: Seen) -> list[dict[str, object]]:
    """What may rightly be told though nobody put it in: frost, full storages, silent sensors, low water."""
    may: list[dict[str, object]] = []

    def spans(fault: str, mask: ph.Mask, step: float, of: str | None, slack: float) -> None:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            may.append({"fault": fault, "of": of, "start_s": a * step - slack, "end_s": b * step + slack})

    if case.has("air_temperature"):
        spans("freeze_risk", case.air < 3.5, 60.0, None, 5400.0)
    stride = int(600 / COARSE_S)
    for j, s in enumerate(case.plant.storages):
        level = seen.coarse[::stride, ph.R_LEVEL_A + j]
        spans("storage_overflow", level > 0.98 * s.full_m, 600.0, s.name, 3600.0)
        # Low water: less left than 1.8 horizons need, by the case's mean or by the three days around.
        left = (level - s.outlet_m) * s.area_m2
        three = int(3 * DAY_S / 600)
        ahead = np.concatenate([left[three:], np.full(min(three, len(left)), left[-1])])[: len(left)]
        behind = np.concatenate([np.full(min(three, len(left)), left[0]), left[:-three]])[: len(left)]
        fall = np.maximum.reduce(
            [left - ahead, behind - left, np.full(len(left), case.daily_m3() * s.share * 3)]
        )
        spans("storage_depletion", left < 1.8 * fall, 600.0, s.name, 3600.0)
        spans("dry_supply", level <= s.outlet_m + 0.03, 600.0, s.name, 3600.0)
    if case.plant.storages and not case.has("storage_level"):
        # A pump whose storages have all run out has nothing to lift, and no level says why.
        levels = seen.coarse[::stride, ph.R_LEVEL_A : ph.R_LEVEL_A + len(case.plant.storages)]
        outlets = np.array([s.outlet_m for s in case.plant.storages])
        spans("lost_prime", np.all(levels <= outlets + 0.03, axis=1), 600.0, None, 3600.0)
    for sensor in case.sensors:
        quiet = [
            (t.start_s, t.end_s + 600)
            for t in sensor.troubles
            if t.kind == "silent" and t.end_s > t.start_s + 110
        ]
        coded = [(t_s, t_s + 7200) for t_s in sensor.coded_s]
        may += [
            {"fault": "sensor_fault", "of": sensor.name, "start_s": a, "end_s": b} for a, b in quiet + coded
        ]
    return may
