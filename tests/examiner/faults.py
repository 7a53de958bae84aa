"""Faults: each changes what the plant does from one time to another, and says what is then true."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator

from tests.examiner import physics as ph
from tests.examiner.demand import Demand
from tests.examiner.physics import Array
from tests.examiner.plants import LITRE_A_MINUTE, Plant
from tests.examiner.sensors import Sensor, Trouble
from tests.examiner.truth import Truth

DAY_S = 86400.0


@dataclass
class Case:
    """All that one case is made of."""

    plant: Plant
    sensors: list[Sensor]
    demand: Demand
    days: int
    controls: Array
    levels: tuple[float, ...]
    start_epoch: float
    midnight_s: float
    air: Array
    rain_m: Array
    truths: list[Truth] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    salt: list[tuple[float, float, float]] = field(default_factory=list)

    def has(self, measures: str) -> bool:
        """Whether a sensor of it is fitted."""
        return any(s.measures == measures for s in self.sensors)

    def over(self, a: float, b: float) -> slice:
        """The minutes between two times."""
        return slice(int(a // 60), max(int(b // 60), int(a // 60) + 1))

    def daily_m3(self) -> float:
        """Mean use."""
        return max(self.demand.daily_m3(self.days), 0.02)


def _ramp(case: Case, column: int, a: float, b: float, full_s: float, to: float) -> None:
    span = case.over(a, b)
    minutes = np.arange(span.stop - span.start) * 60.0
    share = np.minimum(minutes / max(full_s, 60.0), 1.0)
    size = len(case.controls[span, column])
    case.controls[span, column] = (1 + (to - 1) * share)[:size]


def lost_prime(case: Case, rng: Generator, a: float, b: float) -> None:
    """The pump loses its water, before a run or within one."""
    case.controls[case.over(a, b), ph.PRIME] = ph.LOSES_IN_RUN if rng.random() < 0.4 else 0.0
    also = () if case.has("storage_level") else ("dry_supply",)
    case.truths.append(Truth("lost_prime", a, b, "dry", also=also))


def dry_supply(case: Case, rng: Generator, a: float, b: float) -> None:
    """A drain is left open: the storage stands at its outlet until a tanker comes."""
    drains = float(rng.uniform(1.5, 8)) * 3600
    for j, s in enumerate(case.plant.storages):
        # Torricelli: a cylinder is empty after 2 A sqrt(h) / c.
        case.controls[case.over(a - drains, b), ph.OUT_A + j] = 2 * s.area_m2 * s.full_m**0.5 / drains
        case.controls[case.over(b, b + 3000), ph.IN_A + j] += 0.6 * s.volume_m3 / 3000
    also = () if case.has("storage_level") else ("lost_prime",)
    case.truths.append(Truth("dry_supply", a - drains, b, "dry", also=also))


def burst_line(case: Case, rng: Generator, a: float, b: float) -> None:
    """The line opens for more than the pump delivers."""
    times = float(rng.choice([rng.uniform(1.2, 1.6), rng.uniform(1.6, 4)]))
    case.controls[case.over(a, b), ph.BURST] = times * case.plant.q_in / np.sqrt(case.plant.cut_in_pa)
    case.truths.append(Truth("burst_line", a, b, "burst", note=f"{times:.2f} x delivery"))


def lost_air(case: Case, rng: Generator, a: float, b: float) -> None:
    """The air charge leaks away, within minutes or over days."""
    left = float(rng.uniform(0.06, 0.35))
    if a > 0 and rng.random() < 0.4:
        full = min(rng.uniform(4, 12) * DAY_S, 0.7 * (b - a))
    else:
        full = float(rng.uniform(60, 1800))
    _ramp(case, ph.AIR, a, b, full, left)
    if a <= 0:
        case.controls[case.over(a, b), ph.AIR] = left
    case.truths.append(
        Truth(
            "short_cycling",
            a,
            b,
            "short",
            ("lost_air_charge",),
            note=f"air {left:.2f} over {full / 3600:.1f} h",
        )
    )


def overcharged(case: Case, rng: Generator, a: float, b: float) -> None:
    """The owner pumps the tank up above cut-in."""
    p = case.plant
    charge = min(p.cut_in_pa * rng.uniform(1.1, 1.3), p.cut_in_pa + 0.75 * (p.cut_out_pa - p.cut_in_pa))
    case.controls[case.over(a, b), ph.AIR] = (charge + p.vector[ph.ATM]) / (
        p.vector[ph.PRECHARGE] + p.vector[ph.ATM]
    )
    case.truths.append(
        Truth(
            "short_cycling",
            a,
            b,
            "short",
            ("overcharged_tank",),
            note=f"charge {charge / p.cut_in_pa:.2f} of cut-in",
        )
    )


def narrow_band(case: Case, rng: Generator, a: float, b: float) -> None:
    """Cut-out set near cut-in."""
    p = case.plant
    share = float(rng.uniform(0.22, 0.45))
    case.controls[case.over(a, b), ph.CUT_OUT] = p.cut_in_pa + share * (p.cut_out_pa - p.cut_in_pa)
    case.truths.append(
        Truth(
            "short_cycling",
            a,
            b,
            "short",
            ("narrow_switch_band",),
            also=("switch_drift",),
            note=f"band {share:.2f}",
        )
    )


def chatter(case: Case, rng: Generator, a: float, b: float) -> None:
    """The contact bounces at every change."""
    case.controls[case.over(a, b), ph.CHATTER] = float(rng.uniform(4, 12))
    case.truths.append(Truth("short_cycling", a, b, "chatter", ("switch_chatter",)))


def undersized(case: Case, rng: Generator, a: float, b: float) -> None:
    """The tank was always too small."""
    case.truths.append(Truth("short_cycling", 0, case.days * DAY_S, "small", ("undersized_tank",)))


def _clog(plant: Plant, left: float) -> float:
    """How many times the filter's k leaves this share of delivery."""
    v = plant.vector
    if plant.filtered == "after_tank":
        q = 0.7 * plant.q_out
        return float(1 + (1 / left**2 - 1) * v[ph.NOMINAL_PA] / (v[ph.FILTER_K] * q**2))
    whole = v[ph.PUMP_A] + v[ph.FILTER_K]
    return float((whole / left**2 - v[ph.PUMP_A]) / v[ph.FILTER_K])


