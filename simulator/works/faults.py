"""Every fault of the contract as a change to a healthy plant.

A mechanism says what a severity from 0 to 1 does to the plant's condition, what it needs to exist
at all, and what else happens when it begins and when somebody repairs it. The severities are
chosen so that 1 is as bad as the fault gets and 0.3 is where an owner might begin to notice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from simulator.works.condition import Condition
    from simulator.works.hardware import Hardware


class Site(Protocol):
    """What a mechanism may do to the plant beside changing its condition."""

    hardware: Hardware

    def drain_to_outlet(self) -> None: ...
    def fill_storage(self, share: float) -> None: ...
    def prime_pump(self) -> None: ...
    def clean_filter(self) -> None: ...


Apply = Callable[["Condition", float, "Hardware"], None]
Act = Callable[[Site], None]


def _nothing(site: Site) -> None:
    """No more than the change itself."""


@dataclass(frozen=True, slots=True)
class Mechanism:
    """One way for one fault to come about."""

    fault: str
    cause: str | None
    about: str
    apply: Apply
    needs: tuple[str, ...] = ()  # of "storage", "filter", "catchment"
    begin: Act = _nothing
    repair: Act = _nothing


def _lost_air(c: Condition, s: float, h: Hardware) -> None:
    c.air_share *= 1.0 - 0.9 * s


def _overcharged(c: Condition, s: float, h: Hardware) -> None:
    over_cut_in = h.cut_in_pa + s * 0.6 * (h.cut_out_pa - h.cut_in_pa) + h.atmosphere_pa
    c.air_share *= over_cut_in / h.charge_abs_pa


def _narrow_band(c: Condition, s: float, h: Hardware) -> None:
    c.cut_out_shift_pa -= 0.85 * s * (h.cut_out_pa - h.cut_in_pa)


def _chatter(c: Condition, s: float, h: Hardware) -> None:
    c.chatter = s


def _line_leak(share_of_rated: float) -> Apply:
    def apply(c: Condition, s: float, h: Hardware) -> None:
        c.line_leak_m3_s += s * share_of_rated * h.rated_flow_m3_s

    return apply


def _small_tank(c: Condition, s: float, h: Hardware) -> None:
    c.tank_share *= 1.0 - 0.9 * s


def _air_in(c: Condition, s: float, h: Hardware) -> None:
    c.air_in = max(c.air_in, s)


def _clog(c: Condition, s: float, h: Hardware) -> None:
    c.covered_share = max(c.covered_share, 0.95 * s)


def _thirst(c: Condition, s: float, h: Hardware) -> None:
    c.demand_share *= 1.0 + 2.0 * s
    c.rain_share = 0.0


def _storage_leak(days_to_empty: float) -> Apply:
    def apply(c: Condition, s: float, h: Hardware) -> None:
        c.storage_leak_m3_s += s * h.storage_m3 / (days_to_empty * 86_400.0)

    return apply


def _dry_weather(c: Condition, s: float, h: Hardware) -> None:
    c.rain_share = 0.0


def _inflow(c: Condition, s: float, h: Hardware) -> None:
    c.inflow_m3_s += s * 0.4 * h.rated_flow_m3_s


def _check_leak(c: Condition, s: float, h: Hardware) -> None:
    c.check_leak_m3_s += s * 0.05 * h.rated_flow_m3_s


def _burst(c: Condition, s: float, h: Hardware) -> None:
    c.burst_m3_s += 2.5 * s * h.rated_flow_m3_s


def _blocked(c: Condition, s: float, h: Hardware) -> None:
    c.branch_open *= max((1.0 - s) ** 3, 1e-4)  # a valve throttles in its last quarter turn


def _frozen(c: Condition, s: float, h: Hardware) -> None:
    _blocked(c, s, h)
    c.air_shift_c -= 25.0


def _stuck(c: Condition, s: float, h: Hardware) -> None:
    c.contact_stuck = True


def _drift(c: Condition, s: float, h: Hardware) -> None:
    c.cut_in_shift_pa -= 0.4 * s * (h.cut_out_pa - h.cut_in_pa)
    c.cut_out_shift_pa -= 0.4 * s * (h.cut_out_pa - h.cut_in_pa)


def _wear(c: Condition, s: float, h: Hardware) -> None:
    c.head_share *= 1.0 - 0.28 * s


def _locked(c: Condition, s: float, h: Hardware) -> None:
    c.rotor_locked = s > 0.0


def _drag(c: Condition, s: float, h: Hardware) -> None:
    c.drag += 0.9 * s


def _cold(c: Condition, s: float, h: Hardware) -> None:
    c.air_shift_c -= 35.0 * s


def _salt(c: Condition, s: float, h: Hardware) -> None:
    c.well_share = min(1.0, c.well_share + s)


def _sensor(c: Condition, s: float, h: Hardware) -> None:
    """The plant stays as it is; the sensor's own file does the lying."""


