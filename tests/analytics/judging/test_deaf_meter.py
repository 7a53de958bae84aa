"""A flow meter that tells of nothing, beside a tank that does."""

from __future__ import annotations

from analytics.judging.deaf_meter import DeafMeter
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.records import Cycle
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics import traces

LPM = traces.LPM
HOUR_US = 3_600_000_000
#: What is drawn, a run an hour [L/min]: showers and a garden, and single taps between.
HOUSE = [12.0, 1.0, 9.0, 11.0, 0.5, 8.0, 14.0, 1.0, 10.0, 9.0, 1.0, 12.0, 9.0, 10.0]


def convicts(said: list[tuple[float, float]], low_pa: float | None = None) -> bool:
    """Of runs an hour apart: what is drawn, and what the meter tells [L/min]; and the lowest pressure."""
    plant = traces.plant()
    usual, meter = reference(plant, Water.of(plant), Signature()), DeafMeter()
    for hour, (drawn, told) in enumerate(said):
        start_us = hour * HOUR_US
        cycle = Cycle(start_us, start_us + 90_000_000, 90.0, 900.0, demand_m3_s=drawn * LPM)
        meter.hear(Run(start_us, cycle, True, 1.0, pressure_low_pa=low_pa, flow_m3_s=told * LPM), usual)
    return meter.convicts


def test_a_meter_without_a_pulse_is_convicted_within_a_day() -> None:
    works = [(drawn, drawn) for drawn in HOUSE]
    dumb = [(drawn, 0.0) for drawn in HOUSE]
    assert convicts(works + dumb)
    assert not convicts(works + dumb[:9])  # not for so long yet
    assert not convicts(works)


def test_a_leak_before_the_meter_convicts_none() -> None:
    """While everybody is away a leak takes 9 L/min, from some hour on."""
    works = [(drawn, drawn) for drawn in HOUSE]
    assert not convicts(works + [(1.0, 0.0)] * 3 + [(9.0, 0.0)] * 40)


def test_a_meter_that_was_never_felt_stands_in_another_line() -> None:
    assert not convicts([(drawn, 0.0) for drawn in HOUSE * 3])


def test_a_meter_that_turns_again_is_acquitted() -> None:
    works, dumb = [(drawn, drawn) for drawn in HOUSE], [(drawn, 0.0) for drawn in HOUSE]
    assert not convicts(works + dumb + works[:1])


def test_an_empty_tank_tells_of_no_draws() -> None:
    """Behind a jammed rotor the gauge's noise about nothing looks like water in the tank's curve."""
    said = [(drawn, drawn) for drawn in HOUSE] + [(drawn, 0.0) for drawn in HOUSE]
    assert convicts(said, low_pa=2.1e5)
    assert not convicts(said, low_pa=0.02e5)
