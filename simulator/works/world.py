"""The plant in time: it steps from event to event and writes what happened, piece by piece.

Events are draws that begin and end, showers, faults, the switch. Between two of them nothing jumps
and the pressure follows two ordinary differential equations (`stepper`), so a night costs a few
steps and a start of the motor a dozen. The world never reads a clock and never looks at sensors.
"""

from __future__ import annotations

from functools import partial
from math import isnan, nan
from typing import TYPE_CHECKING

from simulator.agenda import Agenda
from simulator.calendar import Calendar, Day
from simulator.demand.life import Life
from simulator.demand.outlets import Outlets
from simulator.onset import Course
from simulator.physics.motor import RUN_UP_S
from simulator.physics.suction import VORTEX_M
from simulator.seeds import stream
from simulator.sensing.trace import Piece
from simulator.weather.catchment import Roof
from simulator.weather.climate import Weather
from simulator.weather.sky import Sky
from simulator.works import faults, stepper
from simulator.works.condition import Condition
from simulator.works.hardware import sized_for
from simulator.works.intake import Intake
from simulator.works.motor_control import MotorControl
from simulator.works.network import Network
from simulator.works.reservoir import Reservoir, Totals
from simulator.works.switch import TRIPS_AFTER_S
from simulator.works.troubles import Troubles
from simulator.works.vessel import AIR_STEP_S, Vessel
from simulator.works.warmth import Warmth

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from simulator.demand.enduses import Use
    from simulator.onset import FaultPlan
    from simulator.scenario import Scenario
    from simulator.works.stepper import Step

_RUN_UP_STEP_S = 0.1
_PRIME_STEP_S = 1.0
_AFTER_EVENT_STEP_S = 0.5
_LONGEST_RUNNING_S = 12.0
_LONGEST_RESTING_S = 300.0
_LOOK_ROUND_S = 600.0  # how often weather and slow faults are looked at
_POUR_STEP_S, _POUR_STEPS = 30.0, 60
_RAMP_STEP_S = 60.0  # the same while a fault grows