MECHANISMS: tuple[Mechanism, ...] = (
    Mechanism("short_cycling", "lost_air_charge", "the pressure tank's air has leaked away", _lost_air),
    Mechanism("short_cycling", "overcharged_tank", "somebody pumped too much air in", _overcharged),
    Mechanism("short_cycling", "narrow_switch_band", "cut-out has crept down to cut-in", _narrow_band),
    Mechanism("short_cycling", "switch_chatter", "the contact bounces as it closes", _chatter),
    Mechanism("short_cycling", "leak", "a leak starts the pump again and again", _line_leak(0.35)),
    Mechanism("short_cycling", "undersized_tank", "a tank too small for the pump", _small_tank),
    Mechanism("lost_prime", None, "air gets in at a suction joint", _air_in, repair=lambda s: s.prime_pump()),
    Mechanism(
        "dry_supply",
        None,
        "the storage is down to its outlet",
        _dry_weather,
        ("storage",),
        begin=lambda s: s.drain_to_outlet(),
        repair=lambda s: s.fill_storage(0.6),
    ),
    Mechanism(
        "clogged_filter",
        None,
        "sediment covers the screen",
        _clog,
        ("filter",),
        repair=lambda s: s.clean_filter(),
    ),
    Mechanism("storage_depletion", "demand", "more is drawn than comes in", _thirst, ("storage",)),
    Mechanism(
        "storage_depletion",
        "leak",
        "the storage leaks away",
        _storage_leak(4.0),
        ("storage",),
        repair=lambda s: s.fill_storage(0.8),
    ),
    Mechanism("storage_leak", None, "a hole in the storage", _storage_leak(12.0), ("storage",)),
    Mechanism(
        "storage_overflow",
        None,
        "full, and more comes in",
        _inflow,
        ("storage",),
        begin=lambda s: s.fill_storage(1.0),
    ),
    Mechanism("supply_leak", "downstream", "a hole in the buried line", _line_leak(0.05)),
    Mechanism("supply_leak", "check_valve", "the check valve lets water back", _check_leak),
    Mechanism("burst_line", None, "the line has parted", _burst),
    Mechanism("blocked_discharge", "closed_valve", "a valve between pump and tank is shut", _blocked),
    Mechanism("blocked_discharge", "frozen", "the pipe between pump and tank is ice", _frozen),
    Mechanism("overpressure", "switch_stuck", "the switch's contacts have welded", _stuck),
    Mechanism("switch_drift", None, "the switch's spring has settled", _drift),
    Mechanism("pump_wear", None, "impeller and diffuser are worn", _wear),
    Mechanism("motor_overload", None, "a bearing drags", _drag),
    Mechanism("motor_overload", "locked_rotor", "the motor does not turn", _locked),
    Mechanism("freeze_risk", None, "a cold spell", _cold),
    Mechanism("salinity_high", None, "too much of the salt well let in", _salt),
    Mechanism("sensor_fault", "out_of_range", "the sensor reads beyond its range", _sensor),
    Mechanism("sensor_fault", "stuck", "the sensor repeats itself", _sensor),
    Mechanism("sensor_fault", "silent", "the sensor says nothing", _sensor),
    Mechanism("sensor_fault", "implausible", "the sensor drifts off", _sensor),
)


def mechanism(fault: str, cause: str | None = None) -> Mechanism:
    """The mechanism of a fault and cause; a fault's first one where no cause is asked for. KeyError."""
    for one in MECHANISMS:
        if one.fault == fault and cause in (None, one.cause):
            return one
    raise KeyError(f"{fault}/{cause}" if cause else fault)


def lacking(one: Mechanism, plant: Plant) -> list[str]:
    """What the plant lacks for this fault to be possible on it."""
    has = {
        "storage": bool(plant.storages),
        "filter": plant.filter is not None,
        "catchment": plant.catchment is not None,
    }
    return [need for need in one.needs if not has[need]]
