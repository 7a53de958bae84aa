"""The simulator's physics against printed values and against the `fluids` library."""

from __future__ import annotations

import pytest

from simulator.physics import evaporation, leaks, pipes, salt, tank, water
from simulator.physics.filter import covered, loss_ratio
from simulator.physics.motor import Motor
from simulator.physics.pump import PumpCurve
from simulator.works.hardware import Sizes

_PSI = 6_894.757
_GAL = 3.785411784e-3
_GPM = _GAL / 60
_FT = 0.3048


@pytest.mark.parametrize(
    ("altitude_m", "expected_pa", "tolerance_pa"),
    [
        # R. Pelikan, "What Boyle's Law Means to You", table 1: 6000 ft, 11.8 psi
        (6_000 * _FT, 11.8 * _PSI, 0.05 * _PSI),
        # National Driller, "How Centrifugal Pumps Lift Water": 8000 ft, 10.9 psi
        (8_000 * _FT, 10.9 * _PSI, 0.05 * _PSI),
    ],
)
def test_atmosphere(altitude_m: float, expected_pa: float, tolerance_pa: float) -> None:
    assert water.atmosphere_pa(altitude_m) == pytest.approx(expected_pa, abs=tolerance_pa)


@pytest.mark.parametrize(
    ("celsius", "expected_kpa"), [(10, 1.2281), (20, 2.3388), (30, 4.2455), (40, 7.3814)]
)
def test_vapour_pressure(celsius: float, expected_kpa: float) -> None:
    """CRC Handbook of Chemistry and Physics (1992-93). Magnus's form claims 0.4 %."""
    assert water.vapour_pressure_pa(celsius) / 1000 == pytest.approx(expected_kpa, rel=0.004)


@pytest.mark.parametrize(
    ("tank_gal", "atmosphere_psi", "drawdown_gal", "tolerance_gal"),
    [
        # R. Pelikan, "How to Calculate and Control Pressure Tank Drawdown", 2006, example 2
        (85, 14.7, 25.1, 0.05),
        # R. Pelikan, "What Boyle's Law Means to You", example 2 (printed 26.1, exact 26.19)
        (85, 11.8, 26.1, 0.12),
    ],
)
def test_slow_drawdown(
    tank_gal: float, atmosphere_psi: float, drawdown_gal: float, tolerance_gal: float
) -> None:
    held = [
        tank.water_m3(
            (gauge + atmosphere_psi) * _PSI, 290.0, tank_gal * _GAL, (28 + atmosphere_psi) * _PSI, 290.0
        )
        for gauge in (30, 50)
    ]
    assert (held[1] - held[0]) / _GAL == pytest.approx(drawdown_gal, abs=tolerance_gal)


def test_fast_filling_is_adiabatic() -> None:
    """With no time for heat to leave, p V^1.4 stays the same: ideal gas, first law (computed)."""
    pressure, gas_k, gas_m3, h = 300_000.0, 290.0, 0.1, 1e-3
    gas = pressure * gas_m3 / gas_k
    for _ in range(20_000):
        dp, dt, _ = tank.rates(0.001, pressure, gas_k, gas, 1.0, 0.0, 0.0)
        pressure, gas_k = pressure + dp * h, gas_k + dt * h
    left = gas * gas_k / pressure
    assert left == pytest.approx(0.08, rel=1e-4)
    assert pressure == pytest.approx(300_000.0 * (0.1 / left) ** 1.4, rel=1e-3)


@pytest.mark.parametrize(
    ("gpm", "bore_in", "expected_ft"),
    [
        # Illinois Administrative Code 77-906 appendix A exhibit I, schedule 40 plastic, C 150, per 100 ft
        (5, 1.049, 1.52),
        (10, 1.049, 5.50),
        (10, 1.380, 1.46),
        (20, 1.380, 5.23),
        (50, 2.067, 3.98),
    ],
)
def test_line_friction(gpm: float, bore_in: float, expected_ft: float) -> None:
    resistance = pipes.hazen_williams(100 * _FT, bore_in * 0.0254, 150)
    loss_ft = resistance * (gpm * _GPM) ** pipes.HAZEN_EXPONENT / _FT
    assert loss_ft == pytest.approx(expected_ft, abs=0.03)


def test_line_friction_agrees_with_colebrook() -> None:
    """The default roughness, C 145, against a library's Darcy-Weisbach for polyethylene (1.5 um)."""
    import fluids

    bore, flow, length = 0.0266, 0.5e-3, 60.0
    speed = flow / (3.14159265 * bore**2 / 4)
    factor = fluids.friction_factor(Re=speed * bore / 1.004e-6, eD=1.5e-6 / bore)
    darcy_m = factor * length / bore * speed**2 / 2 / 9.80665
    ours_m = pipes.hazen_williams(length, bore, Sizes().roughness_c) * flow**pipes.HAZEN_EXPONENT
    assert ours_m == pytest.approx(darcy_m, rel=0.05)


