"""The plant in time: it steps from event to event and writes what happened, piece by piece.

Events are draws that begin and end, showers, faults, the switch. Between two of them nothing jumps
and the pressure follows two ordinary differential equations (`stepper`), so a night costs a few
steps and a start of the motor a dozen. The world never reads a clock and never looks at sensors.
"""

from __future__ import annotations

import heapq
from functools import partial
from math import nan
from typing import TYPE_CHECKING

from simulator import faults, stepper
from simulator.calendar import Calendar, Day
from simulator.catchment import Roof
from simulator.condition import Condition
from simulator.hardware import Hardware, sized_for
from simulator.life import Life
from simulator.network import Network
from simulator.onset import Course
from simulator.physics import evaporation, salt, suction, tank
from simulator.physics import filter as screen
from simulator.physics.motor import RUN_UP_S, speed_share
from simulator.physics.water import PA_PER_M, ZERO_CELSIUS_K, vapour_pressure_pa
from simulator.reservoir import Reservoir, Totals
from simulator.seeds import stream
from simulator.switch import COOLS_IN_S, TRIPS_AFTER_S, PressureSwitch
from simulator.trace import Piece
from simulator.weather import DayWeather, Weather

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.plant.description import Plant
    from simulator.enduses import Use
    from simulator.scenario import Scenario

_TOLERANCE_PA = 15.0
_TOLERANCE_K = 0.01
_RUN_UP_STEP_S = 0.1
_PRIME_STEP_S = 1.0
_LONGEST_RUNNING_S = 12.0
_LONGEST_RESTING_S = 300.0
_LOOK_ROUND_S = 600.0  # how often weather and slow faults are looked at
_RAMP_STEP_S = 60.0
#: An exposed pipe is in danger from here down: frost, allowing for a sensor a little off (common
#: practice, no source).
NEAR_FREEZING_C = 2.0
_SAME_SPAN_S = 12 * 3_600.0
_AIR_STEP = 0.01  # share of the charge that a blown valve core lets go
_AIR_STEP_S = 4.0  # in so many seconds: empty in some seven minutes
_PRIME_LOST_S = 9.0  # a casing's water is churned out within half a minute
_PRIME_GAINED_S = 25.0  # flooded suction refills it about as fast


