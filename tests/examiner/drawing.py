"""One case from one seed: plant, demand, sensors, weather, and faults put on the clock."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.random import Generator

from tests.examiner import demand, plants, recorded, sensors
from tests.examiner import physics as ph
from tests.examiner.case import Case
from tests.examiner.faults import TABLE
from tests.examiner.weather import caught, weather

DAY_S = 86400
NEEDS_PLANT = {"filter", "after", "storage", "roof"}
DRAWS = 40  # how many plants are tried before a fault is given up


def drawn(rng: Generator, kinds: list[str], days: int, changing: bool, homes: Path | None = None) -> Case:
    """A plant with demand (as recorded in `homes`, if given), sensors, faults; nothing has happened yet."""
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
        draws = recorded.demand(rng, homes, days) if homes else demand.drawn(rng, plant, days, changing)
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
        levels.append(s.outlet_m + usable * float(rng.uniform(0.45, 0.8)) / s.area_m2)
        controls[:, ph.IN_A + j] += brought
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
            again = b + float(rng.uniform(1.5, 3.5)) * DAY_S
            if again + short * DAY_S < case.days * DAY_S:
                make(case, rng, again, min(again + (b - a), case.days * DAY_S - 60))
                case.faults.append(kind + " again")
        elif len(kinds) > 1:
            taken = a + float(rng.uniform(0.3, 2.0)) * DAY_S if rng.random() < 0.5 else b + DAY_S
            if taken > (case.days - 2) * DAY_S:
                break


def refill(case: Case, rng: Generator) -> None:
    """Let a tanker come, by day, where use and leaks bring a storage low."""
    c, v = case.controls, case.plant.vector
    for j, s in enumerate(case.plant.storages):
        usable = s.volume_m3 * (1 - s.outlet_m / s.full_m)
        use = case.daily_m3() * s.share
        held = (case.levels[j] - s.outlet_m) * s.area_m2
        for day in range(case.days):
            span = slice(day * 1440, (day + 1) * 1440)
            level = held / s.area_m2 + s.outlet_m
            lost = float(c[span, ph.OUT_A + j].mean()) * max(level, 0.0) ** 0.5 * DAY_S
            lost += float(c[span, ph.LEAK].mean()) * v[ph.NOMINAL_PA] ** v[ph.LEAK_N] * DAY_S * s.share
            came = float(c[span, ph.IN_A + j].sum()) * 60
            if (held < (use + lost) * 5 or held < 0.2 * usable) and lost < 0.5 * usable:
                start = day * 1440 + int(rng.integers(9 * 60, 16 * 60))
                # A tanker holds 5 to 15 m3 and pumps 6 to 15 L/s.
                brings = min(0.7 * (usable - held), float(rng.uniform(5, 15)))
                lasts = max(int(brings / float(rng.uniform(0.006, 0.015)) / 60), 1)
                c[start : start + lasts, ph.IN_A + j] += brings / (lasts * 60)
                held += brings
                case.demand.habits.append(f"tanker on day {day}")
            held = min(max(held + came - use - lost, 0.0), usable)


def outages(case: Case, rng: Generator) -> None:
    """The mains fail for minutes to hours; a logger on a battery watches pressure go, another is silent."""
    battery = rng.random() < 0.5
    for _ in range(rng.poisson(0.02 * case.days) if rng.random() < 0.4 else 0):
        start = float(rng.uniform(0, case.days)) * DAY_S
        length = float(np.exp(rng.uniform(np.log(300), np.log(3 * 3600))))
        if any(t.start_s - length < start < t.end_s for t in case.truths):
            continue
        case.controls[case.over(start, start + length), ph.OUTAGE] = 1.0
        case.demand.habits.append(f"mains fail at {start / DAY_S:.2f} d for {length / 60:.0f} min")
        for s in [] if battery else case.sensors:
            s.troubles.append(sensors.Trouble("silent", start, start + length))


def clock_steps(case: Case, rng: Generator) -> None:
    """Now and then a logger's clock is set: by an hour ahead, or by less than a minute either way."""
    if rng.random() < 0.08:
        by = float(rng.choice([3600.0, rng.uniform(60, 1800), rng.uniform(-40, 40)]))
        case.steps.append((float(rng.uniform(1, case.days)) * DAY_S, round(by)))
        case.demand.habits.append(
            f"clock set by {case.steps[0][1]:.0f} s at {case.steps[0][0] / DAY_S:.2f} d"
        )


def dropouts(case: Case, rng: Generator) -> None:
    """Gaps of minutes to hours, of one sensor or of all: no fault that must be told, but one that may be."""
    for _ in range(rng.poisson(0.04 * case.days)):
        start = float(rng.uniform(0, case.days)) * DAY_S
        length = float(np.exp(rng.uniform(np.log(60), np.log(4 * 3600))))
        hit = case.sensors if rng.random() < 0.5 else [case.sensors[int(rng.integers(len(case.sensors)))]]
        for s in hit:
            s.troubles.append(sensors.Trouble("silent", start, start + length))


def case_of(seed: int, index: int, mode: str, homes: Path | None = None) -> tuple[Case, Generator]:
    """Draw case `index` of a set: `single`, `mixed` or `healthy`. `homes`: as of `drawn`."""
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
    case = drawn(rng, kinds, days, changing, homes)
    afflict(case, rng, kinds, relapse)
    if mode == "healthy" and rng.random() < 0.15:
        # Less than makes a pump diagnosable: no motor signal, or levels alone.
        case.sensors = [s for s in case.sensors if not s.measures.startswith("pump_")]
        levels = [s for s in case.sensors if s.measures == "storage_level"]
        if levels and rng.random() < 0.4:
            case.sensors = levels
    if "depletion" not in kinds:
        refill(case, rng)
    outages(case, rng)
    clock_steps(case, rng)
    dropouts(case, rng)
    return case, rng


def _same(a: str, b: str) -> bool:
    groups = (
        {"clog_sudden", "clog_slow", "clog_after"}, {"lost_air", "overcharged", "undersized", "narrow_band"},
        {"narrow_band", "switch_drift", "chatter"}, {"lost_prime", "dry_supply", "blocked"},
    )  # fmt: skip
    return any(a in g and b in g for g in groups)