def _alike(case: Case, other: str) -> tuple[str, ...]:
    """Filter and pump look the same where neither power nor an outlet gauge tells them apart."""
    told = case.has("discharge_pressure") or case.has("pump_power") or case.plant.filtered != "before_tank"
    return () if told else (other,)


def clog_sudden(case: Case, rng: Generator, a: float, b: float) -> None:
    """A slug of silt, a collapsed cartridge."""
    left = float(rng.uniform(0.4, 0.68))
    _ramp(case, ph.CLOG, a, b, 600, _clog(case.plant, left))
    rule = "days" if case.plant.filtered == "after_tank" else "runs"
    case.truths.append(
        Truth(
            "clogged_filter",
            a,
            b,
            rule,
            also=_alike(case, "pump_wear"),
            note=f"sudden to {left:.2f} {case.plant.filtered}",
        )
    )


def clog_slow(case: Case, rng: Generator, a: float, b: float) -> None:
    """Delivery falls away over days or weeks."""
    left = float(rng.uniform(0.4, 0.6))
    takes = max(min(b - a, rng.uniform(5, 20) * DAY_S), 4 * DAY_S)
    shape = float(rng.uniform(0.8, 2.2))
    span = case.over(a, b)
    minutes = np.arange(span.stop - span.start) * 60.0
    share = 1 - (1 - left) * np.minimum(minutes / takes, 1) ** shape
    size = len(case.controls[span, ph.CLOG])
    case.controls[span, ph.CLOG] = np.array([_clog(case.plant, float(x)) for x in share[:size]])
    down = a + takes * (0.3 / (1 - left)) ** (1 / shape)
    case.truths.append(
        Truth(
            "clogged_filter",
            a,
            b,
            f"after:{down - a:.0f}",
            also=_alike(case, "pump_wear"),
            note=f"slow to {left:.2f} in {takes / DAY_S:.1f} d {case.plant.filtered}",
        )
    )


def _worn(plant: Plant, left: float) -> float:
    v = plant.vector
    h0 = v[ph.SHUTOFF] - v[ph.LIFT] * ph.DENSITY_GRAVITY
    lost = (1 - left**2) * (h0 - v[ph.NOMINAL_PA])
    return float(1 - lost / v[ph.SHUTOFF])


