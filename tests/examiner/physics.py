"""A pump, a pressure switch and an air tank, stepped through time.

Gas in the tank: ideal, absolute pressures, with its own temperature. Work done on it warms it
(`gamma - 1` times the relative change of volume) and the wall takes the heat back within `tau` seconds.
Pump: `Q = sqrt((H0 - P) / (a + k))` (any pump text: a parabola through the shut-off head).
Openings: `q = c * P^N` (Torricelli for N = 1/2; FAVAD for a split that opens, N up to 3/2).
Where the tank holds no water the line has next to no compliance: its pressure then goes to where pump and
openings balance, within a second.

All SI, pressures gauge unless the name says `abs`. Compiled by numba where that is installed; without it
the same lines run as plain Python, some hundred times slower.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

try:
    from numba import njit

    def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
        """Compile ahead of the first call, and keep it for the next process."""
        made: Callable[..., Any] = njit(cache=True)(function)
        return made

except ImportError:

    def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
        """Leave the function as it is: numba is not here."""
        return function


STEP_S = 0.25
REFERENCE_K = 288.15
DENSITY_GRAVITY = 9806.65  # Pa a metre of water
LINE_SETTLES_S = 0.5  # a line without air answers within about a second

# What stays the same through a case: places in the parameter vector.
(ATM, VOLUME, PRECHARGE, GAMMA, TAU, SHUTOFF, PUMP_A, FILTER_K, AFTER, LIFT, RATED_Q, POWER, IDLE_SHARE,
 DRY_SHARE, AMPS, MAGNET_SHARE, INRUSH, INRUSH_S, NOMINAL_PA, FREEDOM, RELIEF, LEAK_N, MID_RUN_S, TRIP_S,
 COOL_S, SWITCH_NOISE) = range(26)  # fmt: skip
PARAMETERS = 26

# What faults, weather and mains change, minute by minute: columns of the controls.
(AIR, CLOG, HEAD, PRIME, LEAK, CHECK, BURST, CUT_IN, CUT_OUT, STUCK, BLOCKED, LOCKED, FRICTION, VOLT, CHATTER,
 IN_A, IN_B, OUT_A, OUT_B, AMBIENT, SHUT, OUTAGE) = range(22)  # fmt: skip
CONTROLS = 22
LOSES_IN_RUN = 2.0  # PRIME: lost in the next run, after MID_RUN_S

# What is carried on from chunk to chunk.
(WATER, GAS_K, LINE, ON, ON_FOR, OFF_FOR, LOST, HOT, BOUNCE, DICE, LEVEL_A, LEVEL_B, PUMPED, TOP, BOTTOM,
 STARTED, MOTOR) = range(17)  # fmt: skip
STATE = 17

# What is recorded.
(R_ON, R_LINE, R_OUTLET, R_SUCTION, R_POWER, R_AMPS, R_FLOW, R_LEVEL_A, R_LEVEL_B, R_PUMPED) = range(10)
RECORDED = 10
# One row a run: start, stop, water pumped, highest and lowest line pressure.
RUN_COLUMNS = 5


def _pump_flow(p: Array, c: Array, source_pa: float, line_pa: float) -> float:
    """Delivery at a line pressure [m3/s]."""
    k = 0.0 if p[AFTER] > 0.5 else p[FILTER_K] * c[CLOG]
    head = p[SHUTOFF] * c[HEAD] + source_pa - line_pa
    return math.sqrt(head / (p[PUMP_A] + k)) if head > 0.0 else 0.0


def _draws(p: Array, c: Array, asked: float, line_pa: float) -> float:
    """What taps, leak and burst take downstream of the tank at a line pressure [m3/s]."""
    if line_pa <= 0.0:
        return 0.0
    taps = asked * (1.0 - c[SHUT]) * (line_pa / p[NOMINAL_PA]) ** p[FREEDOM]
    if p[AFTER] > 0.5 and taps > 0.0:
        # q^2 = open^2 (P - k q^2): the filter stands in series with the taps' own opening.
        taps = taps / math.sqrt(1.0 + p[FILTER_K] * c[CLOG] * taps * taps / line_pa)
    drawn: float = taps + c[LEAK] * line_pa ** p[LEAK_N] + c[BURST] * math.sqrt(line_pa)
    return drawn


def _advance(
    p: Array, stores: Array, controls: Array, asked: Array, s: Array, start_s: float, every: int,
    record: Array, runs: Array,
) -> int:  # fmt: skip
    """Step through one chunk of whole minutes; returns how many runs ended in it.

    `stores` has a row a storage: area [m2], full [m], outlet [m], share of the pump's draw. `controls` has a
    row a minute, `asked` a value a second: what taps would take at the nominal pressure [m3/s].
    """
    per_minute = int(60 / STEP_S)
    per_second = int(1 / STEP_S)
    steps = controls.shape[0] * per_minute
    ended = 0
    row = 0
    for i in range(steps):
        c = controls[i // per_minute]
        want = asked[i // per_second]
        # The source: how high the water stands above the pump, and whether the outlet is wet.
        wet = stores.shape[0] == 0
        source_pa = -p[LIFT] * DENSITY_GRAVITY
        head_m = 0.0
        for j in range(stores.shape[0]):
            head_m += stores[j, 3] * s[LEVEL_A + j]
            if s[LEVEL_A + j] > stores[j, 2]:
                wet = True
        source_pa += head_m * DENSITY_GRAVITY
        # The switch, its noise and its faults.
        s[DICE] = (s[DICE] * 16807.0) % 2147483647.0
        dice = s[DICE] / 2147483647.0
        felt = s[LINE] + p[SWITCH_NOISE] * (dice - 0.5)
        before = s[ON]
        if s[ON] < 0.5 and felt < c[CUT_IN] and s[HOT] <= 0.0:
            s[ON] = 1.0
        elif s[ON] > 0.5 and felt > c[CUT_OUT] and c[STUCK] < 0.5:
            s[ON] = 0.0
        if s[ON] != before and c[CHATTER] > 0.0 and s[BOUNCE] <= 0.0:
            s[BOUNCE] = c[CHATTER]
        motor = s[ON]
        if s[BOUNCE] > 0.0:
            s[BOUNCE] -= STEP_S
            # A contact that bounces changes hands about twice a second.
            motor = 1.0 - s[MOTOR] if dice < 0.4 else s[MOTOR]
            if s[BOUNCE] <= 0.0:
                motor = s[ON]
        # A locked rotor trips its overload and cools.
        if c[LOCKED] > 0.5 and motor > 0.5 and s[MOTOR] > 0.5 and s[ON_FOR] > p[TRIP_S]:
            s[HOT] = p[COOL_S]
            s[ON] = 0.0
            motor = 0.0
        if s[HOT] > 0.0:
            s[HOT] -= STEP_S
            motor = 0.0
        if c[OUTAGE] > 0.5:
            s[ON] = 0.0
            motor = 0.0
        now = start_s + i * STEP_S
        if motor > 0.5 and s[MOTOR] < 0.5:
            s[ON_FOR] = 0.0
            s[STARTED] = now
            s[PUMPED] = 0.0
            s[TOP] = s[LINE]
            s[BOTTOM] = s[LINE]
        elif motor < 0.5 and s[MOTOR] > 0.5:
            if ended < runs.shape[0]:
                runs[ended, 0] = s[STARTED]
                runs[ended, 1] = now
                runs[ended, 2] = s[PUMPED]
                runs[ended, 3] = s[TOP]
                runs[ended, 4] = s[BOTTOM]
                ended += 1
            s[OFF_FOR] = 0.0
        s[MOTOR] = motor
        # Prime.
        if c[PRIME] == 1.0:
            s[LOST] = 0.0
        elif c[PRIME] == 0.0 or (motor > 0.5 and s[ON_FOR] > p[MID_RUN_S]):
            s[LOST] = 1.0
        delivers = motor > 0.5 and wet and s[LOST] < 0.5 and c[LOCKED] < 0.5 and c[BLOCKED] < 0.5
        # Water: tank or bare line.
        full_abs = (p[PRECHARGE] + p[ATM]) * p[VOLUME] * c[AIR] / REFERENCE_K
        empty_pa = full_abs * s[GAS_K] / p[VOLUME] - p[ATM]
        # Little gas answers fast: no step may change its volume by much.
        parts = 1 + int(50.0 * p[RATED_Q] * STEP_S / (p[VOLUME] - s[WATER]))
        parts = min(parts, 40)
        step = STEP_S / parts
        moved = 0.0
        returned = 0.0
        out = 0.0
        for _part in range(parts):
            if s[WATER] > 0.0:
                s[LINE] = max(0.0, full_abs * s[GAS_K] / (p[VOLUME] - s[WATER]) - p[ATM])
            else:
                low, high = 0.0, max(empty_pa, 1.0)
                if delivers:
                    for _ in range(18):
                        mid = 0.5 * (low + high)
                        if _pump_flow(p, c, source_pa, mid) > _draws(p, c, want, mid):
                            low = mid
                        else:
                            high = mid
                if delivers or want > 0.0 or c[LEAK] > 0.0 or c[BURST] > 0.0:
                    s[LINE] += (low - s[LINE]) * (1.0 - math.exp(-step / LINE_SETTLES_S))
            inflow = _pump_flow(p, c, source_pa, s[LINE]) if delivers else 0.0
            out = _draws(p, c, want, s[LINE])
            back = 0.0
            if motor < 0.5 and c[CHECK] > 0.0 and s[LINE] > source_pa:
                back = c[CHECK] * math.sqrt(s[LINE] - source_pa)
            relief = max(0.0, s[LINE] - p[RELIEF]) * p[RATED_Q] / 3.0e4
            change = (inflow - out - back - relief) * step
            gas = p[VOLUME] - s[WATER]
            if s[WATER] > 0.0 or (change > 0.0 and s[LINE] >= 0.97 * empty_pa):
                s[WATER] = min(max(0.0, s[WATER] + change), 0.999 * p[VOLUME])
                s[GAS_K] *= (gas / (p[VOLUME] - s[WATER])) ** (p[GAMMA] - 1.0)
            moved += inflow * step
            returned += back * step
        inflow = moved / STEP_S
        back = returned / STEP_S
        s[GAS_K] += (c[AMBIENT] - s[GAS_K]) * STEP_S / p[TAU]
        # Storages.
        for j in range(stores.shape[0]):
            level = s[LEVEL_A + j]
            gain = c[IN_A + j] - c[OUT_A + j] * math.sqrt(max(level, 0.0))
            gain += stores[j, 3] * (back - (inflow if level > stores[j, 2] else 0.0))
            level += gain * STEP_S / stores[j, 0]
            s[LEVEL_A + j] = min(max(level, 0.0), stores[j, 1])
        s[ON_FOR] += STEP_S
        s[OFF_FOR] += STEP_S
        s[PUMPED] += inflow * STEP_S
        s[TOP] = max(s[TOP], s[LINE])
        s[BOTTOM] = min(s[BOTTOM], s[LINE])
        if i % every == 0:
            watts = 0.0
            amps = 0.0
            if motor > 0.5:
                share = p[IDLE_SHARE] + (1.0 - p[IDLE_SHARE]) * inflow / p[RATED_Q]
                if not delivers and c[BLOCKED] < 0.5:
                    share = p[DRY_SHARE] * (1.0 + 0.04 * (dice - 0.5))
                watts = p[POWER] * share * c[FRICTION]
                work = watts / p[POWER]
                magnet = p[MAGNET_SHARE]
                amps = p[AMPS] * math.sqrt(magnet**2 + (1.0 - magnet**2) * work**2) / c[VOLT]
                if c[LOCKED] > 0.5:
                    amps, watts = p[AMPS] * p[INRUSH], p[POWER] * 3.0
                elif s[ON_FOR] < p[INRUSH_S]:
                    amps, watts = p[AMPS] * p[INRUSH] * 0.8, p[POWER] * 2.5
            drop = 0.0 if p[AFTER] > 0.5 else p[FILTER_K] * c[CLOG] * inflow * inflow
            record[row, R_ON] = motor
            record[row, R_LINE] = s[LINE]
            record[row, R_OUTLET] = s[LINE] + drop
            if c[BLOCKED] > 0.5 and motor > 0.5 and s[LOST] < 0.5:
                record[row, R_OUTLET] = p[SHUTOFF] * c[HEAD] + source_pa
            record[row, R_SUCTION] = source_pa - 0.15 * p[PUMP_A] * inflow * inflow
            record[row, R_POWER] = watts
            record[row, R_AMPS] = amps
            record[row, R_FLOW] = out
            record[row, R_LEVEL_A] = s[LEVEL_A]
            record[row, R_LEVEL_B] = s[LEVEL_B]
            record[row, R_PUMPED] = inflow
            row += 1
    return ended


_pump_flow = compiled(_pump_flow)
_draws = compiled(_draws)
advance = compiled(_advance)


def at_rest(p: Array, controls: Array, levels: tuple[float, ...], line_pa: float, seed: int) -> Array:
    """The state of a plant that stands still at a line pressure."""
    s = np.zeros(STATE)
    air = (p[PRECHARGE] + p[ATM]) * p[VOLUME] * controls[0, AIR] * controls[0, AMBIENT] / REFERENCE_K
    s[WATER] = max(0.0, p[VOLUME] - air / (line_pa + p[ATM]))
    s[GAS_K] = controls[0, AMBIENT]
    s[LINE] = line_pa
    s[DICE] = 1 + seed % 2147483646
    s[BOUNCE] = 0.0
    for j, level in enumerate(levels):
        s[LEVEL_A + j] = level
    return s
