"""What follows from a plant file, against figures from outside."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from fluids.atmosphere import ATMOSPHERE_1976

from analytics.appraisal import figures, one_more_sensor, shows, signals, understood
from analytics.faults import FAULTS
from analytics.plant.description import Plant
from analytics.plant.dimensions import Dimension
from analytics.plant.parsing import parse_plant
from analytics.plant.shown import number, shown

JUNIPER = (Path(__file__).parent / "plant" / "juniper.toml").read_text()


def plant(*changes: tuple[str, str], more: str = "") -> Plant:
    text = JUNIPER
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return parse_plant(text + more, "p")


def words(of: Plant, label: str) -> str:
    return next(row.words for row in figures(of) if row.label == label)


def test_drawdown_at_sea_level() -> None:
    """28/30/50 psi holds 0.295 of the tank; with gauge figures in Boyle's law it would be 0.373."""
    assert "29.5 %" in words(plant(('altitude = "4600 ft"', "")), "drawdown")


def test_drawdown_on_the_hill() -> None:
    """Boyle's law by hand, the atmosphere from the fluids library (US Standard Atmosphere 1976)."""
    pa = ATMOSPHERE_1976(4600 * 0.3048).P / 6894.757
    gallons = 44 * (28 + pa) * (1 / (30 + pa) - 1 / (50 + pa))
    assert f"{gallons:.1f} gal" in words(plant(), "drawdown")
    assert f"{pa:.1f} psi" in words(plant(), "atmosphere")
    run_s = gallons / 9 * 60
    assert f"{run_s:.0f} s" in words(plant(), "run time")
    # A plant cycles fastest when half the delivery is drawn: four drawdowns over the delivery.
    assert f"{4 * run_s / 60:.0f} min" in words(plant(), "fastest cycle")
    assert f"{3600 / (4 * run_s):.0f} starts an hour" in words(plant(), "fastest cycle")


def test_limits_are_held_against_the_motors() -> None:
    roomy = plant()
    assert "above the 60 s" in words(roomy, "run time")
    assert "within the 20" in words(roomy, "fastest cycle")
    small = plant(('volume = "44 gal"', 'volume = "14 gal"'))
    assert "under the 60 s" in words(small, "run time")
    assert "over the 20" in words(small, "fastest cycle")


@pytest.mark.parametrize(
    ("charge", "says"),
    [("28 psi", "right"), ("35 psi", "above cut-in"), ("30 psi", "close under"), ("15 psi", "% more")],
)
def test_the_air_charge_is_judged(charge: str, says: str) -> None:
    assert says in words(plant(('precharge = "28 psi"', f'precharge = "{charge}"')), "air charge")


def test_rain() -> None:
    """1 in on 1800 ft2 is 1122.1 gal (231 in3 each); 0.85 of it, less 40, is 913.8."""
    assert "1 in adds 914 gal" in words(plant(), "rain")
    # 10 mm on 167.2255 m2 is 1672.3 L; 0.85 of it, less 151.4, is 1270.
    assert "10 mm adds 1,270 L" in words(plant(('"us"', '"metric"')), "rain")


def test_what_the_file_leaves_out_is_not_made_up() -> None:
    bare = parse_plant(
        'version = 1\ntimezone = "UTC"\n[[signal]]\nname = "t"\nmeasures = "pump_running"\ntopic = "a"', "p"
    )
    assert [row.label for row in figures(bare)] == ["atmosphere"]
    assert [row.label for row in understood(bare)] == ["site"]
    assert "rated_flow" in words(plant(('rated_flow = "9 gpm" ', "# ")), "run time")


@pytest.mark.parametrize("system", ["us", "metric"])
def test_what_was_understood_is_said_in_the_owners_units(system: str) -> None:
    said = " ".join(row.words for row in understood(plant(('"us"', f'"{system}"'))))
    for piece in (
        [
            "30 psi",
            "50 psi",
            "28 psi",
            "44 gal",
            "3,000 gal",
            "9 gpm",
            "4,600 ft",
            "0.75 hp",
            "1,800 ft^2",
            "4 in",
        ]
        if system == "us"
        else ["2.0684 bar", "166.56 L", "11,356 L", "34.069 L/min", "1,402.1 m", "559.27 W", "167.23 m^2"]
    ):
        assert piece in said


