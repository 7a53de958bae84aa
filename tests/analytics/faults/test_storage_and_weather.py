"""Storage that leaks, gauges that only look like it, and cold nights."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from holding import DAY_S, NIGHT_S, Holding, at_s, last_words, told

from analytics.faults.storage_depletion import Stock, _is_new
from analytics.faults.storage_leak import One, StorageLeak
from analytics.judging.balance import LevelStep
from analytics.outlooks.slope import Part, Slope

LEAK_S = 4 * DAY_S


def leak(litres_h: float):
    return lambda t: np.where(t >= LEAK_S, litres_h / 3.6e6, 0.0)


@pytest.mark.parametrize("litres_h", [40.0, 150.0])
@pytest.mark.parametrize("digit_m", [0.001, 0.005])
def test_storage_leak_by_the_second_night(litres_h: float, digit_m: float) -> None:
    holding = Holding(leak_m3_s=leak(litres_h), level_digit_m=digit_m)
    found = [one for one in last_words(holding.outcome(7.0)) if one.fault == "storage_leak"]
    assert len(found) == 1
    assert LEAK_S < at_s(found[0].raised_us) < LEAK_S + 2 * DAY_S
    assert found[0].evidence["loss_m3_s"] * 3.6e6 == pytest.approx(litres_h, rel=0.5)


@pytest.mark.parametrize("every_s", [60.0, 300.0])
def test_storage_leak_by_a_gauge_in_centimetres_that_never_flickers(every_s: float) -> None:
    """100 L/h of 90 m3: a centimetre each four hours and a half, and nothing between."""
    holding = Holding(
        leak_m3_s=leak(100.0), level_digit_m=0.01, level_noise_m=0.0, storage_m3=90.0, level_every_s=every_s
    )
    (found,) = [one for one in last_words(holding.outcome(6.5)) if one.fault == "storage_leak"]
    assert LEAK_S < at_s(found.raised_us) < LEAK_S + 2 * DAY_S


def test_leak_of_a_storage_that_is_filled_meanwhile_is_one_finding() -> None:
    """80 L/h, and on the third day a hose brings 1.2 m3 an hour for four hours, which no gauge tells of: a
    storage that rises has not stopped leaking."""
    fills = (6.2 * DAY_S, 6.2 * DAY_S + 4 * 3600.0)

    def lost(t):
        hose = np.where((t >= fills[0]) & (t < fills[1]), 1.2 / 3600.0, 0.0)
        return leak(80.0)(t) - hose

    holding = Holding(leak_m3_s=lost, level_noise_m=0.001)
    (found,) = [one for one in last_words(holding.outcome(8.0)) if one.fault == "storage_leak"]
    assert found.cleared_us is None


def test_gauge_that_falls_in_rests_and_rises_in_runs_is_no_leak() -> None:
    """6 mm down in each rest and up again about each run, as a gauge by a pipe may: 2.5 m3 a day by the rests
    alone, of which nothing but the pump's own 0.7 m3 is gone."""
    holding = Holding()

    def spoil(t, true):
        at, _, ran = holding._knots(10.0)
        stops = at[1:][np.diff(ran) > 0.0]
        edges = np.sort(np.concatenate((stops - 600.0, stops + 600.0)))
        return true + np.interp(t, edges, np.where(np.arange(len(edges)) % 2, 0.0, -0.006))

    holding.spoil = {"level": spoil}
    assert [one for one in told(holding.outcome(9.0)) if one[0] == "storage_leak"] == []


@pytest.mark.parametrize("seed", range(6))
def test_rough_level_of_a_busy_pump_is_no_leak(seed: int) -> None:
    """Two words in ten minutes that scatter by 4 mm (100 L), and four runs an hour: each of them parts a fall
    from the rise that gives it back."""
    holding = Holding(
        level_every_s=300.0, level_noise_m=0.004, demand_m3_s=5e-5, storage_m3=72.0, level_m=1.9, full_m=2.1
    )
    assert [one for one in told(holding.outcome(10.0, seed)) if one[0] == "storage_leak"] == []


@pytest.mark.parametrize("digit_m", [0.001, 0.005, 0.01])
@pytest.mark.parametrize("every_s", [60.0, 300.0])
def test_gauge_that_drifts_with_the_day_is_no_leak(digit_m: float, every_s: float) -> None:
    """2 mm up and down with the sun, coarse digits, and drop-outs in between."""

    def spoil(t, true):
        shown = true + 0.002 * np.sin(2 * np.pi * t / DAY_S)
        shown = np.round(shown / digit_m) * digit_m
        shown[100::331] = 0.0
        return shown

    holding = Holding(level_digit_m=digit_m, level_every_s=every_s, spoil={"level": spoil})
    assert told(holding.outcome(12.0)) == []