class World:
    """One plant under one scenario and seed, as far as it has been run."""

    def __init__(self, plant: Plant, scenario: Scenario, seed: int, start_us: int) -> None:
        self.plant, self.scenario, self._seed = plant, scenario, seed
        self.hardware = sized_for(plant, scenario.sizes)
        self.now_s = 0.0
        self.pieces: list[Piece] = []
        self.totals = Totals()
        self.condition = Condition()
        self.courses = [Course(plan, stream(seed, "fault", i)) for i, plan in enumerate(scenario.faults)]
        self._mechanisms = [faults.mechanism(plan.fault, plan.cause) for plan in scenario.faults]
        self._agenda = Agenda()
        self._calendar = Calendar(start_us, plant.timezone, scenario.as_if)
        self._life = Life(scenario, self.hardware, seed)
        self._sky = Sky(Weather(scenario.climate, seed, scenario.dry), self._agenda)
        self._roof = Roof(plant.catchment)
        self.reservoir = Reservoir(plant, scenario.storage_share, self.totals)
        self.intake = Intake(self.hardware, self.reservoir)
        self._network = Network(self.hardware)
        self.outlets = Outlets(self.hardware)
        self.motor = MotorControl(self.hardware, seed, self._agenda, self._motor_changed)
        self._troubles = Troubles()
        self._rain_m = 0.0
        self._step_s = 1.0
        self._looked_s = 0.0
        self._air_moving = False
        today = self._calendar.day(0)
        depth_m = plant.storages[0].full_level_m if plant.storages else 0.0
        self.warmth = Warmth(self.hardware, scenario.climate, depth_m, _of_year(today))
        self._new_day(today)
        self._air_c = self._sky.air_c(0.0)
        self.vessel = Vessel(self.hardware, scenario.climate.mean_c, self._air_c)
        self._enter_faults()
        self._look_round()

    @property
    def spans(self) -> dict[str, list[list[float]]]:
        """Spans [s] of what nobody planned: see `troubles`."""
        return self._troubles.spans

    @property
    def line_pa(self) -> float:
        return self.vessel.line_pa

    def tank_water_m3(self) -> float:
        """Water in pressure tank and piping [m3]."""
        return self.vessel.water_m3()

    def place_of(self, fault: str) -> str | None:
        """The storage concerned, for the faults of a storage."""
        of_storage = ("storage_depletion", "storage_leak", "storage_overflow")
        return self.plant.storages[0].name if fault in of_storage and self.plant.storages else None

    def run_until(self, until_s: float) -> None:
        """Step on until the time is reached or passed; whole steps, so that where one stops to look
        does not change what happens."""
        while self.now_s < until_s:
            self._agenda.do_due(self.now_s)
            self._step(self._agenda.next_s() - self.now_s)

    def take_pieces(self) -> list[Piece]:
        """The pieces written since the last call."""
        taken, self.pieces = self.pieces, []
        return taken

    # -- what faults and people do (faults.Site) --------------------------------------------------

    def drain_to_outlet(self) -> None:
        if self.reservoir.storages:
            self._pour(self.reservoir.volume_at_outlet_m3(), _POUR_STEPS)

    def fill_storage(self, share: float) -> None:
        if self.reservoir.storages:
            wanted = share * self.reservoir.storages[0].volume_m3
            self._pour(max(wanted, self.reservoir.volumes[0]), _POUR_STEPS)

    def _pour(self, goal_m3: float, steps: int) -> None:
        """Bring the first storage to a volume within a while, as a tanker or an open drain does: a
        level that leaps is a sensor's doing."""
        held = self.reservoir.volumes[0]
        self.reservoir.set_volume(held + (goal_m3 - held) / steps)
        if steps > 1:
            self._agenda.at(self.now_s + _POUR_STEP_S, partial(self._pour, goal_m3, steps - 1))

    def prime_pump(self) -> None:
        self.intake.prime = 1.0

    def clean_filter(self) -> None:
        self.intake.covered = 0.0

    # -- what a person does by hand (hands) ----------------------------------------------------------

    def touched(self) -> None:
        """Somebody has turned a tap or a valve."""
        self._set_outlets()

    def line_open(self, is_open: bool) -> None:
        """Whether water reaches the supply line."""
        self._network.line_open = is_open
        self.touched()

    # -- events ---------------------------------------------------------------------------------

    def plan(self, plans: tuple[FaultPlan, ...]) -> None:
        """Enter faults that begin later than now. ValueError for one that would have begun."""
        for plan in plans:
            if plan.from_s < self.now_s:
                raise ValueError(f"{plan.fault} begins at {plan.from_s:g} s, and it is {self.now_s:g} s")
            course = Course(plan, stream(self._seed, "fault", len(self.courses)))
            self.courses.append(course)
            self._mechanisms.append(faults.mechanism(plan.fault, plan.cause))
            self._enter_fault(course, self._mechanisms[-1])

    def _enter_faults(self) -> None:
        for course, one in zip(self.courses, self._mechanisms, strict=True):
            self._enter_fault(course, one)

    def _enter_fault(self, course: Course, one: faults.Mechanism) -> None:
        plan = course.plan
        if plan.fault == "sensor_fault":
            return  # the plant knows nothing of it
        for edge in course.edges():
            self._agenda.at(max(edge, 0.0), self._take_stock)
        self._agenda.at(max(plan.from_s, 0.0), partial(one.begin, self))
        if plan.until_s is not None:
            self._agenda.at(plan.until_s, partial(one.repair, self))

    def _new_day(self, day: Day) -> None:
        self._sky.new_day(day, self.now_s)
        self.warmth.new_day(_of_year(day))
        for use in self._life.day(day, self.condition.demand_share):
            if use.stop_s > self.now_s:
                self._agenda.at(use.start_s, partial(self._open_outlet, use))
        tomorrow = self._calendar.day(day.number + 1)
        self._agenda.at(tomorrow.start_s, partial(self._new_day, tomorrow))

    def _open_outlet(self, use: Use) -> None:
        self.outlets.open(use)
        self._agenda.at(use.stop_s, partial(self._close_outlet, use))
        self._set_outlets()

    def _close_outlet(self, use: Use) -> None:
        self.outlets.close(use)
        self._set_outlets()

    def _set_outlets(self) -> None:
        self.outlets.set(self._network, self.condition.burst_m3_s)
        self._step_s = min(self._step_s, _AFTER_EVENT_STEP_S)

    def _motor_changed(self) -> None:
        self._step_s = _RUN_UP_STEP_S
        if self.motor.energised and self.condition.rotor_locked:
            self._agenda.at(self.motor.run_since + TRIPS_AFTER_S, self._watch_motor)

    def _watch_motor(self) -> None:
        self.motor.watch(self.now_s, self.condition.rotor_locked)

    def _look_round(self) -> None:
        self._take_stock()
        growing = any(course.growing(self.now_s) for course in self.courses)
        self._agenda.at(self.now_s + (_RAMP_STEP_S if growing else _LOOK_ROUND_S), self._look_round)

    def _take_stock(self) -> None:
        """Bring the plant's condition and its warmth up to date."""
        condition = Condition()
        for course, one in zip(self.courses, self._mechanisms, strict=True):
            severity = course.severity(self.now_s)
            if severity > 0.0:
                one.apply(condition, severity, self.hardware)
        self.condition = condition
        if condition.tank_share != self.vessel.tank_share:
            self.totals.exchanged += self.vessel.replace(condition.tank_share)
        if condition.air_share != self.vessel.air_share and not self._air_moving:
            self._move_air()
        network = self._network
        network.check_leak_m3_s = condition.check_leak_m3_s
        network.line_leak_m3_s = condition.line_leak_m3_s
        network.line_leak_exponent = condition.line_leak_exponent
        self._set_outlets()
        if self.motor.energised and condition.rotor_locked:
            self._agenda.at(self.now_s + TRIPS_AFTER_S, self._watch_motor)
        self._air_c = self._air_now()
        self.vessel.weather(self._air_c, self.now_s - self._looked_s)
        self._looked_s = self.now_s

    def _move_air(self) -> None:
        self._air_moving = self.vessel.move_air(self.condition.air_share)
        self._step_s = min(self._step_s, _AFTER_EVENT_STEP_S)
        if self._air_moving:
            self._agenda.at(self.now_s + AIR_STEP_S, self._move_air)

    def _air_now(self) -> float:
        return self._sky.air_c(self.now_s) + self.condition.air_shift_c

    # -- stepping -------------------------------------------------------------------------------

    def _step(self, limit_s: float) -> None:
        limit_s = min(limit_s, self._longest_step())
        run_up_s = self.now_s + 0.5 * min(_RUN_UP_STEP_S, limit_s) - self.motor.run_since
        levels = self.reservoir.levels()
        self.intake.prepare(
            self._network, self.condition, -1.0 if isnan(run_up_s) else run_up_s, self.warmth.water_c
        )
        vessel, switch = self.vessel, self.motor.switch
        taken = stepper.advance(
            stepper.Setting(self._network, vessel.air(), self.hardware.atmosphere_pa),
            (vessel.line_pa, vessel.gas_k),
            min(self._step_s, limit_s),
            lambda pressure_pa: switch.crossed(pressure_pa, self.condition),
            switch.threshold_pa(self.condition),
        )
        self._step_s = taken.next_s
        self._commit(taken, levels)
        if taken.crossed:
            self.motor.operate(self.now_s, self.condition)

    def _longest_step(self) -> float:
        if not self.motor.energised:
            return _LONGEST_RESTING_S
        if self.now_s - self.motor.run_since < RUN_UP_S:
            return _RUN_UP_STEP_S
        if self.intake.prime_moves(self.condition):
            return _PRIME_STEP_S
        return _LONGEST_RUNNING_S

    def _commit(self, taken: Step, levels: list[float]) -> None:
        """Book the step's water, move every slow state on, write the piece."""
        first, last = taken.first, taken.last
        before_pa, began_s, prime = self.vessel.line_pa, self.now_s, self.intake.prime
        air0, rain0, salt0 = self._air_c, self._rain_m, self.intake.salt_s_m
        spilled_m3, warm = self.totals.spilled, self.warmth
        water0, pipe0, warm0 = warm.water_c, warm.pipe_c, warm.supply_c
        self._book(taken)
        self.now_s += taken.seconds
        self.vessel.line_pa, self.vessel.gas_k = taken.pressure_pa, taken.gas_k
        self._air_c = self._air_now()
        if self.motor.energised:
            self.intake.churn(self.condition, taken.seconds)
        after = self.reservoir.levels()
        self._look_for_trouble(began_s, self.totals.spilled > spilled_m3)
        self.pieces.append(
            Piece(
                began_s,
                self.now_s,
                before_pa,
                taken.pressure_pa,
                first.dp,
                last.dp,
                first.pump,
                last.pump,
                first.supply + self._network.line_leak(before_pa),
                last.supply + self._network.line_leak(taken.pressure_pa),
                self.motor.run_since,
                float(self.condition.rotor_locked),
                prime,
                self.condition.head_share**0.5,
                self.condition.drag,
                self._network.static_m,
                self.intake.filter_k(self.condition) if self.hardware.filter_before else 0.0,
                rain0,
                self._rain_m,
                salt0,
                self.intake.salt_s_m,
                air0,
                self._air_c,
                water0,
                warm.water_c,
                pipe0,
                warm.pipe_c,
                warm0,
                warm.supply_c,
                levels[0] if levels else nan,
                after[0] if levels else nan,
                tuple(level for pair in zip(levels[1:], after[1:], strict=True) for level in pair),
            )
        )

    def _book(self, taken: Step) -> None:
        totals, condition = self.totals, self.condition
        pumped, supplied, lost = taken.pumped_m3, taken.supplied_m3, taken.lost_m3
        rain_m = self._sky.rain_m_s * condition.rain_share * taken.seconds
        self._rain_m += rain_m
        well_share = self.intake.well_share(condition)
        from_well = max(pumped, 0.0) * well_share
        totals.from_well += from_well
        totals.drawn += pumped - from_well
        totals.supplied += supplied
        totals.lost += lost
        collected = self._roof.collected_m3(rain_m, self.now_s + taken.seconds)
        if self.scenario.sizes.storage_open and self.reservoir.volumes:
            collected += rain_m * self.reservoir.surface_m2()
        held = self.reservoir.volumes[0] if self.reservoir.volumes else 0.0
        self.warmth.step(taken.seconds, self._air_c, held, collected, (pumped, well_share, supplied))
        self.reservoir.step(
            taken.seconds,
            pumped - from_well,
            collected,
            condition.inflow_m3_s,
            condition.storage_leak_m3_s,
            self._sky.evaporation_m_s if self.scenario.sizes.storage_open else 0.0,
        )
        self.intake.carried(max(pumped, 0.0), condition)

    def _look_for_trouble(self, began_s: float, spilled: bool) -> None:
        storages = self.reservoir.storages
        dry = bool(storages) and self.reservoir.level_m() <= storages[0].outlet_level_m + VORTEX_M
        self._troubles.look((began_s, self.now_s), self._air_c, spilled, dry, self.motor.energised)


def _of_year(day: Day) -> int:
    """The season's day of the year."""
    return day.season.timetuple().tm_yday
