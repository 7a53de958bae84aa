"""Traces made from Boyle's law and a quadratic pump curve, for tests of the analytics alone.

Deliberately small and written apart from both the product's physics and its simulator: one pump, one
pressure tank whose air warms when it is squeezed, one switch, one line. Everything may change in time:
a parameter is a number or a function of seconds since the start.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from analytics.plant.description import (
    Filter,
    Measure,
    Plant,
    PressureTank,
    Pump,
    Signal,
    Storage,
    Switch,
)
from analytics.readings import Readings

PSI = 6894.757
GAL = 3.785412e-3
LPM = 1e-3 / 60.0
START_US = 1_900_000_000_000_000  # some day in 2030
Changing = float | Callable[[float], float]


@dataclass
class Trace:
    """What is really there. SI; pressures gauge."""

    volume_m3: Changing = 44 * GAL
    charge_pa: Changing = 28 * PSI
    cut_in_pa: Changing = 30 * PSI
    cut_out_pa: Changing = 50 * PSI
    shut_off_pa: Changing = 75 * PSI
    flow_cut_in_m3_s: float = 9 * 231 * 0.0254**3 / 60.0  # 9 gpm, clean, at cut-in
    filter_share: float = 0.15  # of the resistance, that is the clean filter
    clog: Changing = 1.0  # times the filter's resistance
    delivers: Changing = 1.0  # 0: prime lost
    leak_m3_s: Changing = 0.0  # at cut-in pressure, goes with its root
    burst_m3_s: Changing = 0.0
    closed: Changing = 0.0  # 1: the outlet beyond the pump is shut
    stuck: Changing = 0.0  # 1: the switch's contacts do not open
    chatter: Changing = 0.0  # 1: the switch flutters at cut-in
    amps: float = 7.0
    exponent: float = 1.15  # air, quickly squeezed
    warm_s: float = 90.0
    atmosphere_pa: float = 101325.0 * (1 - 0.0065 * 4600 * 0.3048 / 288.15) ** 5.25588
    noise_pa: float = 0.08 * PSI
    amps_noise: float = 0.05
    sag: Changing = 1.0  # mains
    demand: Callable[[np.random.Generator, np.ndarray], np.ndarray] | None = None
    motor: Measure = Measure.PUMP_CURRENT
    every_s: float = 1.0
    motor_every_s: float | None = None
    step_s: float = 0.5
    extra: dict[str, float] = field(default_factory=dict)


def household(rng: np.random.Generator, t: np.ndarray) -> np.ndarray:
    """Draws of a house and garden: Poisson events, more by day; one drip line some days. [m3/s]"""
    flow = np.zeros(len(t))
    step = t[1] - t[0]
    for day in range(int(t[-1] // 86_400) + 1):
        for _ in range(rng.poisson(45)):
            hour = rng.choice([rng.normal(7.5, 1.5), rng.uniform(6, 22), rng.normal(19, 2)]) % 24
            begin = day * 86_400 + hour * 3600
            rate, length = rng.uniform(2, 14) * LPM, rng.lognormal(np.log(60), 0.9)
            a, b = int(begin / step), int((begin + length) / step)
            flow[a:b] += rate
        if day % 2 == 0:
            a, b = int((day * 86_400 + 5 * 3600) / step), int((day * 86_400 + 6.5 * 3600) / step)
            flow[a:b] += 11 * LPM
    return flow


def steady(rate_m3_s: float) -> Callable[[np.random.Generator, np.ndarray], np.ndarray]:
    return lambda rng, t: np.full(len(t), rate_m3_s)


def _at(value: Changing, seconds: float) -> float:
    return value(seconds) if callable(value) else value


def after(when_s: float, value: float, before: float = 1.0) -> Callable[[float], float]:
    return lambda s: value if s >= when_s else before


def ramp(begin_s: float, end_s: float, value: float, before: float = 1.0) -> Callable[[float], float]:
    return lambda s: float(np.interp(s, [begin_s, end_s], [before, value]))


def run(trace: Trace, seconds: float, seed: int = 0) -> dict[str, np.ndarray]:
    """Integrate. Columns: t, pressure (true), on, amps, delivery, demand, discharge."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, seconds, trace.step_s)
    wanted = (trace.demand or household)(rng, t)
    dt = trace.step_s
    cut_in0 = _at(trace.cut_in_pa, 0.0)
    resistance = (_at(trace.shut_off_pa, 0.0) - cut_in0) / trace.flow_cut_in_m3_s**2
    own, screen = resistance * (1 - trace.filter_share), resistance * trace.filter_share
    pa = trace.atmosphere_pa
    air = _at(trace.volume_m3, 0.0) * (_at(trace.charge_pa, 0.0) + pa) / (cut_in0 + 10 * PSI + pa)
    warmth = 0.0
    on = False
    pressure = cut_in0 + 10 * PSI
    columns = np.empty((6, len(t)))
    now: dict[str, float] = {}
    for i, s in enumerate(t.tolist()):
        if i % 20 == 0:
            now = {n: _at(getattr(trace, n), s) for n in CHANGING}
        v, charge = now["volume_m3"], now["charge_pa"]
        amount = v * (charge + pa)
        h0, k = now["shut_off_pa"], own + screen * now["clog"]
        flow = 0.0
        if on and now["delivers"] > 0:
            flow = now["delivers"] * (max(h0 - pressure, 0.0) / k) ** 0.5
        if now["closed"]:
            flow = 0.0
        root = (max(pressure, 0.0) / cut_in0) ** 0.5
        draw = (wanted[i] * min(root, 1.0)) + (now["leak_m3_s"] + now["burst_m3_s"]) * root
        change = (flow - draw) * dt
        air = air - change
        if air >= v:  # the tank is empty
            air = v
            if flow < draw:
                c = draw / max(root, 1e-3)
                meets = min(max((flow / c) ** 2 * cut_in0, 0.0), charge)  # what the draw lets stand
                pressure += max(0.2 * (meets - pressure), -3 * PSI * dt)
            warmth = 0.0
        else:
            warmth += (trace.exponent - 1.0) * change / max(air, 1e-6) - warmth * dt / trace.warm_s
            pressure = amount / air * (1.0 + warmth) - pa
        shown = h0 if now["closed"] and on else pressure
        if on and shown >= now["cut_out_pa"] and not now["stuck"]:
            on = False
        elif not on and pressure <= now["cut_in_pa"]:
            on = True
        if now["chatter"] and on and rng.random() < 0.4:
            on = False
        level = trace.amps * (
            0.62 if flow <= 0 else 0.62 + 0.38 * min(flow / trace.flow_cut_in_m3_s, 1.3) ** 0.5
        )
        columns[:, i] = shown, on, on * level * now["sag"], flow, draw, shown + screen * now["clog"] * flow**2
    names = ("pressure", "on", "amps", "delivery", "demand", "discharge")
    return {"t": t, **dict(zip(names, columns, strict=True))}