class World:
    """One plant under one scenario and seed, as far as it has been run."""

    def __init__(self, plant: Plant, scenario: Scenario, seed: int, start_us: int) -> None:
        self.plant, self.scenario = plant, scenario
        self.hardware: Hardware = sized_for(plant, scenario.sizes)
        if plant.storages:
            self.hardware.extra["storage_m3"] = plant.storages[0].volume_m3
        self.now_s = 0.0
        self.pieces: list[Piece] = []
        self.totals = Totals()
        self.reservoir = Reservoir(plant, scenario.storage_share, self.totals)
        self.condition = Condition()
        self.air_share = 1.0
        self._air_moving = False
        self.switch = PressureSwitch(self.hardware, seed)
        self.courses = [Course(plan, stream(seed, "fault", i)) for i, plan in enumerate(scenario.faults)]
        self._mechanisms = [faults.mechanism(plan.fault, plan.cause) for plan in scenario.faults]
        self._network = Network(self.hardware)
        self._life = Life(scenario, self.hardware, seed)
        self._weather = Weather(scenario.climate, seed, scenario.dry)
        self._roof = Roof(plant.catchment)
        self._calendar = Calendar(start_us, plant.timezone, scenario.as_if)
        self._today: DayWeather | None = None
        self._agenda: list[tuple[float, int, Callable[[], None]]] = []
        self._entered = 0
        self._open: list[Use] = []
        self._rain_m_s = 0.0
        self._rain_m = 0.0
        self._evaporation_m_s = 0.0
        self._spilled_m3 = 0.0
        self._run_since = nan
        self._tripped = False
        self._bounced_open = False
        self.prime = 1.0
        self.covered = 0.0
        #: spans of time [s] in which something holds that nobody planned: see `_note`
        self.spans: dict[str, list[list[float]]] = {}
        self._step_s = 1.0
        self._air_c = scenario.climate.mean_c
        self._wall_k = ZERO_CELSIUS_K + scenario.climate.mean_c
        self._begin()

    # -- events ---------------------------------------------------------------------------------

    def _at(self, when_s: float, act: Callable[[], None]) -> None:
        self._entered += 1
        heapq.heappush(self._agenda, (float(when_s), self._entered, act))

    def _begin(self) -> None:
        for course, one in zip(self.courses, self._mechanisms, strict=True):
            plan = course.plan
            if plan.fault == "sensor_fault":
                continue  # the plant knows nothing of it
            for edge in course.edges():
                self._at(max(edge, 0.0), self._look_round_once)
            self._at(max(plan.from_s, 0.0), partial(one.begin, self))
            if plan.until_s is not None:
                self._at(plan.until_s, partial(one.repair, self))
        self._new_day(self._calendar.day(0))
        self._wall_k = ZERO_CELSIUS_K + self._air_c
        self.gas_k = self._wall_k
        self.charge_k = ZERO_CELSIUS_K + self.scenario.climate.mean_c
        self.line_pa = 0.5 * (self.hardware.cut_in_pa + self.hardware.cut_out_pa)
        self.salt_s_m = self._source_s_m()
        self._look_round()

    def _new_day(self, day: Day) -> None:
        self._today = self._weather.next_day(day)
        for use in self._life.day(day, self.condition.demand_share):
            if use.stop_s > self.now_s:
                self._at(use.start_s, partial(self._open_outlet, use))
        for shower in self._today.showers:
            if shower.stop_s > self.now_s:
                self._at(shower.start_s, partial(self._set_rain, shower.rate_m_s))
                self._at(shower.stop_s, partial(self._set_rain, -shower.rate_m_s))
        if self.scenario.sizes.storage_open:
            depth_m = evaporation.hargreaves_m_day(
                self.scenario.climate.latitude_deg,
                day.season.timetuple().tm_yday,
                self._today.lowest_c,
                self._today.highest_c,
            )
            self._evaporation_m_s = depth_m / 86_400.0
        tomorrow = self._calendar.day(day.number + 1)
        self._at(tomorrow.start_s, partial(self._new_day, tomorrow))
        self._air_c = self._air_now()

    def _set_rain(self, change_m_s: float) -> None:
        self._rain_m_s = max(self._rain_m_s + change_m_s, 0.0)
        if self._rain_m_s < 1e-12:
            self._rain_m_s = 0.0

    def _open_outlet(self, use: Use) -> None:
        self._open.append(use)
        self._at(use.stop_s, partial(self._close_outlet, use))
        self._set_outlets()

    def _close_outlet(self, use: Use) -> None:
        self._open.remove(use)
        self._set_outlets()

    def _set_outlets(self) -> None:
        sizes, network = self.hardware.sizes, self._network
        middle_m = 0.5 * (self.hardware.cut_in_pa + self.hardware.cut_out_pa) / PA_PER_M
        network.outlets = []
        network.regulated_m3_s = 0.0
        for use in self._open:
            if use.regulated:
                network.regulated_m3_s += use.flow_m3_s
                continue
            height_m = sizes.house_height_m if use.place == "house" else sizes.garden_height_m
            network.outlets.append((use.flow_m3_s / max(middle_m - height_m, 1.0) ** 0.5, height_m))
        if self.condition.burst_m3_s > 0.0:
            at_cut_out_m = self.hardware.cut_out_pa / PA_PER_M
            network.outlets.append((self.condition.burst_m3_s / at_cut_out_m**0.5, 0.0))
        self._step_s = min(self._step_s, 0.5)

    def _look_round(self) -> None:
        self._look_round_once()
        growing = any(course.growing(self.now_s) for course in self.courses)
        self._at(self.now_s + (_RAMP_STEP_S if growing else _LOOK_ROUND_S), self._look_round)

    def _look_round_once(self) -> None:
        """Bring the plant's condition and the weather up to date."""
        condition = Condition()
        for course, one in zip(self.courses, self._mechanisms, strict=True):
            severity = course.severity(self.now_s)
            if severity > 0.0:
                one.apply(condition, severity, self.hardware)
        self._change_tank(condition)
        network = self._network
        network.check_leak_m3_s = condition.check_leak_m3_s
        network.line_leak_m3_s = condition.line_leak_m3_s
        network.line_leak_exponent = condition.line_leak_exponent
        self._set_outlets()
        self._air_c = self._air_now()
        # a pump house lags the air by some hours (common practice, no source)
        self._wall_k += (ZERO_CELSIUS_K + max(self._air_c, 2.0) - self._wall_k) * (_LOOK_ROUND_S / 14_400.0)

    def _change_tank(self, condition: Condition) -> None:
        """Take over a new condition. Air comes and goes through a valve in minutes, and while it does
        the water in the tank stays; another tank altogether comes with its water."""
        before_m3 = self.tank_water_m3()
        changed = condition.tank_share != self.condition.tank_share
        self.condition = condition
        if changed:
            self.totals.exchanged += self.tank_water_m3() - before_m3
        if abs(condition.air_share - self.air_share) > 1e-9:
            self._move_air()

    def _move_air(self) -> None:
        gap = self.condition.air_share - self.air_share
        water_m3 = self.tank_water_m3() - self.hardware.line_m3_pa * self.line_pa
        self.air_share += max(-_AIR_STEP, min(gap, _AIR_STEP))
        air = self._air()
        if water_m3 > 1e-6:
            self.line_pa = (
                air.gas_pa_m3_k * self.gas_k / (air.volume_m3 - water_m3) - self.hardware.atmosphere_pa
            )
        self._step_s = min(self._step_s, 0.5)
        if abs(self.condition.air_share - self.air_share) > 1e-9 and not self._air_moving:
            self._air_moving = True
            self._at(self.now_s + _AIR_STEP_S, self._keep_moving_air)

    def _keep_moving_air(self) -> None:
        self._air_moving = False
        if abs(self.condition.air_share - self.air_share) > 1e-9:
            self._move_air()

    def _air_now(self) -> float:
        assert self._today is not None
        return self._today.air_c(self.now_s) + self.condition.air_shift_c

    def place_of(self, fault: str) -> str | None:
        """The storage concerned, for the faults of a storage."""
        of_storage = ("storage_depletion", "storage_leak", "storage_overflow")
        return self.plant.storages[0].name if fault in of_storage and self.plant.storages else None

    # -- what faults and people do (faults.Site) --------------------------------------------------

    def drain_to_outlet(self) -> None:
        if self.reservoir.storages:
            self.reservoir.set_volume(self.reservoir.volume_at_outlet_m3())

    def fill_storage(self, share: float) -> None:
        if self.reservoir.storages:
            wanted = share * self.reservoir.storages[0].volume_m3
            self.reservoir.set_volume(max(wanted, self.reservoir.volumes[0]))

    def prime_pump(self) -> None:
        self.prime = 1.0

    def clean_filter(self) -> None:
        self.covered = 0.0

    # -- the motor ------------------------------------------------------------------------------

    @property
    def energised(self) -> bool:
        return self.switch.closed and not self._tripped and not self._bounced_open

    def _operate_switch(self) -> None:
        self.switch.operate()
        if self.switch.closed:
            for i, after_s in enumerate(self.switch.bounces(self.condition)):
                self._at(self.now_s + after_s, partial(self._bounce, i % 2 == 0))
        self._motor_changed()

    def _bounce(self, opens: bool) -> None:
        self._bounced_open = opens and self.switch.closed
        self._motor_changed()

    def _motor_changed(self) -> None:
        if self.energised and self._run_since != self._run_since:
            self._run_since = self.now_s
            self._at(self.now_s + TRIPS_AFTER_S, partial(self._protect, self.now_s))
        elif not self.energised:
            self._run_since = nan
        self._step_s = _RUN_UP_STEP_S

    def _protect(self, since_s: float) -> None:
        if self.condition.rotor_locked and self._run_since == since_s:
            self._tripped = True
            self._motor_changed()
            self._at(self.now_s + COOLS_IN_S, self._let_go)

    def _let_go(self) -> None:
        self._tripped = False
        self._motor_changed()

    # -- stepping -------------------------------------------------------------------------------

    def run_until(self, until_s: float) -> None:
        """Step on until the time is reached or passed; whole steps, so that where one stops to look
        does not change what happens."""
        while self.now_s < until_s:
            while self._agenda and self._agenda[0][0] <= self.now_s:
                heapq.heappop(self._agenda)[2]()
            self._step(self._agenda[0][0] - self.now_s)

    def take_pieces(self) -> list[Piece]:
        """The pieces written since the last call."""
        taken, self.pieces = self.pieces, []
        return taken

    def tank_water_m3(self) -> float:
        """Water in pressure tank and piping, as the pressure tells [m3]."""
        air = self._air()
        held = tank.water_m3(
            self.line_pa + self.hardware.atmosphere_pa,
            self.gas_k,
            air.volume_m3,
            self.hardware.charge_abs_pa * self.air_share,
            self.charge_k,
        )
        return held + self.hardware.line_m3_pa * self.line_pa

    def _air(self) -> stepper.Air:
        hardware, condition = self.hardware, self.condition
        volume = hardware.tank_m3 * condition.tank_share
        gas = hardware.charge_abs_pa * self.air_share * volume / self.charge_k
        return stepper.Air(gas, volume, self._wall_k, hardware.cooling_s, hardware.line_m3_pa)

    def _step(self, limit_s: float) -> None:
        network, atmosphere = self._network, self.hardware.atmosphere_pa
        level_m = self._prepare(limit_s)
        air = self._air()
        limit_s = min(limit_s, self._longest_step())
        first = stepper.slope(network, air, atmosphere, self.line_pa, self.gas_k)
        state = (self.line_pa, self.gas_k)
        h = min(self._step_s, limit_s)
        while True:
            after_pa, after_k, middle, last, error_pa, error_k = stepper.step(
                network, air, atmosphere, state, first, h
            )
            error = max(error_pa / _TOLERANCE_PA, error_k / _TOLERANCE_K)
            if error > 1.0 and h > 1e-4:
                h = max(h * max(0.2, 0.8 * error ** (-1 / 3)), 1e-4)
                continue
            crossed = self.switch.crossed(after_pa, self.condition)
            if not crossed or h <= 2e-4:
                break
            share = _crossing(self.line_pa, after_pa, first.dp * h, last.dp * h, self._threshold())
            if share > 0.999:
                break
            h = max(h * share, 1e-4)
            after_pa, after_k, middle, last, _, _ = stepper.step(network, air, atmosphere, state, first, h)
            crossed = True
            break
        self._step_s = h * min(4.0, max(0.3, 0.85 * (error + 1e-6) ** (-1 / 3)))
        self._commit(h, (after_pa, after_k), (first, middle, last), level_m)
        if crossed:
            self._operate_switch()

    def _threshold(self) -> float:
        return self.switch.threshold_pa(self.condition)

    def _longest_step(self) -> float:
        if not self.energised:
            return _LONGEST_RESTING_S
        if self.now_s - self._run_since < RUN_UP_S:
            return _RUN_UP_STEP_S
        if abs(self._prime_goal() - self.prime) > 0.003:
            return _PRIME_STEP_S
        return _LONGEST_RUNNING_S

    def _prime_goal(self) -> float:
        """Where the casing's water is heading while the pump turns."""
        goal = 1.0 - self.condition.air_in
        if self.reservoir.storages and self.hardware.sizes.well_share + self.condition.well_share < 1.0:
            outlet = self.reservoir.storages[0].outlet_level_m
            goal *= 1.0 - suction.drawn_air(self.reservoir.level_m(), outlet)
        # a drained casing does not gain its water back while air still comes in: only a person primes
        # it, or water that stands above it
        if goal > self.prime and (self.condition.air_in > 0.0 or not self._flooded()):
            goal = self.prime
        return goal

    def _flooded(self) -> bool:
        return self._static_m() > 0.0

    def _static_m(self) -> float:
        sizes = self.hardware.sizes
        if not self.reservoir.storages:
            return -sizes.well_lift_m
        return self.reservoir.level_m() - sizes.inlet_lift_m

    def _prepare(self, limit_s: float) -> list[float]:
        """Set the network to this moment; returns the levels at the step's beginning."""
        hardware, condition, network = self.hardware, self.condition, self._network
        network.pumping = self.energised and not condition.rotor_locked
        network.static_m = self._static_m()
        network.after_k = self._filter_k() if hardware.filter_after else 0.0
        if network.pumping:
            step_s = min(_RUN_UP_STEP_S, limit_s)
            speed = float(speed_share(self.now_s + 0.5 * step_s - self._run_since))
            curve = hardware.curve
            network.head_m = (
                curve.shut_off_head_m * speed**2 * condition.head_share * suction.head_factor(self.prime)
            )
            before_k = self._filter_k() if hardware.filter_before else 0.0
            blocked_k = hardware.valve_k * (1.0 / condition.branch_open**2 - 1.0)
            network.branch_k = (
                curve.curve_s2_m5 + hardware.suction_k + hardware.valve_k + before_k + blocked_k
            )
            network.flow_limit_m3_s = suction.cavitation_flow(
                hardware.atmosphere_pa,
                vapour_pressure_pa(max(self._wall_k - ZERO_CELSIUS_K, 1.0)),
                network.static_m,
                hardware.sizes.needed_suction_m,
                hardware.suction_k,
            )
        return self.reservoir.levels()

    def _filter_k(self) -> float:
        covered = 1.0 - (1.0 - self.covered) * (1.0 - self.condition.covered_share)
        return self.hardware.filter_k * screen.loss_ratio(covered)

    def _commit(
        self,
        h: float,
        after: tuple[float, float],
        slopes: tuple[stepper.Slope, stepper.Slope, stepper.Slope],
        levels: list[float],
    ) -> None:
        """Book the step's water, move every slow state on, write the piece."""
        first, middle, last = slopes
        pumped = h / 6 * (first.pump + 4 * middle.pump + last.pump)
        supplied = h / 6 * (first.supply + 4 * middle.supply + last.supply)
        lost = h / 6 * (first.lost + 4 * middle.lost + last.lost)
        rain_m = self._rain_m_s * self.condition.rain_share * h
        air0, rain0, salt0 = self._air_c, self._rain_m, self.salt_s_m
        before_pa, began_s, prime = self.line_pa, self.now_s, self.prime
        self._book(h, pumped, supplied, lost, rain_m)
        self.now_s += h
        self.line_pa, self.gas_k = after
        self._look_for_trouble(began_s)
        self._rain_m += rain_m
        self._air_c = self._air_now()
        if self.energised:
            self.prime = suction.prime_after(prime, self._prime_goal(), h, _PRIME_LOST_S, _PRIME_GAINED_S)
        after_levels = self.reservoir.levels()
        self.pieces.append(
            Piece(
                began_s,
                self.now_s,
                before_pa,
                after[0],
                first.dp,
                last.dp,
                first.pump,
                last.pump,
                first.supply + self._leak(before_pa),
                last.supply + self._leak(after[0]),
                self._run_since,
                float(self.condition.rotor_locked),
                prime,
                self.condition.head_share**0.5,
                self.condition.drag,
                self._network.static_m,
                self._filter_k() if self.hardware.filter_before else 0.0,
                rain0,
                self._rain_m,
                salt0,
                self.salt_s_m,
                air0,
                self._air_c,
                levels[0] if levels else nan,
                after_levels[0] if levels else nan,
                tuple(v for pair in zip(levels[1:], after_levels[1:], strict=True) for v in pair),
            )
        )

    def _look_for_trouble(self, began_s: float) -> None:
        """Note what an owner would want to hear of, whoever or whatever brought it about."""
        if self._air_c <= NEAR_FREEZING_C:
            self._note("freeze_risk", began_s)
        if not self.reservoir.storages:
            return
        if self.totals.spilled > self._spilled_m3:
            self._spilled_m3 = self.totals.spilled
            self._note("storage_overflow", began_s)
        if self.reservoir.level_m() <= self.reservoir.storages[0].outlet_level_m + suction.VORTEX_M:
            self._note("empty", began_s)
            if self.energised:
                self._note("dry_supply", began_s)

    def _note(self, what: str, began_s: float) -> None:
        """Lengthen the last span of a kind, or begin one where it ended hours ago."""
        spans = self.spans.setdefault(what, [])
        if spans and began_s - spans[-1][1] < _SAME_SPAN_S:
            spans[-1][1] = self.now_s
        else:
            spans.append([began_s, self.now_s])

    def _leak(self, pressure_pa: float) -> float:
        """What of the losses is in the buried line, beyond the flow meter."""
        if self.condition.line_leak_m3_s == 0.0:
            return 0.0
        return min(
            self._network.lost_flow(min(pressure_pa, self.hardware.relief_pa))[0],
            10.0 * self.hardware.rated_flow_m3_s,
        )

    def _book(self, h: float, pumped: float, supplied: float, lost: float, rain_m: float) -> None:
        totals, condition = self.totals, self.condition
        well_share = min(self.hardware.sizes.well_share + condition.well_share, 1.0)
        if not self.reservoir.storages:
            well_share = 1.0
        from_well = max(pumped, 0.0) * well_share
        totals.from_well += from_well
        totals.drawn += pumped - from_well
        totals.supplied += supplied
        totals.lost += lost
        self.reservoir.step(
            h,
            pumped - from_well,
            self._roof.collected_m3(rain_m, self.now_s + h),
            condition.inflow_m3_s,
            condition.storage_leak_m3_s,
            self._evaporation_m_s,
        )
        self.covered = screen.covered(
            self.covered,
            max(pumped, 0.0) * self.hardware.sizes.sediment_kg_m3,
            self.hardware.sizes.filter_capacity_kg,
        )
        held_m3 = 0.3 * self.hardware.tank_m3 + self.hardware.line_m3
        self.salt_s_m = salt.mixed_after(self.salt_s_m, self._source_s_m(), max(pumped, 0.0), held_m3)

    def _source_s_m(self) -> float:
        sizes = self.hardware.sizes
        share = min(sizes.well_share + self.condition.well_share, 1.0) if self.reservoir.storages else 1.0
        return salt.blend(sizes.rain_s_m, sizes.well_s_m, share)


def _crossing(before: float, after: float, rise0: float, rise1: float, threshold: float) -> float:
    """Share of a step at which the cubic through its ends reaches the threshold, by bisection."""
    low, high = 0.0, 1.0
    rising = after > before
    for _ in range(40):
        x = 0.5 * (low + high)
        a = after - before
        value = before + x * (rise0 + x * (3 * a - 2 * rise0 - rise1 + x * (rise0 + rise1 - 2 * a)))
        if (value >= threshold) == rising:
            high = x
        else:
            low = x
    return high
