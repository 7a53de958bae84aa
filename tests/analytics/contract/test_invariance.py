"""What must not matter to the findings: how the plant is written down, when it stands, how its readings
are handed over, and what else is fitted that has nothing to do with it.

Each is a property of the engine as a whole, tried over every fault's recording (`recordings.py`)."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics.engine import Engine
from analytics.faults import FAULTS
from analytics.physics.hydraulics import atmosphere_pa_abs
from analytics.plant.description import SI_UNIT, Measure, Plant, Signal
from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from analytics.records import Finding
from simulator import library
from tests.analytics.contract.recordings import Found, fitted, juniper, lines, recorded, told, whole

READING_US = 5_000_000
WEEK_US = 7 * 86_400_000_000
#: Below the engine's hold-back; what a recording may be out of order by is the file reader's matter.
DISORDER_US = 9_500_000
some = settings(max_examples=16, deadline=None, suppress_health_check=list(HealthCheck))
ANY = st.sampled_from(FAULTS)

#: One of each trade unit in another (exact by definition: pound, inch, US gallon, horsepower).
PSI, GAL, INCH = 6_894.757293168361, 3.785411784e-3, 0.0254
SI_OF = {
    "psi": PSI, "kPa": 1e3, "bar": 1e5,
    "gal": GAL, "L": 1e-3, "m^3": 1.0,
    "gpm": GAL / 60, "L/min": 1e-3 / 60,
    "ft": 12 * INCH, "in": INCH, "m": 1.0, "cm": 1e-2, "mm": 1e-3,
    "ft^2": 144 * INCH**2, "m^2": 1.0,
    "hp": 550 * 0.45359237 * 9.80665 * 12 * INCH, "kW": 1e3,
    "A": 1.0, "mA": 1e-3,
    "uS/cm": 1e-4, "dS/m": 0.1,
}  # fmt: skip
KINDS = (
    ("psi", "kPa", "bar"), ("gal", "L", "m^3"), ("gpm", "L/min"), ("ft", "in", "m", "cm", "mm"),
    ("ft^2", "m^2"), ("hp", "kW"), ("A", "mA"), ("uS/cm", "dS/m"),
)  # fmt: skip
QUANTITY = re.compile(r'"(-?[\d.]+ )?(' + "|".join(map(re.escape, SI_OF)) + ')"')


def rewritten(choose: dict[str, str]) -> Plant:
    """Juniper Bench's file with each unit put in another's words, sensors slowed as in the recordings."""

    def instead(found: re.Match[str]) -> str:
        number, unit = found.groups()
        other = choose.get(unit, unit)
        if number is None:
            return f'"{other}"'
        return f'"{float(number) * SI_OF[unit] / SI_OF[other]:.12g} {other}"'

    plant = parse_plant(QUANTITY.sub(instead, library.plant_text("juniper-bench")), "juniper-bench")
    slow = {one.name: one.every_s for one in juniper().signals}
    return replace(plant, signals=tuple(replace(one, every_s=slow[one.name]) for one in plant.signals))


def timed(found: Found) -> list[tuple[object, ...]]:
    """What is found and when, without its words and figures."""
    rows = [(f.fault, f.of, f.cause, f.priority, f.raised_us, f.cleared_us) for f in found.values()]
    return sorted(rows, key=repr)


def alike(found: Found, other: Found) -> None:
    """The same findings at the same times; onsets and figures but for the last digits of a double."""
    assert timed(found) == timed(other)
    for key, one in found.items():
        assert abs(one.onset_us - other[key].onset_us) <= 1_000
        assert one.evidence == pytest.approx(other[key].evidence, rel=1e-3, abs=1e-9)


def within_a_reading(found: Found, other: Found) -> None:
    """The same findings, decided at most a reading of the fastest sensor sooner or later: what is due at
    the end of ten minutes is told at the next reading, whosesoever that is."""
    mine, theirs = (sorted(some.values(), key=lambda f: (f.fault, f.raised_us)) for some in (found, other))
    assert [(f.fault, f.of, f.cause) for f in mine] == [(f.fault, f.of, f.cause) for f in theirs]
    for one, two in zip(mine, theirs, strict=True):
        assert one.raised_us == pytest.approx(two.raised_us, abs=READING_US)
        assert one.onset_us == pytest.approx(two.onset_us, abs=READING_US)
        assert (one.cleared_us or 0) == pytest.approx(two.cleared_us or 0, abs=READING_US)


@some
@given(fault=ANY, data=st.data())
def test_units_are_only_words(fault: str, data: st.DataObject) -> None:
    """The plant file and its sensors in other units, the values converted with them."""
    choose = {unit: data.draw(st.sampled_from(kind), unit) for kind in KINDS for unit in kind}
    as_it_is, readings = recorded(fault)
    plant = rewritten(choose)
    kept = tuple(plant.signals[plant.index(one.name)] for one in as_it_is.signals)
    plant = replace(plant, signals=kept)
    value = readings.value.copy()
    for position, signal in enumerate(plant.signals):
        mine = readings.signal == position
        if signal.unit in SI_OF:
            stored = value[mine] / SI_OF[signal.unit]
            value[mine] = signal.to_si(stored)
    alike(told(plant, [Readings(readings.signal, readings.time_us, value)]), whole(fault))


@cache
def in_utc(fault: str) -> Found:
    plant, readings = recorded(fault)
    return told(replace(plant, timezone="UTC"), [readings])


@some
@given(fault=ANY, weeks=st.integers(-3, 3).filter(bool))
def test_another_week_is_the_same_week(fault: str, weeks: int) -> None:
    """Whole weeks within a season, in a zone without daylight-saving time."""
    plant, readings = recorded(fault)
    by_us = weeks * WEEK_US
    later = told(
        replace(plant, timezone="UTC"), [Readings(readings.signal, readings.time_us + by_us, readings.value)]
    )

    def back(one: Finding) -> Finding:
        cleared_us = None if one.cleared_us is None else one.cleared_us - by_us
        return replace(
            one, raised_us=one.raised_us - by_us, onset_us=one.onset_us - by_us, cleared_us=cleared_us
        )

    alike({one.key: one for one in map(back, later.values())}, in_utc(fault))


@some
@given(fault=ANY, data=st.data())
def test_the_order_of_signals_in_the_file_is_no_matter(fault: str, data: st.DataObject) -> None:
    plant, readings = recorded(fault)
    order = data.draw(st.permutations(range(len(plant.signals))))
    place = np.argsort(np.array(order)).astype(np.int16)
    moved = Readings(place[readings.signal], readings.time_us, readings.value).in_time_order()
    assert lines(told(replace(plant, signals=tuple(plant.signals[i] for i in order)), [moved])) == lines(
        whole(fault)
    )


#: Sensors that have no part in any fault's physics, or say that all is well: mean and scatter [SI].
BYSTANDERS = {
    Measure.WELL_CONDUCTIVITY: (0.32, 0.002),
    Measure.RAIN_CONDUCTIVITY: (0.006, 0.0002),
    Measure.WATER_TEMPERATURE: (14.0, 0.1),
}


@some
@given(fault=ANY, measure=st.sampled_from(list(BYSTANDERS)), data=st.data())
def test_a_sensor_that_says_nothing_new_changes_nothing(
    fault: str, measure: Measure, data: st.DataObject
) -> None:
    plant, readings = recorded(fault)
    at = data.draw(st.integers(0, len(plant.signals)), "place in the file")
    every_s = data.draw(st.sampled_from([7.0, 60.0, 900.0]), "interval")
    mean, scatter = BYSTANDERS[measure]
    more = Signal("bystander", measure, "by/stander", SI_UNIT[measure], every_s=every_s)
    first, last = int(readings.time_us[0]), int(readings.time_us[-1])
    when = np.arange(first, last + 1, int(every_s * 1e6))
    says = np.random.default_rng(1).normal(mean, scatter, len(when))
    others = Readings(
        readings.signal + (readings.signal >= at).astype(np.int16), readings.time_us, readings.value
    )
    both = Readings.concatenate([others, Readings.of(np.full(len(when), at), when, says)]).in_time_order()
    beside = replace(plant, signals=(*plant.signals[:at], more, *plant.signals[at:]))
    within_a_reading(told(beside, [both]), whole(fault))


@some
@given(fault=ANY, seed=st.integers(0, 2**32 - 1))
def test_repeats_and_disorder_change_nothing(fault: str, seed: int) -> None:
    """A tenth of all rows again, and each row late by chance, as far as the engine holds back."""
    plant, readings = recorded(fault)
    chance = np.random.default_rng(seed)
    again = chance.integers(0, len(readings), len(readings) // 10)
    both = Readings.concatenate([readings, readings[again]])
    arrival = both.time_us + chance.integers(0, DISORDER_US, len(both))
    assert lines(told(plant, [both[np.argsort(arrival, kind="stable")]])) == lines(whole(fault))


@some
@given(fault=ANY, data=st.data())
def test_neither_chunks_nor_restarts_change_a_byte(fault: str, data: st.DataObject) -> None:
    plant, readings = recorded(fault)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(readings)), min_size=1, max_size=30), "cuts"))
    restarts = data.draw(st.sets(st.integers(0, len(cuts)), max_size=8), "restarts")
    engine, found = Engine(plant), Found()
    for number, (a, b) in enumerate(zip([0, *cuts], [*cuts, len(readings)], strict=True)):
        found |= {one.key: one for one in engine.feed(readings[a:b]).findings}
        if number in restarts:
            engine = Engine.restore(plant, engine.snapshot())
    found |= {one.key: one for one in engine.finish().findings}
    assert lines(found) == lines(whole(fault))


#: Told from water and pressure in the plant's own tank, whose size is the only scale of their flows.
BY_TANK = st.sampled_from(
    ["lost_prime", "burst_line", "short_cycling", "switch_drift", "clogged_filter", "blocked_discharge"]
)
PUMPHOUSE = (Measure.LINE_PRESSURE, Measure.PUMP_CURRENT)


@some
@given(fault=BY_TANK, times=st.floats(0.25, 4.0))
def test_a_plant_of_another_size_with_the_same_pressures_has_the_same_faults(
    fault: str, times: float
) -> None:
    """Tank, pump and draws grown alike leave every pressure as it was: each flow is so many times
    larger, and no finding changes."""
    plant, readings = fitted(*recorded(fault), PUMPHOUSE)
    assert plant.pressure_tank is not None
    assert plant.pump.rated_flow_m3_s is not None
    grown = replace(
        plant,
        pressure_tank=replace(plant.pressure_tank, volume_m3=times * plant.pressure_tank.volume_m3),
        pump=replace(plant.pump, rated_flow_m3_s=times * plant.pump.rated_flow_m3_s),
    )
    was, now = told(plant, [readings]), told(grown, [readings])
    assert timed(was) == timed(now)
    for key, one in was.items():
        for name, number in one.evidence.items():
            flows = name.endswith(("_m3_s", "_m3"))
            assert now[key].evidence[name] == pytest.approx(times * number if flows else number, rel=1e-3)


@some
@given(fault=BY_TANK, times=st.floats(0.87, 1.15))
def test_thinner_air_and_a_lower_band_in_proportion_are_the_same_plant(fault: str, times: float) -> None:
    """Boyle's law knows absolute pressures: with the atmosphere (by the altitude), the air charge, the
    switch and the readings all so many times as high, the tank holds the same water at every moment."""
    plant, readings = fitted(*recorded(fault), PUMPHOUSE)
    assert plant.pressure_tank is not None
    assert plant.switch is not None
    here_pa = float(atmosphere_pa_abs(plant.altitude_m))
    heights_m = np.linspace(-500.0, 4_000.0, 20_001)
    altitude_m = float(np.interp(-times * here_pa, -atmosphere_pa_abs(heights_m), heights_m))
    moved = replace(
        plant,
        altitude_m=altitude_m,
        pressure_tank=replace(plant.pressure_tank, precharge_pa=times * plant.pressure_tank.precharge_pa),
        switch=replace(
            plant.switch, cut_in_pa=times * plant.switch.cut_in_pa, cut_out_pa=times * plant.switch.cut_out_pa
        ),
    )
    scale = np.where(readings.signal == 0, times, 1.0)
    was, now = (
        told(plant, [readings]),
        told(moved, [Readings(readings.signal, readings.time_us, scale * readings.value)]),
    )
    assert [(f.fault, f.cause) for f in was.values()] == [(f.fault, f.cause) for f in now.values()]
    for one, two in zip(was.values(), now.values(), strict=True):
        assert one.raised_us == pytest.approx(two.raised_us, abs=3_600_000_000)