def test_every_fault_is_spoken_of() -> None:
    assert [row.label for _, row in shows(plant())] == list(FAULTS)


def test_one_more_sensor_does_what_it_promises() -> None:
    """Each promise is kept when the sensor is fitted in truth."""
    fitted = {
        "storage_level": 'unit = "ft"',
        "air_temperature": 'unit = "degC"',
        "supply_conductivity": 'unit = "dS/m"',
    }
    before = {row.label for can, row in shows(plant()) if can}
    promised = {row.label: row.words for row in one_more_sensor(plant())}
    for measure, unit in fitted.items():
        signal = f'\n[[signal]]\nname = "x"\nmeasures = "{measure}"\ntopic = "x"\n{unit}\n'
        after = {row.label for can, row in shows(plant(more=signal)) if can}
        said = re.match(r"shows ([a-z_, ]+)", promised[measure])
        assert said
        assert set(said[1].split(", ")) == after - before


def test_signals_are_said_with_their_source() -> None:
    pressure, motor = signals(plant(('unit = "A"', 'unit = "A"\npointer = "/a"\nevery = "2 s"')))
    assert pressure.words == "line pressure [psi], from bench/pumphouse/pressure"
    assert motor.words == "pump current [A], from bench/pumphouse/amps at /a, every 2 s"


@pytest.mark.parametrize(
    ("si", "dimension", "system", "said"),
    [
        (206_842.718795, Dimension.PRESSURE, "us", "30 psi"),
        (0.0, Dimension.TEMPERATURE, "us", "32 °F"),
        (-40.0, Dimension.TEMPERATURE, "metric", "-40 °C"),
        (0.1016, Dimension.LENGTH, "us", "4 in"),
        (0.14, Dimension.CONDUCTIVITY, "us", "1.4 dS/m"),
        (90.0, Dimension.TIME, "us", "90 s"),
        (259_200.0, Dimension.TIME, "us", "3 days"),
        (7200.0, Dimension.TIME, "metric", "2 h"),
    ],
)
def test_shown(si: float, dimension: Dimension, system: str, said: str) -> None:
    assert shown(si, dimension, system) == said  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "0"),
        (1234567.0, "1,235,000"),
        (1234.5, "1,234"),
        (12.3456, "12.35"),
        (0.001234, "0.001234"),
        (3000.0, "3,000"),
        (-2.50, "-2.5"),
        (1e-9, "1e-09"),
    ],
)
def test_numbers(value: float, said: str) -> None:
    assert number(value) == said


def test_waters_garden_and_climate_are_read_back_with_what_follows() -> None:
    text = Path(__file__).parents[2] / "simulator" / "plants" / "juniper-bench.toml"
    plant = parse_plant(text.read_text(encoding="utf-8"), "juniper-bench")
    told = dict(understood(plant))
    assert "from storage rain" in told["source rain"]
    assert "give or take 0.15 dS/m" in told["source well"]
    assert "of tomato" in told["garden"]
    assert "2026-03-14" in told["garden"]
    assert told["climate"].startswith("43.6° N; monthly rain")
    found = dict(figures(plant))
    # Tomato stands an ECe of 2.5 dS/m (Maas 1990); ECe is 1.5 times ECw at the usual leaching (FAO 29).
    assert "1.67 dS/m" in found["salt"]
    assert "rain brings well to 1.67 dS/m" in found["mix"]
    assert "Hargreaves" in found["need"]


def test_what_the_motor_runs_above_is_said_to_be_learned_where_the_file_is_silent() -> None:
    told = {row.label: row.words for row in understood(plant())}["pump"]
    assert told.endswith("running above 1 A")
    pump = plant().pump
    silent = replace(plant(), pump=replace(pump, rated_power_w=None, running_above=None))
    assert {row.label: row.words for row in understood(silent)}["pump"].endswith(
        "running above 0.4 A at first, then above what its runs show"
    )
