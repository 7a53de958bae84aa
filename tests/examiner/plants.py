"""Random plants: what truly stands there, and what the plant file says of it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator

from tests.examiner import physics as ph

PSI, BAR, GALLON, FOOT, GPM = 6894.757, 1e5, 3.785411784e-3, 0.3048, 6.30902e-5
LITRE_A_MINUTE = 1e-3 / 60
ZONES = (
    "America/Boise", "America/Denver", "Europe/Lisbon", "Europe/Athens", "Australia/Perth",
    "Africa/Nairobi", "America/Santiago", "Pacific/Auckland",
)  # fmt: skip
WARN_AHEAD_S = 3 * 86400.0


@dataclass(frozen=True)
class Storage:
    """One storage: its water is a cylinder's."""

    name: str
    area_m2: float
    full_m: float
    outlet_m: float
    share: float

    @property
    def volume_m3(self) -> float:
        """What it holds at the full level."""
        return self.area_m2 * self.full_m


@dataclass
class Plant:
    """True physics, and the nameplate beside it."""

    vector: ph.Array
    cut_in_pa: float
    cut_out_pa: float
    q_in: float
    q_out: float
    min_run_s: float
    max_starts: int
    storages: tuple[Storage, ...]
    roof_m2: float
    runoff: float
    first_flush_m3: float
    filtered: str  # "", "before_tank" or "after_tank"
    timezone: str
    said: dict[str, float]  # nameplate figures where they differ from the truth
    wrong: str  # which nameplate is grossly wrong, or nothing
    metric: bool
    named: set[str] = field(default_factory=set)  # optional keys that the owner wrote

    @property
    def q_mid(self) -> float:
        """Clean delivery in the middle of the band [m3/s]."""
        return 0.5 * (self.q_in + self.q_out)

    def drawdown_m3(self, air: float = 1.0, low: float | None = None, high: float | None = None) -> float:
        """Water between cut-in and cut-out, isothermal, for a share of the air charge."""
        v, atm = self.vector[ph.VOLUME], self.vector[ph.ATM]
        charge = (self.vector[ph.PRECHARGE] + atm) * air
        low_abs = max((self.cut_in_pa if low is None else low) + atm, charge)
        high_abs = (self.cut_out_pa if high is None else high) + atm
        return float(max(v * charge * (1 / low_abs - 1 / high_abs), 0.0))