@pytest.mark.parametrize("digit_m", [0.005, 0.01])
def test_coarse_words_that_flick_and_lone_zeros_are_no_leak(digit_m: float) -> None:
    """A word in ten minutes, rounded to its last digit: a fall by one digit is given back by a rise of one.
    What counts the falls and takes the rises for water coming in makes a leak of a gauge's flicker."""

    def spoil(t, true):
        flicker = np.random.default_rng(4).normal(0.0, 0.4 * digit_m, len(t))
        shown = np.round((true + flicker) / digit_m) * digit_m
        shown[50::97] = 0.0
        return shown

    holding = Holding(level_digit_m=digit_m, level_every_s=600.0, spoil={"level": spoil}, storage_m3=120.0)
    assert [one for one in told(holding.outcome(12.0)) if one[0] == "storage_leak"] == []


@pytest.mark.parametrize("every_s", [300.0, 900.0, 3600.0])
def test_depletion_is_called_before_the_outlet(every_s: float) -> None:
    """By a gauge too that has no word in the last ten minutes of an hour."""
    a_day_m3 = 6e-5 * (DAY_S - NIGHT_S)
    holding = Holding(demand_m3_s=6e-5, level_m=1.0, level_every_s=every_s)  # 27 m3: seven days
    found = [one for one in last_words(holding.outcome(6.0)) if one.fault == "storage_depletion"]
    assert [one.cause for one in found] == ["demand"]
    left_days = (1.0 - 0.1) * 30.0 / a_day_m3 - at_s(found[0].raised_us) / DAY_S
    assert 2.0 < left_days < 4.0  # the owner wants three days' warning


