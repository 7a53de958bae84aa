"""Words that can be no measurement: out of range, or a register's code for "no value"."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.plant.description import Plant
from analytics.plant.parsing import parse_plant
from analytics.seeing.possible import Possible

FILE = """
version = 1
title = "Juniper Bench"
display_units = "metric"
timezone = "UTC"

[pump]
rated_power = "0.75 hp"
rated_flow = "30 L/min"

[switch]
cut_in = "2 bar"
cut_out = "3.5 bar"

[pressure_tank]
volume = "150 L"
precharge = "1.8 bar"

[storage.rain]
volume = "11 m^3"
full_level = "210 cm"

[[signal]]
name = "it"
measures = "{measures}"
topic = "bench/it"
unit = "{unit}"
{more}
"""


def plant(measures: str, unit: str, more: str = "") -> Plant:
    return parse_plant(FILE.format(measures=measures, unit=unit, more=more), "juniper")


def believed(measures: str, unit: str, word: float, more: str = "") -> bool:
    at = plant(measures, unit, more)
    signal = at.signals[0]
    si = np.asarray(signal.to_si(np.array([word, word])))
    possible = Possible(at, signal)
    good = possible.good(si)
    assert possible.all_good(float(si.min()), float(si.max())) <= bool(good.all())
    return bool(good[0])


@pytest.mark.parametrize(
    ("measures", "unit", "code", "neighbour"),
    [
        ("line_pressure", "kPa", 655.33, 655.2),
        ("line_pressure", "psi", 65.534, 65.51),
        ("line_pressure", "kPa", 655.4, 655.2),
        ("discharge_pressure", "bar", 6.5535, 6.55),
        ("storage_level", "cm", 327.67, 327.6),
        ("storage_level", "m", 3.2766, 3.27),
        ("air_temperature", "degC", 65.535, 65.5),
        ("supply_conductivity", "dS/m", 32.767, 32.7),
        ("supply_flow", "L/min", 327.67, 327.5),
        ("pump_power", "W", 6553.5, 6550.0),
        ("pump_current", "A", 65.535, 65.5),
    ],
)
def test_code_within_the_range_is_no_measurement(
    measures: str, unit: str, code: float, neighbour: float
) -> None:
    more = 'of = "rain"' if measures == "storage_level" else ""
    assert not believed(measures, unit, code, more)
    assert believed(measures, unit, neighbour, more)


@pytest.mark.parametrize(
    ("measures", "unit", "word"),
    [("line_pressure", "kPa", 327.67), ("storage_level", "cm", 65.535), ("air_temperature", "degC", 32.767)],
)
def test_digits_that_spell_a_code_where_the_signal_goes_daily_are_a_measurement(
    measures: str, unit: str, word: float
) -> None:
    more = 'of = "rain"' if measures == "storage_level" else ""
    assert believed(measures, unit, word, more)


def test_level_stands_no_half_above_its_overflow() -> None:
    assert believed("storage_level", "cm", 230.0, 'of = "rain"')
    assert not believed("storage_level", "cm", 655.35, 'of = "rain"')
    assert not believed("storage_level", "cm", 500.0)


def test_what_the_owner_says_is_valid_outdoes_what_is_thought_possible() -> None:
    wide = 'valid = ["0 bar", "250 bar"]'
    assert not believed("suction_pressure", "bar", 180.0)
    assert believed("suction_pressure", "bar", 180.0, wide)
    assert not believed("suction_pressure", "bar", -0.5, wide)


def test_nothing_is_believed_of_a_word_that_is_no_number() -> None:
    assert not believed("line_pressure", "kPa", float("nan"))
    assert not believed("line_pressure", "kPa", float("inf"))


@pytest.mark.parametrize(("unit", "word", "reads"), [("psi", 65.54, True), ("kPa", 655.35, False)])
def test_what_a_pump_makes_before_a_shut_filter_is_no_code_in_any_unit(
    unit: str, word: float, reads: bool
) -> None:
    """65.54 psi is 1.3 times this cut-out of 3.5 bar, as every jet pump makes it; 655.35 kPa is 1.9 times."""
    assert believed("discharge_pressure", unit, word) is reads


@pytest.mark.parametrize(("word", "may_be"), [(-1.5, True), (-2.9, True), (-3.5, False), (-50.0, False)])
def test_supply_meter_may_turn_back_a_little_and_no_more(word: float, may_be: bool) -> None:
    """A tenth of the 30 L/min that the pump is rated at; nothing feeds the line from behind the meter."""
    assert believed("supply_flow", "L/min", word) is may_be


def test_supply_meter_whose_valid_range_is_given_may_turn_back_so_far() -> None:
    assert believed("supply_flow", "L/min", -50.0, 'valid = ["-60 L/min", "200 L/min"]')


@pytest.mark.parametrize("measures", ["line_pressure", "discharge_pressure"])
def test_another_machines_pressure_is_no_fault_of_its_gauge(measures: str) -> None:
    """191.1 bar is what the rig of tests/reference/test_real_accumulator.py works at; 655.33 is a code, in
    psi and in bar, though a gauge might go so far."""
    signal = f'[[signal]]\nname = "it"\nmeasures = "{measures}"\ntopic = "rig/it"\n'
    head = 'version = 1\ntitle = "Rig"\ndisplay_units = "metric"\ntimezone = "UTC"\n'
    switch = '[switch]\ncut_in = "147 bar"\ncut_out = "190 bar"\n'
    for more, unit, word, may_be in (
        ("", "bar", 191.1, True),
        (switch, "bar", 191.1, True),
        ("", "psi", 655.33, False),
        ("", "bar", 655.33, False),
        ("", "psi", 100.0, True),
    ):
        rig = parse_plant(f'{head}{more}{signal}unit = "{unit}"\n', "rig")
        at = rig.signals[0]
        assert bool(Possible(rig, at).good(np.asarray(at.to_si(np.array([word]))))[0]) is may_be


@pytest.mark.parametrize(("word", "may_be"), [(0.0, True), (-0.05, True), (-0.3, False), (10.2, False)])
@pytest.mark.parametrize("measures", ["line_pressure", "storage_level"])
def test_empty_line_or_storage_shows_its_gauges_zero_error(measures: str, word: float, may_be: bool) -> None:
    """A valid range from nothing up says what the owner holds possible, not how well the gauge is trimmed."""
    unit, more = ("bar", "") if measures == "line_pressure" else ("m", 'of = "rain"')
    more += f'\nvalid = ["0 {unit}", "10 {unit}"]'
    assert believed(measures, unit, word, more) is may_be