def made(rng: Generator, needs: set[str], undersized: bool = False) -> Plant:
    """Draw a plant that has what a fault needs: `filter`, `after`, `storage`, `roof`, `lift`."""
    metric = bool(rng.random() < 0.45)
    altitude = float(rng.choice([0.0, rng.uniform(0, 600), rng.uniform(600, 2400)]))
    # ISA 2533 standard atmosphere.
    atm = 101325.0 * (1 - 2.25577e-5 * altitude) ** 5.25588
    if metric:
        cut_in = float(rng.choice([1.4, 1.5, 1.8, 2.0, 2.5])) * BAR
        cut_out = cut_in + float(rng.choice([1.0, 1.2, 1.4, 1.5])) * BAR
    else:
        cut_in = float(rng.choice([20.0, 30.0, 30.0, 40.0])) * PSI
        cut_out = cut_in + float(rng.choice([15.0, 20.0, 20.0, 22.0])) * PSI
    q_in = float(np.exp(rng.uniform(np.log(12), np.log(55)))) * LITRE_A_MINUTE
    ratio = float(rng.uniform(0.5, 0.85))
    shutoff = (cut_out - ratio**2 * cut_in) / (1 - ratio**2)
    whole = (shutoff - cut_in) / q_in**2
    filtered = ""
    if needs & {"filter", "after"} or rng.random() < 0.6:
        filtered = "after_tank" if "after" in needs or rng.random() < 0.12 else "before_tank"
        if "filter" in needs:
            filtered = "before_tank"
    share = float(rng.uniform(0.04, 0.25))
    filter_k = whole * share
    pump_a = whole - filter_k if filtered == "before_tank" else whole
    run_s = float(np.exp(rng.uniform(np.log(28), np.log(200))))
    if undersized:
        run_s = float(rng.uniform(7, 18))
    precharge = cut_in - (float(rng.choice([2.0, 2.0, 3.0])) * PSI if not metric else 0.1 * cut_in)
    q_mid = q_in * (1 + ratio) / 2
    per_volume = (precharge + atm) * (1 / (cut_in + atm) - 1 / (cut_out + atm))
    volume = q_mid * run_s / per_volume
    volume = max(volume, 0.008 if undersized else 0.018)
    run_s = volume * per_volume / q_mid
    min_run = 60.0 if undersized and rng.random() < 0.5 else np.floor(run_s * rng.uniform(0.4, 0.8) / 5) * 5
    if undersized:
        min_run = max(min_run, 5 * np.ceil(run_s * rng.uniform(1.6, 3.0) / 5))
    min_run = float(max(min_run, 5.0))
    tall = float(rng.uniform(1.2, 3.0))
    storages: tuple[Storage, ...] = ()
    lift = float(rng.uniform(0.0, 5.0))
    if needs & {"storage", "roof"} or rng.random() < 0.75:
        lift = float(rng.uniform(-0.5, 3.0))
        names = [str(n) for n in rng.permutation(["rain", "upper", "barn", "main", "cistern"])]
        shares = [1.0] if rng.random() < 0.8 else [float(x) for x in rng.dirichlet([6, 4])]
        storages = tuple(
            Storage(n, 1.0, tall, float(rng.uniform(0.05, 0.3)), s)
            for n, s in zip(names, shares, strict=False)
        )
    starts = int(rng.choice([20, 30, 40, 60]))
    # A plant as built keeps within its own limit: fastest cycling is four drawdowns over delivery.
    if not undersized:
        starts = int(max(starts, 10 * np.ceil(3600 / (4 * run_s) * 1.2 / 10)))
    vector = np.zeros(ph.PARAMETERS)
    pairs = {
        ph.ATM: atm, ph.VOLUME: volume, ph.PRECHARGE: precharge, ph.GAMMA: rng.uniform(1.05, 1.22),
        ph.TAU: rng.uniform(40, 240), ph.SHUTOFF: shutoff + lift * ph.DENSITY_GRAVITY, ph.PUMP_A: pump_a,
        ph.FILTER_K: filter_k if filtered else 0.0, ph.AFTER: float(filtered == "after_tank"), ph.LIFT: lift,
        ph.RATED_Q: q_in, ph.POWER: 745.7 * rng.choice([0.33, 0.5, 0.75, 1.0, 1.5]) / 0.6,
        ph.IDLE_SHARE: rng.uniform(0.66, 0.8), ph.DRY_SHARE: rng.uniform(0.4, 0.6),
        ph.MAGNET_SHARE: rng.uniform(0.4, 0.6), ph.INRUSH: rng.uniform(4, 6.5),
        ph.INRUSH_S: rng.uniform(0.25, 0.6), ph.NOMINAL_PA: (cut_in + cut_out) / 2,
        ph.FREEDOM: 0.5 if filtered == "after_tank" else rng.choice([0.1, 0.3, 0.5]),
        ph.RELIEF: cut_out + rng.uniform(0.5, 1.5) * BAR, ph.LEAK_N: rng.uniform(0.5, 1.5),
        ph.MID_RUN_S: rng.uniform(0.1, 0.8) * run_s, ph.TRIP_S: rng.uniform(6, 20),
        ph.COOL_S: rng.uniform(120, 900), ph.SWITCH_NOISE: rng.uniform(0.002, 0.012) * cut_out,
    }  # fmt: skip
    for place, value in pairs.items():
        vector[place] = value
    vector[ph.AMPS] = vector[ph.POWER] / (rng.choice([115.0, 230.0]) * 0.8)
    said = {
        "precharge": precharge * rng.normal(1, 0.015), "volume": volume * rng.normal(1, 0.02),
        "cut_in": cut_in, "cut_out": cut_out,
    }  # fmt: skip
    wrong = ""
    if not undersized and rng.random() < 0.07:
        wrong = str(rng.choice(["volume", "precharge", "switch"]))
        if wrong == "switch":
            said["cut_in"] -= 0.15 * cut_in
            said["cut_out"] -= 0.15 * cut_in
            said["precharge"] = said["cut_in"] * 0.93
        else:
            said[wrong] *= float(rng.choice([rng.uniform(0.6, 0.75), rng.uniform(1.25, 1.5)]))
            said["precharge"] = min(said["precharge"], 0.97 * cut_in)
    named = {k for k, odds in (
        ("rated_power", 0.7), ("rated_flow", 0.6), ("running_above", 0.35), ("altitude", 0.85),
        ("every", 0.6),
        ("valid", 0.4), ("min_run_time", 1.0), ("max_starts", 1.0), ("strapping", 0.15),
    ) if rng.random() < odds}  # fmt: skip
    return Plant(
        vector, cut_in, cut_out, q_in, q_in * ratio, min_run, starts, storages,
        float(rng.uniform(60, 250)) if storages and ("roof" in needs or rng.random() < 0.7) else 0.0,
        0.85, float(rng.choice([0.0, 0.1, 0.2])), filtered, str(rng.choice(ZONES)), said, wrong, metric,
        named,
    )  # fmt: skip