def test_an_owner_who_waters_more_on_some_days_is_told_in_time_as_well() -> None:
    """Draws that scatter by two fifths from day to day: told three days ahead, or near it (four fifths, by an
    owner who wants three), in nine of ten years, and not a week ahead."""
    ahead = []
    for seed in range(20):
        litres_s = np.random.default_rng(seed).lognormal(np.log(0.03), 0.4, 20)

        def drawn(t, litres_s=litres_s):
            awake = t % DAY_S >= NIGHT_S
            return np.where(awake, 1e-3 * litres_s[(t // DAY_S).astype(int)], 0.0)

        holding = Holding(leak_m3_s=drawn, demand_m3_s=1e-5, level_m=1.0, level_every_s=900.0)
        t = np.arange(0.0, 20 * DAY_S, 600.0)
        gone = np.cumsum(drawn(t) + np.where(t % DAY_S >= NIGHT_S, 1e-5, 0.0)) * 600.0
        empty_s = float(t[np.flatnonzero(gone >= 0.9 * 30.0)[0]])
        found = [
            one
            for one in last_words(holding.outcome(empty_s / DAY_S - 1.0))
            if one.fault == "storage_depletion"
        ]
        ahead.append((empty_s - at_s(found[0].raised_us)) / DAY_S if found else 0.0)
    assert sum(days >= 2.4 for days in ahead) >= 18
    assert max(ahead) < 6.0


def test_what_a_leak_took_is_no_habit_once_it_is_mended() -> None:
    """150 L/h for three days, then mended; the house draws 0.7 m3 a day of the 8 m3 that are left."""
    lost = (5.0 * DAY_S, 8.0 * DAY_S)
    holding = Holding(
        leak_m3_s=lambda t: np.where((t >= lost[0]) & (t < lost[1]), 150.0 / 3.6e6, 0.0), level_m=1.05
    )
    found = [one for one in last_words(holding.outcome(14.0)) if one.fault == "storage_depletion"]
    assert all(at_s(one.raised_us) < lost[1] + DAY_S / 2 for one in found)
    assert all(one.cleared_us is not None and at_s(one.cleared_us) < 10.0 * DAY_S for one in found)
    emptied = [one for one in holding.outcome(14.0).outlooks if one.kind == "days_to_empty"]
    assert emptied[-1].p10 is not None
    assert emptied[-1].p10 > 8.0  # 8 m3 of 0.73 a day: eleven


@pytest.mark.parametrize(
    ("litres_h", "level_m", "cause"),
    [
        (0.0, 0.55, "demand"),
        (30.0, 0.55, "demand"),  # a sixth of all
        (90.0, 0.75, "leak"),  # without it the 14 m3 that are left after a day would last four
        (200.0, 0.35, "leak"),  # more than the house
    ],
)
def test_cause_of_depletion_is_what_takes_the_water(litres_h: float, level_m: float, cause: str) -> None:
    """The house takes 147 L an hour over the day, 3.5 m3 a day."""
    leak_m3_s = litres_h / 3.6e6
    holding = Holding(
        demand_m3_s=5.75e-5,
        level_m=level_m,
        leak_m3_s=lambda t: np.full_like(t, leak_m3_s),
        level_noise_m=0.001,
    )
    found = [one for one in last_words(holding.outcome(4.5)) if one.fault == "storage_depletion"]
    assert [one.cause for one in found] == [cause]


@pytest.mark.parametrize(("every_s", "noise_m"), [(300.0, 0.006), (900.0, 0.003)])
def test_scatter_of_a_rough_gauge_is_no_leak_that_empties_the_storage(every_s: float, noise_m: float) -> None:
    """Of a word each quarter of an hour three in a row stand for each level, and scatter together."""
    rough = Holding(demand_m3_s=2.5e-5, level_m=0.4, level_noise_m=noise_m, level_every_s=every_s)
    causes = {
        one.cause
        for seed in range(8)
        for one in last_words(rough.outcome(4.5, seed))
        if one.fault == "storage_depletion"
    }
    assert causes == {"demand"}


def test_half_a_day_of_watering_is_no_habit() -> None:
    """9 m3 above the outlet, of which a garden takes 2.2 on the first morning and a house 1 a day."""

    def watered(t, true):
        return true - np.interp(t, (6 * 3600.0, 11 * 3600.0), (0.0, 2.2)) * 2.0 / 30.0

    holding = Holding(demand_m3_s=2e-5, level_m=0.7, spoil={"level": watered})
    assert [one for one in told(holding.outcome(0.95)) if one[0] == "storage_depletion"] == []


def waters(every_days: int, litres: float):
    """A garden's water in the evening of each so manieth day, the first of them."""

    def lost(t):
        due = (t // DAY_S % every_days == 0) & (t % DAY_S >= 11 * 3600.0) & (t % DAY_S < 12 * 3600.0)
        return np.where(due, litres / 1e3 / 3600.0, 0.0)

    return lost


@pytest.mark.parametrize(("litres", "level_m"), [(2000.0, 0.55), (3000.0, 0.65)])
def test_what_a_garden_takes_every_second_day_is_not_taken_to_be_each_day_s(
    litres: float, level_m: float
) -> None:
    """The house takes 0.7 m3 a day. Who begins to record on the morning of a garden's day sees two thirds of
    a day with all of its water; told three days ahead, and not a week."""
    holding = Holding(leak_m3_s=waters(2, litres), level_m=level_m, level_every_s=300.0)
    t = np.arange(0.0, 20 * DAY_S, 600.0)
    gone = np.cumsum(waters(2, litres)(t) + np.where(t % DAY_S >= NIGHT_S, 1.2e-5, 0.0)) * 600.0
    empty_s = float(t[np.flatnonzero(gone >= (level_m - 0.1) * 30.0)[0]])
    found = [one for one in last_words(holding.outcome(empty_s / DAY_S)) if one.fault == "storage_depletion"]
    assert len(found) == 1
    assert 2.5 < (empty_s - at_s(found[0].raised_us)) / DAY_S < 3.9


@pytest.mark.parametrize(
    ("days_m3", "litres_h", "new"),
    [([1.0, 1.0, 1.0], 100.0, True), ([1.0, 2.4, 1.0, 1.0], 100.0, False), ([1.0, 2.4], 100.0, False)],
)
def test_a_heavy_day_is_new_where_none_as_heavy_has_come_and_gone(
    days_m3: list[float | None], litres_h: float, new: bool
) -> None:
    """2.4 m3 in the last 24 hours; the newest day is a part of them."""
    assert _is_new(Stock(days_m3=days_m3, day_m3=[litres_h / 1e3] * 24)) is new


@pytest.mark.parametrize("demand_m3_s", [1e-5, 4e-5])
@pytest.mark.parametrize("peak_h", [0.0, 6.0, 18.0])
def test_gauge_that_swings_with_a_warm_shed_is_no_leak(demand_m3_s: float, peak_h: float) -> None:
    """7 mm up and down with the day, of 30 m3 that stand 1 m high."""

    def swings(t, true):
        return true + 0.007 * np.cos(2 * np.pi * (t - 3600.0 * peak_h) / DAY_S)

    holding = Holding(demand_m3_s=demand_m3_s, level_noise_m=0.001, spoil={"level": swings})
    assert [one for one in told(holding.outcome(4.0)) if one[0] == "storage_leak"] == []


@pytest.mark.parametrize(("error_mm_day", "told"), [(1.0, True), (12.0, False)])
def test_what_no_swing_makes_must_be_seen_beyond_the_scatter_of_the_rests(
    error_mm_day: float, told: bool
) -> None:
    """A loss of 55 mm a day, by one quarter of it; a gauge that swings by 14 shows 44 at its steepest."""
    detector = StorageLeak(Holding().plant())
    storage = detector.plant.storages[0]
    m3_s = 1e-3 * storage.volume_m3 / storage.full_level_m / DAY_S
    stt = (1.0 / (error_mm_day * m3_s)) ** 2
    slope = Slope(stt=stt, sty=-55.0 * m3_s * stt, syy=(55.0 * m3_s) ** 2 * stt + 30.0, freedom=30)
    step = LevelStep(0, 600_000_000, 1.0, 0.0, 0.0, True, True, False, 0.0, 0.0, 1.0)
    lost = Part(0, 6 * 3600.0, slope=slope)
    assert detector._no_swing(One(parts=[lost]), lost, step, storage) is told


def filled(t, true):
    """A hose at 2 L/s from 95 % to the brim, and on for an hour; then drawn down by the pump."""
    return np.minimum(1.9 + np.maximum(t - 12 * 3600.0, 0.0) * 0.002 * 2.0 / 60.0, 2.0)


def test_hose_that_overfills_is_told_with_a_rain_gauge_too() -> None:
    for rain_m in (None, np.zeros_like):
        found = told(Holding(rain_m=rain_m, roof_m2=100.0, spoil={"level": filled}).outcome(1.0))
        assert found == [("storage_overflow", None, "rain")]


@pytest.mark.parametrize(("rain_m", "runs_over"), [(2e-3, True), (1.3e-3, False)])
def test_shower_on_a_full_tank_runs_over_once_its_first_flush_is_full(rain_m: float, runs_over: bool) -> None:
    """A roof of 100 m2 that sheds 0.85: 12 mm bring 1.02 m3, 7.8 mm 0.66; the pipe keeps 0.15 of it. At the
    mark for a day, the tank of 60 m3 may hide 0.6."""
    shower = Holding(
        level_m=2.0,
        demand_m3_s=1e-6,
        roof_m2=100.0,
        rain_m=lambda t: np.where((t > 1.2 * DAY_S) & (t <= 1.2 * DAY_S + 3600.0), rain_m, 0.0),
        spoil={"level": lambda t, true: np.full_like(t, 2.0) + np.where(t % 1200.0 < 600.0, 0.001, 0.0)},
    )
    assert (("storage_overflow", None, "rain") in told(shower.outcome(1.5))) == runs_over


def test_one_cold_spell_is_one_finding() -> None:
    """Three frosty nights with mild days between; then mild for two days: over."""

    def air(t):
        swing = 6.0 - 8.0 * np.cos(2 * np.pi * (t / DAY_S - 0.25))
        return np.where(t < 3 * DAY_S, swing, 9.0 + np.sin(t / 9000.0))

    found = last_words(Holding(air_c=air).outcome(6.0))
    assert [one.fault for one in found] == ["freeze_risk"]
    assert found[0].cleared_us is not None
    assert at_s(found[0].cleared_us) > 3 * DAY_S + 12 * 3600.0


def test_thermometer_that_drops_to_zero_is_no_frost() -> None:
    def spoil(t, true):
        shown = true.copy()
        shown[::7] = 0.0
        return shown

    assert told(Holding(air_c=lambda t: np.full_like(t, 12.0), spoil={"air": spoil}).outcome(3.0)) == []


def test_header_tank_that_the_pump_fills_neither_leaks_nor_runs_out() -> None:
    """It falls at rest, for a house below draws from it, and is full again after each run."""
    made = Holding(storage_m3=0.3)
    at, water_m3, ran_s = made._knots(4.0)
    share = (water_m3 - water_m3.min()) / (water_m3.max() - water_m3.min())
    first_s = at[:-1][np.diff(ran_s) > 0.0][0]
    made.spoil = {"level": lambda t, true: 0.6 + 0.4 * np.interp(np.maximum(t, first_s), at, share)}
    assert told(made.outcome(2.5)) == []


def test_header_tank_that_nobody_fills_any_more_is_emptied_by_its_use() -> None:
    """Filled until the third day, then drawn down from below within hours, most of it while the pump rests:
    nothing speaks of a leak."""
    made = Holding(storage_m3=0.3)
    at, water_m3, ran_s = made._knots(4.0)
    share = (water_m3 - water_m3.min()) / (water_m3.max() - water_m3.min())
    first_s = at[:-1][np.diff(ran_s) > 0.0][0]

    def spoil(t, true):
        filled = 0.6 + 0.4 * np.interp(np.maximum(t, first_s), at, share)
        return np.where(t < 2 * DAY_S, filled, np.maximum(0.8 - 0.7 * (t - 2 * DAY_S) / 20e3, 0.1))

    made.spoil = {"level": spoil}
    (found,) = [one for one in last_words(made.outcome(2.5)) if one.fault == "storage_depletion"]
    assert found.cause == "demand"