def pump_wear(case: Case, rng: Generator, a: float, b: float) -> None:
    """Head falls at every flow, and power with it."""
    v = case.plant.vector
    h0 = v[ph.SHUTOFF] - v[ph.LIFT] * ph.DENSITY_GRAVITY
    # Cut-out must still be reached, by some margin.
    least = float(np.sqrt(max(1 - (h0 - 1.03 * case.plant.cut_out_pa) / (h0 - v[ph.NOMINAL_PA]), 0)))
    left = float(max(rng.uniform(0.5, 0.72), least))
    sudden = rng.random() < 0.4
    takes = 600.0 if sudden else min(b - a, rng.uniform(5, 15) * DAY_S)
    _ramp(case, ph.HEAD, a, b, takes, _worn(case.plant, left))
    case.controls[case.over(a, b), ph.FRICTION] *= case.controls[case.over(a, b), ph.HEAD]
    down = takes * min(0.3 / (1 - left), 1.0)
    rule = "days" if sudden else f"after:{down + DAY_S:.0f}"
    case.truths.append(
        Truth(
            "pump_wear",
            a,
            b,
            rule,
            also=_alike(case, "clogged_filter"),
            required=left < 0.75,
            note=f"{'sudden' if sudden else 'slow'} to {left:.2f} in {takes / DAY_S:.1f} d",
        )
    )


def storage_leak(case: Case, rng: Generator, a: float, b: float) -> None:
    """A storage seeps or runs out through a fitting."""
    j = int(rng.integers(len(case.plant.storages)))
    s = case.plant.storages[j]
    level = next((x for x in case.sensors if x.of == s.name), None)
    fine = max(level.quantum, 2 * level.noise) if level else 0.01
    daily = max(0.01 * s.volume_m3, 3 * 4 * fine * s.area_m2, 0.2 * case.daily_m3() * s.share) * float(
        rng.uniform(1, 3)
    )
    case.controls[case.over(a, b), ph.OUT_A + j] = daily / DAY_S / np.sqrt(0.6 * s.full_m)
    case.truths.append(
        Truth(
            "storage_leak",
            a,
            b,
            "nights",
            of=s.name,
            note=f"{daily * 1000:.0f} L/d, {daily / s.area_m2 * 1000:.0f} mm/d",
        )
    )


def depletion(case: Case, rng: Generator, a: float, b: float) -> None:
    """No rain and no tanker: the storage goes down to its outlet (the deadline is read off the levels)."""
    case.truths.append(
        Truth(
            "storage_depletion", 0.0, case.days * DAY_S, "levels", ("demand",), of=case.plant.storages[0].name
        )
    )


def supply_leak(case: Case, rng: Generator, a: float, b: float) -> None:
    """The pressurised side loses water, downstream or back through the check valve."""
    p = case.plant
    q = min(float(np.exp(rng.uniform(np.log(0.2), np.log(2.5)))) * LITRE_A_MINUTE, 0.25 * p.q_out)
    mid = p.vector[ph.NOMINAL_PA]
    back = rng.random() < 0.4
    meter = case.has("supply_flow") and q > 0.03 * p.q_in
    if back:
        case.controls[case.over(a, b), ph.CHECK] = q / np.sqrt(mid)
    else:
        case.controls[case.over(a, b), ph.LEAK] = q / mid ** p.vector[ph.LEAK_N]
    right = "check_valve" if back else "downstream"
    case.truths.append(
        Truth(
            "supply_leak",
            a,
            b,
            "nights",
            (right,) if meter else (right, None),
            note=f"{right} {q / LITRE_A_MINUTE:.2f} L/min",
        )
    )


def overflow(case: Case, rng: Generator, a: float, b: float) -> None:
    """A hose or a float valve goes on when the storage is full."""
    s = case.plant.storages[0]
    rate = float(rng.uniform(6, 25)) * LITRE_A_MINUTE + 2 * case.daily_m3() / DAY_S
    # Fill first, fast, then go on.
    fill = min(a, 0.3 * DAY_S)
    case.controls[case.over(a - fill, a), ph.IN_A] += 1.1 * s.volume_m3 / max(fill, 600.0)
    case.controls[case.over(a, b), ph.IN_A] += rate
    case.truths.append(Truth("storage_overflow", a - fill, b, f"after:{fill + 4 * 3600:.0f}", of=s.name))


def blocked(case: Case, rng: Generator, a: float, b: float) -> None:
    """A valve between pump and tank is shut, or the pipe is frozen."""
    frozen = case.has("air_temperature") and rng.random() < 0.5
    if frozen:
        span = case.over(a - 6 * 3600, b)
        case.air[span] = np.minimum(case.air[span], -rng.uniform(4, 9))
    case.controls[case.over(a, b), ph.BLOCKED] = 1.0
    told = case.has("discharge_pressure") or case.has("pump_power")
    causes: tuple[str | None, ...] = ("frozen",) if frozen else ("closed_valve", None)
    case.truths.append(
        Truth("blocked_discharge", a, b, "blocked", causes, also=() if told else ("lost_prime",))
    )