CHANGING = (
    "volume_m3", "charge_pa", "cut_in_pa", "cut_out_pa", "shut_off_pa", "clog", "delivers", "leak_m3_s",
    "burst_m3_s", "closed", "stuck", "chatter", "sag",
)  # fmt: skip


def plant(trace: Trace | None = None, **changes: object) -> Plant:
    """Juniper Bench's plant file, with pressure and one motor signal (and more by `extra`)."""
    trace = trace or Trace()
    motor_every = trace.motor_every_s or trace.every_s
    signals = [
        Signal("pressure", Measure.LINE_PRESSURE, "a/p", "Pa", every_s=trace.every_s),
        Signal("motor", trace.motor, "a/m", "A", every_s=motor_every),
    ]
    if "discharge" in trace.extra:
        signals.append(Signal("discharge", Measure.DISCHARGE_PRESSURE, "a/d", "Pa", every_s=trace.every_s))
    if "flow" in trace.extra:
        signals.append(Signal("flow", Measure.SUPPLY_FLOW, "a/f", "m^3/s", every_s=trace.every_s))
    if "level" in trace.extra:
        signals.append(Signal("level", Measure.STORAGE_LEVEL, "a/l", "m", every_s=60.0, of="rain"))
    above = 1.0 if trace.motor is Measure.PUMP_CURRENT else None
    base = Plant(
        "juniper-bench", "Juniper Bench", "America/Boise", "us", 4600 * 0.3048,
        Pump(559.0, 9 * 231 * 0.0254**3 / 60, 60.0, 20.0, above, trace.motor if above else None),
        tuple(signals), Switch(30 * PSI, 50 * PSI), PressureTank(44 * GAL, 28 * PSI), Filter("before_tank"),
        (Storage("rain", 3000 * GAL, 7 * 0.3048, 4 * 0.0254),) if "level" in trace.extra else (),
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


def readings(
    trace: Trace, seconds: float, seed: int = 0, true: dict[str, np.ndarray] | None = None
) -> Readings:
    """What the sensors say of it; `true`, where the same has been integrated already."""
    true = run(trace, seconds, seed) if true is None else true
    rng = np.random.default_rng(seed + 1)
    parts = []

    def sample(number: int, column: np.ndarray, every: float) -> None:
        stride = max(1, round(every / trace.step_s))
        t = START_US + (true["t"][::stride] * 1e6).astype(np.int64)
        parts.append(Readings.of(np.full(len(t), number), t, column[::stride]))

    n = len(true["t"])
    pressure = np.round((true["pressure"] + rng.normal(0, trace.noise_pa, n)) / 100.0) * 100.0
    sample(0, pressure, trace.every_s)
    if trace.motor is Measure.PUMP_RUNNING:
        motor = true["on"]
    else:
        motor = np.abs(true["amps"] + rng.normal(0, trace.amps_noise, n))
    sample(1, motor, trace.motor_every_s or trace.every_s)
    number = 2
    if "discharge" in trace.extra:
        sample(number, true["discharge"] + rng.normal(0, trace.noise_pa, n), trace.every_s)
        number += 1
    if "flow" in trace.extra:
        sample(number, true["demand"], trace.every_s)
        number += 1
    if "level" in trace.extra:
        sample(number, np.full(n, trace.extra["level"]), 60.0)
    return Readings.concatenate(parts).in_time_order()
