"""Where the switch acts, by samples too far apart to meet a start or a stop."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analytics.engine import Engine
from analytics.judging.ends import Ends, Side, narrow, note
from analytics.judging.footing import band_of
from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.judging.watch import Claim
from analytics.records import Cycle, Finding
from analytics.seeing.events import Rest, Run
from analytics.seeing.water import Water
from tests.analytics import traces

HOUR, PSI, LPM = 3600.0, traces.PSI, traces.LPM
BAND = (30 * PSI, 20 * PSI)


BEGINS_S = 5 * 24 * HOUR


def told(hours: float = 168.0, every_s: float = 60.0, **changes: object) -> list[Finding]:
    """Of a household."""
    trace = traces.Trace(every_s=every_s, **changes)  # type: ignore[arg-type]
    plant = traces.plant(trace)
    engine, found = Engine(replace(plant, pump=replace(plant.pump, min_run_time_s=60.0))), {}
    for outcome in (engine.feed(traces.readings(trace, hours * HOUR, seed=5)), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return sorted(found.values(), key=lambda finding: finding.raised_us)


def after_hours(finding: Finding) -> float:
    return (finding.raised_us - traces.START_US) / 3.6e9 - BEGINS_S / HOUR


def test_a_switch_that_moves_is_told_by_a_word_a_minute() -> None:
    start, stop = (traces.after(BEGINS_S, (psi + 6) * PSI, psi * PSI) for psi in (30, 50))
    (finding,) = told(cut_in_pa=start, cut_out_pa=stop)
    assert finding.fault == "switch_drift"
    assert 0.0 < after_hours(finding) < 24.0
    assert finding.evidence["cut_out_moved_pa"] == pytest.approx(6 * PSI, rel=0.25)


def test_nothing_is_told_of_a_sound_switch() -> None:
    assert told() == []


def test_a_narrow_band_is_told_by_a_word_a_minute() -> None:
    """A third of the band holds water for half a minute's run."""
    finding = told(cut_out_pa=traces.after(BEGINS_S, 36 * PSI, 50 * PSI))[-1]
    assert (finding.fault, finding.cause) == ("short_cycling", "narrow_switch_band")
    assert 0.0 < after_hours(finding) < 36.0


@pytest.mark.parametrize(("fall_lpm", "kept"), [(0.2, True), (8.0, False)])
def test_a_rest_tells_its_stop_where_little_is_drawn(fall_lpm: float, kept: bool) -> None:
    plant, ends = traces.plant(), Ends()
    water = Water.of(plant)
    band = band_of(plant, reference(plant, water, Signature()))
    first_pa = water.pressure_pa(water.one(50 * PSI) - 2.5 * fall_lpm * LPM * 60.0)
    rest = Rest(
        600_000_000, 0, 0, 600_000_000, 10, True, -fall_lpm * LPM, 1e-9, first_pa, 40 * PSI, 0.0
    )  # fmt: skip
    note(ends, rest, band, water, healthy=True)
    assert [pa for _, pa in ends.stop.newest] == ([pytest.approx(50 * PSI, rel=0.01)] if kept else [])


@pytest.mark.parametrize(
    ("start_psi", "stop_psi", "kept"), [(28.0, 50.0, True), (2.0, 50.0, False), (40.0, 40.5, False)]
)
def test_a_start_from_an_empty_line_or_one_that_fills_nothing_tells_nothing_of_the_switch(
    start_psi: float, stop_psi: float, kept: bool
) -> None:
    plant, ends = traces.plant(), Ends()
    water = Water.of(plant)
    band = band_of(plant, reference(plant, water, Signature()))
    cycle = Cycle(0, 60_000_000, 60.0, 900.0, start_psi * PSI, stop_psi * PSI)
    run = Run(60_000_000, cycle, True, 5.0, slope_before_m3_s=0.0, pressure_s=5.0)
    note(ends, run, band, water, healthy=True)
    assert bool(ends.start.newest) is kept