def stuck_switch(case: Case, rng: Generator, a: float, b: float) -> None:
    """The contact welds: the pump does not stop at cut-out."""
    case.controls[case.over(a, b), ph.STUCK] = 1.0
    case.truths.append(Truth("overpressure", a, b, "over", ("switch_stuck",)))


def switch_drift(case: Case, rng: Generator, a: float, b: float) -> None:
    """Cut-in, cut-out or both move."""
    p = case.plant
    band = p.cut_out_pa - p.cut_in_pa
    move = band * float(rng.uniform(0.2, 0.4))
    kind = str(rng.choice(["both down", "both up", "cut-in down", "cut-out up"]))
    h0 = p.vector[ph.SHUTOFF] - p.vector[ph.LIFT] * ph.DENSITY_GRAVITY
    if "up" in kind:
        move = min(move, 0.5 * (h0 - p.cut_out_pa))
    sign = -1 if "down" in kind else 1
    span = case.over(a, b)
    if kind != "cut-out up":
        case.controls[span, ph.CUT_IN] += sign * move
    if kind != "cut-in down":
        case.controls[span, ph.CUT_OUT] += sign * move
    case.truths.append(
        Truth(
            "switch_drift",
            a,
            b,
            "drift",
            required=move > 0.05 * p.cut_out_pa,
            note=f"{kind} {move / band:.2f} band",
        )
    )


def overload(case: Case, rng: Generator, a: float, b: float) -> None:
    """A dragging bearing, or a rotor that does not turn."""
    locked = rng.random() < 0.4
    if locked:
        case.controls[case.over(a, b), ph.LOCKED] = 1.0
        rule = "locked"
    else:
        case.controls[case.over(a, b), ph.FRICTION] *= float(rng.uniform(1.45, 1.9))
        rule = "days"
    case.truths.append(Truth("motor_overload", a, b, rule, ("locked_rotor",) if locked else (None,)))


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


Maker = Callable[[Case, Generator, float, float], None]
# Name: what makes it, what it needs of plant and sensors, shortest and longest stay [days], may be there from
# the first row, how often of thirty.
TABLE: dict[str, tuple[Maker, tuple[str, ...], float, float, bool, int]] = {
    "lost_prime": (lost_prime, (), 0.06, 0.6, False, 3),
    "dry_supply": (dry_supply, ("storage",), 0.06, 0.6, False, 2),
    "burst_line": (burst_line, (), 0.03, 0.4, False, 3),
    "lost_air": (lost_air, (), 4, 14, True, 2),
    "overcharged": (overcharged, (), 3, 9, True, 1),
    "narrow_band": (narrow_band, (), 3, 9, True, 1),
    "chatter": (chatter, ("fast",), 2, 6, False, 1),
    "undersized": (undersized, ("undersized",), 3, 9, True, 1),
    "clog_sudden": (clog_sudden, ("filter",), 3, 8, False, 2),
    "clog_slow": (clog_slow, ("filter",), 7, 20, False, 2),
    "clog_after": (clog_slow, ("after", "supply_flow"), 8, 20, False, 1),
    "pump_wear": (pump_wear, ("margin",), 6, 16, False, 2),
    "storage_leak": (storage_leak, ("storage", "storage_level"), 4, 8, True, 2),
    "depletion": (depletion, ("storage", "storage_level", "single"), 6, 9, True, 2),
    "supply_leak": (supply_leak, (), 3, 8, True, 3),
    "overflow": (overflow, ("storage", "storage_level"), 0.5, 2, False, 1),
    "blocked": (blocked, ("blocked_motor",), 0.06, 0.4, False, 1),
    "stuck_switch": (stuck_switch, ("margin",), 0.1, 0.5, False, 1),
    "switch_drift": (switch_drift, (), 3, 8, True, 1),
    "overload": (overload, ("pump_current",), 2.5, 6, False, 1),
    "freeze": (freeze, ("air_temperature",), 0.3, 0.6, False, 1),
    "salinity": (salinity, ("supply_conductivity",), 1, 4, False, 1),
    "sensor": (sensor, (), 1.5, 4, False, 3),
}
