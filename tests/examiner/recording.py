"""One case from one seed: drawn, simulated, sampled and written in the contract's formats."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, cast
from zoneinfo import ZoneInfo

import numpy as np
from isal import igzip
from numpy.random import Generator

from tests.examiner import demand, faults, plants, sensors
from tests.examiner import physics as ph
from tests.examiner.faults import TABLE, Case
from tests.examiner.truth import Seen, Truth, resolve
from tests.examiner.weather import caught, weather

DAY_S = 86400
COARSE_S = 5.0  # truths are read off the record at this step
NEEDS_PLANT = {"filter", "after", "storage", "roof"}
DRAWS = 40  # how many plants are tried before a fault is given up


def plan(kinds: list[str], repeated: bool) -> list[str]:
    """The faults of one case; the same twice is a relapse."""
    return [*kinds, kinds[0]] if repeated else kinds


def drawn(rng: Generator, kinds: list[str], days: int, changing: bool) -> Case:
    """A plant with demand, sensors and faults; nothing has happened yet."""
    needs = {n for k in kinds for n in TABLE[k][1]}
    for _ in range(DRAWS):
        plant = plants.made(rng, needs & NEEDS_PLANT, "undersized" in needs)
        h0 = plant.vector[ph.SHUTOFF] - plant.vector[ph.LIFT] * ph.DENSITY_GRAVITY
        if "margin" in needs and h0 < 1.3 * plant.cut_out_pa:
            continue
        if "single" in needs and len(plant.storages) != 1:
            continue
        wanted = set(needs)
        if "blocked_motor" in needs:
            wanted.add(str(rng.choice(["pump_current", "pump_power"])))
        draws = demand.drawn(rng, plant, days, changing)
        fitted = sensors.fitted(rng, plant, wanted)
        motor = next(s for s in fitted if s.measures.startswith("pump_"))
        slow = max(1.0 if s.on_change else s.every_s for s in (fitted[0], motor))
        if "fast" in needs and slow > 2:
            continue
        if days * DAY_S / slow > 1.6e6 * (3 if motor.on_change else 1) and days > 45:
            continue
        break
    else:
        raise RuntimeError(f"no plant for {kinds}")
    air, rain = weather(rng, days, "freeze" in kinds and rng.random() < 0.5)
    controls = np.zeros((days * 1440, ph.CONTROLS))
    controls[:, [ph.AIR, ph.CLOG, ph.HEAD, ph.PRIME, ph.FRICTION, ph.VOLT]] = 1.0
    controls[:, ph.CUT_IN], controls[:, ph.CUT_OUT] = plant.cut_in_pa, plant.cut_out_pa
    if rng.random() < 0.15:
        # Sagging mains: slow swings, and evenings that are low.
        minute = np.arange(days * 1440)
        sag = 1 - 0.04 * np.clip(np.sin(2 * np.pi * (minute / 1440 - 0.55)), 0, 1) * rng.uniform(0.5, 2)
        controls[:, ph.VOLT] = sag
        controls[:, ph.HEAD] = 1 - 0.3 * (1 - sag)
        draws.habits.append("sagging mains")
    daily = max(draws.daily_m3(days), 0.05)
    plants.sized(plant, rng, daily, days)
    levels = []
    for j, s in enumerate(plant.storages):
        brought = caught(rain, plant.roof_m2 * s.share, plant.runoff, plant.first_flush_m3)
        use = daily * s.share
        usable = s.volume_m3 * (1 - s.outlet_m / s.full_m)
        if "depletion" in kinds:
            left = use * float(rng.uniform(6.5, days - 0.5))
            levels.append(s.outlet_m + min(left, 0.95 * usable) / s.area_m2)
            continue
        held = usable * float(rng.uniform(0.45, 0.8))
        levels.append(s.outlet_m + held / s.area_m2)
        controls[:, ph.IN_A + j] += brought
        by_day = brought.reshape(days, 1440).sum(axis=1) * 60
        for day in range(days):
            if held < use * 8 or held < 0.2 * usable:
                # A tanker comes by day.
                start = day * 1440 + int(rng.integers(9 * 60, 16 * 60))
                lasts = int(rng.integers(20, 60))
                brings = 0.7 * (usable - held)
                controls[start : start + lasts, ph.IN_A + j] += brings / (lasts * 60)
                held += brings
                draws.habits.append(f"tanker on day {day}")
            held = min(held + by_day[day] - use, usable)
    epoch = datetime(2030, int(rng.integers(1, 13)), int(rng.integers(1, 28)), tzinfo=UTC).timestamp()
    # The case begins at local midnight, so that hours of the demand are the owner's.
    offset = datetime.fromtimestamp(epoch, ZoneInfo(plant.timezone)).utcoffset()
    epoch -= offset.total_seconds() if offset else 0.0
    return Case(plant, fitted, draws, days, controls, tuple(levels), epoch, 0.0, air, rain)


def afflict(case: Case, rng: Generator, kinds: list[str], relapse: bool) -> None:
    """Put the faults on the clock."""
    taken = 0.0
    for kind in kinds:
        make, _, short, long, first_row, _ = TABLE[kind]
        at_once = first_row and rng.random() < 0.15 and taken == 0.0 and not relapse
        a = (
            0.0
            if at_once
            else max(taken, float(rng.uniform(2, min(12, max(case.days - short - 1.5, 2.2)))) * DAY_S)
        )
        if short < 1 and kind != "freeze":
            # Somebody must draw for it to show.
            a = a // DAY_S * DAY_S + float(rng.uniform(6, 18)) * 3600
        stay = float(rng.uniform(short, long)) * DAY_S
        b = min(a + stay, case.days * DAY_S - 60)
        if relapse:
            b = min(b, a + max(short * DAY_S, 0.4 * (case.days * DAY_S - a)))
        make(case, rng, a, b)
        case.faults.append(kind)
        if relapse:
            again = b + float(rng.uniform(0.7, 2.5)) * DAY_S
            if again + short * DAY_S < case.days * DAY_S:
                make(case, rng, again, min(again + (b - a), case.days * DAY_S - 60))
                case.faults.append(kind + " again")
        elif len(kinds) > 1:
            taken = a + float(rng.uniform(0.3, 2.0)) * DAY_S if rng.random() < 0.5 else b + DAY_S
            if taken > (case.days - 2) * DAY_S:
                break


def dropouts(case: Case, rng: Generator, harsh: float) -> None:
    """Gaps of minutes to hours, of one sensor or of all: no fault that must be told, but one that may be."""
    for _ in range(rng.poisson(0.04 * harsh * case.days)):
        start = float(rng.uniform(0, case.days)) * DAY_S
        length = float(np.exp(rng.uniform(np.log(60), np.log(4 * 3600))))
        hit = case.sensors if rng.random() < 0.5 else [case.sensors[int(rng.integers(len(case.sensors)))]]
        for s in hit:
            s.troubles.append(sensors.Trouble("silent", start, start + length))


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


def _rows(parts: list[tuple[str, ph.Array, ph.Array, ph.Array]], epoch: float) -> bytes:
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
            out.write(_rows(parts, case.start_epoch))
    (folder / "plant.toml").write_text(plants.text(plant, [s.lines(plant) for s in case.sensors]))
    motor = next(s for s in case.sensors if s.measures.startswith("pump_"))
    slow = max(
        5.0 if s.on_change and s.measures != "pump_running" else s.every_s for s in (case.sensors[0], motor)
    )
    seen = Seen(
        np.concatenate(runs), np.concatenate(coarse), COARSE_S, slow, case.days, case.midnight_s,
        plant.min_run_s,
        plant.drawdown_m3() / plant.q_mid, plant.cut_in_pa, plant.cut_out_pa,
        tuple(s.outlet_m for s in plant.storages), plants.WARN_AHEAD_S,
    )  # fmt: skip
    for truth in case.truths:
        resolve(truth, seen)
    told = {
        "epoch": case.start_epoch, "days": case.days, "faults": case.faults, "habits": case.demand.habits,
        "wrong": plant.wrong, "slow_s": slow, "runs": len(seen.runs),
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


def case_of(seed: int, index: int, mode: str, folder: Path) -> dict[str, object]:
    """Draw and run case `index` of a set: `single`, `mixed` or `healthy`."""
    rng = np.random.default_rng([seed, index])
    names = [n for n, row in TABLE.items() for _ in range(row[5])]
    order = np.random.default_rng([seed, 10**6]).permutation(len(names))
    kinds: list[str] = []
    relapse = False
    if mode != "healthy":
        kinds = [names[order[index % len(order)]]]
        if mode == "mixed":
            relapse = rng.random() < 0.3 and kinds[0] not in ("undersized", "depletion")
            alone = {"undersized", "depletion", "dry_supply", "overflow"}
            while not relapse and len(kinds) < 2:
                other = names[int(rng.integers(len(names)))]
                if (
                    other != kinds[0]
                    and not (other in alone and kinds[0] in alone)
                    and not _same(other, kinds[0])
                ):
                    kinds.append(other)
    longest = max((TABLE[k][3] for k in kinds), default=0.0)
    days = (
        int(rng.integers(60, 121))
        if mode == "healthy"
        else int(np.ceil(rng.uniform(9, 13) + longest * (1.6 if mode == "mixed" else 0.8)))
    )
    changing = rng.random() < (0.7 if mode == "healthy" else 0.3)
    case = drawn(rng, kinds, days, changing)
    afflict(case, rng, kinds, relapse)
    dropouts(case, rng, 1.0)
    return run(case, rng, folder)


def _same(a: str, b: str) -> bool:
    groups = (
        {"clog_sudden", "clog_slow", "clog_after"}, {"lost_air", "overcharged", "undersized", "narrow_band"},
        {"narrow_band", "switch_drift", "chatter"}, {"lost_prime", "dry_supply", "blocked"},
    )  # fmt: skip
    return any(a in g and b in g for g in groups)


__all__ = ["Truth", "case_of", "faults"]