@pytest.mark.parametrize(("k", "speed_m_s", "expected_m"), [(10, 1.5, 1.147), (2.5, 1.0, 0.1275)])
def test_fittings(k: float, speed_m_s: float, expected_m: float) -> None:
    """EPANET 2.2 manual table 3.3 gives K (globe valve 10, swing check 2.5); h = K v^2 / 2g computed."""
    bore = 0.04
    flow = speed_m_s * 3.14159265 * bore**2 / 4
    assert pipes.fitting(k, bore) * flow**2 == pytest.approx(expected_m, abs=0.002)


def test_orifice_leak() -> None:
    """A 1/8 in hole at 60 psi loses 3,200 gal a day: City of Durant OK, "How Bad is That Leak?"."""
    head_m = 60 * _PSI / water.PA_PER_M
    flow = pipes.orifice(0.125 * 0.0254) * head_m**0.5
    assert flow * 86_400 / _GAL == pytest.approx(3_200, abs=60)


@pytest.mark.parametrize(("exponent", "ratio"), [(0.5, 0.89), (1.0, 0.80), (1.5, 0.72)])
def test_leaks_follow_pressure(exponent: float, ratio: float) -> None:
    """Thornton, Sturm and Kunkel, Water Loss Control, ch. 10 p. 142, pressure ratio 0.8."""
    assert leaks.leak_m3_s(1.0, 80_000, 100_000, exponent) == pytest.approx(ratio, abs=0.006)


def test_blend() -> None:
    """FAO Irrigation and Drainage Paper 29, 0.23 dS/m at 75 % and 3.6 at 25 % (from memory): 1.07."""
    assert salt.blend(0.023, 0.36, 0.25) * 10 == pytest.approx(1.07, abs=0.005)


def test_radiation_and_hargreaves() -> None:
    """FAO Irrigation and Drainage Paper 56 (seen second-hand): example 8, 20 S on 3 September,
    Ra 32.2 MJ/m2; example 20, Lyon in July, 5.0 mm a day by equation 52."""
    assert evaporation.extraterrestrial_mm_day(-20, 246) / 0.408 == pytest.approx(32.2, abs=0.06)
    assert evaporation.hargreaves_m_day(45.72, 196, 14.8, 26.6) * 1000 == pytest.approx(5.0, abs=0.05)


def test_affinity_laws() -> None:
    """Q ~ n, H ~ n^2, P ~ n^3 along similar points: any pump handbook."""
    curve = PumpCurve(48.0, 8e7, 5.7e-4, 475.0)
    half = curve.head_m(0.5 * 4e-4, 0.5)
    assert half == pytest.approx(0.25 * curve.head_m(4e-4))
    assert curve.shaft_w(0.0, 0.5) == pytest.approx(0.125 * curve.shaft_w(0.0, 1.0))


def test_efficiency_is_hydraulic_over_shaft_power() -> None:
    curve = PumpCurve(48.0, 8e7, 5.7e-4, 475.0)
    # Pelikan-style arithmetic: gpm x ft / 3960 is water horsepower (any pump handbook)
    water_hp = (5e-4 / _GPM) * (curve.head_m(5e-4) / _FT) / 3_960
    assert curve.efficiency(5e-4) == pytest.approx(water_hp * 745.7 / curve.shaft_w(5e-4), rel=0.005)


def test_current_hardly_tells_load() -> None:
    """The current falls far less than the power when the load goes: textbook induction motor."""
    motor = Motor(230.0, 185.0, 1.15, 2.5, 22.0)
    full, idle = (motor.current_a(shaft) for shaft in (475.0, 105.0))
    assert idle / full > 0.65
    assert motor.power_w(105.0) / motor.power_w(475.0) < 0.5
    assert motor.current_a(475.0, 0.0) == pytest.approx(22.0)


def test_filter_loss_grows_as_the_screen_closes() -> None:
    """Orifice equation: half the area takes four times the head."""
    assert loss_ratio(0.5) == pytest.approx(4.0)
    half = covered(0.0, 0.1, 0.2)
    assert half == pytest.approx(0.5)
    assert covered(half, 0.1, 0.2) == pytest.approx(0.75)  # what meets open screen stays on it
    assert covered(0.9, 100.0, 0.2) < 1.0