def sized(plant: Plant, rng: Generator, daily_m3: float, days: float) -> None:
    """Give the storages the size that a household of this use would build."""
    whole = daily_m3 * float(np.clip(rng.uniform(0.8, 2.5) * days, 25, 120))
    plant.storages = tuple(
        Storage(s.name, max(whole * s.share / s.full_m, 0.4), s.full_m, s.outlet_m, s.share)
        for s in plant.storages
    )


def text(plant: Plant, signals: list[str]) -> str:
    """The plant file (contract, section 1), in the owner's units."""
    m = plant.metric

    def pressure(pa: float) -> str:
        return f'"{pa / BAR:.2f} bar"' if m else f'"{pa / PSI:.1f} psi"'

    def volume(m3: float) -> str:
        return f'"{m3 * 1000:.1f} L"' if m else f'"{m3 / GALLON:.1f} gal"'

    def length(metres: float) -> str:
        return f'"{metres:.3f} m"' if m else f'"{metres / FOOT:.3f} ft"'

    altitude = (1 - (plant.vector[ph.ATM] / 101325.0) ** (1 / 5.25588)) / 2.25577e-5
    lines = ["version = 1", 'title = "Examined"', f'display_units = "{"metric" if m else "us"}"',
             f'timezone = "{plant.timezone}"']  # fmt: skip
    if "altitude" in plant.named:
        lines.append(f'altitude = "{altitude:.0f} m"')
    lines.append("[pump]")
    if "rated_power" in plant.named:
        lines.append(f'rated_power = "{plant.vector[ph.POWER] * 0.6:.0f} W"')
    if "rated_flow" in plant.named:
        flow = plant.said.get("rated_flow", plant.q_in)
        lines.append(
            f'rated_flow = "{flow / LITRE_A_MINUTE:.1f} L/min"'
            if m
            else f'rated_flow = "{flow / GPM:.1f} gpm"'
        )
    lines.append(f'min_run_time = "{plant.min_run_s:.0f} s"')
    lines.append(f"max_starts_per_hour = {plant.max_starts}")
    if "running_above" in plant.named and "above" in plant.said:
        lines.append(f'running_above = "{plant.said["above"]:.2f} {"W" if "watts" in plant.named else "A"}"')
    lines += ["[switch]", f"cut_in = {pressure(plant.said['cut_in'])}",
              f"cut_out = {pressure(plant.said['cut_out'])}", "[pressure_tank]",
              f"volume = {volume(plant.said['volume'])}",
              f"precharge = {pressure(plant.said['precharge'])}"]  # fmt: skip
    if plant.filtered:
        lines += ["[filter]", f'position = "{plant.filtered}"']
    for s in plant.storages:
        lines += [f"[storage.{s.name}]", f"volume = {volume(s.volume_m3)}",
                  f"full_level = {length(s.full_m)}", f"outlet_level = {length(s.outlet_m)}"]  # fmt: skip
        if "strapping" in plant.named:
            points = [(x * s.full_m, x * s.volume_m3) for x in (0.0, 0.3, 0.7, 1.0)]
            lines.append(f"strapping = [{', '.join(f'[{length(a)}, {volume(b)}]' for a, b in points)}]")
    if plant.roof_m2 > 0:
        lines += ["[catchment]", f'area = "{plant.roof_m2:.1f} m^2"', f"runoff = {plant.runoff}"]
        if plant.first_flush_m3 > 0:
            lines.append(f"first_flush = {volume(plant.first_flush_m3)}")
    return "\n".join(lines + signals) + "\n"