def test_a_switch_that_acts_further_out_does_so_at_the_outermost_of_many() -> None:
    """Draws take three of six stops inward; one may be a wild word."""
    side = Side(lesson=[240e3] * 24)
    for at, stop_pa in enumerate((317e3, 319e3, 290e3, 317e3, 300e3, 205e3)):
        side.add(at, stop_pa, healthy=True)
    assert side.moved(18e3) == 77e3


def test_one_stop_half_way_up_makes_no_narrow_band() -> None:
    """Nine in ten come up to cut-out: six that do not, through a night, are one chance in a million."""
    ends = Ends(stop=Side(lesson=[50 * PSI] * 24))
    ends.start.newest = [[0.0, -30.5 * PSI]] * 2
    ends.stop.newest = [[7.2e9 * k, (50 if k == 1 else 36) * PSI] for k in range(4)]
    assert narrow(ends, BAND) is None
    ends.stop.newest = [[7.2e9 * k, 36 * PSI] for k in range(6)]
    assert narrow(ends, BAND) == (30.5 * PSI, 36 * PSI)
    ends.start.newest = [[0.0, -35 * PSI]] * 2
    assert narrow(ends, BAND) is None


def test_draws_that_outlast_the_stop_move_no_switch() -> None:
    """Half of the rests begin up to half a band below the stop, and six in a row do; two come beyond it."""
    side = Side(lesson=[50 * PSI, 45 * PSI] * 12)
    side.newest = [[7.2e9 * k, 42 * PSI] for k in range(6)]
    assert side.moved(3 * PSI) == 0.0
    side.newest = [[7.2e9 * k, 42 * PSI] for k in range(24)]
    assert side.moved(3 * PSI) == pytest.approx(-8 * PSI)
    side.newest = [[7.2e9 * k, (56 if k < 2 else 50) * PSI] for k in range(6)]
    assert side.moved(3 * PSI) == 0.0
    side.newest = [[7.2e9 * k, (56 if k % 2 else 50) * PSI] for k in range(6)]
    assert side.moved(3 * PSI) == pytest.approx(6 * PSI)


@pytest.mark.parametrize(("high_psi", "moved"), [(49.0, False), (42.0, True)])
def test_a_run_that_comes_up_to_the_old_stop_says_that_the_switch_has_not_moved_down(
    high_psi: float, moved: bool
) -> None:
    """A tank that loses its air falls a good deal between the stop and the next word, for days."""
    plant, ends = traces.plant(), Ends(stop=Side(lesson=[50 * PSI] * 24))
    water = Water.of(plant)
    for k in range(8):
        at_us = k * 7_200_000_000
        cycle = Cycle(at_us - 60_000_000, at_us, 60.0, 900.0, 30 * PSI, high_psi * PSI)
        run = Run(at_us, cycle, True, 10.0, pressure_high_pa=high_psi * PSI)
        note(ends, run, BAND, water, healthy=True)
        ends.stop.add(at_us, 42 * PSI, healthy=True)
    assert bool(ends.stop.moved(3 * PSI)) is moved


def test_a_gauge_that_lies_tells_nothing_of_the_switch_nor_did_it_since_it_began_to() -> None:
    """Stuck since 700 s, known at 900 s."""
    plant = traces.plant()
    judge = Engine(plant).judge

    def stops(at_s: int) -> Rest:
        at_us = at_s * 1_000_000
        return Rest(
            at_us + 600_000_000,
            at_us,
            at_us,
            at_us + 600_000_000,
            10,
            True,
            0.0,
            1e-9,
            40 * PSI,
            40 * PSI,
            0.0,
        )

    def kept() -> list[float]:
        return [at_us / 1e6 for at_us, _ in judge.ends.stop.newest]

    for at_s in (300, 600, 800):
        judge._note_ends(stops(at_s))
    assert kept() == [300, 600, 800]
    stuck = Claim("sensor_fault", 700_000_000, "low", 0.9, "", "stuck", plant.signals[0].name)
    judge._ledger.hear([stuck], 900_000_000)
    judge._note_ends(stops(1000))
    assert kept() == [300, 600]
